/* Organs, heart, spine and mirror image on simulated chests whose truth is known: each kind of organ_chests.h in turn, the pictures
 * through the reader without video coding. One CSV row a chest; scripts/organs.py makes tables of it.
 *
 *   organ_loop CHESTS_A_KIND SEED [--kind K] [--keep FOLDER] [--floor SHARE] [--beyond SHARE]
 *
 * With --keep the straightened pictures are kept in a folder and taken from there the next time; empty it when the simulator
 * changes. With --floor it fails when fewer than this share of the stated answers on organs are right; with --beyond likewise for the spine
 * and the mirror image, of which as many as one in four chests must be told. */
#include "moving_chests.h"
#include "organ_chests.h"

#include "core/pool.h"
#include "core/units.h"
#include "reading/segments.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FRAMES = 110 };
static const double SECONDS = 4;

static const sl_code codes[] = {SL_ORGAN, SL_CONSOLIDATION, SL_EFFUSION, SL_SPINE, SL_MIRROR_IMAGE, SL_CURTAIN, SL_DIAPHRAGM};
enum { CODES = sizeof codes / sizeof *codes };
static const sl_code amounts[] = {SL_EFFUSION_DEPTH, SL_EFFUSION_BASE, SL_CURTAIN_TRAVEL};
enum { AMOUNTS = sizeof amounts / sizeof *amounts };

typedef struct value {
    double index, confidence;
    sl_answer answer;
    char reason[120];
} value;

typedef struct amount {
    double value, low, high; /* NAN: not known */
    char reason[120];
} amount;

typedef struct row {
    int kind, grade;
    long seed;
    bool read;
    value truth[CODES], found[CODES];
    amount true_amount[AMOUNTS], found_amount[AMOUNTS];
} row;

typedef struct loop {
    long seed;
    int kind, kinds;
    const char *keep;
    row *rows;
} loop;

static void take(const sl_reading *reading, value *to, amount *much)
{
    for (int i = 0; i < AMOUNTS; i++) {
        const sl_finding *f = reading ? sl_reading_get(reading, amounts[i]) : NULL;
        much[i] = (amount){SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, ""};
        if (f && f->known)
            much[i] = (amount){f->value, f->low, f->high, ""};
        snprintf(much[i].reason, sizeof much[i].reason, "%s", f && f->reason ? f->reason : "");
    }
    for (int i = 0; i < CODES; i++) {
        const sl_finding *f = reading ? sl_reading_get(reading, codes[i]) : NULL;
        to[i] = (value){.index = f ? f->value : SL_UNKNOWN, .confidence = f ? f->confidence : SL_UNKNOWN};
        to[i].answer = f && f->known ? f->answer : SL_UNCERTAIN;
        snprintf(to[i].reason, sizeof to[i].reason, "%s", f && f->reason ? f->reason : "");
    }
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
    moving_capture_of kept = {0};
    moving_clip clip = {0};
    sl_segments *segments = sl_segments_new();
    char path[1000] = "";
    *r = (row){.kind = all->kind >= 0 ? all->kind : item % all->kinds, .seed = all->seed + item / all->kinds};
    r->grade = (int)(r->seed % 3) + 1;
    organ_scenario(r->kind, (uint64_t)r->seed, r->grade, SECONDS, &scenario);
    scenario.controls.frame_rate_hz = fmin(scenario.controls.frame_rate_hz, 25);
    if (all->keep)
        snprintf(path, sizeof path, "%s/%d-%ld", all->keep, r->kind, r->seed);
    if (segments && sl_chest_new(&scenario, &chest, &error) == SL_OK) {
        sl_chest_workers(chest, 1);
        take(sl_chest_truth(chest, &arena), r->truth, r->true_amount);
        if (!all->keep || !moving_capture_load(path, &kept)) {
            moving_capture_free(&kept);
            if (moving_capture(chest, MOST_FRAMES, &kept) && all->keep)
                moving_capture_save(&kept, path);
        }
        r->read = kept.cell && !kept.why[0] && moving_every(&kept, 1, &arena, &clip) &&
                  sl_segments_read(segments, &clip.stack, &error) == SL_OK;
        take(r->read ? sl_segments_state(segments, "chest", &clip.view, &arena) : NULL, r->found, r->found_amount);
    } else {
        fprintf(stderr, "kind %d, seed %ld: %s\n", r->kind, r->seed, error.text);
    }
    moving_clip_free(&clip);
    moving_capture_free(&kept);
    sl_segments_free(&segments);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
}

int main(int argc, char **argv)
{
    loop all = {.kind = -1, .seed = argc > 2 ? strtol(argv[2], NULL, 10) : 0};
    int each = argc > 1 ? (int)strtol(argv[1], NULL, 10) : 0;
    double least = 0, beyond = 0;
    for (int i = 3; i + 1 < argc; i += 2) {
        if (!strcmp(argv[i], "--kind"))
            all.kind = (int)strtol(argv[i + 1], NULL, 10);
        else if (!strcmp(argv[i], "--keep"))
            all.keep = argv[i + 1];
        else if (!strcmp(argv[i], "--floor"))
            least = strtod(argv[i + 1], NULL);
        else if (!strcmp(argv[i], "--beyond"))
            beyond = strtod(argv[i + 1], NULL);
    }
    if (each < 1 || each > 10000 || all.kind >= ORGAN_KINDS) {
        fprintf(stderr, "organ_loop CHESTS_A_KIND SEED [--kind K] [--keep FOLDER] [--floor SHARE] [--beyond SHARE]\n");
        return 2;
    }
    all.kinds = all.kind >= 0 ? 1 : ORGAN_KINDS;
    int count = each * all.kinds, stated = 0, right = 0, told = 0, true_ones = 0;
    all.rows = calloc((size_t)count, sizeof *all.rows);
    if (!all.rows)
        return 1;
    sl_pool_run(0, count, one_chest, &all);
    printf("kind,seed,grade,read");
    for (int c = 0; c < CODES; c++) {
        const char *key = sl_finding_info_of(codes[c])->key;
        printf(",true_%s,%s_index,%s,%s_reason", key, key, key, key);
    }
    for (int c = 0; c < AMOUNTS; c++) {
        const char *key = sl_finding_info_of(amounts[c])->key;
        printf(",true_%s,%s,%s_low,%s_high,%s_reason", key, key, key, key, key);
    }
    printf("\n");
    for (int i = 0; i < count; i++) {
        const row *r = &all.rows[i];
        printf("%s,%ld,%d,%d", organ_kind_names[r->kind], r->seed, r->grade, r->read);
        for (int c = 0; c < CODES; c++) {
            bool sure = !(r->truth[c].confidence <= 0);
            printf(",%s,%.3f,%s,\"%s\"", sl_answer_name(sure ? r->truth[c].answer : SL_UNCERTAIN), r->found[c].index,
                   sl_answer_name(r->found[c].answer), r->found[c].reason);
        }
        for (int c = 0; c < AMOUNTS; c++)
            printf(",%.2f,%.2f,%.2f,%.2f,\"%s\"", r->true_amount[c].value, r->found_amount[c].value, r->found_amount[c].low, r->found_amount[c].high,
                   r->found_amount[c].reason);
        printf("\n");
        for (int c = 0; c < CODES; c++)
            if ((codes[c] == SL_SPINE || codes[c] == SL_MIRROR_IMAGE) && r->found[c].answer != SL_UNCERTAIN && r->truth[c].confidence > 0) {
                told++;
                true_ones += r->found[c].answer == r->truth[c].answer;
            }
        if (r->found[0].answer != SL_UNCERTAIN && !(r->truth[0].confidence <= 0)) {
            stated++;
            right += r->found[0].answer == r->truth[0].answer;
        }
    }
    free(all.rows);
    if (least > 0)
        fprintf(stderr, "%d of %d stated answers on organs are right\n", right, stated);
    if (beyond > 0)
        fprintf(stderr, "%d of %d stated answers on what lies beyond the diaphragm are right\n", true_ones, told);
    return (least > 0 && (stated < 1 || right < least * stated)) || (beyond > 0 && (4 * told < count || true_ones < beyond * told)) ? 1 : 0;
}
