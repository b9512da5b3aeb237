/* What remains of a clip once it was read: its reading and all numbers as JSON, two small pictures, its motion trace (at most
 * SL_TRACE_COLUMNS_MOST columns: under 200 KB) and what the trace's texture rests on, in this machine's byte order; the
 * diaphragm's borders over time (under 40 KB of JSON). One file a
 * clip under the output folder; an examination of thousands of clips is drawn from these files one at a time, and a
 * clip whose file is there already (same content, options and program) is not read again. */
#ifndef SL_REPORT_RECORD_H
#define SL_REPORT_RECORD_H

#include "core/arena.h"
#include "core/error.h"
#include "exam/exam.h"

#include <jansson.h>
#include <stddef.h>
#include <stdint.h>

typedef struct sl_jpeg {
    int width, height;
    size_t length;      /* 0: there is no picture */
    const uint8_t *bytes;
} sl_jpeg;

/* What a record was made from; two keys differ when the clip would read otherwise. */
typedef struct sl_record_key {
    uint64_t content;  /* hash of the file */
    double depth_cm;   /* stated, 0 none */
    uint64_t borrowed; /* content of the clip whose view was borrowed, 0 none */
    uint64_t program;  /* which program read it */
} sl_record_key;

typedef struct sl_record {
    sl_record_key key;
    sl_clip_result result;   /* all but the kept frames' pixels; without a trace where an older program wrote it */
    int shown_frame;         /* of the two pictures; -1 when there are none */
    double shown_time_s;
    sl_jpeg picture, cell;   /* original (made smaller), straightened */
} sl_record;

enum { SL_RECORD_PICTURE_SIDE = 520 }; /* pixels: the longer side of the kept picture at most */

sl_status sl_record_save(const char *path, const sl_record_key *key, const sl_clip_result *result, sl_error *error);

/* SL_IO when there is none, SL_FORMAT when it is damaged. All memory is from `arena`. */
sl_status sl_record_load(const char *path, sl_arena *arena, sl_record *record, sl_error *error);

/* The kept frame to show: the one that shows the most, else the middle one, else NULL. */
const sl_kept_frame *sl_shown_frame(const sl_clip_result *result);

/* ---- result_json.c ---- */
json_t *sl_result_to_json(const sl_clip_result *result);
sl_status sl_result_from_json(const json_t *json, const char *where, sl_arena *arena, sl_clip_result *result,
                              sl_error *error);

/* Path of the record of clip `index` below the output folder. */
char *sl_record_path(sl_arena *arena, const char *out, const sl_exam_clip *clip);

#endif
