#include "agree/reads.h"

#include "agree/bootstrap.h"
#include "agree/statements.h"
#include "agree/table.h"
#include "core/units.h"

#include <stdio.h>
#include <string.h>

typedef struct loader {
    const char *path, *author;
    sl_author_kind by;
    sl_arena *arena;
    sl_notes *notes;
    sl_reads *reads;
    int clip;
    const sl_finding_info **info; /* a column */
    int columns;
} loader;

bool sl_reads_add(sl_reads *reads, sl_reading *reading, sl_arena *arena)
{
    if (reads->count == reads->room) {
        int room = reads->room ? 2 * reads->room : 64;
        sl_reading **more = SL_NEW(arena, room, sl_reading *);
        if (!more)
            return false;
        if (reads->count)
            memcpy(more, reads->reading, sizeof *more * (size_t)reads->count);
        reads->reading = more;
        reads->room = room;
    }
    char key[512];
    reads->by_name.arena = reads->by_stem.arena = arena;
    sl_clip_key(reading->clip, key, sizeof key);
    if (sl_names_add(&reads->by_name, key, reads->count) < 0)
        return false;
    if (sl_clip_stem(key) && sl_names_add(&reads->by_stem, key, reads->count) < 0)
        return false;
    reads->reading[reads->count++] = reading;
    return true;
}

bool sl_finding_take(sl_reading *reading, const sl_finding_info *info, const char *word)
{
    sl_word said = sl_word_of(word);
    double number = sl_number_of(word);
    if (said == SL_WORD_NONE)
        return true;
    bool fits = info->kind == SL_KIND_ANSWER ? said == SL_WORD_YES || said == SL_WORD_NO
                                             : sl_known(number) && number >= info->low && number <= info->high &&
                                                   (info->kind == SL_KIND_AMOUNT || number == floor(number));
    if (said != SL_WORD_UNSURE && !fits)
        return false;
    sl_finding *finding = sl_reading_put(reading, info->code);
    if (said == SL_WORD_UNSURE) {
        finding->reason = "the reader could not tell";
        return true;
    }
    finding->known = true;
    if (info->kind == SL_KIND_ANSWER) {
        finding->answer = said == SL_WORD_YES ? SL_PRESENT : SL_ABSENT;
        finding->value = said == SL_WORD_YES;
    } else {
        finding->value = number;
    }
    return true;
}

static sl_status take_titles(void *context, const sl_csv *table, sl_error *error)
{
    loader *l = context;
    l->columns = table->fields[0];
    l->info = SL_NEW(l->arena, l->columns, const sl_finding_info *);
    l->clip = -1;
    if (!l->info)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", l->path);
    int found = 0;
    for (int c = 0; c < l->columns; c++) {
        bool noted;
        if (l->clip < 0 && sl_title_is_clip(table->field[0][c]))
            l->clip = c;
        else
            l->info[c] = sl_finding_of_title(table->field[0][c], &noted);
        for (int d = 0; d < c; d++)
            if (l->info[c] && l->info[d] == l->info[c])
                return sl_fail(error, SL_FORMAT, "%s has two columns for %s.", l->path, l->info[c]->name);
        found += l->info[c] != NULL;
    }
    if (l->clip < 0)
        return sl_fail(error, SL_FORMAT, "%s has no column that names the clips. It needs one called clip.", l->path);
    return found || !l->reads ? SL_OK
                              : sl_fail(error, SL_FORMAT, "%s has no column whose title names a finding (b_lines, "
                                                          "a_lines, score ...).", l->path);
}

static sl_status take_row(void *context, const sl_csv *table, int row, int number, sl_error *error)
{
    loader *l = context;
    const char *clip = sl_csv_get(table, row, l->clip);
    if (!*clip) {
        sl_note(l->notes, "%s, row %d names no clip.", l->path, number);
        return SL_OK;
    }
    sl_reading *reading = sl_reading_new(l->arena, l->by, l->author ? l->author : sl_path_name(l->path), clip);
    if (!reading)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", l->path);
    reading->clip = sl_arena_text(l->arena, clip);
    for (int c = 0; c < l->columns; c++) {
        const char *word = sl_csv_get(table, row, c);
        if (l->info[c] && !sl_finding_take(reading, l->info[c], word))
            sl_note(l->notes, "%s, row %d (%s): \"%.40s\" is no word for %s; write %s.", sl_path_name(l->path), number,
                    clip, word, l->info[c]->name,
                    l->info[c]->kind == SL_KIND_ANSWER ? "yes, no or uncertain"
                                                       : "a number in its range, or uncertain");
    }
    if (reading->findings && sl_reads_find(l->reads, clip))
        sl_note(l->notes, "%s, row %d: %s stands there twice.", sl_path_name(l->path), number, clip);
    else if (reading->findings && !sl_reads_add(l->reads, reading, l->arena))
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", l->path);
    return SL_OK;
}

static sl_status take_reading(void *context, const sl_reading *reading, const char *clip, const char *unread,
                              sl_error *error)
{
    loader *l = context;
    if (!reading || unread)
        return SL_OK;
    sl_reading *mine = SL_NEW(l->arena, 1, sl_reading); /* what it points to lives in our own arena */
    if (!mine)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", l->path);
    *mine = *reading;
    mine->clip = sl_arena_text(l->arena, clip);
    if (l->author) {
        mine->by = l->by;
        mine->author = l->author;
    }
    if (sl_reads_find(l->reads, clip))
        sl_note(l->notes, "%s: %s stands there twice.", sl_path_name(l->path), clip);
    else if (!sl_reads_add(l->reads, mine, l->arena))
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", l->path);
    return SL_OK;
}

sl_status sl_reads_load(const char *path, sl_author_kind by, const char *author, sl_arena *arena, sl_notes *notes,
                        sl_reads *reads, sl_error *error)
{
    *reads = (sl_reads){0};
    loader l = {path, author, by, arena, notes, reads, -1, NULL, 0};
    sl_status status = sl_is_json(path) ? sl_readings_visit(path, arena, take_reading, &l, error)
                                        : sl_table_read(path, take_titles, take_row, &l, error);
    if (status == SL_OK && !reads->count && !notes->count)
        return sl_fail(error, SL_FORMAT, "%s states nothing of any clip.", path);
    return status;
}

const sl_reading *sl_reads_find(const sl_reads *reads, const char *clip)
{
    char key[512];
    sl_clip_key(clip, key, sizeof key);
    int at = sl_names_get(&reads->by_name, key);
    if (at < 0)
        at = sl_clip_stem(key) ? sl_names_get(&reads->by_name, key) : sl_names_get(&reads->by_stem, key);
    return at >= 0 ? reads->reading[at] : NULL;
}

/* ---- the blind list ---- */

typedef struct clip_list {
    loader l;
    const char **clip;
    int count, room;
    sl_names seen;
} clip_list;

static sl_status add_clip(clip_list *list, const char *clip, sl_error *error)
{
    char key[512];
    sl_clip_key(clip, key, sizeof key);
    if (sl_names_get(&list->seen, key) >= 0)
        return SL_OK;
    if (list->count == list->room) {
        int room = list->room ? 2 * list->room : 256;
        const char **more = SL_NEW(list->l.arena, room, const char *);
        if (more && list->count)
            memcpy(more, list->clip, sizeof *more * (size_t)list->count);
        list->clip = more;
        list->room = room;
    }
    if (!list->clip || sl_names_add(&list->seen, key, list->count) < 0 ||
        !(list->clip[list->count] = sl_arena_text(list->l.arena, clip)))
        return sl_fail(error, SL_MEMORY, "Memory ran out while listing clips.");
    list->count++;
    return SL_OK;
}

static sl_status clip_of_row(void *context, const sl_csv *table, int row, int number, sl_error *error)
{
    clip_list *list = context;
    (void)number;
    const char *clip = sl_csv_get(table, row, list->l.clip);
    return *clip ? add_clip(list, clip, error) : SL_OK;
}

static sl_status clip_of_reading(void *context, const sl_reading *reading, const char *clip, const char *unread,
                                 sl_error *error)
{
    (void)reading;
    (void)unread;
    return add_clip(context, clip, error);
}

sl_status sl_reads_clips(const char *path, sl_arena *arena, const char ***clip, int *clips, sl_error *error)
{
    clip_list list = {.l = {.path = path, .arena = arena}, .seen = {.arena = arena}};
    sl_status status = sl_is_json(path) ? sl_readings_visit(path, NULL, clip_of_reading, &list, error)
                                        : sl_table_read(path, take_titles, clip_of_row, &list, error);
    *clip = list.clip;
    *clips = list.count;
    if (status == SL_OK && !list.count)
        return sl_fail(error, SL_FORMAT, "%s names no clip.", path);
    return status;
}

bool sl_blind_order(uint64_t seed, const char **clip, int clips)
{
    sl_arena arena = {0};
    int *order = SL_NEW(&arena, clips + 1, int);
    const char **before = SL_NEW(&arena, clips + 1, const char *);
    if (order && before) {
        memcpy(before, clip, sizeof *clip * (size_t)clips);
        sl_shuffled(seed, clips, order);
        for (int i = 0; i < clips; i++)
            clip[i] = before[order[i]];
    }
    bool fine = order && before;
    sl_arena_free(&arena);
    return fine;
}

void sl_blind_list(const char *const *clip, int clips, const sl_code *code, int codes, sl_text *text)
{
    sl_text_add(text, "order,clip");
    for (int i = 0; i < codes; i++)
        sl_csv_add(text, sl_finding_info_of(code[i])->key, false);
    sl_text_add(text, "\n");
    for (int i = 0; i < clips; i++) {
        sl_text_printf(text, "%d", i + 1);
        sl_csv_add(text, clip[i], false);
        for (int k = 0; k < codes; k++)
            sl_text_add(text, ",");
        sl_text_add(text, "\n");
    }
}

uint64_t sl_seed_of_name(const char *name)
{
    uint64_t h = UINT64_C(14695981039346656037); /* FNV-1a */
    for (; *name; name++)
        h = (h ^ (unsigned char)*name) * UINT64_C(1099511628211);
    return h;
}

sl_status sl_codes_of_list(const char *list, sl_code *code, int *codes, sl_error *error)
{
    *codes = 0;
    while (*list) {
        char word[80];
        size_t length = strcspn(list, ",");
        snprintf(word, sizeof word, "%.*s", (int)(length < 79 ? length : 79), list);
        bool noted;
        const sl_finding_info *info = sl_finding_of_title(word, &noted);
        if (!info) {
            char known[420] = "";
            for (int i = 0; i < SL_CODES; i++) {
                size_t used = strlen(known);
                snprintf(known + used, sizeof known - used, "%s%s", i ? ", " : "", sl_finding_info_of((sl_code)i)->key);
            }
            return sl_fail(error, SL_USAGE, "%.40s is no finding of this program. Known are %s.", word, known);
        }
        bool there = false;
        for (int i = 0; i < *codes; i++)
            there |= code[i] == info->code;
        if (!there)
            code[(*codes)++] = info->code;
        list += length + (list[length] == ',');
    }
    return *codes ? SL_OK : sl_fail(error, SL_USAGE, "No finding is named.");
}

void sl_finding_text(const sl_finding *finding, char *text, size_t room)
{
    const sl_finding_info *info = finding ? sl_finding_info_of(finding->code) : NULL;
    if (!finding)
        snprintf(text, room, "not read");
    else if (!finding->known || (info->kind == SL_KIND_ANSWER && finding->answer == SL_UNCERTAIN))
        snprintf(text, room, "could not tell");
    else if (info->kind == SL_KIND_ANSWER)
        snprintf(text, room, "%s", sl_answer_name(finding->answer));
    else
        snprintf(text, room, "%.*f", info->decimals, finding->value);
}
