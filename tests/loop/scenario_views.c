/* The invented chests' own pictures through the view finder: the shape that was simulated, and beams where they were drawn.
 * The truth is the simulator's. Usage: scenario_views SCENARIO.json ... */
#include "chest/chest.h"
#include "chest/scenario.h"
#include "core/units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { FRAMES = 8, STEP = 6 }; /* of the clip's: some movement between them */

/* Largest distance, in depths of the picture, between where the two views put the same beam coordinates. A phased probe's
 * near arc is a few pixels wide, so a fan that begins a little beside it is the same fan. */
static double worst_of(const sl_view *truth, const sl_view *found)
{
    double worst = 0;
    for (int i = 1; i < 10; i++)
        for (int j = 1; j < 10; j++) {
            double x, y, beam, depth;
            sl_view_to_pixel(truth, 0.1 * i, 0.1 * j, &x, &y);
            sl_view_from_pixel(found, x, y, &beam, &depth);
            double u, v; /* the same beam in the found view, back at the true depth */
            sl_view_to_pixel(found, 0.1 * i, depth, &u, &v);
            worst = fmax(worst, hypot(u - x, v - y));
        }
    return worst / sl_view_depth_px(truth);
}

static bool one(const char *path)
{
    sl_scenario scenario;
    sl_chest *chest = NULL;
    sl_view_finder *finder = NULL;
    sl_view truth, found;
    sl_error error = {0};
    sl_status status = sl_scenario_load(path, &scenario, &error);
    if (status == SL_OK)
        status = sl_chest_new(&scenario, &chest, &error);
    if (status == SL_OK) {
        sl_chest_view(chest, &truth);
        status = sl_view_finder_new(truth.width, truth.height, &finder, &error);
    }
    for (int i = 0; i < FRAMES && status == SL_OK && i * STEP < sl_chest_frames(chest); i++) {
        sl_gray frame;
        status = sl_chest_frame(chest, i * STEP, &frame, &error);
        if (status == SL_OK)
            sl_view_finder_add(finder, frame);
    }
    if (status == SL_OK)
        status = sl_view_finder_find(finder, NULL, &found, &error);
    const char *name = strrchr(path, '/') ? strrchr(path, '/') + 1 : path;
    bool fine = false;
    if (status != SL_OK)
        printf("FAIL %s: %s\n", name, error.text);
    else {
        bool linear = truth.shape == SL_SHAPE_LINEAR;
        double off = worst_of(&truth, &found);
        fine = linear == (found.shape == SL_SHAPE_LINEAR) && off < 0.03;
        printf("%s %s: %s, found %s, beams off by %.3f of the depth; %s\n", fine ? "ok  " : "FAIL", name, sl_shape_name(truth.shape),
               sl_shape_name(found.shape), off, found.note);
    }
    sl_view_finder_free(&finder);
    sl_chest_free(&chest);
    return fine;
}

int main(int argc, char **argv)
{
    int wrong = 0;
    for (int i = 1; i < argc; i++)
        wrong += !one(argv[i]);
    printf("%d of %d found\n", argc - 1 - wrong, argc - 1);
    return wrong ? 1 : 0;
}
