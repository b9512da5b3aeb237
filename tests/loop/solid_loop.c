/* Chests by chance with aerated lung, fluid, solid lung, organs and the heart behind the pleura, through the whole of reading:
 * how often fluid and lung without air are stated, and how far the fluid's depth and the pleura's are off.
 *
 *   solid_loop CHESTS SEED [--csv] [--floor SHARE]
 *
 * CHESTS of each kind, grades by turns. With --floor it fails when fluid is stated in fewer than that share of the chests
 * with fluid, or in more than one less that share of the aerated ones. */
#include "moving_chests.h"
#include "solid_chests.h"

#include "core/order.h"
#include "core/pool.h"
#include "reading/segments.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FRAMES = 100 };

typedef struct row {
    int kind, grade;
    bool read;
    double true_mm, mm;               /* pleural depth below the picture's near edge */
    double true_fluid, fluid, fluid_index, solid_index;
    double true_extent, extent;       /* of solid lung below the pleura, mm; NAN where it goes on below the picture */
    sl_answer fluid_answer, solid_answer;
} row;

typedef struct loop {
    long seed;
    int each;
    row *rows;
} loop;

static double value_of(const sl_reading *reading, sl_code code)
{
    const sl_finding *f = sl_reading_get(reading, code);
    return f && f->known ? f->value : NAN;
}

static sl_answer answer_of(const sl_reading *reading, sl_code code)
{
    const sl_finding *f = sl_reading_get(reading, code);
    return f && f->known ? f->answer : SL_UNCERTAIN;
}

static void one_chest(void *context, int item, int worker)
{
    (void)worker;
    loop *all = context;
    row *r = &all->rows[item];
    sl_scenario scenario;
    sl_chest *chest = NULL;
    sl_error error = {0};
    sl_arena arena = {0};
    moving_clip clip = {0};
    sl_segments *segments = sl_segments_new();
    r->kind = item / all->each;
    r->grade = item % 3 + 1;
    r->true_mm = r->mm = r->true_fluid = r->fluid = r->fluid_index = r->solid_index = r->true_extent = r->extent = NAN;
    solid_scenario(r->kind, (uint64_t)(all->seed + item), r->grade, 4, &scenario);
    if (segments && sl_chest_new(&scenario, &chest, &error) == SL_OK) {
        sl_chest_workers(chest, 1);
        const sl_reading *truth = sl_chest_truth(chest, &arena);
        r->true_mm = value_of(truth, SL_PLEURA_DEPTH) * (scenario.controls.depth_mm - scenario.controls.crop_top_mm);
        r->true_fluid = value_of(truth, SL_EFFUSION_DEPTH);
        r->true_extent = value_of(truth, SL_CONSOLIDATION_EXTENT);
        if (moving_render(chest, 1, MOST_FRAMES, &arena, &clip) &&
            sl_segments_read(segments, &clip.stack, &error) == SL_OK) {
            const sl_reading *reading = sl_segments_state(segments, "chest", &clip.view, &arena);
            r->read = reading != NULL;
            if (reading) {
                r->mm = value_of(reading, SL_PLEURA_DEPTH_MM);
                r->fluid = value_of(reading, SL_EFFUSION_DEPTH);
                r->fluid_index = value_of(reading, SL_EFFUSION);
                r->extent = value_of(reading, SL_CONSOLIDATION_EXTENT);
                r->solid_index = value_of(reading, SL_CONSOLIDATION);
                r->fluid_answer = answer_of(reading, SL_EFFUSION);
                r->solid_answer = answer_of(reading, SL_CONSOLIDATION);
            }
        }
    }
    moving_clip_free(&clip);
    sl_segments_free(&segments);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
}

static double median(double *value, int count)
{
    if (!count)
        return NAN;
    qsort(value, (size_t)count, sizeof *value, sl_by_double);
    return value[count / 2];
}

/* A line of the table; returns the share in which fluid is stated. */
static double tell(const loop *all, int kind)
{
    int fluid = 0, solid = 0, pleura = 0, known = 0, within = 0, measured = 0, of = 0, deep = 0, near = 0, has = 0;
    double *off = calloc((size_t)all->each, sizeof *off), *far = calloc((size_t)all->each, sizeof *far);
    for (int i = kind * all->each; i < (kind + 1) * all->each; i++) {
        const row *r = &all->rows[i];
        fluid += r->fluid_answer == SL_PRESENT;
        solid += r->solid_answer == SL_PRESENT;
        known += isfinite(r->true_mm);
        pleura += fabs(r->mm - r->true_mm) <= 1;
        of += r->true_fluid > 0;
        if (off && r->true_fluid > 0 && isfinite(r->fluid)) {
            off[measured++] = fabs(r->fluid - r->true_fluid);
            within += fabs(r->fluid - r->true_fluid) <= 2;
        }
        has += r->true_extent > 0;
        if (far && r->true_extent > 0 && isfinite(r->extent)) {
            far[deep++] = fabs(r->extent - r->true_extent);
            near += fabs(r->extent - r->true_extent) <= 3;
        }
    }
    printf("| %s | %d | %d | %d | %d of %d |", solid_names[kind], all->each, fluid, solid, pleura, known);
    if (of)
        printf(" %d of %d measured, %d of %d chests; median error %.1f mm |", within, measured, within, of, median(off, measured));
    else
        printf(" |");
    if (has)
        printf(" %d of %d measured, %d of %d chests; median error %.1f mm |\n", near, deep, near, has, median(far, deep));
    else
        printf(" |\n");
    free(off);
    free(far);
    return (double)fluid / all->each;
}

int main(int argc, char **argv)
{
    loop all = {.each = argc > 1 ? (int)strtol(argv[1], NULL, 10) : 0, .seed = argc > 2 ? strtol(argv[2], NULL, 10) : 0};
    double least = 0;
    bool csv = false;
    for (int i = 3; i < argc; i++)
        if (!strcmp(argv[i], "--csv"))
            csv = true;
        else if (!strcmp(argv[i], "--floor") && i + 1 < argc)
            least = strtod(argv[++i], NULL);
    if (all.each < 1 || all.each > 10000) {
        fprintf(stderr, "solid_loop CHESTS SEED [--csv] [--floor SHARE]\n");
        return 2;
    }
    int count = all.each * SOLID_KINDS;
    all.rows = calloc((size_t)count, sizeof *all.rows);
    if (!all.rows)
        return 1;
    sl_pool_run(0, count, one_chest, &all);
    if (csv) {
        printf("kind,seed,grade,read,true_mm,mm,true_fluid_mm,fluid_mm,fluid_index,fluid,solid_index,solid,true_extent_mm,extent_mm\n");
        for (int i = 0; i < count; i++) {
            const row *r = &all.rows[i];
            printf("%s,%ld,%d,%d,%.2f,%.2f,%.2f,%.2f,%.3f,%s,%.3f,%s,%.2f,%.2f\n", solid_names[r->kind], all.seed + i, r->grade, r->read,
                   r->true_mm, r->mm, r->true_fluid, r->fluid, r->fluid_index, sl_answer_name(r->fluid_answer), r->solid_index,
                   sl_answer_name(r->solid_answer), r->true_extent, r->extent);
        }
        free(all.rows);
        return 0;
    }
    printf("| behind the pleura | chests | fluid stated | no air stated | pleura within 1 mm | fluid within 2 mm | solid within 3 mm |\n"
           "| --- | ---: | ---: | ---: | --- | --- | --- |\n");
    bool good = true;
    for (int k = 0; k < SOLID_KINDS; k++) {
        double share = tell(&all, k);
        good = good && (k != SOLID_FLUID || share >= least) && (k != SOLID_WELL || !(least > 0) || share <= 1 - least);
    }
    free(all.rows);
    return good ? 0 : 1;
}
