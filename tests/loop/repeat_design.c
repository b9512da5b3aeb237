/* How well the program repeats itself: simulated chests scanned twice by the same careful hand (the probe put down again a
 * millimetre or two aside, a degree tilted, gain and breath a little different), read twice, and their levels compared.
 *
 *   repeat_design CHESTS SEED
 *
 * Prints a row a chest and, for each scheme, the within-zone standard deviation sqrt(sum d^2 / 2n) that
 * src/exam/change_table.h states. */
#include "audit_cases.h"
#include "exam/schemes.h"
#include "reading/read_clip.h"
#include "scenario_clip.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static double jitter(uint64_t *state, double most)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return most * (2 * ((double)(*state >> 11) / 9007199254740992.0) - 1);
}

/* The same place on the same chest, put down again. */
static void again(sl_scenario *s, uint64_t seed)
{
    uint64_t d = seed * 2654435761u + 12345;
    for (int i = 0; i < 4; i++)
        jitter(&d, 1);
    double aside = jitter(&d, 2); /* mm along the pleura */
    for (int r = 0; r < s->ribs; r++)
        s->rib[r].x_mm += aside;
    for (int t = 0; t < s->lung.traps; t++)
        s->lung.trap[t].x_mm += aside;
    for (int c = 0; c < s->consolidations; c++)
        s->consolidation[c].x_mm += aside;
    s->wall.tilt_deg += jitter(&d, 1);
    s->controls.gain_db += jitter(&d, 1);
    s->motion.breaths_per_min += floor(jitter(&d, 2.5));
    s->motion.sliding_mm *= 1 + jitter(&d, 0.2);
    s->motion.sway_mm = fabs(s->motion.sway_mm + jitter(&d, 0.1));
}

static void levels(const sl_scenario *s, const char *path, int *four, int *regional)
{
    sl_arena arena = {0};
    sl_clip_result result;
    json_t *json = sl_scenario_to_json(s);
    json_dump_file(json, path, 0);
    json_decref(json);
    sl_read_clip(path, NULL, &arena, &result);
    unlink(path);
    const sl_finding *score = result.reading ? sl_reading_get(result.reading, SL_SCORE) : NULL;
    sl_lung_signs signs = sl_lung_signs_of(result.reading);
    *four = score && score->known ? (int)(score->value + 0.5) : -1;
    *regional = sl_level_regional(&signs).level;
    sl_arena_free(&arena);
}

int main(int argc, char **argv)
{
    if (argc < 3)
        return 2;
    long chests = strtol(argv[1], NULL, 10), seed = strtol(argv[2], NULL, 10);
    char path[] = "/tmp/sl-repeat-XXXXXX";
    int file = mkstemp(path);
    if (file < 0)
        return 1;
    close(file);
    scenario_clip_join();
    double square[2] = {0};
    int pairs[2] = {0}, alike[2] = {0};
    for (long i = 0; i < chests; i++) {
        sl_scenario s;
        int first[2], second[2];
        audit_chest((uint64_t)(seed + i), i % 2, &s);
        levels(&s, path, &first[0], &first[1]);
        again(&s, (uint64_t)(seed + i));
        levels(&s, path, &second[0], &second[1]);
        printf("%ld,%d,%d,%d,%d\n", i, first[0], second[0], first[1], second[1]);
        fflush(stdout);
        for (int k = 0; k < 2; k++)
            if (first[k] >= 0 && second[k] >= 0) {
                square[k] += (first[k] - second[k]) * (first[k] - second[k]);
                pairs[k]++;
                alike[k] += first[k] == second[k];
            }
    }
    for (int k = 0; k < 2; k++)
        fprintf(stderr, "%s: %d pairs, %d alike, within-zone SD %.3f\n", k ? "regional" : "four levels", pairs[k], alike[k],
                pairs[k] ? sqrt(square[k] / (2 * pairs[k])) : 0.0);
    return 0;
}
