/* Whose object a file is and what it is called: the attributes by which objects are looked for (PS3.4 C.6, PS3.18 10.6). */
#ifndef SL_DICOM_DESCRIBE_H
#define SL_DICOM_DESCRIBE_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#include "core/error.h"

/* Texts are UTF-8 whatever the file's character set, without outer blanks, "" where absent; longer ones are cut. */
typedef struct sl_dicom_words {
    char uid[65], class_uid[65], syntax[65], series_uid[65], study_uid[65];
    char modality[17], patient_id[260], patient_name[780], birth_date[27], sex[17], study_date[27], study_time[40], study_id[68],
        study_description[260], accession[68], referring[780], series_number[40], series_description[260], body_part[68], instance_number[40];
    long frames, rows, columns; /* 0 where it has no pixels */
    int64_t data_at;            /* bytes before the data set: preamble, "DICM", file header (PS3.10 7.1) */
} sl_dicom_words;

/* SL_FORMAT with a sentence where the file is no DICOM file or lacks a UID that it must have. */
sl_status sl_dicom_describe(const char *path, sl_dicom_words *words, sl_error *error);

#ifdef __cplusplus
}
#endif

#endif
