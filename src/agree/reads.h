/* Reads of people, in files: a table to fill in or JSON, as readings; and the blind list they are made from. */
#ifndef SL_AGREE_READS_H
#define SL_AGREE_READS_H

#include "agree/names.h"
#include "agree/notes.h"
#include "core/error.h"
#include "core/text.h"
#include "reading/reading.h"

#include <stdint.h>

typedef struct sl_reads {
    int count, room;
    sl_reading **reading;
    sl_names by_name, by_stem; /* clip keys */
} sl_reads;

/* Appends (not copied); false when memory is out. */
bool sl_reads_add(sl_reads *reads, sl_reading *reading, sl_arena *arena);

/* Reads a CSV (a column that names the clips, columns whose titles name findings; an empty field states nothing) or
 * JSON of readings. Author kind and name are set on every reading unless `author` is NULL (then they stay as the file
 * says, labels for a CSV). What is not understood becomes a note each and states nothing; the caller decides whether
 * that is acceptable. All memory from `arena`. */
sl_status sl_reads_load(const char *path, sl_author_kind by, const char *author, sl_arena *arena, sl_notes *notes,
                        sl_reads *reads, sl_error *error);

/* Reading of this clip (by key, extension or not), or NULL. */
const sl_reading *sl_reads_find(const sl_reads *reads, const char *clip);

/* Clips' names of a table or JSON of readings, without anything said of them. */
sl_status sl_reads_clips(const char *path, sl_arena *arena, const char ***clip, int *clips, sl_error *error);

/* Puts the clips in an order that depends on `seed`; false when memory is out. */
bool sl_blind_order(uint64_t seed, const char **clip, int clips);

/* A table to fill in: the clips as they stand, a column a finding, nothing else. */
void sl_blind_list(const char *const *clip, int clips, const sl_code *code, int codes, sl_text *text);

/* A seed of its own for each reader, so that two readers see different orders. */
uint64_t sl_seed_of_name(const char *name);

/* "b_lines,score" or titles; notes nothing, SL_USAGE for an unknown one. `code` has room for SL_CODES. */
sl_status sl_codes_of_list(const char *list, sl_code *code, int *codes, sl_error *error);

/* What a statement reads like: "present", "could not tell", "2", "14.5". */
void sl_finding_text(const sl_finding *finding, char *text, size_t room);

/* Turns a person's word into a finding of `reading`; false when it is no word for it. An empty word states nothing and
 * is fine. */
bool sl_finding_take(sl_reading *reading, const sl_finding_info *info, const char *word);

#endif
