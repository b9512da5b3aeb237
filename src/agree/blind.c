#include "agree/blind.h"

#include "agree/table.h"
#include "core/file.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char *key_path(const char *study, const char *reader, int sitting, sl_arena *arena)
{
    return sl_arena_printf(arena, "%s/keys/%s-%d.csv", study, reader, sitting);
}

/* The same file under a second name; on another disk, or where links are not known, a copy. */
static sl_status put_file(const char *from, const char *to, sl_error *error)
{
    static const char failed[] = "%s could not be put under its code as %s: %s.";
    if (!link(from, to))
        return SL_OK;
    if (errno == EEXIST || errno == ENOENT)
        return sl_fail(error, SL_IO, failed, from, to, strerror(errno));
    FILE *in = fopen(from, "rb"), *out = in ? fopen(to, "wbx") : NULL;
    char block[1 << 14];
    bool fine = in && out;
    for (size_t n; fine && (n = fread(block, 1, sizeof block, in)) > 0;)
        fine = fwrite(block, 1, n, out) == n;
    fine = fine && !ferror(in);
    int cause = errno;
    if (in)
        fclose(in);
    if (out && fclose(out) != 0)
        fine = false;
    if (!fine && out)
        remove(to);
    return fine ? SL_OK : sl_fail(error, SL_IO, failed, from, to, strerror(cause));
}

sl_status sl_blind_codes(const char *study, const char *reader, int sitting, const char *from, const char **clip,
                         int clips, sl_arena *arena, sl_error *error)
{
    struct stat facts;
    char *path = key_path(study, reader, sitting, arena), *keys = sl_path_join(arena, study, "keys");
    char *place = sl_arena_printf(arena, "%s/clips/%s-%d", study, reader, sitting);
    if (!path || !keys || !place)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (!stat(path, &facts))
        return sl_fail(error, SL_USAGE, "Sitting %d of reader %s has its list already, and codes are given once. For a "
                                        "further sitting add --sitting %d.", sitting, reader, sitting + 1);
    sl_status status = sl_folder_make(keys, error);
    if (status == SL_OK && from)
        status = sl_folder_make(place, error);
    sl_text key = {0};
    sl_text_add(&key, "code,clip\n");
    for (int i = 0; status == SL_OK && i < clips; i++) {
        const char *end = strrchr(clip[i], '.');
        char *code = sl_arena_printf(arena, "%s-%d-%03d", reader, sitting, i + 1);
        char *to = sl_arena_printf(arena, "%s/%s%s", place, code, end ? end : "");
        if (!code || !to)
            status = sl_fail(error, SL_MEMORY, "Memory ran out.");
        if (status == SL_OK && from)
            status = put_file(sl_path_join(arena, from, clip[i]), to, error);
        sl_csv_add(&key, code, true);
        sl_csv_add(&key, clip[i], false);
        sl_text_add(&key, "\n");
        clip[i] = code;
    }
    if (status == SL_OK)
        status = key.failed ? sl_fail(error, SL_MEMORY, "Memory ran out.")
                            : sl_file_write(path, key.bytes, key.length, error);
    sl_text_free(&key);
    return status;
}

/* ---- the way back ---- */

typedef struct key_table {
    sl_arena *arena;
    const char *path;
    sl_names codes, clips;
    const char **clip;
    int count, room;
} key_table;

static sl_status take_titles(void *context, const sl_csv *table, sl_error *error)
{
    const key_table *key = context;
    return table->fields[0] == 2 ? SL_OK : sl_fail(error, SL_FORMAT, "%s is no key: it needs the columns code and clip.",
                                                   key->path);
}

static sl_status take_row(void *context, const sl_csv *table, int row, int number, sl_error *error)
{
    key_table *key = context;
    char code[512], clip[512];
    (void)number;
    if (key->count == key->room) {
        int room = key->room ? 2 * key->room : 256;
        const char **more = SL_NEW(key->arena, room, const char *);
        if (more && key->count)
            memcpy(more, key->clip, sizeof *more * (size_t)key->count);
        key->clip = more;
        key->room = room;
    }
    sl_clip_key(sl_csv_get(table, row, 0), code, sizeof code);
    sl_clip_key(sl_csv_get(table, row, 1), clip, sizeof clip);
    if (!key->clip || !(key->clip[key->count] = sl_arena_text(key->arena, sl_csv_get(table, row, 1))) ||
        sl_names_add(&key->codes, code, key->count) < 0 || sl_names_add(&key->clips, clip, key->count) < 0)
        return sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", key->path);
    key->count++;
    return SL_OK;
}

sl_status sl_blind_names(const char *study, const char *reader, int sitting, sl_arena *arena, sl_notes *notes,
                         sl_reads *reads, sl_error *error)
{
    struct stat facts;
    key_table key = {.arena = arena, .path = key_path(study, reader, sitting, arena), .codes = {.arena = arena},
                     .clips = {.arena = arena}};
    if (!key.path)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (stat(key.path, &facts))
        return SL_OK;
    sl_status status = sl_table_read(key.path, take_titles, take_row, &key, error);
    sl_reads named = {0};
    for (int i = 0; status == SL_OK && i < reads->count; i++) {
        char word[512];
        sl_clip_key(reads->reading[i]->clip, word, sizeof word);
        int at = sl_names_get(&key.codes, word);
        if (at < 0 && sl_clip_stem(word)) /* a code written with the file's extension */
            at = sl_names_get(&key.codes, word);
        if (at >= 0)
            reads->reading[i]->clip = key.clip[at];
        else if (sl_clip_key(reads->reading[i]->clip, word, sizeof word), sl_names_get(&key.clips, word) < 0)
            sl_note(notes, "%s is neither a code nor a clip of the list of reader %s, sitting %d.",
                    reads->reading[i]->clip, reader, sitting);
        if (sl_reads_find(&named, reads->reading[i]->clip))
            sl_note(notes, "%s stands there twice, once by its code.", reads->reading[i]->clip);
        else if (!sl_reads_add(&named, reads->reading[i], arena))
            status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    if (status == SL_OK)
        *reads = named;
    return status;
}
