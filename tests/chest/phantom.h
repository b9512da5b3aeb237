/* What the simulator's tests share: an even medium under a linear probe, and small statistics. */
#ifndef SL_TESTS_CHEST_PHANTOM_H
#define SL_TESTS_CHEST_PHANTOM_H

#include "chest/private.h"
#include "core/units.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

/* Muscle without layers, ribs, clutter and movement, from 0.5 mm down to `muscle_mm`. */
static inline void even_medium(sl_scenario *s, double freq_mhz, double depth_mm)
{
    sl_scenario_defaults(s);
    sl_scenario_probe_defaults(s, SL_PROBE_LINEAR);
    s->probe.freq_mhz = freq_mhz;
    s->probe.clutter_db = -90;
    s->probe.face_reflection = 0;
    s->wall.skin_mm = 0.5;
    s->wall.fat_mm = 0;
    s->wall.muscle_mm = depth_mm - 0.5;
    s->wall.fascias = 0;
    s->wall.texture = 0;
    s->ribs = 0;
    s->motion.sway_mm = 0;
    s->controls.depth_mm = depth_mm / 0.89;
    s->controls.beams = 256;
    s->controls.frame_rate_hz = 5;
    s->controls.focus_mm = 0.5 * depth_mm;
}

/* Levels in dB of a frame, [beam][sample]; from malloc. */
static inline float *levels_of(sl_chest *chest, int frame)
{
    float *level = malloc(sizeof(float) * (size_t)chest->beams * (size_t)chest->samples);
    assert_non_null(level);
    sl_pose pose;
    sl_pose_at(chest->scenario, frame / chest->scenario->controls.frame_rate_hz, &pose);
    sl_chest_levels(chest, &pose, frame, level);
    return level;
}

static inline double level_at(const sl_chest *chest, const float *level, int beam, int sample)
{
    return (double)level[(size_t)beam * (size_t)chest->samples + (size_t)sample];
}

static inline sl_chest *make_chest(const sl_scenario *s)
{
    sl_chest *chest = NULL;
    sl_error error = {0};
    if (sl_chest_new(s, &chest, &error))
        fail_msg("%s", error.text);
    return chest;
}

#endif
