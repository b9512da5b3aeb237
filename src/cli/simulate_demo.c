#include "cli/simulate_demo.h"

#include "chest/demo.h"
#include "core/file.h"
#include "core/json.h"
#include "core/text.h"

#include <stdio.h>
#include <string.h>

/* One date's folder: what people say about the clips, in the two files that `read` looks for. */
static sl_status demo_papers(const char *folder, const char *date, const char *table, sl_arena *arena, sl_error *error)
{
    sl_status status = sl_file_write(sl_path_join(arena, folder, "exam.csv"), table, strlen(table), error);
    json_t *info = json_pack("{s:s,s:s,s:s,s:s,s:s,s:b}", "title", sl_demo_title, "date", date, "person", sl_demo_person, "question",
                             sl_demo_question, "protocol", sl_demo_protocol, "invented", 1);
    if (!status)
        status = sl_json_save(info, sl_path_join(arena, folder, "exam-info.json"), error);
    json_decref(info);
    return status;
}

sl_status sl_simulate_demo(const char *folder, sl_error *error)
{
    sl_arena arena = {0};
    sl_text csv = {0};
    sl_status status = sl_folder_make(folder, error);
    for (int i = 0; !status && i < sl_demo_clip_count; i++) {
        const sl_demo_clip *clip = &sl_demo_clips[i];
        char *day = sl_path_join(&arena, folder, clip->date);
        sl_scenario scenario;
        sl_demo_scenario(i, &scenario);
        if (!csv.length) {
            status = sl_folder_make(day, error);
            sl_text_add(&csv, "file,zone,depth_cm,notes\n");
        }
        char *file = sl_arena_printf(&arena, "%s.mp4", clip->file);
        if (!status)
            status = sl_simulate_one(&scenario, sl_path_join(&arena, day, file), NULL, error);
        sl_csv_add(&csv, file, true);
        sl_csv_add(&csv, clip->zone, false);
        sl_csv_add(&csv, sl_arena_printf(&arena, "%.1f", scenario.controls.depth_mm / 10), false);
        sl_csv_add(&csv, clip->note, false);
        sl_text_add(&csv, "\n");
        bool last = i + 1 == sl_demo_clip_count || strcmp(sl_demo_clips[i + 1].date, clip->date) != 0;
        if (!status && last)
            status = csv.failed ? sl_fail(error, SL_MEMORY, "Memory ran out.") : demo_papers(day, clip->date, csv.bytes, &arena, error);
        if (last)
            sl_text_free(&csv);
    }
    sl_text_free(&csv);
    sl_arena_free(&arena);
    if (!status)
        printf("The demo examination (invented: %s, two dates, %d clips) is in %s.\n", sl_demo_person, sl_demo_clip_count, folder);
    return status;
}
