#include "dicomweb/search.h"

#include "dicom/item.h"
#include "dicomweb/search_table.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { KEPT = sizeof kept_attributes / sizeof *kept_attributes, OPENED = sizeof opened_attributes / sizeof *opened_attributes,
       FURTHER = sizeof further_attributes / sizeof *further_attributes };

/* ---- the question ---- */

static int kept_of(uint32_t tag)
{
    for (int i = 0; i < KEPT; i++)
        if (kept_attributes[i].tag == tag)
            return i;
    return -1;
}

static void not_done(sl_search *search, const char *what)
{
    size_t used = strlen(search->unsupported);
    snprintf(search->unsupported + used, sizeof search->unsupported - used, "%s%.64s", used ? ", " : "", what);
}

static sl_status take_number(const char *name, const char *value, long *number, sl_error *error)
{
    char *end;
    errno = 0;
    *number = strtol(value, &end, 10);
    if (errno || *end || end == value || *number < 0)
        return sl_fail(error, SL_USAGE, "%s needs a whole number from 0 on.", name);
    return SL_OK;
}

/* "PatientName", "00100010", or two of them with a dot: an attribute in a sequence. */
static bool attribute(const char *name, uint32_t *sequence, uint32_t *tag)
{
    char first[80];
    const char *dot = strchr(name, '.');
    *sequence = 0;
    if (!dot)
        return sl_dicom_tag_of(name, tag);
    if ((size_t)(dot - name) >= sizeof first || strchr(dot + 1, '.'))
        return false;
    snprintf(first, sizeof first, "%.*s", (int)(dot - name), name);
    return sl_dicom_tag_of(first, sequence) && sl_dicom_tag_of(dot + 1, tag) && sl_dicom_tag_is_sequence(*sequence);
}

static sl_status take_fields(sl_search *search, const char *value, sl_error *error)
{
    char name[80];
    uint32_t sequence, tag;
    for (const char *at = value; *at;) {
        size_t length = strcspn(at, ",");
        snprintf(name, sizeof name, "%.*s", (int)(length < sizeof name ? length : sizeof name - 1), at);
        at += length + (at[length] == ',');
        if (!strcmp(name, "all"))
            search->all_fields = true;
        else if (!attribute(name, &sequence, &tag))
            return sl_fail(error, SL_USAGE, "includefield=%s names no attribute. Use keywords or eight hexadecimal digits.", name);
        else if (search->fields == SL_SEARCH_FIELDS)
            return sl_fail(error, SL_LIMIT, "More than %d attributes are asked for at once.", SL_SEARCH_FIELDS);
        else
            search->field[search->fields++] = sequence ? sequence : tag; /* the whole sequence is returned */
    }
    return SL_OK;
}

sl_status sl_search_add(sl_search *search, const char *name, const char *value, sl_error *error)
{
    static const char *const variants[] = {"fuzzymatching", "emptyvaluematching", "multiplevaluematching"};
    uint32_t sequence, tag;
    if (!strcmp(name, "limit"))
        return take_number(name, value, &search->limit, error);
    if (!strcmp(name, "offset"))
        return take_number(name, value, &search->offset, error);
    if (!strcmp(name, "includefield"))
        return take_fields(search, value, error);
    for (size_t i = 0; i < sizeof variants / sizeof *variants; i++)
        if (!strcmp(name, variants[i])) {
            if (!strcmp(value, "true"))
                not_done(search, name);
            else if (strcmp(value, "false") != 0)
                return sl_fail(error, SL_USAGE, "%s is true or false.", name);
            return SL_OK;
        }
    if (!attribute(name, &sequence, &tag))
        return sl_fail(error, SL_USAGE, "%.64s is no attribute and nothing else that a search knows.", name);
    int kept = sequence ? -1 : kept_of(tag);
    if (kept >= 0 && kept_attributes[kept].level > search->level) { /* of one of many below: not defined */
        not_done(search, name);
        return SL_OK;
    }
    if (search->keys == SL_SEARCH_KEYS)
        return sl_fail(error, SL_LIMIT, "More than %d attributes are to be matched at once.", SL_SEARCH_KEYS);
    search->key[search->keys++] = (sl_search_key){sequence, tag, value};
    return SL_OK;
}

/* ---- what there is: runs of rows ---- */

typedef struct found {
    const sl_store_object *row; /* the first; `rows` of them lie behind each other */
    int rows;
    const sl_store_object *study; /* all of its study, where that is known */
    int study_rows;
} found;

static const char *value_of(const sl_store_object *row, int kept)
{
    const char *const *at = (const char *const *)(const void *)((const char *)row + kept_attributes[kept].field);
    return *at ? *at : "";
}

static bool one_more(const sl_store_object *a, const sl_store_object *b, sl_search_level level)
{
    return !strcmp(a->study_uid, b->study_uid) && (level < SL_SEARCH_SERIES || !strcmp(a->series_uid, b->series_uid)) &&
           (level < SL_SEARCH_INSTANCES || !strcmp(a->uid, b->uid));
}

static int run_of(const sl_store_object *row, int left, sl_search_level level)
{
    int rows = 1;
    while (rows < left && one_more(row, row + rows, level))
        rows++;
    return rows;
}

/* How many series or instances are among the rows; another object under a known UID is none of its own. */
static int count_of(const sl_store_object *row, int rows, sl_search_level level)
{
    int count = 0;
    for (int i = 0; i < rows; i += run_of(row + i, rows - i, level))
        count++;
    return count;
}

/* What the rows have of a field, each once, with backslashes between them. */
static void distinct(const found *one, size_t field, char *text, size_t room)
{
    size_t used = 0;
    *text = 0;
    for (int i = 0; i < one->rows; i++) {
        const char *value = *(const char *const *)(const void *)((const char *)&one->row[i] + field);
        bool there = !*value;
        for (const char *at = text; !there && *at; at += strcspn(at, "\\"), at += *at == '\\')
            there = strcspn(at, "\\") == strlen(value) && !strncmp(at, value, strlen(value));
        if (!there && used + strlen(value) + 2 < room)
            used += (size_t)snprintf(text + used, room - used, "%s%s", used ? "\\" : "", value);
    }
}

/* ---- matching ---- */

static sl_match_kind kind_of(uint32_t tag)
{
    return sl_dicom_tag_is_uid(tag) ? SL_MATCH_UID : tag == 0x00400244 ? SL_MATCH_DATE : tag == 0x00400245 ? SL_MATCH_TIME : sl_dicom_tag_is_text(tag) ? SL_MATCH_TEXT : SL_MATCH_NUMBER;
}

typedef struct opened {
    sl_store *store;
    sl_arena *arena;
    const sl_store_object *row;
    sl_dicom_item *item; /* NULL: not opened yet, or not readable */
    bool tried;
} opened;

static const sl_dicom_item *open_it(opened *file)
{
    char *path;
    if (!file->tried && sl_store_path(file->store, file->row->hash, file->arena, &path, NULL) == SL_OK)
        sl_dicom_item_load(path, false, &file->item, NULL);
    file->tried = true;
    return file->item;
}

static bool in_file(const sl_search_key *key, opened *file)
{
    char text[1024];
    const sl_dicom_item *item = open_it(file);
    if (!item)
        return false;
    for (int at = 0; sl_dicom_item_text(item, key->sequence, at, key->tag, text, sizeof text); at++) {
        if (sl_match(kind_of(key->tag), key->value, text))
            return true;
        if (!key->sequence)
            break;
    }
    return false;
}

static bool matches(const sl_search *search, const found *one, opened *file)
{
    char text[1024];
    for (int i = 0; i < search->keys; i++) {
        const sl_search_key *key = &search->key[i];
        int kept = key->sequence ? -1 : kept_of(key->tag);
        bool good = true;
        if (kept >= 0)
            good = sl_match(kept_attributes[kept].kind, key->value, value_of(one->row, kept));
        else if (!key->sequence && (key->tag == TAG_MODALITIES || key->tag == TAG_CLASSES)) {
            const found study = {one->study, one->study_rows, NULL, 0};
            distinct(&study, key->tag == TAG_CLASSES ? offsetof(sl_store_object, class_uid) : offsetof(sl_store_object, modality), text, sizeof text);
            good = sl_match(key->tag == TAG_CLASSES ? SL_MATCH_UID : SL_MATCH_TEXT, key->value, text);
        } else if (*key->value)
            good = in_file(key, file);
        if (!good)
            return false;
    }
    return true;
}

/* ---- answers ---- */

static bool is_asked(const sl_search *search, uint32_t tag)
{
    for (int i = 0; i < search->fields; i++)
        if (search->field[i] == tag)
            return true;
    for (int i = 0; i < search->keys; i++)
        if (search->key[i].tag == tag)
            return true;
    return search->all_fields;
}

static void put_count(sl_dicom_item *item, uint32_t tag, int count)
{
    char text[16];
    snprintf(text, sizeof text, "%d", count);
    sl_dicom_item_put(item, tag, text);
}

static void put_study(const sl_search *search, const found *one, sl_dicom_item *item)
{
    char text[1024];
    const found study = {one->study, one->study_rows, NULL, 0};
    distinct(&study, offsetof(sl_store_object, modality), text, sizeof text);
    sl_dicom_item_put(item, TAG_MODALITIES, text);
    if (is_asked(search, TAG_CLASSES)) {
        distinct(&study, offsetof(sl_store_object, class_uid), text, sizeof text);
        sl_dicom_item_put(item, TAG_CLASSES, text);
    }
    put_count(item, TAG_STUDY_SERIES, count_of(one->study, one->study_rows, SL_SEARCH_SERIES));
    put_count(item, TAG_STUDY_INSTANCES, count_of(one->study, one->study_rows, SL_SEARCH_INSTANCES));
}

static void put_file(const sl_search *search, sl_search_level first, opened *file, sl_dicom_item *item)
{
    bool wanted = search->fields || search->all_fields || search->keys || search->level > SL_SEARCH_STUDIES;
    const sl_dicom_item *from = wanted ? open_it(file) : NULL;
    for (int i = 0; i < OPENED && from; i++)
        if (opened_attributes[i].level >= first && opened_attributes[i].level <= search->level)
            sl_dicom_item_copy(item, from, opened_attributes[i].tag);
    for (int i = 0; i < FURTHER && from && search->all_fields; i++)
        if (further_attributes[i].level <= search->level)
            sl_dicom_item_copy(item, from, further_attributes[i].tag);
    for (int i = 0; i < search->fields && from; i++)
        if (kept_of(search->field[i]) < 0 && search->field[i] != TAG_MODALITIES && search->field[i] != TAG_CLASSES)
            sl_dicom_item_copy(item, from, search->field[i]);
    for (int i = 0; i < search->keys && from; i++)
        if (kept_of(search->key[i].tag) < 0 && search->key[i].tag != TAG_MODALITIES && search->key[i].tag != TAG_CLASSES)
            sl_dicom_item_copy(item, from, search->key[i].sequence ? search->key[i].sequence : search->key[i].tag);
}

static void put_where(const sl_search *search, const sl_store_object *row, sl_dicom_item *item)
{
    char text[1200];
    int used = snprintf(text, sizeof text, "%s/studies/%s", search->root, row->study_uid);
    if (search->level >= SL_SEARCH_SERIES)
        used += snprintf(text + used, sizeof text - (size_t)used, "/series/%s", row->series_uid);
    if (search->level >= SL_SEARCH_INSTANCES)
        snprintf(text + used, sizeof text - (size_t)used, "/instances/%s", row->uid);
    sl_dicom_item_put(item, TAG_RETRIEVE_URL, text);
    sl_dicom_item_put(item, TAG_AVAILABILITY, "ONLINE");
}

/* Levels above the one that is asked for are told too, unless the address names the one they are of (10.6.3.3.2, 10.6.3.3.3). */
static sl_status answer(const sl_search *search, const found *one, opened *file, sl_text *json, sl_error *error)
{
    sl_search_level first = search->series ? SL_SEARCH_INSTANCES : search->study ? SL_SEARCH_SERIES : SL_SEARCH_STUDIES;
    sl_dicom_item *item = sl_dicom_item_new();
    size_t length = 0;
    char *text = NULL;
    if (item) {
        if (first > search->level)
            first = search->level;
        sl_dicom_item_put(item, TAG_CHARACTERS, "ISO_IR 192");
        put_file(search, first, file, item);
        for (int i = 0; i < KEPT; i++) {
            bool named = kept_attributes[i].tag == TAG_STUDY || kept_attributes[i].tag == TAG_SERIES; /* told in any case */
            if (kept_attributes[i].level <= search->level &&
                (is_asked(search, kept_attributes[i].tag) || named || (kept_attributes[i].always && kept_attributes[i].level >= first)))
                sl_dicom_item_put(item, kept_attributes[i].tag, value_of(one->row, i));
        }
        if (first == SL_SEARCH_STUDIES)
            put_study(search, one, item);
        if (search->level == SL_SEARCH_SERIES)
            put_count(item, TAG_SERIES_INSTANCES, count_of(one->row, one->rows, SL_SEARCH_INSTANCES));
        put_where(search, one->row, item);
        if (search->all_fields && search->level == SL_SEARCH_INSTANCES && open_it(file))
            sl_dicom_item_copy_rest(item, file->item);
        text = sl_dicom_item_json(item, NULL, &length);
    }
    sl_dicom_item_free(&item);
    if (!text)
        return sl_fail(error, SL_MEMORY, "Memory ran out while answering. Ask for less at once (limit).");
    if (json->length > 1)
        sl_text_add(json, ",");
    sl_text_add_bytes(json, text, length);
    free(text);
    return SL_OK;
}

/* ---- the search ---- */

static const char *key_of(const sl_search *search, uint32_t tag)
{
    for (int i = 0; i < search->keys; i++)
        if (search->key[i].tag == tag && !search->key[i].sequence)
            return search->key[i].value;
    return NULL;
}

/* A list of UIDs as the store wants it. */
static const char *listed(const char *uids, sl_arena *arena)
{
    char *copy = uids ? sl_arena_text(arena, uids) : NULL;
    for (char *at = copy; at && *at; at++)
        if (*at == ',')
            *at = '\\';
    return copy;
}

/* What the store can leave out by itself without changing the counts of what remains. */
static sl_status rows_of(const sl_search *search, sl_store *store, sl_arena *arena, const sl_store_object **row, int *rows, sl_error *error)
{
    const sl_store_object_query query = {.study_uid = search->study ? search->study : listed(key_of(search, TAG_STUDY), arena),
                                         .series_uid = search->series ? search->series : NULL,
                                         .patient_id = key_of(search, 0x00100020), .accession = key_of(search, 0x00080050)};
    return sl_store_objects(store, &query, arena, row, rows, error);
}

sl_status sl_search_run(const sl_search *search, sl_store *store, sl_text *json, sl_search_outcome *outcome, sl_error *error)
{
    sl_arena arena = {0};
    const sl_store_object *row;
    int rows = 0;
    long limit = search->limit && search->limit < SL_SEARCH_MOST ? search->limit : SL_SEARCH_MOST;
    *outcome = (sl_search_outcome){0};
    sl_status status = rows_of(search, store, &arena, &row, &rows, error);
    sl_text_add(json, "[");
    for (int i = 0, at = 0; i < rows && status == SL_OK; i += at) {
        const int study_rows = run_of(row + i, rows - i, SL_SEARCH_STUDIES);
        for (at = 0; at < study_rows && status == SL_OK;) {
            found one = {row + i + at, run_of(row + i + at, study_rows - at, search->level), row + i, study_rows};
            opened file = {store, &arena, one.row, NULL, false};
            if (matches(search, &one, &file) && outcome->matches++ >= search->offset && outcome->returned < limit) {
                status = answer(search, &one, &file, json, error);
                outcome->returned++;
            }
            sl_dicom_item_free(&file.item);
            at += one.rows;
        }
    }
    sl_text_add(json, "]");
    if (status == SL_OK && json->failed)
        status = sl_fail(error, SL_MEMORY, "Memory ran out while answering. Ask for less at once (limit).");
    sl_arena_free(&arena);
    return status;
}
