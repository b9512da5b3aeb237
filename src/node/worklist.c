#include "node/worklist.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

typedef struct gathering {
    sl_arena *arena;
    const sl_dicom_step_question *question;
    int room, most;
    bool failed;
    sl_worklist list;
} gathering;

/* Without wildcards and where it is told, is it what was asked for? */
static bool agrees(const char *asked, const char *told)
{
    return !asked || !*asked || !*told || strpbrk(asked, "*?") || !strcasecmp(asked, told);
}

static bool in_dates(const char *date, const char *range)
{
    const char *dash = range ? strchr(range, '-') : NULL;
    if (!dash)
        return agrees(range, date);
    const size_t first = (size_t)(dash - range);
    return !*date || ((!first || strncmp(date, range, first) >= 0) && (!dash[1] || strcmp(date, dash + 1) <= 0));
}

static bool take(void *context, const sl_dicom_step *step)
{
    gathering *own = context;
    sl_worklist *list = &own->list;
    const sl_dicom_step_question *q = own->question;
    if (!agrees(q->patient_id, step->patient_id) || !agrees(q->accession, step->accession) || !agrees(q->modality, step->modality) ||
        !agrees(q->station, step->station) || !in_dates(step->date, q->date))
        return true;
    if (list->count == own->most) {
        list->cut = true;
        return false;
    }
    sl_dicom_step *items = sl_arena_room(own->arena, list->step, list->count, &own->room, sizeof *items);
    if (!items) {
        own->failed = true;
        return false;
    }
    list->step = items;
    items[list->count++] = *step;
    return true;
}

static int in_order(const void *a, const void *b)
{
    const sl_dicom_step *x = a, *y = b;
    int order = strcmp(x->date, y->date);
    if (!order)
        order = strcmp(x->time, y->time);
    if (!order)
        order = strcmp(x->patient_name, y->patient_name);
    if (!order)
        order = strcmp(x->accession, y->accession);
    return order ? order : strcmp(x->step_id, y->step_id);
}

sl_status sl_worklist_ask(const sl_dicom_peer *peer, const sl_dicom_step_question *question, int most, sl_arena *arena, sl_worklist *list,
                          sl_error *error)
{
    gathering own = {.arena = arena, .question = question, .most = most};
    sl_status status = sl_dicom_worklist(peer, question, take, &own, error);
    if (own.failed)
        return sl_fail(error, SL_MEMORY, "Memory ran out while asking for the worklist. Ask for less.");
    if (own.list.count)
        qsort(own.list.step, (size_t)own.list.count, sizeof *own.list.step, in_order);
    *list = own.list;
    return status;
}
