/* One finding of the reader against the simulator's truth, on chests by chance: a row a chest.
 *
 *   finding_loop CHESTS SEED FINDING [--rough] [--floor AREA]
 *
 * FINDING is a key of readings.csv without its ending, "pleura_irregular". --rough draws the roughness of the pleura anew: even
 * items smooth (0.05 to 0.35), odd ones ragged (0.55 to 0.95), aerated chests only. Prints item, grade, truth (0 or 1), index,
 * answer, value, and last the area under the curve; with --floor it fails below it. What the settings hide is left out. */
#include "chest/chest.h"
#include "chest/scenario.h"
#include "reading/read_clip.h"
#include "scenario_clip.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { GRADES = 3, FRAMES = 60, SEED_STEP = 1000003 };

static bool aerated(const sl_scenario *s)
{
    return !(s->effusion.depth_mm > 0) && !s->consolidations && !s->pneumothorax.present && s->base.organ == SL_ORGAN_NONE &&
           !s->heart.present;
}

typedef struct row {
    bool known, truth;
    double index;
} row;

static row one(int item, long first_seed, const sl_finding_info *info, bool rough, const char *path)
{
    row made = {0};
    sl_scenario s;
    sl_arena arena = {0};
    sl_error error;
    sl_chest *chest = NULL;
    uint64_t seed = (uint64_t)(first_seed + item);
    do {
        sl_scenario_random(seed, item % GRADES + 1, &s);
        seed += SEED_STEP;
    } while (rough && !aerated(&s));
    s.controls.duration_s = fmin(s.controls.duration_s, FRAMES / s.controls.frame_rate_hz);
    double u = (double)((unsigned)(item * 2654435761U) >> 8) / (1 << 24);
    if (rough)
        s.lung.roughness = item / GRADES % 2 ? 0.55 + 0.4 * u : 0.05 + 0.3 * u;
    json_t *json = sl_scenario_to_json(&s);
    json_dump_file(json, path, 0);
    json_decref(json);
    sl_clip_result result;
    sl_read_clip(path, NULL, &arena, &result);
    const sl_finding *truth = NULL, *found = result.reading ? sl_reading_get(result.reading, info->code) : NULL;
    if (sl_chest_new(&s, &chest, &error) == SL_OK)
        truth = sl_reading_get(sl_chest_truth(chest, &arena), info->code);
    made.known = truth && truth->known && found && found->known && truth->confidence > 0;
    if (made.known) {
        made.truth = truth->answer == SL_PRESENT;
        made.index = found->value;
    }
    printf("%d,%d,%d,%s,%d,%.4f,%s,%.3f,\"%s\"\n", item, item % GRADES + 1, made.known, truth && truth->known ? "" : "hidden", made.truth, made.index,
           !found ? "" : found->answer == SL_PRESENT ? "present" : found->answer == SL_ABSENT ? "absent" : "uncertain", s.lung.roughness,
           found ? found->reason : result.reason);
    fflush(stdout);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
    return made;
}

int main(int argc, char **argv)
{
    const sl_finding_info *info = argc > 3 ? sl_finding_info_by_key(argv[3]) : NULL;
    if (!info)
        return 2;
    int count = (int)strtol(argv[1], NULL, 10);
    long seed = strtol(argv[2], NULL, 10);
    bool rough = false;
    double floor_area = 0;
    for (int i = 4; i < argc; i++) {
        rough |= !strcmp(argv[i], "--rough");
        if (!strcmp(argv[i], "--floor") && i + 1 < argc)
            floor_area = strtod(argv[++i], NULL);
    }
    char path[] = "/tmp/sl-finding-XXXXXX";
    int file = mkstemp(path);
    row *rows = calloc((size_t)count, sizeof *rows);
    if (file < 0 || !rows)
        return 1;
    close(file);
    scenario_clip_join();
    for (int i = 0; i < count; i++)
        rows[i] = one(i, seed, info, rough, path);
    unlink(path);
    double pairs = 0, right = 0; /* the area is the share of pairs in the right order (Mann-Whitney) */
    for (int i = 0; i < count; i++)
        for (int j = 0; j < count; j++)
            if (rows[i].known && rows[j].known && rows[i].truth && !rows[j].truth) {
                pairs++;
                right += rows[i].index > rows[j].index ? 1 : rows[i].index == rows[j].index ? 0.5 : 0;
            }
    printf("area %.3f of %.0f pairs\n", pairs > 0 ? right / pairs : NAN, pairs);
    free(rows);
    return pairs > 0 && right < floor_area * pairs ? 1 : 0;
}
