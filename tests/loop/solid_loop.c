/* Chests by chance with aerated lung, fluid, solid lung, organs and the heart behind the pleura, through the whole of reading: truth
 * and reading of every sign of fluid and solid lung side by side, a row a chest. scripts/solid.py makes the tables.
 *
 *   solid_loop CHESTS SEED [--kind K] [--turns FIRST-END] [--keep FOLDER] [--kept yes] [--workers N] [--floor SHARE]
 *
 * CHESTS of each kind, grades by turns. --keep keeps the straightened pictures and takes them from there the next
 * time (--kept: only those; --turns: so many of each kind only). With --floor
 * no rows: it fails when fluid is stated in fewer than that share of the chests with fluid, or in more than one less that share of
 * the aerated ones. */
#include "moving_chests.h"
#include "solid_chests.h"

#include "core/pool.h"
#include "core/units.h"
#include "reading/segments.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FRAMES = 100 };

static const sl_code codes[] = {SL_PLEURA_DEPTH_MM, SL_EFFUSION, SL_EFFUSION_DEPTH, SL_CONSOLIDATION, SL_CONSOLIDATION_EXTENT,
                                SL_EFFUSION_SWING, SL_EFFUSION_SEPTA, SL_EFFUSION_PARTICLES};
enum { CODES = sizeof codes / sizeof *codes };

typedef struct value {
    bool known, yes;
    sl_answer answer;
    double value, low, high;
} value;

typedef struct row {
    int kind, grade;
    bool read;
    sl_scenario scenario;
    value truth[CODES], found[CODES];
} row;

typedef struct loop {
    long seed;
    int each, only, first, last;
    bool kept_only;
    const char *keep;
    row *rows;
} loop;

static void take(const sl_reading *reading, value *values)
{
    for (int k = 0; k < CODES; k++) {
        const sl_finding *f = reading ? sl_reading_get(reading, codes[k]) : NULL;
        values[k] = (value){.value = NAN, .low = NAN, .high = NAN};
        if (f)
            values[k] = (value){f->known, f->answer == SL_PRESENT, f->known ? f->answer : SL_UNCERTAIN, f->value, f->low, f->high};
    }
}

static bool left_out(const loop *all, int item)
{
    int turn = item % all->each;
    return (all->only >= 0 && item / all->each != all->only) || turn < all->first || turn >= all->last;
}

static void one_chest(void *context, int item, int worker)
{
    (void)worker;
    loop *all = context;
    row *r = &all->rows[item];
    sl_chest *chest = NULL;
    sl_error error = {0};
    sl_arena arena = {0};
    moving_capture_of kept = {0};
    moving_clip clip = {0};
    sl_segments *segments = sl_segments_new();
    char path[1000] = "";
    r->kind = item / all->each;
    r->grade = item % 3 + 1;
    take(NULL, r->truth);
    take(NULL, r->found);
    if (left_out(all, item)) {
        sl_segments_free(&segments);
        return;
    }
    uint64_t seed = (uint64_t)(all->seed + item);
    solid_scenario(r->kind, seed, r->grade, 4, &r->scenario);
    if (all->keep)
        snprintf(path, sizeof path, "%s/%d-%llu-%d", all->keep, r->kind, (unsigned long long)seed, r->grade);
    if (segments && sl_chest_new(&r->scenario, &chest, &error) == SL_OK) {
        sl_chest_workers(chest, 1);
        take(sl_chest_truth(chest, &arena), r->truth);
        bool there = all->kept_only ? path[0] && moving_capture_load(path, &kept) : moving_capture_once(chest, MOST_FRAMES, path, &kept);
        r->read = there && moving_every(&kept, 1, &arena, &clip) && sl_segments_read(segments, &clip.stack, &error) == SL_OK;
        take(r->read ? sl_segments_state(segments, "chest", &clip.view, &arena) : NULL, r->found);
    }
    moving_clip_free(&clip);
    moving_capture_free(&kept);
    sl_segments_free(&segments);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
}

static void print_values(const value *v, const char *head)
{
    for (int k = 0; k < CODES; k++) {
        const sl_finding_info *info = sl_finding_info_of(codes[k]);
        if (head)
            printf(",%s%s,%s%s_answer,%s%s_low,%s%s_high", head, info->key, head, info->key, head, info->key, head, info->key);
        else
            printf(",%.3f,%s,%.3f,%.3f", v[k].known || info->kind == SL_KIND_ANSWER ? v[k].value : NAN,
                   info->kind == SL_KIND_ANSWER ? sl_answer_name(v[k].answer) : v[k].known ? "known" : "unknown", v[k].low, v[k].high);
    }
}

/* The share of the chests of a kind in which fluid is stated. */
static double stated(const loop *all, int kind)
{
    int yes = 0;
    for (int i = kind * all->each; i < (kind + 1) * all->each; i++)
        for (int k = 0; k < CODES; k++)
            yes += codes[k] == SL_EFFUSION && all->rows[i].found[k].yes;
    return (double)yes / all->each;
}

int main(int argc, char **argv)
{
    loop all = {.each = argc > 1 ? (int)strtol(argv[1], NULL, 10) : 0, .seed = argc > 2 ? strtol(argv[2], NULL, 10) : 0, .only = -1, .last = 1 << 20};
    double least = 0;
    int workers = 0;
    for (int i = 3; i + 1 < argc; i += 2)
        if (!strcmp(argv[i], "--kind"))
            all.only = (int)strtol(argv[i + 1], NULL, 10);
        else if (!strcmp(argv[i], "--keep"))
            all.keep = argv[i + 1];
        else if (!strcmp(argv[i], "--kept"))
            all.kept_only = true;
        else if (!strcmp(argv[i], "--turns"))
            sscanf(argv[i + 1], "%d-%d", &all.first, &all.last);
        else if (!strcmp(argv[i], "--workers"))
            workers = (int)strtol(argv[i + 1], NULL, 10);
        else if (!strcmp(argv[i], "--floor"))
            least = strtod(argv[i + 1], NULL);
    if (all.each < 1 || all.each > 10000) {
        fprintf(stderr, "solid_loop CHESTS SEED [--kind K] [--turns FIRST-END] [--keep FOLDER] [--kept yes] [--workers N] [--floor SHARE]\n");
        return 2;
    }
    int count = all.each * SOLID_KINDS;
    all.rows = calloc((size_t)count, sizeof *all.rows);
    if (!all.rows)
        return 1;
    sl_pool_run(workers, count, one_chest, &all);
    bool good = true;
    if (least > 0) {
        good = stated(&all, SOLID_FLUID) >= least && stated(&all, SOLID_WELL) <= 1 - least;
    } else {
        printf("kind,seed,grade,read,breaths,fluid_kind,bronchogram,bronchogram_move_mm");
        print_values(NULL, "true_");
        print_values(NULL, "");
        printf("\n");
        for (int i = 0; i < count; i++) {
            const row *r = &all.rows[i];
            if (left_out(&all, i) || (all.kept_only && !r->read))
                continue;
            const sl_consolidation *c = &r->scenario.consolidation[0];
            bool solid = r->scenario.consolidations > 0;
            printf("%s,%ld,%d,%d,%.0f,%d,%d,%.2f", solid_names[r->kind], all.seed + i, r->grade, r->read, r->scenario.motion.breaths_per_min,
                   r->scenario.effusion.kind, solid ? c->bronchogram : 0, solid ? c->bronchogram_move_mm : 0);
            print_values(r->truth, NULL);
            print_values(r->found, NULL);
            printf("\n");
        }
    }
    free(all.rows);
    return good ? 0 : 1;
}
