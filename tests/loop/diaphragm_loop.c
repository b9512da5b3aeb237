/* Diaphragm and curtain on simulated chests whose truth is known, through the reader without video coding: one CSV row a chest;
 * scripts/diaphragm.py makes docs/diaphragm.md of it.
 *
 *   diaphragm_loop CHESTS_A_KIND SEED SECONDS [--kind K] [--every N] [--keep FOLDER] [--floor SHARE]
 *
 * Kinds by moving_chests.h, or by turns: dome, curtain, wall, and those in which none is to be seen (slides, lung point, dome
 * still, base still). The true excursion is that along the beam the reader measured in, from the chest's geometry. --every reads
 * each N-th picture only. --keep keeps the straightened pictures and takes them from there the next time. With --floor it fails when a smaller share of the answers on dome and curtain is right. */
#include "chest/truth.h"
#include "core/units.h"
#include "moving_chests.h"
#include "reading/segments.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FRAMES = 600, CODES = 9 };

static const sl_code codes[CODES] = {SL_DIAPHRAGM, SL_DIAPHRAGM_EXCURSION, SL_DIAPHRAGM_SPEED, SL_DIAPHRAGM_THICKNESS,
                                     SL_DIAPHRAGM_THICKNESS_IN, SL_DIAPHRAGM_THICKENING, SL_CURTAIN, SL_CURTAIN_TRAVEL, SL_BREATHING_RATE};
static const moving_kind kinds[] = {MOVING_DOME, MOVING_CURTAIN, MOVING_WALL, MOVING_SLIDES, MOVING_LUNG_POINT, MOVING_DOME_STILL,
                                    MOVING_BASE_STILL};

/* Where on the beam the breaths were measured: the middle of a breath's evidence. */
static double beam_of(const sl_finding *f)
{
    for (int i = 0; f && i < f->evidences; i++)
        if (f->evidence[i].points == 0)
            return 0.5 * (f->evidence[i].first_beam + f->evidence[i].last_beam);
    return SL_UNKNOWN;
}

static double true_excursion(sl_chest *chest, double beam, int frames)
{
    double low = INFINITY, high = -INFINITY, at = beam * SL_TRUTH_BEAMS - 0.5;
    int left = (int)floor(at);
    if (!sl_known(beam) || left < 0 || left + 1 >= SL_TRUTH_BEAMS)
        return SL_UNKNOWN;
    for (int i = 0; i < frames; i++) {
        sl_frame_truth t;
        sl_chest_frame_truth(chest, i, &t);
        double depth = t.dome_mm[left] + (at - left) * (t.dome_mm[left + 1] - t.dome_mm[left]);
        if (sl_known(depth)) {
            low = fmin(low, depth);
            high = fmax(high, depth);
        }
    }
    return high >= low ? high - low : SL_UNKNOWN;
}

static void print(const sl_reading *reading, const char *side)
{
    for (int i = 0; i < CODES; i++) {
        const sl_finding *f = reading ? sl_reading_get(reading, codes[i]) : NULL;
        bool known = f && f->known;
        printf(",%d,%s,%.4f", known, known ? sl_answer_name(f->answer) : "uncertain", f ? f->value : SL_UNKNOWN);
        if (!*side)
            printf(",%.4f,%.4f", f ? f->low : SL_UNKNOWN, f ? f->high : SL_UNKNOWN);
    }
}

static void heading(void)
{
    printf("kind,seed,grade,frame_rate,read,sniff,beam_excursion_mm,row_mm");
    for (int side = 0; side < 2; side++)
        for (int i = 0; i < CODES; i++) {
            const char *key = sl_finding_info_of(codes[i])->key, *what = side ? "" : "true_";
            printf(",%s%s_known,%s%s_answer,%s%s", what, key, what, key, what, key);
            if (side)
                printf(",%s_low,%s_high", key, key);
        }
    printf("\n");
}

/* Right and asked answers on dome and curtain. */
static void one(moving_kind kind, long seed, double seconds, int every, const char *keep, int *asked, int *right)
{
    sl_scenario s;
    sl_chest *chest = NULL;
    sl_error error = {0};
    sl_arena arena = {0};
    moving_clip clip = {0};
    moving_capture_of kept = {0};
    char path[1000] = "";
    sl_segments *segments = sl_segments_new();
    int grade = (int)(seed % 3) + 1;
    moving_scenario(kind, (uint64_t)seed, grade, seconds, &s);
    if (keep)
        snprintf(path, sizeof path, "%s/%d-%ld-%.1f", keep, kind, seed, seconds);
    if (segments && sl_chest_new(&s, &chest, &error) == SL_OK) {
        sl_chest_workers(chest, 1);
        const sl_reading *truth = sl_chest_truth(chest, &arena), *found = NULL;
        if (moving_capture_once(chest, MOST_FRAMES, path, &kept) && moving_every(&kept, every, &arena, &clip) && sl_segments_read(segments, &clip.stack, NULL) == SL_OK)
            found = sl_segments_state(segments, "chest", &clip.view, &arena);
        double beam = beam_of(found ? sl_reading_get(found, SL_DIAPHRAGM) : NULL);
        printf("%s,%ld,%d,%.2f,%d,%d,%.4f,%.4f", moving_names[kind], seed, grade, sl_chest_frame_rate_hz(chest) / every, found != NULL,
               s.motion.sniff, true_excursion(chest, beam, sl_chest_frames(chest)), sl_view_depth_mm(&clip.view) / SL_DEPTHS);
        print(truth, "true_");
        print(found, "");
        printf("\n");
        for (int i = 0; i < CODES && found && truth; i++) {
            if (codes[i] != SL_DIAPHRAGM && codes[i] != SL_CURTAIN)
                continue;
            const sl_finding *t = sl_reading_get(truth, codes[i]), *f = sl_reading_get(found, codes[i]);
            bool still = kind == MOVING_DOME_STILL && codes[i] == SL_DIAPHRAGM;
            if (t && f && !still) {
                ++*asked;
                *right += f->known && f->answer == t->answer;
            }
        }
    } else {
        fprintf(stderr, "%s %ld: %s\n", moving_names[kind], seed, error.text);
    }
    fflush(stdout);
    moving_clip_free(&clip);
    moving_capture_free(&kept);
    sl_segments_free(&segments);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
}

int main(int argc, char **argv)
{
    if (argc < 4) {
        fprintf(stderr, "diaphragm_loop CHESTS_A_KIND SEED SECONDS [--kind K] [--every N] [--keep FOLDER] [--floor SHARE]\n");
        return 2;
    }
    int count = (int)strtol(argv[1], NULL, 10), kind = -1, every = 1, asked = 0, right = 0;
    long seed = strtol(argv[2], NULL, 10);
    double seconds = strtod(argv[3], NULL), least = 0;
    const char *keep = NULL;
    for (int i = 4; i + 1 < argc; i += 2) {
        if (!strcmp(argv[i], "--kind"))
            kind = (int)strtol(argv[i + 1], NULL, 10);
        else if (!strcmp(argv[i], "--every"))
            every = (int)strtol(argv[i + 1], NULL, 10);
        else if (!strcmp(argv[i], "--keep"))
            keep = argv[i + 1];
        else if (!strcmp(argv[i], "--floor"))
            least = strtod(argv[i + 1], NULL);
        else
            return 2;
    }
    if (count < 1 || count > 10000 || kind >= MOVING_KINDS || every < 1 || !(seconds > 0.5) || seconds > 60)
        return 2;
    heading();
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++)
        for (int i = 0; i < count && (kind < 0 || kinds[k] == (moving_kind)kind); i++)
            one(kinds[k], seed + i, seconds, every, keep, &asked, &right);
    fprintf(stderr, "%d of %d answers on dome and curtain right\n", right, asked);
    return asked && right >= least * asked ? 0 : 1;
}
