/* Intraclass correlation: Shrout & Fleiss, Psychol Bull 1979;86:420-428, doi 10.1037/0033-2909.86.2.420. Intervals:
 * the same paper, and McGraw & Wong, Psychol Methods 1996;1:30-46, doi 10.1037/1082-989X.1.1.30. */
#ifndef SL_AGREE_ICC_H
#define SL_AGREE_ICC_H

#include "agree/estimate.h"

typedef struct sl_icc {
    int cases, readers;
    double between, within, judges, error; /* mean squares BMS, WMS, JMS, EMS */
    sl_estimate one_1, two_1, three_1;     /* (1,1) (2,1) (3,1): a single reading */
    sl_estimate one_k, two_k, three_k;     /* the mean of all readers */
    double sem_agreement;   /* standard error of measurement: sqrt of judge variance + error */
    double sem_consistency; /* sqrt(EMS): readers' constant offsets left out */
} sl_icc;

/* value[case * readers + reader], complete (no NAN). Needs two cases and two readers. */
sl_icc sl_intraclass(const double *value, int cases, int readers);

#endif
