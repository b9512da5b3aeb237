/* Movement on simulated chests whose truth is known: each kind of moving_chests.h in turn, the pictures through the reader
 * without video coding. One CSV row a chest and step of decimation; scripts/movement.py makes tables of it.
 *
 *   movement_loop CHESTS_A_KIND SEED SECONDS [--kind K] [--decimate] [--rate HZ] [--keep FOLDER] [--workers N]
 *                 [--kept-only] [--floor SHARE]
 *
 * With --decimate every picture, every second, fourth and eighth is read. With --rate all are scanned at that many frames a
 * second. With --keep the straightened pictures are kept in a folder and taken from there the next time, so
 * that a change of the reader is tried in seconds; empty it when the simulator changes. --kept-only leaves out what is not there. With --floor it fails when fewer than this share of
 * the answers on sliding are right. */
#include "core/pool.h"
#include "core/units.h"
#include "moving_chests.h"
#include "reading/segments.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FRAMES = 600, STEPS = 4, CODES = 9 };

static const sl_code codes[CODES] = {SL_SLIDING, SL_SLIDING_AMPLITUDE_MM, SL_LUNG_PULSE, SL_LUNG_POINT, SL_LUNG_POINT_TRAVEL,
                                     SL_BREATHING_RATE, SL_CURTAIN, SL_PLEURA_DEPTH_MM, SL_SLIDING_PHASE};

typedef struct value {
    bool known;
    sl_answer answer;
    double value, low, high;
} value;

typedef struct row {
    int kind, grade, every;
    long seed;
    double frame_rate, seconds;
    bool read, left_out;
    value truth[CODES], found[CODES];
} row;

typedef struct loop {
    long seed;
    int a_kind, kind, steps;
    double seconds, rate; /* frames a second; 0: as the chest by chance has it */
    const char *keep;     /* a folder, or NULL */
    bool kept_only;
    row *rows;
} loop;

static void take(const sl_reading *reading, value *to)
{
    for (int i = 0; i < CODES; i++) {
        const sl_finding *f = reading ? sl_reading_get(reading, codes[i]) : NULL;
        to[i] = (value){.value = SL_UNKNOWN, .low = SL_UNKNOWN, .high = SL_UNKNOWN};
        if (f)
            to[i] = (value){f->known && !(f->confidence == 0), f->known ? f->answer : SL_UNCERTAIN, f->value, f->low, f->high};
    }
}

static void read_once(const moving_capture_of *kept, int every, const value *truth, row *r)
{
    sl_arena arena = {0};
    moving_clip clip = {0};
    sl_segments *segments = sl_segments_new();
    memcpy(r->truth, truth, sizeof r->truth);
    r->frame_rate = kept->frame_rate_hz / every;
    r->read = segments && moving_every(kept, every, &arena, &clip) && sl_segments_read(segments, &clip.stack, NULL) == SL_OK;
    take(r->read ? sl_segments_state(segments, "chest", &clip.view, &arena) : NULL, r->found);
    r->seconds = r->read ? sl_segments_duration(segments) : SL_UNKNOWN;
    moving_clip_free(&clip);
    sl_segments_free(&segments);
    sl_arena_free(&arena);
}

static void one_chest(void *context, int item, int worker)
{
    (void)worker;
    loop *all = context;
    int kinds = all->kind >= 0 ? 1 : MOVING_MIXED, kind = all->kind >= 0 ? all->kind : item % kinds, turn = item / kinds;
    int grade = (int)((all->seed + turn) % 3) + 1;
    sl_scenario scenario;
    sl_chest *chest = NULL;
    sl_error error = {0};
    sl_arena arena = {0};
    value truth[CODES];
    moving_capture_of kept = {0};
    char path[1000] = "";
    row *r = &all->rows[item * all->steps];
    moving_scenario(kind, (uint64_t)(all->seed + turn), grade, all->seconds, &scenario);
    if (all->rate > 0) {
        double most = sl_scenario_frame_rate_most_hz(&scenario);
        if (all->rate > most)
            scenario.controls.parallel_beams = (int)ceil(scenario.controls.parallel_beams * all->rate / most);
        scenario.controls.frame_rate_hz = all->rate;
    }
    for (int i = 0; i < all->steps; i++)
        r[i] = (row){.kind = kind, .grade = grade, .every = 1 << i, .seed = all->seed + turn};
    if (all->keep)
        snprintf(path, sizeof path, "%s/%d-%ld-%d-%.1f-%.0f", all->keep, kind, all->seed + turn, grade, all->seconds, all->rate);
    if (sl_chest_new(&scenario, &chest, &error) == SL_OK) {
        sl_chest_workers(chest, 1);
        take(sl_chest_truth(chest, &arena), truth);
        bool there = all->kept_only ? path[0] && moving_capture_load(path, &kept) : moving_capture_once(chest, MOST_FRAMES, path, &kept);
        for (int i = 0; i < all->steps; i++) {
            r[i].left_out = all->kept_only && !there;
            if (there)
                read_once(&kept, 1 << i, truth, &r[i]);
        }
    }
    moving_capture_free(&kept);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
}

static void print_value(const value *v)
{
    static const char *const words[] = {"uncertain", "absent", "present"};
    printf(",%d,%s,%.4f,%.4f,%.4f", v->known, words[v->answer], v->value, v->low, v->high);
}

static void print_rows(const row *rows, int count)
{
    printf("kind,seed,grade,every,frame_rate,seconds,read");
    for (int i = 0; i < CODES; i++) {
        const char *key = sl_finding_info_of(codes[i])->key;
        for (int side = 0; side < 2; side++)
            printf(",%s%s_known,%s%s_answer,%s%s,%s%s_low,%s%s_high", side ? "" : "true_", key, side ? "" : "true_", key,
                   side ? "" : "true_", key, side ? "" : "true_", key, side ? "" : "true_", key);
    }
    printf("\n");
    for (int i = 0; i < count; i++) {
        const row *r = &rows[i];
        if (r->left_out)
            continue;
        printf("%s,%ld,%d,%d,%.2f,%.2f,%d", moving_names[r->kind], r->seed, r->grade, r->every, r->frame_rate, r->seconds, r->read);
        for (int k = 0; k < CODES; k++) {
            print_value(&r->truth[k]);
            print_value(&r->found[k]);
        }
        printf("\n");
    }
}

int main(int argc, char **argv)
{
    if (argc < 4) {
        fprintf(stderr, "movement_loop CHESTS_A_KIND SEED SECONDS [--kind K] [--decimate] [--rate HZ] [--keep FOLDER] "
                        "[--workers N] [--kept-only] [--floor SHARE]\n");
        return 2;
    }
    loop all = {.a_kind = (int)strtol(argv[1], NULL, 10), .seed = strtol(argv[2], NULL, 10), .seconds = strtod(argv[3], NULL),
                .kind = -1, .steps = 1};
    double least = 0;
    int workers = 0;
    for (int i = 4; i < argc; i++) {
        if (!strcmp(argv[i], "--decimate"))
            all.steps = STEPS;
        else if (!strcmp(argv[i], "--kept-only"))
            all.kept_only = true;
        else if (!strcmp(argv[i], "--kind") && i + 1 < argc)
            all.kind = (int)strtol(argv[++i], NULL, 10);
        else if (!strcmp(argv[i], "--rate") && i + 1 < argc)
            all.rate = strtod(argv[++i], NULL);
        else if (!strcmp(argv[i], "--keep") && i + 1 < argc)
            all.keep = argv[++i];
        else if (!strcmp(argv[i], "--workers") && i + 1 < argc)
            workers = (int)strtol(argv[++i], NULL, 10);
        else if (!strcmp(argv[i], "--floor") && i + 1 < argc)
            least = strtod(argv[++i], NULL);
    }
    if (all.a_kind < 1 || all.a_kind > 10000 || all.kind >= MOVING_KINDS || !(all.seconds > 0.5) || all.seconds > 60)
        return 2;
    int chests = all.a_kind * (all.kind >= 0 ? 1 : MOVING_MIXED), count = chests * all.steps;
    all.rows = calloc((size_t)count, sizeof *all.rows);
    if (!all.rows)
        return 1;
    sl_pool_run(workers, chests, one_chest, &all);
    int answered = 0, right = 0;
    for (int i = 0; i < count; i++) {
        const value *found = &all.rows[i].found[0], *truth = &all.rows[i].truth[0];
        answered += found->answer != SL_UNCERTAIN;
        right += found->answer != SL_UNCERTAIN && found->answer == truth->answer;
    }
    if (!(least > 0))
        print_rows(all.rows, count);
    free(all.rows);
    if (!(least > 0))
        return 0;
    printf("sliding: %d of %d answers right, of %d chests\n", right, answered, count);
    return answered > 0 && right >= least * answered ? 0 : 1;
}
