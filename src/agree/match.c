/* Readings stream past the labels. */
#include "agree/statements.h"
#include "agree/table.h"
#include "core/units.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

typedef struct matcher {
    sl_statements *s;
    sl_statement *one;     /* what one reading says, a use */
    int clip, status, reason, person;
    int *answer, *number;  /* columns a use, -1 = none */
    sl_some_names twice, differently, unlabelled, unread;
    int read;
} matcher;

/* ---- columns of readings.csv ---- */

static int first_column(const sl_csv *table, const char *const *names)
{
    for (; *names; names++) {
        int column = sl_csv_column(table, *names);
        if (column >= 0)
            return column;
    }
    return -1;
}

static void find_columns(matcher *m, const sl_csv *table, int u)
{
    sl_use *use = &m->s->use[u];
    m->answer[u] = m->number[u] = -1;
    if (!use->info) {
        m->number[u] = sl_csv_column(table, use->target);
        use->in_readings = m->number[u] >= 0;
        return;
    }
    char index[80], single[80], share[80];
    const char *key = use->info->key;
    size_t length = strlen(key);
    snprintf(index, sizeof index, "%s_index", key);
    snprintf(single, sizeof single, "%.*s_index", (int)(length && key[length - 1] == 's' ? length - 1 : length), key);
    snprintf(share, sizeof share, "%s_rel", key);
    int stated = first_column(table, (const char *const[]){key, share, NULL});
    for (int c = 0; stated < 0 && c < table->fields[0]; c++) {
        bool noted;
        if (sl_finding_of_title(table->field[0][c], &noted) == use->info)
            stated = c;
    }
    if (use->info->kind == SL_KIND_ANSWER) {
        m->answer[u] = stated;
        m->number[u] = first_column(table, (const char *const[]){single, index, NULL});
    } else {
        m->number[u] = stated;
    }
    use->in_readings = m->answer[u] >= 0 || m->number[u] >= 0;
}

static sl_status take_titles(void *context, const sl_csv *table, sl_error *error)
{
    matcher *m = context;
    m->clip = first_column(table, (const char *const[]){"clip", NULL});
    for (int c = 0; m->clip < 0 && c < table->fields[0]; c++)
        if (sl_title_is_clip(table->field[0][c]))
            m->clip = c;
    if (m->clip < 0)
        return sl_fail(error, SL_FORMAT, "%s has no column that names the clips. It needs one called clip.",
                       m->s->readings_path);
    m->status = first_column(table, (const char *const[]){"status", NULL});
    m->reason = first_column(table, (const char *const[]){"reason", NULL});
    m->person = -1;
    for (int c = 0; m->person < 0 && c < table->fields[0]; c++)
        if (sl_title_is_person(table->field[0][c]))
            m->person = c;
    for (int u = 0; u < m->s->uses; u++)
        find_columns(m, table, u);
    return SL_OK;
}

/* ---- one reading ---- */

static bool same(sl_statement a, sl_statement b)
{
    return a.word == b.word && (a.number == b.number || (!sl_known(a.number) && !sl_known(b.number)));
}

static void take_statements(matcher *m, const char *clip, const char *person, const char *unread)
{
    sl_statements *s = m->s;
    int at = sl_label_row_of(s, clip);
    s->readings++;
    s->readings_failed += unread != NULL;
    if (at < 0) {
        s->readings_unlabelled++;
        sl_some_name(&m->unlabelled, clip);
        return;
    }
    sl_label_row *row = &s->row[at];
    sl_statement *kept = &s->reading[at * s->uses];
    if (unread) {
        row->unread = sl_arena_text(s->arena, unread);
        sl_some_name(&m->unread, clip);
    }
    if (person && person[strspn(person, " ")] && row->person < 0 && s->by_name_allowed && !s->pattern) {
        row->person = sl_names_add(&s->person_number, person, s->persons);
        s->persons += row->person == s->persons;
    }
    bool differs = false;
    for (int u = 0; u < s->uses; u++) {
        differs |= row->read > 0 && !same(kept[u], m->one[u]);
        if (!row->read)
            kept[u] = m->one[u];
    }
    if (row->read++)
        sl_some_name(&m->twice, clip);
    if (differs && !row->read_twice_differently) {
        row->read_twice_differently = true;
        sl_some_name(&m->differently, clip);
    }
}

static sl_status take_row(void *context, const sl_csv *table, int row, int number, sl_error *error)
{
    matcher *m = context;
    (void)error;
    const char *clip = sl_csv_get(table, row, m->clip), *status = sl_csv_get(table, row, m->status);
    if (!*clip) {
        sl_note(m->s->notes, "%s, row %d names no clip and was left out.", m->s->readings_path, number);
        return SL_OK;
    }
    const char *unread = NULL;
    if (m->status >= 0 && strcasecmp(status, "read")) {
        unread = sl_csv_get(table, row, m->reason);
        unread = *unread ? unread : "the clip was not read";
    }
    for (int u = 0; u < m->s->uses; u++) {
        const char *answer = sl_csv_get(table, row, m->answer[u]), *value = sl_csv_get(table, row, m->number[u]);
        m->one[u] = (sl_statement){sl_number_of(value), SL_WORD_NONE};
        if (unread)
            m->one[u] = (sl_statement){SL_UNKNOWN, SL_WORD_UNSURE};
        else if (m->answer[u] >= 0)
            m->one[u].word = (unsigned char)sl_word_of(answer);
        else if (!sl_known(m->one[u].number))
            m->one[u].word = (unsigned char)(*value ? sl_word_of(value) : SL_WORD_UNSURE);
    }
    take_statements(m, clip, m->person >= 0 ? sl_csv_get(table, row, m->person) : NULL, unread);
    return SL_OK;
}

static sl_status take_reading(void *context, const sl_reading *reading, const char *clip, const char *unread,
                              sl_error *error)
{
    matcher *m = context;
    (void)error;
    for (int u = 0; u < m->s->uses; u++) {
        sl_use *use = &m->s->use[u];
        const sl_finding *finding = reading && use->info ? sl_reading_get(reading, use->info->code) : NULL;
        m->one[u] = (sl_statement){SL_UNKNOWN, unread ? SL_WORD_UNSURE : SL_WORD_NONE};
        if (!finding)
            continue;
        use->in_readings = true;
        m->one[u] = sl_statement_of(finding);
    }
    take_statements(m, clip, NULL, unread);
    return SL_OK;
}

/* ---- afterwards ---- */

static void tell(matcher *m)
{
    sl_statements *s = m->s;
    sl_some_names absent = {0};
    for (int r = 0; r < s->rows; r++)
        if (!s->row[r].read)
            sl_some_name(&absent, s->row[r].clip);
    if (absent.count) {
        int count = absent.count;
        sl_note(s->notes, "%d labelled clips are absent from the readings: %s.", count, sl_some_names_text(&absent));
    }
    if (s->readings_unlabelled)
        sl_note(s->notes, "%d readings have no label and are not compared: %s.", s->readings_unlabelled,
                sl_some_names_text(&m->unlabelled));
    if (m->unread.count) {
        int count = m->unread.count;
        sl_note(s->notes, "%d labelled clips could not be read and count as \"could not tell\": %s.", count,
                sl_some_names_text(&m->unread));
    }
    if (m->twice.count) {
        int count = m->twice.count;
        sl_note(s->notes, "%d rows of the readings repeat a clip (%s); it counts once where the rows agree.", count,
                sl_some_names_text(&m->twice));
    }
    if (m->differently.count)
        sl_note(s->notes, "The readings contradict themselves on %s; those clips are left out.",
                sl_some_names_text(&m->differently));
    for (int u = 0; u < s->uses; u++)
        if (!s->use[u].in_readings)
            sl_note(s->notes, "%s: the readings say nothing of %s, so there is nothing to compare.", s->use[u].title,
                    s->use[u].target);
}

sl_status sl_readings_match(sl_statements *s, const char *path, sl_error *error)
{
    s->readings_path = path;
    s->readings = s->readings_unlabelled = s->readings_failed = 0;
    matcher *m = SL_NEW(s->arena, 1, matcher);
    s->reading = SL_NEW(s->arena, (size_t)s->rows * (size_t)s->uses, sl_statement);
    if (!m || !s->reading)
        return sl_fail(error, SL_MEMORY, "Memory ran out before %s was read.", path);
    m->s = s;
    m->one = SL_NEW(s->arena, s->uses, sl_statement);
    m->answer = SL_NEW(s->arena, s->uses, int);
    m->number = SL_NEW(s->arena, s->uses, int);
    if (!m->one || !m->answer || !m->number)
        return sl_fail(error, SL_MEMORY, "Memory ran out before %s was read.", path);
    for (int i = 0; i < s->rows * s->uses; i++)
        s->reading[i] = (sl_statement){SL_UNKNOWN, SL_WORD_NONE};
    for (int u = 0; u < s->uses; u++)
        s->use[u].in_readings = false;
    for (int r = 0; r < s->rows; r++) {
        s->row[r].read = 0;
        s->row[r].read_twice_differently = false;
        s->row[r].unread = NULL;
    }
    sl_status status = sl_is_json(path) ? sl_readings_visit(path, NULL, take_reading, m, error)
                                        : sl_table_read(path, take_titles, take_row, m, error);
    if (status != SL_OK)
        return status;
    if (!s->readings)
        return sl_fail(error, SL_FORMAT, "%s holds no reading.", path);
    tell(m);
    return SL_OK;
}
