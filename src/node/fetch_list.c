/* What another node has. */
#include "node/fetch.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { MOST_LOOKED_INTO = 20 /* newest studies whose series are asked for */ };

typedef struct gathering {
    sl_arena *arena;
    const sl_dicom_question *question;
    const char *modality;
    int room, most;
    bool failed;
    sl_matches list;
} gathering;

bool sl_fetch_is_uid(const char *uid)
{
    const size_t length = strspn(uid, "0123456789.");
    return length > 0 && length <= 64 && !uid[length] && uid[0] != '.';
}

/* Is `word` one of the values of `values`, which `\` separates? */
static bool one_of(const char *values, const char *word)
{
    const size_t length = strlen(word);
    for (const char *at = values; at; at = strchr(at, '\\') ? strchr(at, '\\') + 1 : NULL) {
        size_t long_as = strcspn(at, "\\");
        while (long_as && at[long_as - 1] == ' ')
            long_as--;
        while (long_as && *at == ' ')
            at++, long_as--;
        if (long_as == length && !strncasecmp(at, word, length))
            return true;
    }
    return false;
}

static bool in_dates(const char *date, const char *range)
{
    const char *dash = strchr(range, '-');
    if (!*range || !*date)
        return true; /* nothing told, nothing to compare */
    if (!dash)
        return !strcmp(date, range);
    const size_t first = (size_t)(dash - range);
    return (!first || strncmp(date, range, first) >= 0) && (!dash[1] || strcmp(date, dash + 1) <= 0);
}

static bool asks(const char *word)
{
    return word && *word;
}

/* Without wildcards, is it what was asked for? */
static bool agrees(const char *asked, const char *told)
{
    return !asks(asked) || strpbrk(asked, "*?") || !strcasecmp(asked, told);
}

static bool fits(const gathering *own, const sl_dicom_match *match)
{
    const sl_dicom_question *q = own->question;
    if (q->level != SL_LEVEL_STUDY)
        return !*match->study_uid || !strcmp(match->study_uid, q->study_uid);
    return sl_fetch_is_uid(match->study_uid) && agrees(q->patient_id, match->patient_id) && agrees(q->accession, match->accession) &&
           agrees(q->study_uid, match->study_uid) && in_dates(match->study_date, asks(q->dates) ? q->dates : "") &&
           (!*own->modality || !*match->modalities || one_of(match->modalities, own->modality));
}

static bool take(void *context, const sl_dicom_match *match)
{
    gathering *own = context;
    sl_matches *list = &own->list;
    if (!fits(own, match))
        return true;
    if (list->count == own->most) {
        list->cut = true;
        return false;
    }
    sl_dicom_match *items = sl_arena_room(own->arena, list->match, list->count, &own->room, sizeof *items);
    if (!items) {
        own->failed = true;
        return false;
    }
    list->match = items;
    items[list->count++] = *match;
    return true;
}

static int newest_first(const void *a, const void *b)
{
    const sl_dicom_match *x = a, *y = b;
    int order = strcmp(y->study_date, x->study_date);
    if (!order)
        order = strcmp(y->study_time, x->study_time);
    return order ? order : strcmp(x->study_uid, y->study_uid);
}

static sl_status series_of(const sl_fetch *fetch, const char *study_uid, sl_arena *arena, sl_matches *series)
{
    sl_error ignored;
    return sl_fetch_list(fetch, &(sl_dicom_question){.level = SL_LEVEL_SERIES, .study_uid = study_uid}, "", SL_ASK_MOST, arena, series, &ignored);
}

/* Nodes may not tell the modalities of a study; their series do. Of the newest ones; the others stay in the list. */
static void ask_series(const sl_fetch *fetch, gathering *own)
{
    sl_matches *list = &own->list, series;
    int kept = 0, looked = 0;
    for (int i = 0; i < list->count; i++) {
        sl_dicom_match *study = &list->match[i];
        if (!*study->modalities && looked++ < MOST_LOOKED_INTO && series_of(fetch, study->study_uid, own->arena, &series) == SL_OK)
            for (int k = 0; k < series.count; k++) {
                const size_t used = strlen(study->modalities);
                if (*series.match[k].modalities && !one_of(study->modalities, series.match[k].modalities))
                    snprintf(study->modalities + used, sizeof study->modalities - used, "%s%.16s", used ? "\\" : "", series.match[k].modalities);
            }
        if (!*study->modalities || one_of(study->modalities, own->modality))
            list->match[kept++] = *study;
    }
    list->count = kept;
}

sl_status sl_fetch_list(const sl_fetch *fetch, const sl_dicom_question *question, const char *modality, int most, sl_arena *arena,
                        sl_matches *list, sl_error *error)
{
    gathering own = {.arena = arena, .question = question, .modality = modality, .most = most};
    sl_status status = sl_dicom_find(&fetch->peer, question, take, &own, error);
    if (own.failed)
        return sl_fail(error, SL_MEMORY, "Memory ran out while listing. Ask for less.");
    if (own.list.count && question->level == SL_LEVEL_STUDY)
        qsort(own.list.match, (size_t)own.list.count, sizeof *own.list.match, newest_first);
    if (status == SL_OK && *modality)
        ask_series(fetch, &own);
    *list = own.list;
    return status;
}

/* ---- the last one ---- */

static bool says_chest(const char *text)
{
    static const char *const words[] = {"chest", "lung", "thorax", "thoracic", "pleura"};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        for (const char *at = text; *at; at++)
            if (!strncasecmp(at, words[i], strlen(words[i])))
                return true;
    return false;
}

typedef enum part { PART_OPEN, PART_CHEST, PART_OTHER, PART_NO_ULTRASOUND } part;

/* What the series of a study say of it: body parts (PS3.16 CID 4), descriptions, our own findings. */
static part part_of(const sl_fetch *fetch, const sl_dicom_match *study, sl_arena *arena)
{
    sl_matches series;
    bool ultrasound = false, told = false, other = false;
    if (says_chest(study->description))
        return PART_CHEST;
    if (series_of(fetch, study->study_uid, arena, &series) != SL_OK)
        return PART_OPEN;
    for (int i = 0; i < series.count; i++) {
        const sl_dicom_match *one = &series.match[i];
        ultrasound |= one_of(one->modalities, "US");
        told |= *one->modalities != 0;
        if (one_of(one->modalities, "SR") && says_chest(one->description))
            return PART_CHEST;
        if (!one_of(one->modalities, "US"))
            continue;
        if (says_chest(one->body_part) || says_chest(one->description))
            return PART_CHEST;
        other |= *one->body_part != 0;
    }
    return told && !ultrasound ? PART_NO_ULTRASOUND : other ? PART_OTHER : PART_OPEN;
}

/* Digits of date and time, "20260131" or "202601310930": minutes are enough. */
static bool is_before(const sl_dicom_match *study, const char *before, bool *same_day)
{
    const int day = strncmp(study->study_date, before, 8);
    *same_day = false;
    if (strlen(study->study_date) != 8 || day > 0)
        return false;
    if (day < 0)
        return true;
    if (strlen(before) == 12 && strlen(study->study_time) >= 4 && strncmp(study->study_time, before + 8, 4) < 0)
        return true;
    *same_day = true;
    return false;
}

sl_status sl_fetch_last(const sl_fetch *fetch, const char *patient_id, const char *before, const char *present_uid, sl_arena *arena,
                        sl_last *last, sl_error *error)
{
    sl_matches list;
    int looked = 0;
    char dates[16];
    *last = (sl_last){.sure = false};
    dates[0] = '-';
    memcpy(dates + 1, before, 8);
    dates[9] = 0;
    sl_status status = sl_fetch_list(fetch, &(sl_dicom_question){.level = SL_LEVEL_STUDY, .patient_id = patient_id, .dates = dates}, "US",
                                     SL_ASK_MOST, arena, &list, error);
    if (status)
        return status;
    for (int i = 0; i < list.count && looked < MOST_LOOKED_INTO; i++) {
        const sl_dicom_match *study = &list.match[i];
        bool same_day = false;
        if ((present_uid && !strcmp(study->study_uid, present_uid)) || strcmp(study->patient_id, patient_id) != 0)
            continue;
        if (!is_before(study, before, &same_day)) {
            last->same_day += same_day;
            continue;
        }
        looked++;
        const part shows = part_of(fetch, study, arena);
        if (shows == PART_OTHER && !*last->study.study_uid)
            last->passed_over++;
        if (shows == PART_OTHER || shows == PART_NO_ULTRASOUND)
            continue;
        if (!*last->study.study_uid) {
            last->study = *study;
            last->sure = shows == PART_CHEST;
            if (last->sure)
                break;
        } else if (shows == PART_CHEST) {
            memcpy(last->surer_uid, study->study_uid, sizeof last->surer_uid);
            memcpy(last->surer_date, study->study_date, sizeof last->surer_date);
            break;
        }
    }
    if (!*last->study.study_uid)
        return sl_fail(error, SL_UNREADABLE, "%s at %s:%d has no examination with ultrasound of this patient before %.8s%s. See --list for what it has.",
                       fetch->peer.title, fetch->peer.host, fetch->peer.port, before,
                       last->same_day ? " but one of that very day; give --before with the time" : "");
    return SL_OK;
}
