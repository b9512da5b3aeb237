#include "agree/study.h"

#include "agree/names.h"
#include "agree/statements.h"
#include "agree/tolerance.h"
#include "core/file.h"
#include "core/json.h"

#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

sl_status sl_append_line(const char *path, const char *line, sl_error *error)
{
    int file = open(path, O_WRONLY | O_APPEND | O_CREAT, 0666);
    if (file < 0)
        return sl_fail(error, SL_IO, "%s could not be written: %s.", path, strerror(errno));
    sl_text text = {0};
    sl_text_printf(&text, "%s\n", line);
    bool fine = !text.failed && write(file, text.bytes, text.length) == (ssize_t)text.length && !fsync(file);
    int cause = errno;
    fine &= !close(file);
    sl_text_free(&text);
    return fine ? SL_OK : sl_fail(error, SL_IO, "%s could not be written: %s.", path, strerror(cause));
}

/* ---- entering ---- */

static bool fits_a_file(const char *name)
{
    size_t length = strlen(name);
    for (size_t i = 0; i < length; i++)
        if (!isalnum((unsigned char)name[i]) && name[i] != '_' && (name[i] != '-' || i == 0) &&
            !((unsigned char)name[i] >= 0x80))
            return false;
    return length > 0 && length <= 60;
}

sl_status sl_sitting_name_fits(const char *reader, int number, sl_error *error)
{
    if (!fits_a_file(reader) || number < 1 || number > 99)
        return sl_fail(error, SL_USAGE, "%.60s cannot name a reader's file: use letters, digits, - and _ only (a code "
                                        "rather than a person's name).", reader);
    return SL_OK;
}

sl_status sl_study_enter(const char *folder, const char *reader, int number, const sl_reads *reads, const char *when,
                         sl_error *error)
{
    sl_status named = sl_sitting_name_fits(reader, number, error);
    if (named != SL_OK)
        return named;
    sl_arena arena = {0};
    char *place = sl_path_join(&arena, folder, "reads"), *path = sl_arena_printf(&arena, "%s/%s-%d.json", place, reader,
                                                                                number);
    sl_status status = path ? sl_folder_make(place, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    json_t *root = json_object(), *list = json_array();
    json_object_set_new(root, "reader", json_string(reader));
    json_object_set_new(root, "sitting", json_integer(number));
    json_object_set_new(root, "entered", json_string(when));
    for (int i = 0; i < reads->count; i++)
        json_array_append_new(list, sl_reading_to_json(reads->reading[i]));
    json_object_set_new(root, "readings", list);
    char *text = json_dumps(root, JSON_INDENT(1) | JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10));
    json_decref(root);
    if (status == SL_OK && !text)
        status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK) {
        /* written aside, then linked: the link fails if the name is taken, and nobody sees half a file */
        char *part = sl_arena_printf(&arena, "%s.%ld", path, (long)getpid());
        status = part ? sl_file_write(part, text, strlen(text), error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
        if (status == SL_OK && link(part, path))
            status = errno == EEXIST
                         ? sl_fail(error, SL_USAGE, "Sitting %d of reader %s is in %s already and is not overwritten. If "
                                                    "the clips were read again, enter it with --sitting %d.",
                                   number, reader, folder, number + 1)
                         : sl_fail(error, SL_IO, "%s could not be written: %s.", path, strerror(errno));
        if (part)
            unlink(part);
    }
    free(text);
    sl_arena_free(&arena);
    return status;
}

/* ---- loading ---- */

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static int by_reader(const void *a, const void *b)
{
    const sl_sitting *x = a, *y = b;
    int order = strcmp(x->reader, y->reader);
    return order ? order : x->number - y->number;
}

/* NAME-2.json */
static bool split_name(const char *name, char *reader, size_t room, int *number)
{
    const char *dash = strrchr(name, '-');
    char *end;
    if (!dash || dash == name || (size_t)(dash - name) >= room)
        return false;
    long value = strtol(dash + 1, &end, 10);
    if (value < 1 || value > 99 || strcmp(end, ".json"))
        return false;
    snprintf(reader, room, "%.*s", (int)(dash - name), name);
    *number = (int)value;
    return true;
}

static sl_status load_sittings(sl_study *s, sl_notes *notes, sl_error *error)
{
    char *place = sl_path_join(s->arena, s->folder, "reads");
    DIR *folder = opendir(place);
    if (!folder)
        return sl_fail(error, SL_IO, "%s holds no reads yet. Enter one with: strandline readers enter.", s->folder);
    const struct dirent *entry;
    int room = 0;
    while ((entry = readdir(folder))) {
        char reader[128];
        int number;
        if (!split_name(entry->d_name, reader, sizeof reader, &number))
            continue;
        if (s->sittings == room) {
            int more = room ? 2 * room : 16;
            sl_sitting *list = SL_NEW(s->arena, more, sl_sitting);
            if (!list)
                break;
            if (room)
                memcpy(list, s->sitting, sizeof *list * (size_t)room);
            s->sitting = list;
            room = more;
        }
        sl_sitting *sitting = &s->sitting[s->sittings];
        *sitting = (sl_sitting){.reader = sl_arena_text(s->arena, reader), .number = number};
        sl_error problem = {0};
        if (sl_reads_load(sl_path_join(s->arena, place, entry->d_name), SL_BY_PERSON, sitting->reader, s->arena, notes,
                          &sitting->reads, &problem) == SL_OK)
            s->sittings++;
        else
            sl_note(notes, "Left out: %s", problem.text);
    }
    closedir(folder);
    qsort(s->sitting, (size_t)s->sittings, sizeof *s->sitting, by_reader);
    return s->sittings ? SL_OK : sl_fail(error, SL_FORMAT, "%s holds no read that can be used.", s->folder);
}

static sl_status list_clips(sl_study *s, sl_error *error)
{
    int most = 0;
    for (int i = 0; i < s->sittings; i++)
        most += s->sitting[i].reads.count;
    s->clip = SL_NEW(s->arena, most + 1, const char *);
    sl_names seen = {.arena = s->arena};
    if (!s->clip)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    for (int i = 0; i < s->sittings; i++)
        for (int r = 0; r < s->sitting[i].reads.count; r++) {
            char key[512];
            const char *clip = s->sitting[i].reads.reading[r]->clip;
            sl_clip_key(clip, key, sizeof key);
            if (sl_names_get(&seen, key) < 0 && sl_names_add(&seen, key, s->clips) >= 0)
                s->clip[s->clips++] = clip;
        }
    qsort(s->clip, (size_t)s->clips, sizeof *s->clip, by_text);
    return SL_OK;
}

static sl_status load_decisions(sl_study *s, sl_notes *notes, sl_error *error)
{
    char *path = sl_path_join(s->arena, s->folder, "settled.jsonl"), *bytes;
    size_t length;
    struct stat facts;
    if (stat(path, &facts))
        return SL_OK;
    sl_status status = sl_file_read(path, (size_t)64 << 20, s->arena, &bytes, &length, error);
    if (status != SL_OK)
        return status;
    int lines = 1;
    for (size_t i = 0; i < length; i++)
        lines += bytes[i] == '\n';
    s->decision = SL_NEW(s->arena, lines, sl_settled);
    if (!s->decision)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", path);
    int number = 0;
    for (char *line = bytes, *end; *line; line = end) {
        end = line + strcspn(line, "\n");
        number++;
        json_t *object = json_loadb(line, (size_t)(end - line), 0, NULL);
        end += *end == '\n';
        sl_reading *reading = NULL;
        const json_t *inner = json_object_get(object, "decision");
        if (inner && sl_reading_from_json(inner, path, s->arena, &reading, NULL) == SL_OK && reading->findings == 1) {
            s->decision[s->decisions++] = (sl_settled){
                .clip = reading->clip, .by = reading->author, .code = reading->finding[0].code,
                .finding = &reading->finding[0],
                .why = sl_arena_text(s->arena, json_string_value(json_object_get(object, "why"))),
                .when = sl_arena_text(s->arena, json_string_value(json_object_get(object, "when")))};
        } else {
            sl_note(notes, "%s, line %d is damaged and was left out.", path, number);
        }
        json_decref(object);
    }
    return SL_OK;
}

sl_status sl_study_load(const char *folder, sl_arena *arena, sl_notes *notes, sl_study *study, sl_error *error)
{
    *study = (sl_study){.arena = arena, .folder = folder};
    sl_status status = load_sittings(study, notes, error);
    if (status == SL_OK)
        status = list_clips(study, error);
    return status == SL_OK ? load_decisions(study, notes, error) : status;
}

/* ---- asking ---- */

const sl_finding *sl_study_says(const sl_study *study, int sitting, const char *clip, sl_code code)
{
    const sl_reading *reading = sl_reads_find(&study->sitting[sitting].reads, clip);
    return reading ? sl_reading_get(reading, code) : NULL;
}

const sl_settled *sl_study_settled(const sl_study *study, const char *clip, sl_code code)
{
    char wanted[512], key[512];
    sl_clip_key(clip, wanted, sizeof wanted);
    for (int i = study->decisions - 1; i >= 0; i--) {
        sl_clip_key(study->decision[i].clip, key, sizeof key);
        if (study->decision[i].code == code && !strcmp(key, wanted))
            return &study->decision[i];
    }
    return NULL;
}

static bool certain(const sl_finding *f)
{
    return f && f->known && (sl_finding_info_of(f->code)->kind != SL_KIND_ANSWER || f->answer != SL_UNCERTAIN);
}

bool sl_findings_differ(const sl_finding *a, const sl_finding *b)
{
    if (!certain(a) || !certain(b))
        return false;
    const sl_finding_info *info = sl_finding_info_of(a->code);
    return info->kind == SL_KIND_ANSWER ? a->answer != b->answer
                                        : fabs(a->value - b->value) > sl_tolerance(info, a->value, b->value);
}

static bool anyone_differs(const sl_study *s, const char *clip, sl_code code)
{
    for (int i = 0; i < s->sittings; i++)
        for (int j = i + 1; s->sitting[i].number == 1 && j < s->sittings; j++)
            if (s->sitting[j].number == 1 &&
                sl_findings_differ(sl_study_says(s, i, clip, code), sl_study_says(s, j, clip, code)))
                return true;
    return false;
}

int sl_study_disagreements(const sl_study *s, sl_disagreement **list)
{
    int count = 0, room = 0;
    *list = NULL;
    for (int c = 0; c < s->clips; c++)
        for (int code = 0; code < SL_CODES; code++) {
            if (!anyone_differs(s, s->clip[c], (sl_code)code))
                continue;
            if (count == room) {
                int more = room ? 2 * room : 64;
                sl_disagreement *longer = SL_NEW(s->arena, more, sl_disagreement);
                if (!longer)
                    return -1;
                if (count)
                    memcpy(longer, *list, sizeof *longer * (size_t)count);
                *list = longer;
                room = more;
            }
            (*list)[count++] = (sl_disagreement){s->clip[c], (sl_code)code,
                                                 sl_study_settled(s, s->clip[c], (sl_code)code)};
        }
    return count;
}

sl_status sl_study_settle(const sl_study *s, const char *clip, const char *finding, const char *word, const char *by,
                          const char *why, const char *when, sl_error *error)
{
    bool noted, read = false;
    const sl_finding_info *info = sl_finding_of_title(finding, &noted);
    if (!info)
        return sl_fail(error, SL_USAGE, "%s is no finding of this program.", finding);
    for (int i = 0; i < s->sittings && !read; i++) {
        const sl_reading *reading = sl_reads_find(&s->sitting[i].reads, clip);
        read = reading && sl_reading_get(reading, info->code);
        if (read)
            clip = reading->clip; /* with its extension, as the readers have it */
    }
    if (!read)
        return sl_fail(error, SL_USAGE, "No reader of %s said anything of %s in %s, so there is nothing to settle.",
                       s->folder, info->name, clip);
    sl_reading *decision = sl_reading_new(s->arena, SL_BY_PERSON, by, clip);
    if (!decision)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (!sl_finding_take(decision, info, word) || !decision->findings)
        return sl_fail(error, SL_USAGE, "\"%.40s\" is no word for %s; write %s.", word, info->name,
                       info->kind == SL_KIND_ANSWER ? "yes, no or uncertain" : "a number in its range, or uncertain");
    json_t *line = json_object();
    json_object_set_new(line, "when", json_string(when));
    json_object_set_new(line, "why", json_string(why));
    json_object_set_new(line, "decision", sl_reading_to_json(decision));
    char *text = json_dumps(line, JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10));
    json_decref(line);
    sl_status status = text ? sl_append_line(sl_path_join(s->arena, s->folder, "settled.jsonl"), text, error)
                            : sl_fail(error, SL_MEMORY, "Memory ran out.");
    free(text);
    return status;
}

sl_status sl_study_agreed(const sl_study *s, sl_reads *agreed, sl_error *error)
{
    *agreed = (sl_reads){0};
    for (int c = 0; c < s->clips; c++) {
        sl_reading *reading = sl_reading_new(s->arena, SL_BY_LABELS, "agreed by the readers", s->clip[c]);
        if (!reading)
            return sl_fail(error, SL_MEMORY, "Memory ran out.");
        for (int code = 0; code < SL_CODES; code++) {
            const sl_settled *settled = sl_study_settled(s, s->clip[c], (sl_code)code);
            const sl_finding *says = settled ? settled->finding : NULL;
            for (int i = 0; !settled && i < s->sittings; i++) {
                const sl_finding *one = sl_study_says(s, i, s->clip[c], (sl_code)code);
                if (s->sitting[i].number == 1 && certain(one) && !says)
                    says = one;
            }
            if (!says || !certain(says) || (!settled && anyone_differs(s, s->clip[c], (sl_code)code)))
                continue;
            sl_finding *put = sl_reading_put(reading, (sl_code)code);
            put->known = true;
            put->answer = says->answer;
            put->value = says->value;
            put->reason = settled ? "settled" : "";
        }
        if (reading->findings && !sl_reads_add(agreed, reading, s->arena))
            return sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    return SL_OK;
}
