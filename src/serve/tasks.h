/* "What would you change?": an invented chest under settings that do not serve, changed by the learner and scored by the audit,
 * which reads and judges the clip that the settings give: the rules that judge clips of people judge these. */
#ifndef SL_SERVE_TASKS_H
#define SL_SERVE_TASKS_H

#include "audit/rules_table.h"
#include "serve/bench.h"

#include <jansson.h>

typedef struct sl_task_setting {
    const char *path; /* of the scenario table; NULL ends the list */
    double value;
} sl_task_setting;

typedef struct sl_task {
    const char *key, *chest, *zone; /* a scenario's name, a zone's key */
    const char *ask;                /* what the learner is told */
    sl_rule_id aim;                 /* what the audit says of the settings at the start (held by a test) */
    sl_task_setting set[4];
} sl_task;

/* ---- tasks_table.c ---- */
const sl_task *sl_tasks(int *count);
/* The rules that the bench's controls can do something about. */
bool sl_task_rule_counts(sl_rule_id rule);

/* ---- tasks.c ---- */
/* [{key, chest, zone, ask, set}]. New reference. */
json_t *sl_tasks_json(void);
/* {task, set}: {solved, gone, left, new, changed, needed}: complaints of the start that are gone, that are left, that came with
 * the change. Takes about two seconds the first time a task is judged. */
enum MHD_Result sl_task_answer(sl_request *request, const json_t *asked);

#endif
