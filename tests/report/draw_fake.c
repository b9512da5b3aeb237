/* Writes the invented examination's report into a folder: draw_fake FOLDER [CLIPS [LANGUAGE [a4|letter [CONCLUSION...]]]],
 * signed when there are conclusions. For tests and for the eye. */
#include "fake_exam.h"

#include "core/file.h"
#include "report/record.h"
#include "report/report.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int fail(const sl_error *error)
{
    fprintf(stderr, "%s\n", error->text);
    return 1;
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        fprintf(stderr, "draw_fake FOLDER [CLIPS [LANGUAGE [a4|letter [CONCLUSION...]]]]\n");
        return 2;
    }
    sl_arena arena = {0};
    sl_error error;
    sl_exam exam;
    const char *out = argv[1];
    fake_exam(&arena, argc > 2 ? (int)strtol(argv[2], NULL, 10) : 9, &exam);
    exam.language = argc > 3 ? argv[3] : NULL;
    exam.letter = argc > 4 && !strcmp(argv[4], "letter");
    sl_conclusion *conclusion = SL_NEW(&arena, argc, sl_conclusion);
    for (int i = 5; i < argc; i++)
        conclusion[exam.conclusions++] = (sl_conclusion){.text = argv[i], .signer = "Dr. Invented",
                                                          .signed_at = i == 5 ? "2031-02-28T10:31:00.000Z" : "2031-03-01T08:02:11.000Z"};
    exam.conclusion = conclusion;
    if (sl_folder_make(sl_arena_printf(&arena, "%s/.records", out), &error) ||
        sl_folder_make(sl_arena_printf(&arena, "%s/evidence", out), &error))
        return fail(&error);
    for (int i = 0; i < exam.clips; i++) {
        sl_exam_clip *clip = &exam.clip[i];
        sl_record_key key = {.content = clip->content};
        if (sl_record_save(sl_record_path(&arena, out, clip), &key, &clip->result, &error) ||
            sl_report_picture(clip, exam.invented, sl_language_for(&exam), sl_arena_printf(&arena, "%s/evidence/%s.png", out, clip->stem), &error))
            return fail(&error);
    }
    if (sl_report_json(&exam, out, sl_arena_printf(&arena, "%s/exam.json", out), &error) ||
        sl_report_text(&exam, sl_arena_printf(&arena, "%s/report.txt", out), &error) ||
        sl_report_fhir(&exam, out, sl_arena_printf(&arena, "%s/fhir.json", out), &error) ||
        sl_report_csv(&exam, sl_arena_printf(&arena, "%s/readings.csv", out), &error) ||
        sl_report_pdf(&exam, out, sl_arena_printf(&arena, "%s/report.pdf", out), &error))
        return fail(&error);
    sl_arena_free(&arena);
    return 0;
}
