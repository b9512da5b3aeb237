#include "access/log.h"

#include "core/file.h"
#include "core/text.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <sodium.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

enum { CHAIN = 2 * crypto_hash_sha256_BYTES, LINE_MOST = 8192, TAIL_MOST = 1 << 20 };

struct sl_access_log {
    char path[3200];
    int file;
    pthread_mutex_t mutex;
};

sl_status sl_access_log_open(const char *folder, sl_access_log **log, sl_error *error)
{
    *log = NULL;
    sl_status status = sl_folder_make(folder, error);
    if (status != SL_OK)
        return status;
    sl_access_log *self = sodium_init() < 0 ? NULL : calloc(1, sizeof *self);
    if (!self)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the log was opened.");
    self->file = -1;
    if (snprintf(self->path, sizeof self->path, "%s/access.jsonl", folder) < (int)sizeof self->path)
        self->file = open(self->path, O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    if (self->file < 0) {
        status = sl_fail(error, SL_IO, "%s could not be opened: %s.", self->path, strerror(errno));
        free(self);
        return status;
    }
    pthread_mutex_init(&self->mutex, NULL);
    *log = self;
    return SL_OK;
}

void sl_access_log_close(sl_access_log **log)
{
    if (!*log)
        return;
    close((*log)->file);
    pthread_mutex_destroy(&(*log)->mutex);
    free(*log);
    *log = NULL;
}

static void chain_of(const char before[CHAIN + 1], const char *line, size_t length, char chain[CHAIN + 1])
{
    unsigned char hash[crypto_hash_sha256_BYTES];
    crypto_hash_sha256_state state;
    crypto_hash_sha256_init(&state);
    crypto_hash_sha256_update(&state, (const unsigned char *)before, strlen(before));
    crypto_hash_sha256_update(&state, (const unsigned char *)line, length);
    crypto_hash_sha256_final(&state, hash);
    sodium_bin2hex(chain, CHAIN + 1, hash, sizeof hash);
}

/* A line is "{...} CHAIN\n". Takes the chain off; false when the line is not so. */
static bool parts_of(const char *line, size_t length, size_t *json, char chain[CHAIN + 1])
{
    if (length < CHAIN + 3 || line[length - CHAIN - 1] != ' ' || line[0] != '{')
        return false;
    memcpy(chain, line + length - CHAIN, CHAIN);
    chain[CHAIN] = 0;
    *json = length - CHAIN - 1;
    return strspn(chain, "0123456789abcdef") == CHAIN;
}

/* What the next line follows: the chain of the last whole line, or what stands there when it was cut short. */
static void last_chain(int file, char chain[CHAIN + 1], bool *cut)
{
    char tail[LINE_MOST];
    struct stat facts;
    chain[0] = 0;
    *cut = false;
    if (fstat(file, &facts) || !facts.st_size)
        return;
    off_t from = facts.st_size > (off_t)sizeof tail ? facts.st_size - (off_t)sizeof tail : 0;
    ssize_t got = pread(file, tail, sizeof tail, from);
    if (got <= 0)
        return;
    *cut = tail[got - 1] != '\n';
    while (got && tail[got - 1] != '\n')
        got--;
    size_t end = got ? (size_t)got - 1 : 0, begin = end, json;
    while (begin && tail[begin - 1] != '\n')
        begin--;
    if (!parts_of(tail + begin, end - begin, &json, chain))
        chain[0] = 0;
}

static json_t *short_string(const char *text)
{
    char cut[301];
    snprintf(cut, sizeof cut, "%s", text);
    json_t *string = json_string(cut);
    for (size_t i = strlen(cut); !string && i--;) { /* cut within a letter */
        cut[i] = 0;
        string = json_string(cut);
    }
    return string ? string : json_string("");
}

sl_status sl_access_log_add(sl_access_log *log, const char *who, const char *from, const char *what, const char *of,
                            sl_error *error)
{
    char now[32], before[CHAIN + 1], chain[CHAIN + 1];
    bool cut;
    sl_now(now, sizeof now);
    json_t *json = json_pack("{s:s, s:o, s:o, s:o, s:o}", "at", now, "who", short_string(who), "from", short_string(from),
                             "what", short_string(what), "of", short_string(of));
    char *text = json ? json_dumps(json, JSON_COMPACT) : NULL, *line = NULL;
    json_decref(json);
    if (!text)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the log was written.");
    pthread_mutex_lock(&log->mutex);
    flock(log->file, LOCK_EX);
    last_chain(log->file, before, &cut);
    chain_of(before, text, strlen(text), chain);
    int length = asprintf(&line, "%s%s %s\n", cut ? "\n" : "", text, chain);
    bool fine = length > 0 && write(log->file, line, (size_t)length) == length && !fdatasync(log->file);
    flock(log->file, LOCK_UN);
    pthread_mutex_unlock(&log->mutex);
    if (length >= 0)
        free(line);
    free(text);
    return fine ? SL_OK : sl_fail(error, SL_IO, "%s could not be written: %s.", log->path, strerror(errno));
}

json_t *sl_access_log_last(sl_access_log *log, int most)
{
    struct stat facts;
    json_t *list = json_array();
    off_t size = fstat(log->file, &facts) ? 0 : facts.st_size, from = size > TAIL_MOST ? size - TAIL_MOST : 0;
    char *tail = malloc((size_t)(size - from) + 1);
    ssize_t got = tail ? pread(log->file, tail, (size_t)(size - from), from) : 0;
    size_t end = got > 0 ? (size_t)got : 0;
    while (end && (int)json_array_size(list) < most) {
        size_t stop = end && tail[end - 1] == '\n' ? end - 1 : end, begin = stop, json;
        char chain[CHAIN + 1];
        while (begin && tail[begin - 1] != '\n')
            begin--;
        if (begin == 0 && from)
            break; /* begins before the piece that was read */
        json_t *entry = parts_of(tail + begin, stop - begin, &json, chain) ? json_loadb(tail + begin, json, 0, NULL) : NULL;
        if (entry)
            json_array_append_new(list, entry);
        end = begin;
    }
    free(tail);
    return list;
}

sl_status sl_access_log_check(sl_access_log *log, long *lines, long *broken, sl_error *error)
{
    FILE *file = fopen(log->path, "re");
    char *line = NULL, before[CHAIN + 1] = "";
    size_t room = 0;
    sl_status status = file ? SL_OK : sl_fail(error, SL_IO, "%s could not be read: %s.", log->path, strerror(errno));
    *lines = *broken = 0;
    for (ssize_t length; status == SL_OK && (length = getline(&line, &room, file)) >= 0;) {
        char said[CHAIN + 1], chain[CHAIN + 1];
        size_t json, bytes = (size_t)length - (length && line[length - 1] == '\n');
        ++*lines;
        if (!parts_of(line, bytes, &json, said)) { /* cut short by a power failure: the next line follows the one before */
            ++*broken;
            continue;
        }
        chain_of(before, line, json, chain);
        if (strcmp(said, chain))
            status = sl_fail(error, SL_FORMAT, "%s: line %ld does not follow the one before it: it was changed, or lines are gone.",
                             log->path, *lines);
        memcpy(before, said, sizeof before);
    }
    free(line);
    if (file)
        fclose(file);
    return status;
}
