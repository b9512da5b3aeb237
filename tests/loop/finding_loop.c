/* One finding of the reader against the simulator's truth, on chests by chance: a row a chest.
 *
 *   finding_loop CHESTS SEED FINDING [--rough] [--floor AREA]
 *
 * FINDING is a key of readings.csv without its ending, "pleura_irregular". --rough draws the roughness of the pleura anew: even
 * items smooth (0.05 to 0.35), odd ones ragged (0.55 to 0.95), aerated chests only. Prints item, grade, truth (0 or 1), index,
 * answer, value, and last the area under the curve; with --floor it fails below it. What the settings hide is left out. */
#include "aerated.h"
#include "agree/roc.h"
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

/* False where the settings hide it. */
static bool one(int item, long first_seed, const sl_finding_info *info, bool rough, const char *path, double *index, int *present)
{
    sl_scenario s;
    sl_arena arena = {0};
    sl_error error;
    sl_chest *chest = NULL;
    uint64_t seed = (uint64_t)(first_seed + item);
    do {
        sl_scenario_random(seed, item % GRADES + 1, &s);
        seed += SEED_STEP;
    } while (rough && !is_aerated(&s));
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
    bool known = truth && truth->known && found && found->known && truth->confidence > 0;
    *present = known && truth->answer == SL_PRESENT;
    *index = known ? found->value : 0;
    printf("%d,%d,%d,%s,%d,%.4f,%s,%.3f,\"%s\"\n", item, item % GRADES + 1, known, truth && truth->known ? "" : "hidden", *present, *index,
           !found ? "" : found->answer == SL_PRESENT ? "present" : found->answer == SL_ABSENT ? "absent" : "uncertain", s.lung.roughness,
           found ? found->reason : result.reason);
    fflush(stdout);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
    return known;
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
    double *index = calloc((size_t)count, sizeof *index);
    int *present = calloc((size_t)count, sizeof *present), cases = 0;
    sl_arena arena = {0};
    if (file < 0 || !index || !present)
        return 1;
    close(file);
    scenario_clip_join();
    for (int i = 0; i < count; i++)
        cases += one(i, seed, info, rough, path, &index[cases], &present[cases]);
    unlink(path);
    sl_estimate area = sl_roc_area(index, present, cases, &arena, NULL);
    printf("area %.3f (%.3f to %.3f) of %d chests\n", area.value, area.low, area.high, cases);
    free(index);
    free(present);
    sl_arena_free(&arena);
    return area.value >= floor_area ? 0 : 1;
}
