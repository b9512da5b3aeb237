#include "node/commitments.h"

#include "core/arena.h"
#include "core/file.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum {
    PATH_ROOM = 4096,
    FIRST_S = 1,                 /* after the request: the first call */
    MOST_S = 600,                /* between two calls */
    KEEP_S = 7 * 24 * 3600,
    MOST_BYTES = SL_COMMIT_MOST * 132 + 200
};

/* ---- the file of a request: named by its transaction and the sender's title in hexadecimal, a line "CLASS UID" for each object. It
 * was modified when it came and accessed when it was last tried. ---- */

static bool name_of(const sl_commitments *own, const sl_dicom_commit *asked, char *path, size_t room)
{
    char title[33] = "";
    for (int i = 0; i < 16 && asked->from[i]; i++)
        snprintf(title + 2 * i, 3, "%02x", (unsigned char)asked->from[i]);
    return snprintf(path, room, "%s/commitments/%s-%s", own->shelf->place, asked->transaction, title) < (int)room;
}

static void title_of(const char *name, char title[17])
{
    unsigned letter;
    const char *dash = strchr(name, '-');
    memset(title, 0, 17);
    for (int i = 0; dash && i < 16 && sscanf(dash + 1 + 2 * i, "%2x", &letter) == 1; i++)
        title[i] = (char)letter;
}

static bool sync_folder(const char *path)
{
    int folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    bool good = folder >= 0 && !fsync(folder);
    if (folder >= 0)
        close(folder);
    return good;
}

/* Takes the request in hand, so that no other process answers it meanwhile: an open, locked descriptor, or -1. */
static int claim(const char *path)
{
    struct stat here, there;
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file >= 0 && !flock(file, LOCK_EX | LOCK_NB) && !fstat(file, &here) && !stat(path, &there) && here.st_ino == there.st_ino)
        return file;
    if (file >= 0)
        close(file);
    return -1;
}

static bool write_request(const sl_dicom_commit *asked, const char *path)
{
    char hidden[PATH_ROOM + 32];
    char *dash = strrchr(path, '/');
    snprintf(hidden, sizeof hidden, "%.*s/.%ld", (int)(dash - path), path, (long)getpid());
    FILE *file = fopen(hidden, "we");
    if (!file)
        return false;
    for (int i = 0; i < asked->count; i++)
        fprintf(file, "%s %s\n", asked->claim[i].class_uid, asked->claim[i].uid);
    bool good = !fflush(file) && !ferror(file) && !fsync(fileno(file));
    good = !fclose(file) && good && !rename(hidden, path);
    if (!good)
        unlink(hidden);
    *dash = 0;
    good = good && sync_folder(path);
    *dash = '/';
    return good;
}

static bool read_request(const char *path, const char *name, sl_arena *arena, sl_dicom_commit *asked)
{
    char *text, *rest = NULL;
    size_t length;
    const char *dash = strchr(name, '-');
    if (!dash || dash - name >= (int)sizeof asked->transaction || sl_file_read(path, MOST_BYTES, arena, &text, &length, NULL) != SL_OK)
        return false;
    snprintf(asked->transaction, sizeof asked->transaction, "%.*s", (int)(dash - name), name);
    int lines = 0;
    for (const char *at = text; *at; at++)
        lines += *at == '\n';
    asked->claim = SL_NEW(arena, lines + 1, sl_dicom_claim);
    asked->count = 0;
    title_of(name, asked->from);
    for (char *line = asked->claim ? strtok_r(text, "\n", &rest) : NULL; line; line = strtok_r(NULL, "\n", &rest)) {
        sl_dicom_claim *claimed = &asked->claim[asked->count++];
        if (sscanf(line, "%64s %64s", claimed->class_uid, claimed->uid) != 2)
            return false;
    }
    return asked->count > 0;
}

/* ---- in an association ---- */

static const sl_commit_address *address_of(const sl_commitments *own, const char *title)
{
    for (int i = 0; i < own->addresses; i++)
        if (!strcmp(own->address[i].title, title))
            return &own->address[i];
    return NULL;
}

static unsigned promise(void *context, const sl_dicom_commit *asked)
{
    sl_commitments *own = context;
    char path[PATH_ROOM];
    snprintf(path, sizeof path, "%s/commitments", own->shelf->place);
    if (!own->shelf->store || !sl_keeper_has_room(own->shelf->place, own->shelf->keep_free) || sl_folder_make(path, NULL) != SL_OK ||
        !name_of(own, asked, path, sizeof path) || !write_request(asked, path))
        return SL_ASK_NO_ROOM;
    return SL_ASK_TAKEN;
}

static bool calls(void *context, const char *title)
{
    return address_of(context, title) != NULL;
}

static void verify(void *context, sl_dicom_commit *asked)
{
    static const unsigned failure[] = {SL_COMMITTED, SL_COMMIT_NO_SUCH_OBJECT, SL_COMMIT_OTHER_CLASS, SL_COMMIT_PROCESSING};
    sl_commitments *own = context;
    for (int i = 0; i < asked->count; i++) {
        sl_store_holding holding;
        sl_dicom_claim *one = &asked->claim[i];
        one->failure = own->shelf->store && sl_store_object_holds(own->shelf->store, one->class_uid, one->uid, &holding, &own->shelf->why) == SL_OK
                           ? failure[holding] : SL_COMMIT_PROCESSING;
    }
}

static void tell(const sl_commitments *own, const sl_dicom_commit *verified, const char *why)
{
    int kept = 0;
    for (int i = 0; i < verified->count; i++)
        kept += !verified->claim[i].failure;
    if (own->told)
        own->told(own->context, verified, kept, why);
}

static void heard(void *context, const sl_dicom_commit *verified)
{
    char path[PATH_ROOM];
    if (name_of(context, verified, path, sizeof path))
        unlink(path);
    tell(context, verified, NULL);
}

sl_dicom_committer sl_commitments_committer(sl_commitments *commitments)
{
    return (sl_dicom_committer){promise, calls, verify, heard, commitments};
}

/* ---- calls ---- */

static bool is_due(const sl_commitments *own, const char *path, const char *name)
{
    struct stat facts;
    char title[17];
    title_of(name, title);
    if (stat(path, &facts))
        return false;
    const time_t now = time(NULL);
    if (now - facts.st_mtime > KEEP_S) { /* whoever asked has asked again, or never will */
        unlink(path);
        return false;
    }
    long wait = (long)(facts.st_atime - facts.st_mtime);
    wait = wait < FIRST_S ? FIRST_S : wait > MOST_S ? MOST_S : wait;
    return address_of(own, title) && (now - facts.st_atime >= wait || facts.st_atime > now);
}

typedef bool (*each)(sl_commitments *own, const char *path, const char *name);

/* Goes through what is due until `what` says that it is enough. */
static bool go_through(sl_commitments *own, each what)
{
    char folder[PATH_ROOM], path[PATH_ROOM + 300];
    snprintf(folder, sizeof folder, "%s/commitments", own->shelf->place);
    DIR *open = opendir(folder);
    bool enough = false;
    for (struct dirent *entry; open && !enough && (entry = readdir(open));) {
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (entry->d_name[0] != '.' && is_due(own, path, entry->d_name))
            enough = what(own, path, entry->d_name);
    }
    if (open)
        closedir(open);
    return enough;
}

static bool that_is_enough(sl_commitments *own, const char *path, const char *name)
{
    (void)own, (void)path, (void)name;
    return true;
}

static bool call(sl_commitments *own, const char *path, const char *name)
{
    sl_arena arena = {0};
    sl_error error;
    sl_dicom_commit asked = {0};
    struct timespec times[2] = {{.tv_nsec = UTIME_NOW}, {.tv_nsec = UTIME_OMIT}};
    int file = claim(path);
    if (file < 0)
        return false;
    if (!read_request(path, name, &arena, &asked)) {
        unlink(path); /* it was not written by us */
    } else {
        const sl_commit_address *to = address_of(own, asked.from);
        verify(own, &asked);
        if (to && sl_dicom_commit_report(&(sl_dicom_callee){asked.from, to->host, to->port, own->title, own->tls, own->wait_s}, &asked, &error) == SL_OK) {
            heard(own, &asked);
        } else if (to) {
            futimens(file, times);
            tell(own, &asked, error.text);
        }
    }
    close(file);
    sl_arena_free(&arena);
    return false;
}

void sl_commitments_tidy(sl_commitments *commitments)
{
    char path[PATH_ROOM + 300];
    snprintf(path, sizeof path, "%s/commitments", commitments->shelf->place);
    DIR *open = opendir(path);
    for (struct dirent *entry; open && (entry = readdir(open));) {
        snprintf(path, sizeof path, "%s/commitments/%s", commitments->shelf->place, entry->d_name);
        if (entry->d_name[0] == '.' && entry->d_name[1] >= '1' && entry->d_name[1] <= '9')
            unlink(path);
    }
    if (open)
        closedir(open);
}

bool sl_commitments_due(sl_commitments *commitments)
{
    return go_through(commitments, that_is_enough);
}

void sl_commitments_call(sl_commitments *commitments)
{
    sl_shelf_enter(commitments->shelf);
    go_through(commitments, call);
    sl_shelf_leave(commitments->shelf);
}
