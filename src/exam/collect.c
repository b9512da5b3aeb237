#include "exam/exam.h"

#include "core/text.h"
#include "core/utf8.h"

#include <dirent.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

enum { DEEPEST = 12, MOST_CLIPS = 100000 };

typedef struct gather {
    sl_exam *exam;
    sl_arena *arena;
    int room;
    int aside;               /* documents left aside */
    char aside_names[160];   /* the first few of them */
    dev_t root_dev[DEEPEST + 1]; /* folders on the way down, against links that lead back up */
    ino_t root_ino[DEEPEST + 1];
    sl_status status;
} gather;

void sl_exam_remark(sl_exam *exam, sl_arena *arena, const char *format, ...)
{
    char text[1024];
    va_list args;
    va_start(args, format);
    vsnprintf(text, sizeof text, format, args);
    va_end(args);
    if ((exam->remarks & (exam->remarks - 1)) == 0) { /* full at powers of two */
        const char **larger = SL_NEW(arena, exam->remarks ? 2 * exam->remarks : 1, const char *);
        if (!larger)
            return;
        if (exam->remarks)
            memcpy(larger, exam->remark, (size_t)exam->remarks * sizeof *larger);
        exam->remark = larger;
    }
    const char *copy = sl_arena_text(arena, text), *kept = copy ? sl_utf8_valid(arena, copy) : NULL;
    if (kept)
        exam->remark[exam->remarks++] = kept;
}

static void add_clip(gather *self, const char *path, const char *where)
{
    sl_exam *exam = self->exam;
    if (exam->clips == self->room) {
        int room = self->room ? 2 * self->room : 64;
        sl_exam_clip *larger = room > 2 * MOST_CLIPS ? NULL : SL_NEW(self->arena, room, sl_exam_clip);
        if (!larger) {
            self->status = SL_MEMORY;
            return;
        }
        if (exam->clips)
            memcpy(larger, exam->clip, (size_t)exam->clips * sizeof *larger);
        exam->clip = larger;
        self->room = room;
    }
    sl_exam_clip *clip = &exam->clip[exam->clips];
    *clip = (sl_exam_clip){.path = sl_arena_text(self->arena, path),
                           .name = sl_utf8_valid(self->arena, sl_path_name(path)),
                           .where = sl_utf8_valid(self->arena, where),
                           .zone_from = "",
                           .notes = ""};
    if (!clip->path || !clip->name || !clip->where) {
        self->status = SL_MEMORY;
        return;
    }
    exam->clips++;
}

/* Documents and tables that lie beside clips; everything else is tried, whatever its name. */
static bool is_document(const char *name)
{
    static const char *const endings[] = {"csv", "tsv", "json", "txt",  "md",   "pdf", "html", "htm", "xml", "doc",
                                          "docx", "odt", "rtf", "xls",  "xlsx", "ods", "py",   "sh",  "zip", "7z",
                                          "gz",  "tar", "log", "ini",  "toml", "yaml", "yml", "db",  "sqlite", "part"};
    const char *ending = sl_path_extension(name);
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++)
        if (!strcasecmp(ending, endings[i]))
            return true;
    return !strcasecmp(name, "DICOMDIR") || !strcasecmp(name, "Thumbs.db") || !strcasecmp(name, "LICENSE") ||
           !strcasecmp(name, "README");
}

static bool is_there(sl_arena *arena, const char *folder, const char *name)
{
    struct stat facts;
    const char *path = sl_path_join(arena, folder, name);
    return path && !stat(path, &facts);
}

static int by_bytes(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Names in the folder, hidden ones left out, sorted. -1 when it cannot be listed. */
static int list_folder(gather *self, const char *path, char ***names)
{
    DIR *folder = opendir(path);
    if (!folder)
        return -1;
    int count = 0, room = 0;
    *names = NULL;
    for (struct dirent *entry; (entry = readdir(folder));) {
        if (entry->d_name[0] == '.')
            continue;
        if (count == room) {
            room = room ? 2 * room : 64;
            char **larger = SL_NEW(self->arena, room, char *);
            if (!larger)
                break;
            if (count)
                memcpy(larger, *names, (size_t)count * sizeof *larger);
            *names = larger;
        }
        (*names)[count] = sl_arena_text(self->arena, entry->d_name);
        if (!(*names)[count])
            break;
        count++;
    }
    closedir(folder);
    if (count)
        qsort(*names, (size_t)count, sizeof **names, by_bytes);
    return count;
}

static void leave_aside(gather *self, const char *name)
{
    size_t used = strlen(self->aside_names);
    if (self->aside < 4 && used + strlen(name) + 3 < sizeof self->aside_names)
        snprintf(self->aside_names + used, sizeof self->aside_names - used, "%s%s", used ? ", " : "", name);
    self->aside++;
}

/* `below` is the path under the given folder, "" for that folder itself. */
static void add_folder(gather *self, const char *path, const char *below, int depth)
{
    struct stat facts;
    if (stat(path, &facts))
        return;
    for (int i = 0; i < depth; i++)
        if (self->root_dev[i] == facts.st_dev && self->root_ino[i] == facts.st_ino)
            return;
    if (depth > DEEPEST) {
        sl_exam_remark(self->exam, self->arena, "%s lies too many folders deep and was left aside.", path);
        return;
    }
    self->root_dev[depth] = facts.st_dev;
    self->root_ino[depth] = facts.st_ino;
    bool written = is_there(self->arena, path, ".records"); /* by strandline read */
    if (written && depth > 0)
        return;
    char **names = NULL;
    int count = list_folder(self, path, &names);
    if (count < 0) {
        sl_exam_remark(self->exam, self->arena,
                       "The folder %s could not be listed; ask for permission to read it or copy the clips elsewhere.", path);
        return;
    }
    int first = self->exam->clips;
    for (int pass = 0; pass < 2; pass++) /* files, then folders */
        for (int i = 0; i < count && self->status == SL_OK; i++) {
            const char *inner = sl_path_join(self->arena, path, names[i]);
            const char *where = *below ? sl_path_join(self->arena, below, names[i]) : names[i];
            if (!inner || !where) {
                self->status = SL_MEMORY;
                return;
            }
            bool gone = stat(inner, &facts) != 0; /* a dangling link: tried, so that a sentence names it */
            bool folder = !gone && S_ISDIR(facts.st_mode);
            if (folder != (pass == 1))
                continue;
            if (folder && written && (!strcmp(names[i], "evidence") || !strcmp(names[i], "annotated")))
                continue;
            if (folder)
                add_folder(self, inner, where, depth + 1);
            else if (!strcasecmp(names[i], "exam.csv") || !strcasecmp(names[i], "exam-info.json"))
                continue;
            else if (!gone && !S_ISREG(facts.st_mode))
                leave_aside(self, names[i]); /* sockets, pipes, devices */
            else if (is_document(names[i]))
                leave_aside(self, names[i]);
            else
                add_clip(self, inner, where);
        }
    for (int i = 0; i < count && self->status == SL_OK; i++) {
        const char *inner = sl_path_join(self->arena, path, names[i]);
        if (inner && !strcasecmp(names[i], "exam-info.json"))
            sl_exam_apply_info(inner, self->arena, self->exam);
        else if (inner && !strcasecmp(names[i], "exam.csv"))
            sl_exam_apply_csv(inner, first, self->arena, self->exam);
    }
}

/* The same file given twice (a folder and a file in it) is read once. */
typedef struct identity {
    dev_t dev;
    ino_t ino;
    int index;
} identity;

static int by_identity(const void *a, const void *b)
{
    const identity *x = a, *y = b;
    if (x->dev != y->dev)
        return x->dev < y->dev ? -1 : 1;
    if (x->ino != y->ino)
        return x->ino < y->ino ? -1 : 1;
    return x->index - y->index;
}

static void drop_repeats(gather *self)
{
    sl_exam *exam = self->exam;
    identity *all = SL_NEW(self->arena, exam->clips + 1, identity);
    if (!all)
        return;
    int known = 0;
    for (int i = 0; i < exam->clips; i++) {
        struct stat facts;
        if (!stat(exam->clip[i].path, &facts))
            all[known++] = (identity){facts.st_dev, facts.st_ino, i};
    }
    qsort(all, (size_t)known, sizeof *all, by_identity);
    for (int i = 1; i < known; i++)
        if (all[i].dev == all[i - 1].dev && all[i].ino == all[i - 1].ino)
            exam->clip[all[i].index].path = NULL;
    int kept = 0;
    for (int i = 0; i < exam->clips; i++)
        if (exam->clip[i].path)
            exam->clip[kept++] = exam->clip[i];
    exam->clips = kept;
}

static const sl_protocol *scheme_of(const sl_exam *exam)
{
    return exam->own_protocol ? exam->own_protocol : sl_protocol_by_key(exam->stated_protocol);
}

static void zones_from_names(sl_exam *exam)
{
    const sl_protocol *scheme = scheme_of(exam);
    for (int i = 0; i < exam->clips; i++) {
        sl_exam_clip *clip = &exam->clip[i];
        if (clip->zone)
            continue;
        char stem[512];
        snprintf(stem, sizeof stem, "%s", clip->name);
        char *dot = strrchr(stem, '.');
        if (dot && dot != stem)
            *dot = 0;
        clip->zone = sl_zone_in_words(stem, scheme);
        if (clip->zone) {
            clip->zone_from = "file name";
            continue;
        }
        clip->zone = sl_zone_in_words(clip->where, scheme); /* right/upper anterior.mp4 */
        if (clip->zone)
            clip->zone_from = "folder name";
    }
}

void sl_exam_settle_posture(sl_exam *exam)
{
    const sl_protocol *scheme = scheme_of(exam);
    for (int i = 0; i < exam->clips; i++)
        if (!exam->clip[i].posture_stated)
            exam->clip[i].posture = exam->posture != SL_POSTURE_UNKNOWN ? exam->posture : scheme ? scheme->posture : SL_POSTURE_UNKNOWN;
}

sl_posture sl_exam_posture(const sl_exam *exam)
{
    for (int i = 1; i < exam->clips; i++)
        if (exam->clip[i].posture != exam->clip[0].posture)
            return SL_POSTURE_UNKNOWN;
    return exam->clips ? exam->clip[0].posture : SL_POSTURE_UNKNOWN;
}

void sl_exam_use_protocol(sl_exam *exam, const sl_protocol *protocol)
{
    exam->own_protocol = protocol;
    sl_exam_settle_posture(exam);
    for (int i = 0; i < exam->clips; i++)
        if (strcmp(exam->clip[i].zone_from, "exam.csv") != 0) {
            exam->clip[i].zone = NULL;
            exam->clip[i].zone_from = "";
        }
    zones_from_names(exam);
}

void sl_exam_zones_from_files(sl_exam *exam)
{
    for (int i = 0; i < exam->clips; i++) {
        sl_exam_clip *clip = &exam->clip[i];
        const sl_acquisition *how = &clip->result.info.acquisition;
        char said[200];
        if (clip->zone)
            continue;
        if (*how->burned_label) {
            clip->zone = sl_zone_in_words(how->burned_label, scheme_of(exam));
            if (clip->zone)
                clip->zone_from = "burned-in label";
            continue;
        }
        if (!(*how->laterality || *how->view_name || *how->body_part))
            continue;
        snprintf(said, sizeof said, "%s %s %s", how->laterality, how->view_name, how->body_part);
        clip->zone = sl_zone_in_words(said, scheme_of(exam));
        if (clip->zone)
            clip->zone_from = "DICOM attributes";
    }
}

typedef struct stem_entry {
    char *stem;
    int index;
} stem_entry;

static int by_stem(const void *a, const void *b)
{
    const stem_entry *x = a, *y = b;
    int order = strcasecmp(x->stem, y->stem); /* file systems may not tell capitals apart */
    return order ? order : x->index - y->index;
}

/* Unique names for the files made of a clip: the name without its ending, and for the second and later clips of that
 * name -2, -3 ... */
static bool name_stems(gather *self)
{
    enum { LONGEST = 180 }; /* bytes; file systems end at 255 */
    sl_exam *exam = self->exam;
    stem_entry *all = SL_NEW(self->arena, exam->clips + 1, stem_entry);
    if (!all)
        return false;
    for (int i = 0; i < exam->clips; i++) {
        char *stem = sl_arena_text(self->arena, exam->clip[i].name);
        if (!stem)
            return false;
        char *dot = strrchr(stem, '.');
        if (dot && dot != stem)
            *dot = 0;
        size_t length = strlen(stem);
        if (length > LONGEST) {
            length = LONGEST;
            while (length && ((unsigned char)stem[length] & 0xc0) == 0x80)
                length--; /* not within a character */
            stem[length] = 0;
        }
        all[i] = (stem_entry){stem, i};
        exam->clip[i].stem = stem;
    }
    for (bool again = true; again;) { /* "a-2" may be taken by another clip of that very name */
        again = false;
        qsort(all, (size_t)exam->clips, sizeof *all, by_stem);
        for (int i = 0, first = 0; i < exam->clips; i++) {
            if (strcasecmp(all[i].stem, all[first].stem))
                first = i;
            if (i == first)
                continue;
            char *unique = sl_arena_printf(self->arena, "%s-%d", all[i].stem, i - first + 1);
            if (!unique)
                return false;
            exam->clip[all[i].index].stem = unique;
            again = true;
        }
        for (int i = 0; i < exam->clips; i++)
            all[i].stem = (char *)exam->clip[all[i].index].stem;
    }
    return true;
}

sl_status sl_exam_collect(const char *const *paths, int count, sl_arena *arena, sl_exam *exam, sl_error *error)
{
    *exam = (sl_exam){.title = "", .date = "", .person = "", .question = "", .stated_protocol = ""};
    if (count < 1)
        return sl_fail(error, SL_USAGE, "No folder or file was given.");
    gather self = {.exam = exam, .arena = arena};
    for (int i = 0; i < count && self.status == SL_OK; i++) {
        struct stat facts;
        if (!stat(paths[i], &facts) && S_ISDIR(facts.st_mode))
            add_folder(&self, paths[i], "", 0);
        else
            add_clip(&self, paths[i], sl_path_name(paths[i]));
    }
    if (self.status != SL_OK)
        return sl_fail(error, self.status, "Memory ran out while listing the clips; give fewer at once.");
    drop_repeats(&self);
    if (!name_stems(&self))
        return sl_fail(error, SL_MEMORY, "Memory ran out while listing the clips; give fewer at once.");
    zones_from_names(exam);
    sl_exam_settle_posture(exam);
    if (self.aside)
        sl_exam_remark(exam, arena, "Left aside because %s no clip%s: %s%s.",
                       self.aside == 1 ? "it is" : "they are", self.aside == 1 ? "" : "s", self.aside_names,
                       self.aside > 4 ? " and others" : "");
    if (!exam->clips)
        return sl_fail(error, SL_IO, "No clip was found in %s%s. Give a folder that holds ultrasound clips.", paths[0],
                       count > 1 ? " and the other places" : "");
    return SL_OK;
}
