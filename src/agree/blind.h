/* Codes in place of file names, so that a name ("post_treatment", "patient_13") tells the reader nothing.
 *
 *   STUDY/keys/NAME-1.csv        which code stands for which clip; written once
 *   STUDY/clips/NAME-1/CODE.mp4  the clips under their codes: the same files (hard links) or, on another disk, copies
 *
 * What is written in the pictures and in the headers of DICOM files stays as it is. */
#ifndef SL_AGREE_BLIND_H
#define SL_AGREE_BLIND_H

#include "agree/reads.h"

/* Codes "NAME-1-001" for the clips in the order they are listed in; `clip` becomes the codes. Files are put under their
 * codes when `from` names the clips' folder. SL_USAGE when this sitting has its codes already. */
sl_status sl_blind_codes(const char *study, const char *reader, int sitting, const char *from, const char **clip,
                         int clips, sl_arena *arena, sl_error *error);

/* Puts the clips' names back for the codes of this sitting; a word that is neither a code nor a clip of its key becomes a
 * note. Nothing changes when the sitting has no codes. */
sl_status sl_blind_names(const char *study, const char *reader, int sitting, sl_arena *arena, sl_notes *notes,
                         sl_reads *reads, sl_error *error);

#endif
