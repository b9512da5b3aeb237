/* A-lines and B-lines of real clips against labels by eye (../shared/clips/labels.csv: 114 clips of 21 people, one device):
 * areas under the ROC curve of the program's own indices. The few weights were fitted to these clips, so this guards against
 * breaking things; figures by people not fitted on stand in docs/accuracy.md. Skips (77) where the clips are absent. */
#include "agree/roc.h"
#include "core/file.h"
#include "core/pool.h"
#include "core/text.h"
#include "core/units.h"
#include "reading/read_clip.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

enum { MOST = 400 };

/* Reached: B-lines 0.89 (0.81 to 0.94 by bootstrap over people), A-lines 0.87 (0.78 to 0.93). The floors lie below these
 * intervals, since less than their width may be chance; a broken index falls under 0.7. */
#define FLOOR_B 0.78
#define FLOOR_A 0.75
/* No answer of yes or no on more clips than this is no use; by design a fifth is left open. */
#define OPEN_MOST 0.35

typedef struct clip {
    char path[4096];
    int a, b; /* labels */
    double a_index, b_index;
    bool read, a_open, b_open;
} clip;

static double index_of(const sl_reading *reading, sl_code code, bool *open)
{
    const sl_finding *finding = reading ? sl_reading_get(reading, code) : NULL;
    *open = !finding || finding->answer == SL_UNCERTAIN;
    return finding && sl_known(finding->value) ? finding->value : 0.5;
}

static void read_one(void *context, int item, int worker)
{
    clip *c = (clip *)context + item;
    sl_arena arena = {0};
    sl_clip_result result;
    (void)worker;
    sl_read_clip(c->path, NULL, &arena, &result);
    c->read = result.state == SL_CLIP_READ;
    c->a_index = index_of(result.reading, SL_A_LINES, &c->a_open);
    c->b_index = index_of(result.reading, SL_B_LINES, &c->b_open);
    sl_arena_free(&arena);
}

static bool state(const char *name, const clip *clips, int count, bool b, double floor, sl_arena *arena)
{
    double index[MOST];
    int truth[MOST], open = 0;
    for (int i = 0; i < count; i++) {
        index[i] = b ? clips[i].b_index : clips[i].a_index;
        truth[i] = b ? clips[i].b : clips[i].a;
        open += b ? clips[i].b_open : clips[i].a_open;
    }
    sl_estimate area = sl_roc_area(index, truth, count, arena, NULL);
    printf("%s: area %.3f (%.3f to %.3f by DeLong, clips taken as independent) on %d clips, floor %.2f; %d left open\n", name,
           area.value, area.low, area.high, count, floor, open);
    return area.value >= floor && open <= OPEN_MOST * count;
}

int main(int argc, char **argv)
{
    static clip clips[MOST];
    char path[4000];
    struct stat facts;
    sl_arena arena = {0};
    sl_error error = {0};
    sl_csv csv;
    char *bytes;
    size_t length;
    int count = 0, unread = 0;
    if (argc != 2)
        return 2;
    snprintf(path, sizeof path, "%s/labels.csv", argv[1]);
    if (stat(path, &facts)) {
        printf("skipped: no clips in %s\n", argv[1]);
        return 77;
    }
    if (sl_file_read(path, 1 << 20, &arena, &bytes, &length, &error) != SL_OK ||
        sl_csv_parse(bytes, length, path, &arena, &csv, &error) != SL_OK) {
        printf("%s\n", error.text);
        return 1;
    }
    int name = sl_csv_column(&csv, "video_file"), a = sl_csv_column(&csv, "A-lines"), b = sl_csv_column(&csv, "B-lines");
    for (int row = 1; row < csv.rows && count < MOST; row++) {
        clip *c = &clips[count++];
        snprintf(c->path, sizeof c->path, "%s/videos/%s.mp4", argv[1], sl_csv_get(&csv, row, name));
        c->a = !strcmp(sl_csv_get(&csv, row, a), "yes");
        c->b = !strcmp(sl_csv_get(&csv, row, b), "yes");
    }
    sl_pool_run(0, count, read_one, clips);
    for (int i = 0; i < count; i++)
        if (!clips[i].read) {
            printf("not read: %s\n", clips[i].path);
            unread++;
        }
    bool good = state("B-lines", clips, count, true, FLOOR_B, &arena);
    good = state("A-lines", clips, count, false, FLOOR_A, &arena) && good;
    sl_arena_free(&arena);
    return good && !unread && count ? 0 : 1;
}
