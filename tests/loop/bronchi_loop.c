/* Invented chests by chance with solid lung whose bronchi hold nothing seen, still air, moving air or fluid, and others without solid
 * lung, through the whole of reading: truth and reading of the bronchograms side by side, a row a chest. scripts/bronchi.py makes the
 * tables.
 *
 *   bronchi_loop CHESTS SEED [--kind K] [--keep FOLDER] [--workers N] [--floor SHARE] [SCENARIO.json ...]
 *
 * CHESTS of each kind, grades by turns, 8 s each. --keep keeps the straightened pictures and takes them from there the next time.
 * Scenarios are read as rows of their own, as long as they are. With --floor no rows: it fails when moving and still air are told from each
 * other in fewer than that share of the chests that show air. */
#include "moving_chests.h"
#include "solid_chests.h"

#include "core/pool.h"
#include "core/units.h"
#include "reading/segments.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FRAMES = 260, NONE, AIR, MOVING, FLUID, WELL, KINDS_END, KINDS = KINDS_END - NONE, MOST_SCENARIOS = 16 };

static const char *const names[KINDS] = {"solid, no bronchogram", "still air", "moving air", "fluid", "no solid lung"};
static const sl_code codes[] = {SL_CONSOLIDATION, SL_AIR_BRONCHOGRAM, SL_AIR_BRONCHOGRAM_MOVES, SL_AIR_BRONCHOGRAM_TRAVEL, SL_FLUID_BRONCHOGRAM};
enum { CODES = sizeof codes / sizeof *codes };

typedef struct value {
    bool known;
    sl_answer answer;
    double value, low, high, confidence;
} value;

typedef struct row {
    const char *name;
    int grade;
    long seed;
    bool read;
    value truth[CODES], found[CODES];
} row;

typedef struct loop {
    long seed;
    int each, only, scenarios;
    char **scenario;
    const char *keep;
    row *rows;
} loop;

static void take(const sl_reading *reading, value *values)
{
    for (int k = 0; k < CODES; k++) {
        const sl_finding *f = reading ? sl_reading_get(reading, codes[k]) : NULL;
        values[k] = (value){.value = NAN, .low = NAN, .high = NAN, .confidence = NAN};
        if (f)
            values[k] = (value){f->known, f->known ? f->answer : SL_UNCERTAIN, f->known ? f->value : NAN, f->low, f->high, f->confidence};
    }
}

/* Chests without solid lung are aerated, wet, or have an organ or a heart, by turns. */
static void draw(int kind, uint64_t seed, int grade, sl_scenario *s)
{
    static const solid_kind others[] = {SOLID_WELL, SOLID_FLUID, SOLID_ORGAN, SOLID_HEART};
    solid_scenario(kind == WELL - NONE ? others[seed % 4] : SOLID_LOBE, seed, grade, 8, s);
    if (kind < WELL - NONE)
        s->consolidation[0].bronchogram = kind;
}

static void one_chest(void *context, int item, int worker)
{
    (void)worker;
    loop *all = context;
    row *r = &all->rows[item];
    sl_chest *chest = NULL;
    sl_error error = {0};
    sl_arena arena = {0};
    sl_scenario scenario;
    moving_capture_of kept = {0};
    moving_clip clip = {0};
    char path[1000] = "";
    int drawn = all->each * KINDS, kind = item / (all->each ? all->each : 1);
    take(NULL, r->truth);
    take(NULL, r->found);
    r->seed = all->seed + item;
    r->grade = item % 3 + 1;
    if (item < drawn && all->only >= 0 && kind != all->only)
        return;
    if (item < drawn) {
        r->name = names[kind];
        draw(kind, (uint64_t)r->seed, r->grade, &scenario);
        if (all->keep)
            snprintf(path, sizeof path, "%s/%d-%ld-%d", all->keep, kind, r->seed, r->grade);
    } else {
        r->name = all->scenario[item - drawn];
        if (sl_scenario_load(r->name, &scenario, &error) != SL_OK) {
            fprintf(stderr, "%s\n", error.text);
            return;
        }
        r->grade = scenario.grade;
    }
    sl_segments *segments = sl_segments_new();
    if (segments && sl_chest_new(&scenario, &chest, &error) == SL_OK) {
        sl_chest_workers(chest, 1);
        take(sl_chest_truth(chest, &arena), r->truth);
        r->read = moving_capture_once(chest, MOST_FRAMES, path, &kept) && moving_every(&kept, 1, &arena, &clip) && sl_segments_read(segments, &clip.stack, &error) == SL_OK;
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
            printf(",%s%s,%s%s_answer,%s%s_low,%s%s_high,%s%s_sure", head, info->key, head, info->key, head, info->key, head, info->key, head, info->key);
        else
            printf(",%.3f,%s,%.3f,%.3f,%.2f", v[k].value,
                   info->kind == SL_KIND_ANSWER ? sl_answer_name(v[k].answer) : v[k].known ? "known" : "unknown", v[k].low, v[k].high, v[k].confidence);
    }
}

/* Of the chests with air that can be seen the share in which its movement is told rightly. */
static double told(const loop *all, int count)
{
    int right = 0, seen = 0;
    for (int i = 0; i < count; i++) {
        const value *truth = &all->rows[i].truth[2], *found = &all->rows[i].found[2];
        if (all->rows[i].truth[1].answer != SL_PRESENT || !(truth->confidence > 0))
            continue;
        seen++;
        right += found->answer == truth->answer;
    }
    return seen ? (double)right / seen : 0;
}

int main(int argc, char **argv)
{
    static char *scenario[MOST_SCENARIOS];
    loop all = {.each = argc > 1 ? (int)strtol(argv[1], NULL, 10) : -1, .seed = argc > 2 ? strtol(argv[2], NULL, 10) : 0, .only = -1, .scenario = scenario};
    double least = 0;
    int workers = 0;
    for (int i = 3; i < argc; i++)
        if (strncmp(argv[i], "--", 2) != 0 || i + 1 >= argc) {
            if (all.scenarios < MOST_SCENARIOS)
                scenario[all.scenarios++] = argv[i];
        } else if (!strcmp(argv[i++], "--kind"))
            all.only = (int)strtol(argv[i], NULL, 10);
        else if (!strcmp(argv[i - 1], "--keep"))
            all.keep = argv[i];
        else if (!strcmp(argv[i - 1], "--workers"))
            workers = (int)strtol(argv[i], NULL, 10);
        else if (!strcmp(argv[i - 1], "--floor"))
            least = strtod(argv[i], NULL);
    int count = all.each * KINDS + all.scenarios;
    if (all.each < 0 || all.each > 10000 || count < 1) {
        fprintf(stderr, "bronchi_loop CHESTS SEED [--kind K] [--keep FOLDER] [--workers N] [--floor SHARE] [SCENARIO.json ...]\n");
        return 2;
    }
    all.rows = calloc((size_t)count, sizeof *all.rows);
    if (!all.rows)
        return 1;
    sl_pool_run(workers, count, one_chest, &all);
    bool good = !(least > 0) || told(&all, count) >= least;
    if (!(least > 0)) {
        printf("kind,seed,grade,read");
        print_values(NULL, "true_");
        print_values(NULL, "");
        printf("\n");
        for (int i = 0; i < count; i++) {
            const row *r = &all.rows[i];
            if (!r->name)
                continue;
            printf("\"%s\",%ld,%d,%d", r->name, r->seed, r->grade, r->read);
            print_values(r->truth, NULL);
            print_values(r->found, NULL);
            printf("\n");
        }
    }
    free(all.rows);
    return good ? 0 : 1;
}
