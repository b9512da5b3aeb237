/* exam.csv and exam-info.json: what people say about the clips. Forgiving; whatever cannot be used is named in a
 * remark and the rest goes on. */
#include "exam/exam.h"

#include "core/file.h"
#include "core/json.h"
#include "core/text.h"
#include "core/utf8.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { TABLE_MOST_BYTES = 16 << 20, MOST_ROW_REMARKS = 20 };

/* Depths that a lung is imaged at, cm; outside, the number is taken for a slip (mm for cm, a stray digit). */
static const double shallowest_cm = 1, deepest_cm = 40;

typedef struct name_entry {
    const char *name;
    int clip;
} name_entry;

static int by_name(const void *a, const void *b)
{
    const name_entry *x = a, *y = b;
    int order = strcasecmp(x->name, y->name);
    return order ? order : x->clip - y->clip;
}

/* Lower bound of `name` among sorted entries. */
static int first_at(const name_entry *entry, int count, const char *name)
{
    int low = 0, high = count;
    while (low < high) {
        int middle = (low + high) / 2;
        if (strcasecmp(entry[middle].name, name) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* The clip called `name`: exactly so, else but for capitals. -1 none, -2 several. */
static int look_up(const name_entry *entry, int count, const char *name)
{
    int at = first_at(entry, count, name), found = -1, alike = 0;
    for (int i = at; i < count && !strcasecmp(entry[i].name, name); i++) {
        if (!strcmp(entry[i].name, name))
            return entry[i].clip;
        found = entry[i].clip;
        alike++;
    }
    return alike > 1 ? -2 : found;
}

static char *trimmed(sl_arena *arena, const char *text)
{
    while (isspace((unsigned char)*text))
        text++;
    char *copy = sl_arena_text(arena, text);
    if (!copy)
        return NULL;
    size_t length = strlen(copy);
    while (length && isspace((unsigned char)copy[length - 1]))
        copy[--length] = 0;
    return copy;
}

/* "12", "12.5", "12,5", "12 cm", "120 mm". False when it is no depth. */
static bool parse_depth(const char *text, double *cm)
{
    char copy[32];
    snprintf(copy, sizeof copy, "%s", text);
    for (char *at = copy; *at; at++)
        if (*at == ',')
            *at = '.';
    char *end;
    double value = strtod(copy, &end);
    if (end == copy)
        return false;
    while (isspace((unsigned char)*end))
        end++;
    if (!strcasecmp(end, "mm"))
        value /= 10;
    else if (*end && strcasecmp(end, "cm"))
        return false;
    *cm = value;
    return value >= shallowest_cm && value <= deepest_cm;
}

typedef struct table {
    const char *path;
    sl_exam *exam;
    sl_arena *arena;
    sl_csv csv;
    int file, zone, depth, posture, notes; /* columns */
    name_entry *by_full, *by_stem, *by_where;
    int first, count;
    int *row_of; /* which row spoke of each clip, 0 none */
    int said;    /* remarks so far */
} table;

static void index_names(table *self)
{
    for (int i = 0; i < self->count; i++) {
        const sl_exam_clip *clip = &self->exam->clip[self->first + i];
        char *stem = sl_arena_text(self->arena, clip->name);
        char *dot = stem ? strrchr(stem, '.') : NULL;
        if (dot && dot != stem)
            *dot = 0;
        self->by_full[i] = (name_entry){clip->name, i};
        self->by_stem[i] = (name_entry){stem ? stem : "", i};
        self->by_where[i] = (name_entry){clip->where, i};
    }
    qsort(self->by_full, (size_t)self->count, sizeof *self->by_full, by_name);
    qsort(self->by_stem, (size_t)self->count, sizeof *self->by_stem, by_name);
    qsort(self->by_where, (size_t)self->count, sizeof *self->by_where, by_name);
}

static const char *clean(table *self, int row, int column)
{
    const char *field = trimmed(self->arena, sl_csv_get(&self->csv, row, column));
    const char *valid = field ? sl_utf8_valid(self->arena, field) : NULL;
    return valid ? valid : "";
}

/* One sentence a row is enough, and a table of another examination should not fill the screen. */
static void complain(table *self, const char *sentence)
{
    if (self->said++ < MOST_ROW_REMARKS)
        sl_exam_remark(self->exam, self->arena, "%s", sentence);
}

static void apply_row(table *self, int row)
{
    char sentence[700];
    const char *file = clean(self, row, self->file), *zone_text = clean(self, row, self->zone);
    const char *depth = clean(self, row, self->depth), *posture = clean(self, row, self->posture);
    if (!*file) {
        if (*depth) { /* a zone alone waits for its clip */
            snprintf(sentence, sizeof sentence, "%s, row %d names no file and was left out.", self->path, row + 1);
            complain(self, sentence);
        }
        return;
    }
    int found = look_up(self->by_full, self->count, file);
    if (found == -1)
        found = look_up(self->by_where, self->count, file);
    if (found == -1)
        found = look_up(self->by_stem, self->count, file);
    if (found < 0) {
        snprintf(sentence, sizeof sentence,
                 found == -2 ? "%s, row %d: several clips are called %.120s but for capitals or ending; write the full name."
                             : "%s, row %d: there is no clip %.120s beside it; the row was left out.",
                 self->path, row + 1, file);
        complain(self, sentence);
        return;
    }
    sl_exam_clip *clip = &self->exam->clip[self->first + found];
    if (self->row_of[found]) {
        snprintf(sentence, sizeof sentence, "%s, row %d: %.120s was already named in row %d, which counts.", self->path,
                 row + 1, file, self->row_of[found]);
        complain(self, sentence);
        return;
    }
    self->row_of[found] = row + 1;
    clip->notes = clean(self, row, self->notes);
    if (*zone_text) {
        clip->zone = sl_zone_by_key(zone_text);
        if (!clip->zone)
            clip->zone = sl_zone_in_words(zone_text, sl_protocol_by_key(self->exam->stated_protocol));
        if (clip->zone)
            clip->zone_from = "exam.csv";
        else {
            snprintf(sentence, sizeof sentence,
                     "%s, row %d: \"%.80s\" is no zone known here for %.120s; write for example \"right upper anterior\" "
                     "or \"R1\".",
                     self->path, row + 1, zone_text, file);
            complain(self, sentence);
        }
    }
    if (*posture) {
        clip->posture = sl_posture_by_key(posture);
        clip->posture_stated = clip->posture != SL_POSTURE_UNKNOWN;
        if (!clip->posture_stated) {
            snprintf(sentence, sizeof sentence, "%s, row %d: the posture \"%.40s\" of %.120s is none of %s and was not used.", self->path,
                     row + 1, posture, file, sl_posture_keys);
            complain(self, sentence);
        }
    }
    if (*depth) {
        double cm = 0;
        if (parse_depth(depth, &cm))
            clip->stated_depth_cm = cm;
        else {
            snprintf(sentence, sizeof sentence,
                     "%s, row %d: the depth \"%.40s\" of %.120s is no number of centimetres from %g to %g and was not used.",
                     self->path, row + 1, depth, file, shallowest_cm, deepest_cm);
            complain(self, sentence);
        }
    }
}

static int column_of(const sl_csv *csv, const char *const *names)
{
    for (; *names; names++) {
        int column = sl_csv_column(csv, *names);
        if (column >= 0)
            return column;
    }
    return -1;
}

void sl_exam_apply_csv(const char *path, int first, sl_arena *arena, sl_exam *exam)
{
    sl_error error;
    char *bytes;
    size_t length;
    table self = {.path = path, .exam = exam, .arena = arena, .first = first, .count = exam->clips - first};
    if (sl_file_read(path, TABLE_MOST_BYTES, arena, &bytes, &length, &error) != SL_OK ||
        sl_csv_parse(bytes, length, path, arena, &self.csv, &error) != SL_OK) {
        sl_exam_remark(exam, arena, "%s Zones were taken from the file names instead.", error.text);
        return;
    }
    self.file = column_of(&self.csv, (const char *[]){"file", "clip", "filename", "file name", "file_name", NULL});
    self.zone = column_of(&self.csv, (const char *[]){"zone", "region", "place", NULL});
    self.depth = column_of(&self.csv, (const char *[]){"depth_cm", "depth cm", "depth (cm)", "depth", NULL});
    self.posture = column_of(&self.csv, (const char *[]){"posture", "position", NULL});
    self.notes = column_of(&self.csv, (const char *[]){"notes", "note", "comment", "comments", NULL});
    if (self.file < 0) {
        sl_exam_remark(exam, arena,
                       "%s has no column \"file\" in its first row, so it was not used; its columns are file, zone, "
                       "depth_cm, posture and notes.",
                       path);
        return;
    }
    size_t room = (size_t)self.count + 1;
    self.by_full = SL_NEW(arena, room, name_entry);
    self.by_stem = SL_NEW(arena, room, name_entry);
    self.by_where = SL_NEW(arena, room, name_entry);
    self.row_of = SL_NEW(arena, room, int);
    if (!self.by_full || !self.by_stem || !self.by_where || !self.row_of)
        return;
    index_names(&self);
    for (int row = 1; row < self.csv.rows; row++)
        apply_row(&self, row);
    if (self.said > MOST_ROW_REMARKS)
        sl_exam_remark(exam, arena, "%s: %d more rows could not be used either.", path, self.said - MOST_ROW_REMARKS);
}

static const char *text_field(const json_t *root, const char *key, sl_arena *arena)
{
    const char *text = json_string_value(json_object_get(root, key));
    const char *copy = text ? sl_arena_text(arena, text) : NULL;
    const char *valid = copy ? sl_utf8_valid(arena, copy) : NULL;
    return valid ? valid : "";
}

void sl_exam_apply_info(const char *path, sl_arena *arena, sl_exam *exam)
{
    sl_error error;
    json_t *root = sl_json_load(path, &error);
    if (!root) {
        sl_exam_remark(exam, arena, "%s The examination is read without it.", error.text);
        return;
    }
    if (json_is_object(root)) {
        exam->title = text_field(root, "title", arena);
        exam->date = text_field(root, "date", arena);
        exam->person = text_field(root, "person", arena);
        exam->question = text_field(root, "question", arena);
        exam->order = sl_exam_order_of(root, arena);
        exam->invented = json_is_true(json_object_get(root, "invented"));
        const char *posture = text_field(root, "posture", arena);
        exam->posture = sl_posture_by_key(posture);
        if (*posture && exam->posture == SL_POSTURE_UNKNOWN)
            sl_exam_remark(exam, arena, "%s: the posture \"%.40s\" is none of %s and was not used.", path, posture, sl_posture_keys);
        const char *breathing = text_field(root, "breathing", arena);
        exam->breathing = sl_breathing_by_key(breathing);
        if (*breathing && exam->breathing == SL_BREATHING_UNKNOWN)
            sl_exam_remark(exam, arena, "%s: the breathing \"%.40s\" is neither spontaneous nor ventilated and was not used.", path, breathing);
        const char *key = text_field(root, "protocol", arena);
        if (*key && !sl_protocol_by_key(key))
            sl_exam_remark(exam, arena, "%s: \"%s\" is no scheme of zones known here; it was worked out from the clips.",
                           path, key);
        else
            exam->stated_protocol = key;
    } else
        sl_exam_remark(exam, arena, "%s is not a JSON object and was not used.", path);
    json_decref(root);
}
