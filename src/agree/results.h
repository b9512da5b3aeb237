/* An evaluation as text for the terminal, JSON, CSV, and case by case. */
#ifndef SL_AGREE_RESULTS_H
#define SL_AGREE_RESULTS_H

#include "agree/beside.h"
#include "agree/measures.h"
#include "core/text.h"

#include <jansson.h>

typedef struct sl_evaluation {
    const char *program;  /* "strandline 0.1.0" */
    const char *caution;  /* stands on everything that shows a finding */
    const sl_statements *statements;
    sl_resampling resampling;
    int comparisons;
    sl_comparison *comparison;
    const sl_notes *notes;
    const char *beside_path; /* a second set of readings, or NULL */
    const sl_beside *beside; /* [comparisons] */
} sl_evaluation;

/* Appends to `text`. */
void sl_evaluation_text(const sl_evaluation *evaluation, sl_text *text);
void sl_evaluation_csv(const sl_evaluation *evaluation, sl_text *text);
/* One row a case: clip, person, comparison, label, reading, index, agree. */
void sl_evaluation_cases_csv(const sl_evaluation *evaluation, sl_text *text);
/* New reference. */
json_t *sl_evaluation_json(const sl_evaluation *evaluation);

/* "0.84", "81 %", "not defined". */
void sl_measure_value_text(const sl_measure *measure, double value, char *text, size_t room);
/* "0.76 to 0.91", "71 to 88 %", "" when there is none. */
void sl_measure_range_text(const sl_measure *measure, double low, double high, char *text, size_t room);
/* "B-lines" against "B-lines": 114 clips of 21 persons, 74 yes. */
void sl_comparison_text(const sl_comparison *comparison, char *text, size_t room);

#endif
