#include "chest/truth_behind.h"

#include "chest/private.h"
#include "chest/truth.h"
#include "chest/truth_table.h"

#include <math.h>

enum { LOOKED_AT = 12 }; /* frames of a clip, evenly */

/* Beams of one frame that cross the diaphragm between the ribs, and what lies beyond it there. */
typedef struct crossing {
    int beams, image, spine;               /* that cross it; that show the image; that show the spine */
    bool deep;                             /* the picture goes on beyond the spine */
    double beam[SL_TRUTH_BEAMS], line[SL_TRUTH_BEAMS]; /* of 1, as in sl_view */
    double first_beam, last_beam, image_depth;
} crossing;

/* An echo of this amplitude stands out of noise and above black. */
static bool shows(sl_chest *chest, const sl_pose *pose, double column, double depth_mm, double amplitude)
{
    int i = (int)(depth_mm / chest->sample_mm);
    i = i >= chest->samples ? chest->samples - 1 : i;
    double gain = sl_level_db((double)chest->depth_gain[i]);
    double level = sl_level_db(amplitude * sl_chest_heard_to(chest, pose, column, chest->bench[0], depth_mm)) + gain;
    return level > -chest->scenario->controls.dynamic_range_db + SL_SEEN_FLOOR_DB && level > sl_level_db(chest->noise) + gain + SL_SEEN_OVER_DB;
}

static void look(sl_chest *chest, const sl_pose *pose, crossing *c)
{
    const sl_scenario *sc = chest->scenario;
    const sl_controls *k = &sc->controls;
    sl_medium_id organ = sc->base.organ == SL_ORGAN_SPLEEN ? SL_SPLEEN : SL_LIVER;
    *c = (crossing){.first_beam = 1, .deep = sc->base.spine_mm > 0 && sc->base.spine_mm + SL_BEYOND_MM < k->depth_mm};
    for (int b = 0; b < SL_TRUTH_BEAMS; b++) {
        double share = (b + 0.5) / SL_TRUTH_BEAMS, column = share * (chest->columns - 1), x = sl_column_x(chest, column);
        if (share < sc->wall.lost_left || share > 1 - sc->wall.lost_right || sl_chest_rib_block(chest, pose, x) > 0.5)
            continue;
        double pleura = sl_chest_pleura(chest, pose, x);
        double dome = sc->diaphragm.dome_mm > 0 ? sl_chest_dome(chest, pose, x) : sl_chest_base_dome(chest, pose, x, pleura);
        if (!(dome < k->depth_mm - 1) || dome <= k->crop_top_mm)
            continue;
        double room = fmin(2 * dome - pleura, k->depth_mm) - dome, tall = k->depth_mm - k->crop_top_mm;
        c->beam[c->beams] = k->mirrored ? 1 - share : share;
        c->line[c->beams] = (dome - k->crop_top_mm) / tall;
        c->first_beam = fmin(c->first_beam, c->beam[c->beams]);
        c->last_beam = fmax(c->last_beam, c->beam[c->beams]);
        c->beams++;
        if (room >= SL_IMAGE_MM && shows(chest, pose, column, dome + 0.5 * SL_IMAGE_MM, SL_IMAGE_SHARE * chest->scatter[organ])) {
            c->image++;
            c->image_depth = fmax(c->image_depth, (dome + room - k->crop_top_mm) / tall);
        }
        c->spine += c->deep && sc->base.spine_mm > dome + SL_BEYOND_MM && shows(chest, pose, column, sc->base.spine_mm, SL_SPINE_ECHO * 0.4);
    }
}

static sl_evidence *line_of(const crossing *c, int frame, double time_s, sl_arena *arena, int more)
{
    sl_evidence *e = SL_NEW(arena, 1 + more, sl_evidence);
    double *beam = SL_NEW(arena, SL_TRUTH_BEAMS, double), *depth = SL_NEW(arena, SL_TRUTH_BEAMS, double);
    if (!e || !beam || !depth)
        return NULL;
    *e = (sl_evidence){.first_frame = frame, .last_frame = frame, .first_time_s = time_s, .last_time_s = time_s, .first_beam = c->first_beam,
                       .last_beam = c->last_beam, .first_depth = 1, .points = c->beams, .beam = beam, .depth = depth, .label = "diaphragm"};
    for (int i = 0; i < c->beams; i++) {
        beam[i] = c->beam[i];
        depth[i] = c->line[i];
        e->first_depth = fmin(e->first_depth, c->line[i]);
        e->last_depth = fmax(e->last_depth, c->line[i]);
    }
    if (more) {
        e[1] = *e;
        e[1].points = 0;
        e[1].beam = e[1].depth = NULL;
    }
    return e;
}

static void say(sl_finding *f, bool there, const char *hidden)
{
    f->known = true;
    f->value = f->low = f->high = there ? 1 : 0;
    f->answer = there ? SL_PRESENT : SL_ABSENT;
    f->confidence = hidden ? 0 : 1;
    f->reason = hidden ? hidden : "";
}

void sl_chest_behind_truth(sl_chest *chest, int frames, sl_arena *arena, sl_reading *reading)
{
    const sl_scenario *sc = chest->scenario;
    sl_finding *spine = sl_reading_put(reading, SL_SPINE), *mirror = sl_reading_put(reading, SL_MIRROR_IMAGE);
    int step = frames / LOOKED_AT + 1, looked = 0, crossed = 0, image = 0, seen = 0, best_frame = 0;
    crossing best = {0};
    double best_time = 0;
    for (int t = 0; t < frames; t += step, looked++) {
        sl_pose pose;
        crossing c;
        sl_pose_at(sc, t / sc->controls.frame_rate_hz, &pose);
        look(chest, &pose, &c);
        crossed += c.beams > 0;
        image += c.image >= SL_BEYOND_BEAMS;
        seen += c.spine >= SL_BEYOND_BEAMS;
        if (c.beams > best.beams) {
            best = c;
            best_frame = t;
            best_time = pose.time_s;
        }
    }
    if (2 * crossed <= looked) {
        spine->reason = mirror->reason = "no diaphragm in the picture";
        return;
    }
    bool lung = sl_chest_behind_dome(chest) == SL_BEHIND_LUNG;
    say(mirror, lung, !lung || 2 * image > looked ? NULL : "too little of the image is in the picture or above the noise");
    bool there = !lung && sc->base.spine_mm > 0;
    say(spine, there, lung || 2 * seen > looked ? NULL : best.deep ? "ribs, or too little gain, hide the spine" : "the picture is not as deep as the spine");
    mirror->evidence = line_of(&best, best_frame, best_time, arena, lung);
    mirror->evidences = mirror->evidence ? 1 + lung : 0;
    if (mirror->evidence && lung) {
        sl_evidence *box = (sl_evidence *)&mirror->evidence[1];
        box->first_depth = mirror->evidence[0].first_depth;
        box->last_depth = fmax(best.image_depth, mirror->evidence[0].last_depth);
        box->label = "mirror image";
    }
    spine->evidence = line_of(&best, best_frame, best_time, arena, there && best.deep);
    spine->evidences = spine->evidence ? 1 + (there && best.deep) : 0;
    if (spine->evidences > 1) {
        sl_evidence *box = (sl_evidence *)&spine->evidence[1];
        double tall = sc->controls.depth_mm - sc->controls.crop_top_mm;
        box->first_depth = (sc->base.spine_mm - 1 - sc->controls.crop_top_mm) / tall;
        box->last_depth = (sc->base.spine_mm + 3 - sc->controls.crop_top_mm) / tall;
        box->label = "spine";
    }
}
