/* Two sets of readings of the same clips against the same labels: is one better, or is it chance? */
#ifndef SL_AGREE_BESIDE_H
#define SL_AGREE_BESIDE_H

#include "agree/bootstrap.h"
#include "agree/roc.h"
#include "agree/statements.h"

typedef struct sl_beside {
    const sl_use *use;
    int clips, persons;      /* with a label and both readings */
    const char *measure;     /* "auc" or "kappa_quadratic"; NULL: nothing to compare */
    double first, second;
    sl_estimate difference;  /* first - second; areas: DeLong's paired comparison */
    double p;                /* of the areas, two-sided; NAN otherwise */
    sl_spread person;        /* of the difference, by resampling persons */
} sl_beside;

/* `first` and `second` are [row * uses + use], as sl_readings_match leaves them. Memory from the statements' arena. */
sl_status sl_compare_beside(const sl_statements *statements, const sl_statement *first, const sl_statement *second, int use,
                            const sl_resampling *how, sl_beside *beside, sl_error *error);

#endif
