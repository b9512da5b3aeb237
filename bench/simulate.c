/* simulate: frames a second of the simulator, and how the time grows with beams, depth and structures.
 * One line a setting: what, wall and CPU milliseconds a frame on all cores, CPU milliseconds on one. */
#include "chest/chest.h"
#include "chest/scenario.h"
#include "core/pool.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { FRAMES = 12 };

static double clock_ms(clockid_t which)
{
    struct timespec t;
    clock_gettime(which, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

typedef struct cost {
    double wall_ms, cpu_ms; /* a frame: the best of three rounds */
} cost;

static cost measure(const sl_scenario *scenario, int workers)
{
    sl_chest *chest = NULL;
    sl_error error = {0};
    cost best = {1e9, 1e9};
    if (sl_chest_new(scenario, &chest, &error) != SL_OK) {
        fprintf(stderr, "%s\n", error.text);
        exit(1);
    }
    sl_chest_workers(chest, workers);
    sl_gray picture;
    for (int round = 0; round < 4; round++) { /* the first warms up */
        double wall = clock_ms(CLOCK_MONOTONIC), cpu = clock_ms(CLOCK_PROCESS_CPUTIME_ID);
        for (int i = 0; i < FRAMES; i++)
            if (sl_chest_frame(chest, i, &picture, &error) != SL_OK) {
                fprintf(stderr, "%s\n", error.text);
                exit(1);
            }
        wall = (clock_ms(CLOCK_MONOTONIC) - wall) / FRAMES;
        cpu = (clock_ms(CLOCK_PROCESS_CPUTIME_ID) - cpu) / FRAMES;
        if (round && wall < best.wall_ms)
            best.wall_ms = wall;
        if (round && cpu < best.cpu_ms)
            best.cpu_ms = cpu;
    }
    sl_chest_free(&chest);
    return best;
}

static void set(sl_scenario *scenario, const char *path, const char *value)
{
    sl_error error = {0};
    if (sl_scenario_set(scenario, path, value, &error) != SL_OK) {
        fprintf(stderr, "%s\n", error.text);
        exit(1);
    }
}

static void print_cost(const char *what, const sl_scenario *scenario)
{
    cost all = measure(scenario, sl_cores()), one = measure(scenario, 1);
    printf("| %s | %.1f | %.1f | %.1f | %.0f |\n", what, all.wall_ms, all.cpu_ms, one.cpu_ms,
           1000 / all.wall_ms);
    fflush(stdout);
}

int main(void)
{
    sl_scenario base;
    sl_scenario_defaults(&base); /* a convex probe over two ribs, aerated lung */
    set(&base, "controls.beams", "192");
    set(&base, "controls.depth_mm", "120");
    set(&base, "controls.frame_rate_hz", "15");
    printf("Convex, %.1f MHz, two samples a wavelength, %d cores\n\n", base.probe.freq_mhz, sl_cores());
    printf("| setting | wall ms a frame | CPU ms | CPU ms with one worker | frames/s |\n| --- | ---: | ---: | "
           "---: | ---: |\n");
    print_cost("192 beams, 120 mm", &base);
    char what[64];
    for (int beams = 64; beams <= 256; beams += 64) {
        sl_scenario scenario = base;
        scenario.controls.beams = beams;
        snprintf(what, sizeof what, "%d beams, 120 mm", beams);
        print_cost(what, &scenario);
    }
    for (int depth = 60; depth <= 180; depth += 60) {
        sl_scenario scenario = base;
        scenario.controls.depth_mm = depth;
        scenario.controls.frame_rate_hz = 10;
        snprintf(what, sizeof what, "192 beams, %d mm", depth);
        print_cost(what, &scenario);
    }
    for (int traps = 0; traps <= 64; traps += 16) {
        sl_scenario scenario = base;
        scenario.lung.traps = traps;
        for (int i = 0; i < traps; i++)
            scenario.lung.trap[i] =
                (sl_trap){.x_mm = -30 + 60.0 * i / 64, .strength_db = -20, .size_mm = 0.5, .q = 15};
        snprintf(what, sizeof what, "192 beams, 120 mm, %d traps", traps);
        print_cost(what, &scenario);
    }
    return 0;
}
