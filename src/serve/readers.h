/* Second readers on the page: blind lists over the examinations of the place, what differs and what was settled, agreement.
 * The study (agree/study.h) lies in PLACE/report/readers, so that `strandline readers` works on the same files; beside its
 * own files are
 *   lists/NAME-1.json    what was asked, and which clip a code stands for
 *   drafts/NAME-1.jsonl  each answer as it was given, on the disk before the page is told; the last one counts until the list
 *                        is handed in, which puts it among the reads for good */
#ifndef SL_SERVE_READERS_H
#define SL_SERVE_READERS_H

#include "reading/reading.h"
#include "serve/request.h"

/* Everything below api/readers. */
enum MHD_Result sl_readers_answer(sl_request *request);

/* ---- readers_agreement.c ---- */
struct sl_study;
json_t *sl_readers_agreement(const char *study_folder, sl_arena *arena, sl_error *error);

/* ---- shared with learners ---- */

/* Letters, digits, '-' and '_', at most 40: names files and addresses. SL_USAGE otherwise. */
sl_status sl_reader_name_fits(const char *name, sl_error *error);
/* The code under which the one who asks reads and learns: "" where nobody signs in (this machine's owner may use any) and for
 * administrators. Lives in the request's arena. */
const char *sl_reader_own_code(sl_request *request);
/* Whether who asks may act under this code. */
bool sl_reader_may(sl_request *request, const char *code);
/* Findings of a JSON array of keys; SL_USAGE for an unknown one or none. */
sl_status sl_codes_of_json(const json_t *keys, sl_code *code, int *codes, sl_error *error);
/* Clips that a study speaks of, from its lists: {name: {"exam", "where"}}. New reference. */
json_t *sl_readers_clips(const char *study_folder, sl_arena *arena);
/* What of a clip a blind reader may see: view, scale, frames and duration, nothing found. New reference, {} when unread. */
json_t *sl_blind_clip_json(sl_request *request, const char *exam, const char *where);
char *sl_readers_folder(sl_request *request); /* PLACE/report/readers */

#endif
