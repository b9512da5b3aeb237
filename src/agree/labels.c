#include "agree/statements.h"
#include "agree/table.h"
#include "core/units.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

typedef struct loader {
    sl_statements *s;
    const sl_label_options *options;
    int clip_column, person_column;
    bool from_readings;
    int unknown[64];             /* values not understood, a use */
    sl_some_names unknown_value[64];
    sl_some_names twice, differently;
    bool words_seen[64], numbers_seen[64];
} loader;

enum { MOST_USES = 64 };

static sl_status out_of_memory(const loader *l, sl_error *error)
{
    return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", l->s->labels_path);
}

/* ---- which column is what ---- */

static sl_use *add_use(loader *l, int column, const char *title, const char *target)
{
    sl_statements *s = l->s;
    if (s->uses == MOST_USES)
        return NULL;
    sl_use *use = &s->use[s->uses++];
    *use = (sl_use){.title = sl_arena_text(s->arena, title), .target = sl_arena_text(s->arena, target),
                    .info = sl_finding_info_by_key(target), .column = column};
    if (!use->info) {
        bool noted;
        use->info = sl_finding_of_title(target, &noted);
        /* "b_line_index" is a column, "B-lines" a finding */
        if (use->info)
            use->target = use->info->key;
    }
    return use->title && use->target ? use : NULL;
}

static sl_status add_map(loader *l, const sl_csv *table, const char *map, sl_error *error)
{
    char left[256];
    const char *equals = strrchr(map, '=');
    if (!equals || equals == map || !equals[1] || (size_t)(equals - map) >= sizeof left)
        return sl_fail(error, SL_USAGE, "--map %s is not understood: write COLUMN=FINDING, COLUMN>=2=FINDING or "
                                        "COLUMN:WORD=FINDING.", map);
    snprintf(left, sizeof left, "%.*s", (int)(equals - map), map);
    sl_test test = SL_TEST_NONE;
    double threshold = SL_UNKNOWN;
    const char *word = NULL;
    int column = sl_csv_column(table, left);
    char *split;
    if (column < 0 && (split = strstr(left, ">="))) {
        threshold = sl_number_of(split + 2);
        if (!sl_known(threshold))
            return sl_fail(error, SL_USAGE, "--map %s: after >= stands no number.", map);
        *split = 0;
        test = SL_TEST_AT_LEAST;
        column = sl_csv_column(table, left);
    } else if (column < 0 && (split = strrchr(left, ':'))) {
        *split = 0;
        word = sl_arena_text(l->s->arena, split + 1);
        test = SL_TEST_EQUALS;
        column = sl_csv_column(table, left);
    }
    if (column < 0)
        return sl_fail(error, SL_USAGE, "%s has no column %s, which --map %s names.", l->s->labels_path, left, map);
    sl_use *use = add_use(l, column, table->field[0][column], equals + 1);
    if (!use)
        return sl_fail(error, SL_LIMIT, "There are more than %d comparisons. Name fewer with --map.", MOST_USES);
    use->test = test;
    use->threshold = threshold;
    use->word = word;
    use->scale = test != SL_TEST_NONE ? SL_SCALE_YES_NO : SL_SCALE_OPEN;
    return SL_OK;
}

static void find_persons(loader *l, const sl_csv *table)
{
    sl_statements *s = l->s;
    const char *by = l->options->by;
    s->by = "";
    s->by_name_allowed = false;
    l->person_column = -1;
    if (by && !strcmp(by, "clip"))
        return;
    if (by && (strstr(by, "<n>") || strchr(by, '*'))) {
        s->pattern = by;
        s->by_name_allowed = true;
        s->by = sl_arena_printf(s->arena, "the part %s of the file name", by);
        return;
    }
    bool any = !by || !strcmp(by, "person");
    l->person_column = by ? sl_csv_column(table, by) : -1;
    for (int c = 0; any && l->person_column < 0 && c < table->fields[0]; c++)
        if (sl_title_is_person(table->field[0][c]) && c != l->clip_column)
            l->person_column = c;
    if (l->person_column >= 0) {
        s->by = sl_arena_printf(s->arena, "the column %s", table->field[0][l->person_column]);
        return;
    }
    s->by_name_allowed = any;
    if (any)
        s->by = "the person's number in the file name";
}

static sl_status take_titles(void *context, const sl_csv *table, sl_error *error)
{
    loader *l = context;
    sl_statements *s = l->s;
    l->clip_column = -1;
    for (int c = 0; l->clip_column < 0 && c < table->fields[0]; c++)
        if (sl_title_is_clip(table->field[0][c]))
            l->clip_column = c;
    bool mapped[256] = {false};
    for (int m = 0; m < l->options->maps; m++) {
        const char *map = l->options->map[m], *equals = strrchr(map, '=');
        if (equals && !strcasecmp(equals + 1, "clip")) { /* COLUMN=clip names the clips' column */
            char title[256];
            snprintf(title, sizeof title, "%.*s", (int)(equals - map), map);
            l->clip_column = sl_csv_column(table, title);
            if (l->clip_column < 0)
                return sl_fail(error, SL_USAGE, "%s has no column %s, which --map %s names.", s->labels_path, title, map);
            continue;
        }
        sl_status status = add_map(l, table, map, error);
        if (status != SL_OK)
            return status;
        if (s->use[s->uses - 1].column < 256)
            mapped[s->use[s->uses - 1].column] = true;
    }
    if (l->clip_column < 0)
        return sl_fail(error, SL_FORMAT, "%s has no column that names the clips (clip, video_file, file name ...). Say "
                                         "which it is with --map COLUMN=clip.", s->labels_path);
    find_persons(l, table);
    sl_text unused = {0};
    for (int c = 0; c < table->fields[0]; c++) {
        const char *title = table->field[0][c];
        bool noted, taken = c == l->clip_column || c == l->person_column || (c < 256 && mapped[c]);
        const sl_finding_info *info = taken ? NULL : sl_finding_of_title(title, &noted);
        if (info) {
            sl_use *use = add_use(l, c, title, info->key);
            if (!use)
                return sl_fail(error, SL_LIMIT, "There are more than %d comparisons. Name fewer with --map.", MOST_USES);
            use->noted = noted;
        } else if (!taken && *title) {
            sl_text_printf(&unused, "%s%s", unused.length ? ", " : "", title);
        }
    }
    if (unused.length)
        sl_note(s->notes, "Columns of the labels not compared: %.300s. Name them with --map COLUMN=FINDING to compare "
                          "them.", unused.bytes);
    sl_text_free(&unused);
    return s->uses ? SL_OK
                   : sl_fail(error, SL_FORMAT, "%s has no column that this program can compare. Say which with --map "
                                               "COLUMN=FINDING, e.g. --map \"B-lines=b_lines\".", s->labels_path);
}

/* ---- rows ---- */

static bool make_room(sl_statements *s)
{
    if (s->rows < s->room)
        return true;
    int room = s->room ? 2 * s->room : 256;
    sl_label_row *row = SL_NEW(s->arena, room, sl_label_row);
    sl_statement *label = SL_NEW(s->arena, (size_t)room * (size_t)s->uses, sl_statement);
    if (!row || !label)
        return false;
    if (s->rows) {
        memcpy(row, s->row, sizeof *row * (size_t)s->rows);
        memcpy(label, s->label, sizeof *label * (size_t)s->rows * (size_t)s->uses);
    }
    s->row = row;
    s->label = label;
    s->room = room;
    return true;
}

static int person_of(sl_statements *s, const char *stated, const char *clip)
{
    char person[256];
    if (stated)
        snprintf(person, sizeof person, "%s", stated);
    else if (!s->by_name_allowed || !sl_person_in_name(clip, s->pattern, person, sizeof person))
        return -1;
    if (!person[strspn(person, " ")])
        return -1;
    int number = sl_names_add(&s->person_number, person, s->persons);
    s->persons += number == s->persons;
    return number;
}

/* The row for `clip`, new or the one there is; -1 when memory is out. */
static int row_for(loader *l, const char *clip, const char *person, int number, bool *is_new)
{
    sl_statements *s = l->s;
    char key[512];
    sl_clip_key(clip, key, sizeof key);
    int at = sl_names_get(&s->by_name, key);
    *is_new = at < 0;
    if (at >= 0)
        return at;
    if (!make_room(s))
        return -1;
    at = s->rows;
    s->row[at] = (sl_label_row){.clip = sl_arena_text(s->arena, clip), .number = number,
                                .person = person_of(s, person, clip)};
    if (!s->row[at].clip || sl_names_add(&s->by_name, key, at) < 0)
        return -1;
    if (sl_clip_stem(key))
        sl_names_add(&s->by_stem, key, at);
    for (int u = 0; u < s->uses; u++)
        s->label[at * s->uses + u] = (sl_statement){SL_UNKNOWN, SL_WORD_NONE};
    s->rows++;
    return at;
}

static sl_statement read_label(loader *l, int u, const char *text)
{
    sl_use *use = &l->s->use[u];
    sl_word word = sl_word_of(text);
    double number = sl_number_of(text);
    sl_statement none = {SL_UNKNOWN, SL_WORD_NONE};
    if (word == SL_WORD_NONE)
        return none;
    if (use->test == SL_TEST_EQUALS) {
        char a[128], b[128];
        sl_plain_word(text, a, sizeof a);
        sl_plain_word(use->word, b, sizeof b);
        return (sl_statement){SL_UNKNOWN, !strcmp(a, b) ? SL_WORD_YES : SL_WORD_NO};
    }
    if (word == SL_WORD_UNSURE) {
        use->unsure++;
        return (sl_statement){SL_UNKNOWN, SL_WORD_UNSURE};
    }
    bool understood = sl_known(number) || word == SL_WORD_YES || word == SL_WORD_NO;
    if (use->test == SL_TEST_AT_LEAST && understood && sl_known(number))
        return (sl_statement){number, number >= use->threshold ? SL_WORD_YES : SL_WORD_NO};
    if (use->test == SL_TEST_AT_LEAST || !understood) {
        l->unknown[u]++;
        char value[48];
        snprintf(value, sizeof value, "\"%.40s\"", text);
        if (!strstr(l->unknown_value[u].text, value))
            sl_some_name(&l->unknown_value[u], value);
        return none;
    }
    l->numbers_seen[u] |= sl_known(number) && word == SL_WORD_UNKNOWN; /* beyond 0 and 1 */
    l->words_seen[u] |= !sl_known(number);
    return (sl_statement){number, (unsigned char)word};
}

static bool same_statement(sl_statement a, sl_statement b)
{
    return a.word == b.word && (a.number == b.number || (!sl_known(a.number) && !sl_known(b.number)));
}

static sl_status take_row(void *context, const sl_csv *table, int row, int number, sl_error *error)
{
    loader *l = context;
    sl_statements *s = l->s;
    const char *clip = sl_csv_get(table, row, l->clip_column);
    if (!clip[strspn(clip, " ")]) {
        sl_note(s->notes, "%s, row %d names no clip and was left out.", s->labels_path, number);
        return SL_OK;
    }
    bool is_new;
    const char *person = l->person_column >= 0 ? sl_csv_get(table, row, l->person_column) : NULL;
    int at = row_for(l, clip, person, number, &is_new);
    if (at < 0)
        return out_of_memory(l, error);
    if (!is_new)
        sl_some_name(&l->twice, clip);
    bool differs = false;
    for (int u = 0; u < s->uses; u++) {
        sl_statement stated = read_label(l, u, sl_csv_get(table, row, s->use[u].column));
        sl_statement *kept = &s->label[at * s->uses + u];
        if (is_new)
            *kept = stated;
        else
            differs |= !same_statement(stated, *kept);
    }
    if (differs && !s->row[at].contradicted) {
        s->row[at].contradicted = true;
        sl_some_name(&l->differently, clip);
    }
    return SL_OK;
}

/* ---- labels that are readings themselves ---- */

static sl_status collect_codes(void *context, const sl_reading *reading, const char *clip, const char *unread,
                               sl_error *error)
{
    loader *l = context;
    (void)clip;
    (void)unread;
    (void)error;
    for (int i = 0; reading && i < reading->findings; i++)
        l->words_seen[reading->finding[i].code] = true;
    return SL_OK;
}

static sl_status take_reading(void *context, const sl_reading *reading, const char *clip, const char *unread,
                              sl_error *error)
{
    loader *l = context;
    sl_statements *s = l->s;
    bool is_new, differs = false;
    if (!reading || unread)
        return SL_OK;
    int at = row_for(l, clip, NULL, s->rows + 1, &is_new);
    if (at < 0)
        return out_of_memory(l, error);
    if (!is_new)
        sl_some_name(&l->twice, clip);
    for (int u = 0; u < s->uses; u++) {
        const sl_finding *finding = sl_reading_get(reading, s->use[u].info->code);
        sl_statement stated = finding ? sl_statement_of(finding) : (sl_statement){SL_UNKNOWN, SL_WORD_NONE};
        s->use[u].unsure += stated.word == SL_WORD_UNSURE;
        if (is_new)
            s->label[at * s->uses + u] = stated;
        else
            differs |= !same_statement(stated, s->label[at * s->uses + u]);
    }
    if (differs && !s->row[at].contradicted) {
        s->row[at].contradicted = true;
        sl_some_name(&l->differently, clip);
    }
    return SL_OK;
}

static sl_status load_readings(loader *l, sl_error *error)
{
    sl_statements *s = l->s;
    sl_status status = sl_readings_visit(s->labels_path, NULL, collect_codes, l, error);
    if (status != SL_OK)
        return status;
    for (int code = 0; code < SL_CODES; code++) {
        const sl_finding_info *info = sl_finding_info_of((sl_code)code);
        if (!l->words_seen[code])
            continue;
        sl_use *use = add_use(l, -1, info->name, info->key);
        if (!use)
            return out_of_memory(l, error);
        use->scale = info->kind == SL_KIND_ANSWER    ? SL_SCALE_YES_NO
                     : info->kind == SL_KIND_ORDERED ? SL_SCALE_ORDERED
                                                     : SL_SCALE_NUMBER;
    }
    if (!s->uses)
        return sl_fail(error, SL_FORMAT, "%s holds no reading with a finding to compare with.", s->labels_path);
    const char *by = l->options->by;
    s->by_name_allowed = !by || strcmp(by, "clip");
    s->pattern = by && (strstr(by, "<n>") || strchr(by, '*')) ? by : NULL;
    s->by = s->by_name_allowed ? "the person's number in the file name" : "";
    return sl_readings_visit(s->labels_path, NULL, take_reading, l, error);
}

/* ---- afterwards ---- */

static void settle_scale(loader *l, int u)
{
    sl_use *use = &l->s->use[u];
    if (use->scale != SL_SCALE_OPEN)
        return;
    sl_scale by_kind = !use->info                          ? SL_SCALE_NUMBER
                       : use->info->kind == SL_KIND_ANSWER  ? SL_SCALE_YES_NO
                       : use->info->kind == SL_KIND_ORDERED ? SL_SCALE_ORDERED
                                                            : SL_SCALE_NUMBER;
    /* yes and no in words against a score, a count, a length or a column: the number is judged as an index */
    use->scale = l->words_seen[u] && !l->numbers_seen[u] ? SL_SCALE_YES_NO : by_kind;
}

/* Values that do not fit the settled scale are no statements. */
static void drop_misfits(loader *l, int u)
{
    sl_statements *s = l->s;
    sl_use *use = &s->use[u];
    for (int r = 0; r < s->rows; r++) {
        sl_statement *label = &s->label[r * s->uses + u];
        bool fits = label->word == SL_WORD_NONE || label->word == SL_WORD_UNSURE ||
                    (use->scale == SL_SCALE_YES_NO ? label->word == SL_WORD_YES || label->word == SL_WORD_NO
                                                   : sl_known(label->number));
        if (fits && use->scale == SL_SCALE_ORDERED && sl_known(label->number) && use->info)
            fits = label->number == floor(label->number) && label->number >= use->info->low &&
                   label->number <= use->info->high;
        if (fits)
            continue;
        char value[48];
        snprintf(value, sizeof value, "%g", label->number);
        l->unknown[u]++;
        if (sl_known(label->number) && !strstr(l->unknown_value[u].text, value))
            sl_some_name(&l->unknown_value[u], value);
        *label = (sl_statement){SL_UNKNOWN, SL_WORD_NONE};
    }
}

static void tell_about_use(loader *l, int u)
{
    sl_statements *s = l->s;
    sl_use *use = &s->use[u];
    int yes = 0, no = 0;
    for (int r = 0; r < s->rows; r++) {
        yes += s->label[r * s->uses + u].word == SL_WORD_YES;
        no += s->label[r * s->uses + u].word == SL_WORD_NO;
    }
    if (l->unknown[u])
        sl_note(s->notes, "%s: %d labels hold an unknown class (%s) and were left out. Known are yes and no in the "
                          "usual spellings, and numbers.", use->title, l->unknown[u],
                l->unknown_value[u].text[0] ? sl_some_names_text(&l->unknown_value[u]) : "a word where a number belongs");
    if (use->unsure)
        sl_note(s->notes, "%s: %d labels say that it could not be told; those clips are left out of this comparison.",
                use->title, use->unsure);
    if (use->noted)
        sl_note(s->notes, "%s: the column's title says \"noted\", so \"no\" may mean \"not looked for\"; false alarms "
                          "are counted too high here.", use->title);
    if (use->scale == SL_SCALE_YES_NO && yes + no > 0 && (!yes || !no))
        sl_note(s->notes, "%s: all %d labels say %s; with one class only there is no %s and no area under the curve.",
                use->title, yes + no, yes ? "yes" : "no", yes ? "specificity" : "sensitivity");
}

sl_status sl_labels_load(const char *path, const sl_label_options *options, sl_arena *arena, sl_notes *notes,
                         sl_statements *s, sl_error *error)
{
    *s = (sl_statements){.labels_path = path, .arena = arena, .notes = notes, .by = ""};
    s->person_number.arena = s->by_name.arena = s->by_stem.arena = arena;
    s->use = SL_NEW(arena, MOST_USES, sl_use);
    loader *l = SL_NEW(arena, 1, loader);
    if (!s->use || !l)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", path);
    l->s = s;
    l->options = options;
    l->clip_column = l->person_column = -1;
    sl_status status = sl_is_json(path) ? load_readings(l, error) : sl_table_read(path, take_titles, take_row, l, error);
    if (status != SL_OK)
        return status;
    if (!s->rows)
        return sl_fail(error, SL_FORMAT, "%s holds titles but no labels.", path);
    int alone = 0;
    for (int r = 0; r < s->rows; r++)
        alone += s->row[r].person < 0;
    if (alone == s->rows && options->by && strcmp(options->by, "clip") && s->by_name_allowed)
        sl_note(notes, "No person could be told from the labels or the file names, so clips count as independent and "
                       "intervals by person are left out. Name a column or a pattern with --by.");
    else if (alone && alone < s->rows)
        sl_note(notes, "%d of %d clips tell no person; each of them counts as a person of its own.", alone, s->rows);
    if (l->twice.count) {
        int count = l->twice.count;
        sl_note(notes, "%d rows of the labels repeat a clip (%s); it counts once where the rows agree.", count,
                sl_some_names_text(&l->twice));
    }
    if (l->differently.count)
        sl_note(notes, "The labels contradict themselves on %s; those clips are left out.",
                sl_some_names_text(&l->differently));
    for (int u = 0; u < s->uses; u++) {
        settle_scale(l, u);
        drop_misfits(l, u);
        tell_about_use(l, u);
    }
    return SL_OK;
}

int sl_label_row_of(const sl_statements *s, const char *clip)
{
    char key[512];
    sl_clip_key(clip, key, sizeof key);
    int at = sl_names_get(&s->by_name, key);
    if (at >= 0)
        return at;
    if (sl_clip_stem(key)) /* labels often leave the extension out ... */
        return sl_names_get(&s->by_name, key);
    return sl_names_get(&s->by_stem, key); /* ... or readings do */
}

sl_statement sl_statement_of(const sl_finding *finding)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    sl_statement s = {finding->value, SL_WORD_NONE};
    if (!finding->known)
        s.word = SL_WORD_UNSURE;
    else if (info->kind == SL_KIND_ANSWER)
        s.word = finding->answer == SL_PRESENT ? SL_WORD_YES : finding->answer == SL_ABSENT ? SL_WORD_NO
                                                                                           : SL_WORD_UNSURE;
    return s;
}
