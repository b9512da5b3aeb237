#include "made.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void random_file(const char *path, uint32_t seed)
{
    FILE *file = fopen(path, "wb");
    for (int i = 0; file && i < 3000; i++) {
        seed = seed * 1664525u + 1013904223u;
        fputc((int)(seed >> 24), file);
    }
    if (file)
        fclose(file);
}

void make_file(const char *path, const char *text)
{
    FILE *file = fopen(path, "wb");
    if (file) {
        fputs(text, file);
        fclose(file);
    }
}

void make_exam(const char *folder, unsigned number, made_exam *made)
{
    static const char *const zones[] = {"R-upper-anterior", "L-upper-anterior", "L-basal-lateral"};
    static const char *const names[] = {"R1.mp4", "L1.mp4", "L4.mp4"};
    *made = (made_exam){0};
    for (int i = 0; i < MADE_CLIPS; i++) {
        snprintf(made->path[i], sizeof made->path[i], "%s/%u-%s", folder, number, names[i]);
        random_file(made->path[i], number * 8 + (uint32_t)i);
        made->clip[i] = (sl_store_clip_in){.path = made->path[i], .name = names[i], .zone = zones[i], .depth_cm = i == 1 ? 12.5 : 0,
                                           .notes = i ? "" : "sat up", .by = "program", .author = "strandline test",
                                           .result = "{\"reading\": {\"findings\": []}}"};
    }
    const char *const files[] = {"report.pdf", ".records/R1.record"};
    for (int i = 0; i < 2; i++) {
        snprintf(made->path[MADE_CLIPS + i], sizeof made->path[0], "%s/%u-file-%d", folder, number, i);
        random_file(made->path[MADE_CLIPS + i], number * 8 + 5 + (uint32_t)i);
        made->file[i] = (sl_store_file_in){files[i], made->path[MADE_CLIPS + i]};
    }
    snprintf(made->person, sizeof made->person, "Harbour %u", number % 7);
    made->in = (sl_store_exam_in){.person = made->person, .title = "an invented examination", .date = "2031-02-28",
                                  .question = "wet or dry?", .protocol = "8-zones", .invented = true, .clips = MADE_CLIPS,
                                  .clip = made->clip, .files = 2, .file = made->file};
}

char made_root[400], made_place[500];

int made_set_up(void **state)
{
    (void)state;
    snprintf(made_root, sizeof made_root, "%s/sl-store-XXXXXX", getenv("TMPDIR") ? getenv("TMPDIR") : "/tmp");
    if (!mkdtemp(made_root))
        return 1;
    snprintf(made_place, sizeof made_place, "%s/kept", made_root);
    return 0;
}

int made_tear_down(void **state)
{
    char command[600];
    (void)state;
    snprintf(command, sizeof command, "rm -rf '%s'", made_root);
    return system(command);
}

sl_store *made_store(void)
{
    sl_store *store;
    sl_error error;
    if (sl_store_open(&(sl_store_options){.folder = made_place, .who = "tester", .make = true}, &store, &error) == SL_OK)
        return store;
    fprintf(stderr, "%s\n", error.text);
    abort();
}
