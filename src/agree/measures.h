/* Every statistic that a comparison has, by the scale of its labels. */
#ifndef SL_AGREE_MEASURES_H
#define SL_AGREE_MEASURES_H

#include "agree/bootstrap.h"
#include "agree/estimate.h"
#include "agree/kappa.h"
#include "agree/lengths.h"
#include "agree/roc.h"
#include "agree/statements.h"
#include "agree/yesno.h"

typedef struct sl_measure {
    const char *key;    /* in files: "sensitivity" */
    const char *name;   /* for people */
    const char *method; /* of the interval: "Wilson", "DeLong" ... or "" */
    sl_estimate of;
    bool resampled;
    sl_spread person;   /* by resampling persons, where resampled */
    bool percent;       /* prints as a share */
} sl_measure;

enum { SL_MEASURES = 28, SL_RELIABILITY_BINS = 10, SL_SURE_STEPS = 10 };

typedef struct sl_comparison {
    const sl_use *use;
    const char *key;        /* in files; unique: "b_lines", "score", "score_at_least_2" */
    const char *name;       /* for people: "B-lines" */
    const char *unit;
    int labelled;           /* clips with a label that can be used and a row in the readings */
    int persons;
    int answered;           /* of the labelled: with an answer (yes/no), a class or a number */
    int yes;                /* yes/no labels */
    int measures;
    sl_measure measure[SL_MEASURES];

    /* the cases, ordered by clip: for pictures and for tracing */
    int cases;
    const int *row;         /* row of the labels */
    const int *person;      /* 0 .. persons-1 */
    const double *reference, *reading; /* yes/no: 0/1 and index (NAN none); else class or number */
    const unsigned char *word;         /* yes/no: what the reading answers (sl_word) */

    /* yes/no */
    bool has_answers, has_index, index_is_share; /* the last: 0 to 1, so that calibration means something */
    sl_fourfold table;
    sl_roc roc;
    sl_reliability_bin bin[SL_RELIABILITY_BINS];
    double sure_share[SL_SURE_STEPS], sure_right[SL_SURE_STEPS]; /* the surest share answered, and right of those */

    /* ordered */
    int classes, first_class;
    const double *confusion; /* [reference * classes + reading] */

    /* numbers */
    sl_bland_altman limits;
    int numbers;
    const double *first, *second; /* reading, reference, both known */
} sl_comparison;

/* Works out comparison `use` of the matched statements. All memory from the statements' arena. */
sl_status sl_measure_use(const sl_statements *statements, int use, const sl_resampling *resampling,
                         sl_comparison *comparison, sl_error *error);

/* The measure with this key, or NULL. */
const sl_measure *sl_measure_of(const sl_comparison *comparison, const char *key);

#endif
