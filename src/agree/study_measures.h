/* Agreement among the readers of a study. */
#ifndef SL_AGREE_STUDY_MEASURES_H
#define SL_AGREE_STUDY_MEASURES_H

#include "agree/bootstrap.h"
#include "agree/estimate.h"
#include "agree/study.h"

typedef struct sl_study_row {
    sl_code code;
    const char *key, *name; /* "kappa_quadratic", "kappa, quadratic weights" */
    const char *who;        /* "A and B", "all 3 readers", "A, twice" */
    int clips;              /* that count here */
    bool percent;
    sl_estimate of;
    bool resampled;
    sl_spread person;
} sl_study_row;

typedef struct sl_study_result {
    int rows, room;
    sl_study_row *row;
} sl_study_result;

/* Every pair of first sittings, all of them together, and each reader's first against second sitting. */
sl_status sl_study_measure(const sl_study *study, const sl_resampling *how, sl_study_result *result, sl_error *error);

#endif
