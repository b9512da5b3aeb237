/* Chests by chance with flow in colour, drawn with a bar and its numbers, coded as video and read through the whole of reading: moving
 * fluid, vessels in solid lung, fluid that stands still and solid lung without vessels, aerated lung. Red towards the probe by turns and
 * blue. Every fourth chest is read once more in grey, and what the two readings state is compared. A row a chest; scripts/colour.py makes
 * the tables.
 *
 *   colour_loop CHESTS SEED FOLDER [FIRST-END]
 *
 * CHESTS of each kind. Clips stay in FOLDER and are taken from there the next time. With FOLDER "-" no rows: one chest of each of the
 * first two kinds, which must be told apart with their directions. */
#define _POSIX_C_SOURCE 200809L
#include "solid_chests.h"

#include "chest/chest.h"
#include "chest/modes.h"
#include "chest/random.h"
#include "clip/save.h"
#include "core/units.h"
#include "reading/read_clip.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { FLUID, VESSEL, FLUID_STILL, SOLID_STILL, AERATED, KINDS };
static const char *const names[KINDS] = {"moving fluid", "vessel in solid lung", "fluid at rest", "solid lung without vessels", "aerated lung"};
static const solid_kind behind[KINDS] = {SOLID_FLUID, SOLID_LOBE, SOLID_FLUID, SOLID_LOBE, SOLID_WELL};

static double between(uint64_t seed, int k, double low, double high)
{
    return low + (high - low) * sl_uniform(seed ^ 0x636F6C, k);
}

static void set_up(int kind, uint64_t seed, sl_scenario *s)
{
    solid_scenario(behind[kind], seed, (int)(seed % 3) + 1, 3.2, s);
    s->controls.frame_rate_hz = 10;
    s->controls.persistence_frames = 1;
    s->controls.compound_angles = 1;
    s->motion.breaths_per_min = floor(between(seed, 1, 19, 28));
    s->motion.beats_per_min = floor(between(seed, 2, 60, 110));
    if (!(s->effusion.depth_mm > 0))
        s->effusion.swing_mm = 0;
    s->effusion.kind = kind == FLUID ? SL_FLUID_SIMPLE : s->effusion.kind;
}

static void set_flow(const sl_chest *chest, int kind, uint64_t seed, sl_flow_controls *f)
{
    sl_flow_defaults(chest, f);
    f->pulses = 4;
    f->threshold_db = kind >= FLUID_STILL ? -52 : f->threshold_db; /* without flow, moving tissue is let through */
    f->first_beam = 0.3;
    f->last_beam = 0.7;
    f->pulse_hz = floor(between(seed, 3, 300, 1200));
    double limit = sl_flow_velocity_most_mm_s(chest, f);
    f->fluid_mm_s = kind == FLUID ? limit * between(seed, 4, 0.4, 0.95) : 0;
    f->vessels = kind == VESSEL ? 1 + (int)(seed / 2 % 2) : 0;
    f->vessel_mm = between(seed, 5, 2, 5.5);
    f->vessel_mm_s = limit * between(seed, 6, 0.5, 0.95);
    f->vessel_pulse = between(seed, 7, 0, 0.6);
    f->vessel_away = seed / 4 % 2;
    f->blue_toward = seed % 2;
}

static bool write_clip(sl_chest *chest, const sl_flow_controls *f, bool colour, const char *path)
{
    sl_view view;
    sl_error error = {0};
    sl_chest_view(chest, &view);
    sl_clip_writer *writer = NULL;
    int width = view.width + SL_FLOW_STRIP;
    uint8_t *rgb = calloc((size_t)width * (size_t)view.height, 3);
    sl_status status = rgb ? sl_clip_writer_open(path, width, view.height, sl_chest_frame_rate_hz(chest), 0.9, &writer, &error) : SL_MEMORY;
    for (int i = 0; status == SL_OK && i < sl_chest_frames(chest); i++) {
        const uint8_t *shown = rgb;
        sl_gray grey;
        if (colour)
            status = sl_chest_flow(chest, f, i, &shown, &error);
        else if ((status = sl_chest_frame(chest, i, &grey, &error)) == SL_OK)
            for (int y = 0; y < grey.height; y++)
                for (int x = 0; x < grey.width; x++)
                    memset(rgb + 3 * ((size_t)y * (size_t)width + (size_t)x), grey.pixel[(size_t)y * (size_t)grey.stride + (size_t)x], 3);
        if (status == SL_OK)
            status = sl_clip_writer_rgb(writer, shown, 3 * width, &error);
    }
    if (writer && sl_clip_writer_close(&writer, &error) != SL_OK)
        status = SL_IO;
    free(rgb);
    if (status != SL_OK) {
        fprintf(stderr, "%s: %s\n", path, error.text);
        remove(path);
    }
    return status == SL_OK;
}

static const sl_finding *get(const sl_clip_result *r, sl_code code)
{
    return r->reading ? sl_reading_get(r->reading, code) : NULL;
}

static double value(const sl_clip_result *r, sl_code code)
{
    const sl_finding *f = get(r, code);
    return f && f->known ? f->value : NAN;
}

static const char *word(const sl_clip_result *r, sl_code code)
{
    const sl_finding *f = get(r, code);
    return !f ? "none" : !f->known ? "unknown" : sl_answer_name(f->answer);
}

static const sl_code paired[] = {SL_A_LINES, SL_B_LINES, SL_WHITE_LUNG, SL_CONSOLIDATION, SL_EFFUSION, SL_SLIDING, SL_PLEURA_DEPTH};
enum { PAIRED = sizeof paired / sizeof *paired };

static bool one(int kind, uint64_t seed, const char *folder, bool rows)
{
    sl_scenario s;
    sl_chest *chest = NULL;
    sl_error error = {0};
    sl_arena arena = {0};
    set_up(kind, seed, &s);
    if (sl_chest_new(&s, &chest, &error) != SL_OK) {
        fprintf(stderr, "%s\n", error.text);
        return false;
    }
    sl_chest_workers(chest, 1);
    sl_flow_controls f;
    set_flow(chest, kind, seed, &f);
    char path[600], plain[600];
    snprintf(path, sizeof path, "%s/%d-%llu.mp4", folder, kind, (unsigned long long)seed);
    snprintf(plain, sizeof plain, "%s/%d-%llu-grey.mp4", folder, kind, (unsigned long long)seed);
    bool pair = rows && seed % 4 == 1, good = !access(path, R_OK) || write_clip(chest, &f, true, path);
    good = good && (!pair || !access(plain, R_OK) || write_clip(chest, &f, false, plain));
    sl_flow_truth truth;
    sl_chest_flow_truth(chest, &f, &truth);
    sl_clip_result r = {0}, g = {0};
    if (good)
        sl_read_clip(path, NULL, &arena, &r);
    if (good && pair)
        sl_read_clip(plain, NULL, &arena, &g);
    double toward = value(&r, SL_COLOUR_TOWARD), away = value(&r, SL_COLOUR_AWAY);
    if (rows) {
        printf("%s,%llu,%d,%d,%.4f,%.4f,%.4f,%.4f,%.4f,%.2f", names[kind], (unsigned long long)seed, good && r.reading != NULL, f.blue_toward, truth.fluid,
               truth.vessel, truth.toward, truth.away, truth.turned_over, sl_flow_velocity_most_mm_s(chest, &f) / 10);
        printf(",%.4f,%.4f,%.2f,%s,%s,%.3f,%s,%.3f", toward, away, value(&r, SL_COLOUR_SCALE), word(&r, SL_COLOUR_ALIASING), word(&r, SL_FLUID_COLOUR),
               value(&r, SL_FLUID_COLOUR), word(&r, SL_VESSEL_COLOUR), value(&r, SL_VESSEL_COLOUR));
        for (int k = 0; k < PAIRED; k++)
            printf(",%.4f,%s,%.4f,%s", pair ? value(&g, paired[k]) : NAN, pair ? word(&g, paired[k]) : "", value(&r, paired[k]), word(&r, paired[k]));
        printf("\n");
        fflush(stdout);
    } else {
        remove(path);
        const char *mine = word(&r, kind == FLUID ? SL_FLUID_COLOUR : SL_VESSEL_COLOUR), *other = word(&r, kind == FLUID ? SL_VESSEL_COLOUR : SL_FLUID_COLOUR);
        good = good && !strcmp(mine, "present") && strcmp(other, "present") && (toward > away) == (truth.toward > truth.away);
    }
    sl_chest_free(&chest);
    sl_arena_free(&arena);
    return good;
}

int main(int argc, char **argv)
{
    int each = argc > 1 ? (int)strtol(argv[1], NULL, 10) : 0, first = 0, end = 1 << 20;
    long seed = argc > 2 ? strtol(argv[2], NULL, 10) : 0;
    if (argc > 4)
        sscanf(argv[4], "%d-%d", &first, &end);
    if (each < 1 || argc < 4) {
        fprintf(stderr, "colour_loop CHESTS SEED FOLDER [FIRST-END]\n");
        return 2;
    }
    if (!strcmp(argv[3], "-")) {
        char folder[] = "/tmp/strandline-colour-XXXXXX";
        bool good = mkdtemp(folder) != NULL;
        for (int kind = 0; good && kind < 2; kind++)
            good = one(kind, (uint64_t)(seed + kind), folder, false);
        rmdir(folder);
        return good ? 0 : 1;
    }
    printf("kind,seed,read,blue_toward,true_fluid,true_vessel,true_toward,true_away,true_over,true_scale,toward,away,scale,aliasing,fluid_colour,fluid_index,"
           "vessel_colour,vessel_index");
    for (int k = 0; k < PAIRED; k++) {
        const char *key = sl_finding_info_of(paired[k])->key;
        printf(",grey_%s,grey_%s_answer,%s,%s_answer", key, key, key, key);
    }
    printf("\n");
    for (int i = first; i < each * KINDS && i < end; i++)
        one(i % KINDS, (uint64_t)(seed + i / KINDS), argv[3], true);
    return 0;
}
