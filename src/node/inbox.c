#include "node/inbox.h"

#include "core/file.h"

#include <dirent.h>
#include <errno.h>
#include <stdbool.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { PATH_ROOM = 4096, CHUNK = 1 << 16, MOST_TWINS = 1000 };

static sl_status prepare(void *context, sl_error *error)
{
    const sl_inbox *inbox = context;
    char path[PATH_ROOM], entry_path[PATH_ROOM + 300];
    if (strlen(inbox->folder) > PATH_ROOM - 300)
        return sl_fail(error, SL_USAGE, "The path of the folder is too long. Choose a shorter one.");
    snprintf(path, sizeof path, "%s/.arriving", inbox->folder);
    sl_status status = sl_folder_make(path, error);
    DIR *open = status ? NULL : opendir(path);
    for (struct dirent *entry; open && (entry = readdir(open));) {
        snprintf(entry_path, sizeof entry_path, "%s/%s", path, entry->d_name);
        if (entry->d_name[0] != '.')
            unlink(entry_path);
    }
    if (open)
        closedir(open);
    if (!status && access(path, W_OK))
        status = sl_fail(error, SL_IO, "%s cannot be written to: %s. Ask for permission or choose another folder.", inbox->folder,
                         strerror(errno));
    return status;
}

static unsigned begin(void *context, char *part, size_t room)
{
    const sl_inbox *inbox = context;
    static unsigned count;
    if (!sl_keeper_has_room(inbox->folder, inbox->keep_free))
        return SL_STORE_NO_ROOM;
    int length = snprintf(part, room, "%s/.arriving/%ld-%u", inbox->folder, (long)getpid(), count++);
    return length > 0 && (size_t)length < room ? SL_STORE_DONE : SL_STORE_NO_ROOM;
}

static int sync_path(const char *path)
{
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return -1;
    int result = fsync(file);
    return close(file) || result ? -1 : 0;
}

/* A UID may be a name (PS3.5 9.1); anything else may not reach the file system. */
static int is_uid(const char *uid)
{
    size_t length = strspn(uid, "0123456789.");
    return length > 0 && length <= 64 && !uid[length] && uid[0] != '.';
}

/* Where the data set starts: behind preamble, "DICM" and the group length of the file header (PS3.10 7.1). */
static long data_at(FILE *file)
{
    uint8_t head[144];
    if (fread(head, 1, sizeof head, file) != sizeof head)
        return -1;
    return 144 + (long)((uint32_t)head[140] | (uint32_t)head[141] << 8 | (uint32_t)head[142] << 16 | (uint32_t)head[143] << 24);
}

/* The same object, byte for byte, whoever sent it: data sets are compared, not file headers. 1 same, 0 not, -1 unreadable. */
static int same_object(const char *a, const char *b)
{
    static uint8_t block[2][CHUNK];
    FILE *file[2] = {fopen(a, "rb"), fopen(b, "rb")};
    int same = file[0] && file[1] ? 1 : -1;
    for (int i = 0; i < 2 && same > 0; i++) {
        long at = data_at(file[i]);
        if (at < 0 || fseek(file[i], at, SEEK_SET))
            same = -1;
    }
    for (size_t got = CHUNK; same > 0 && got;) {
        got = fread(block[0], 1, CHUNK, file[0]);
        size_t other = fread(block[1], 1, CHUNK, file[1]);
        if (ferror(file[0]) || ferror(file[1]))
            same = -1;
        else if (got != other || memcmp(block[0], block[1], got))
            same = 0;
    }
    for (int i = 0; i < 2; i++)
        if (file[i])
            fclose(file[i]);
    return same;
}

/* Links the part to the first free name of its UID, or finds that the object is there. NULL: the disk said no. */
static const char *settle(const sl_dicom_arrived *arrived, const char *study)
{
    char path[PATH_ROOM + 200];
    for (int twin = 0; twin < MOST_TWINS; twin++) {
        if (twin)
            snprintf(path, sizeof path, "%s/%s-%d.dcm", study, arrived->uid, twin + 1);
        else
            snprintf(path, sizeof path, "%s/%s.dcm", study, arrived->uid);
        if (!link(arrived->part, path)) /* fails where another association was faster, unlike a renaming */
            return sync_path(study) ? NULL : twin ? "kept beside another of its UID" : "kept";
        if (errno != EEXIST)
            return NULL;
        int same = same_object(arrived->part, path);
        if (same < 0)
            return NULL;
        if (same) /* its sender may not know yet that it is safe: neither may we until it is */
            return sync_path(path) || sync_path(study) ? NULL : "known already";
    }
    return NULL;
}

static unsigned finish(void *context, const sl_dicom_arrived *arrived)
{
    const sl_inbox *inbox = context;
    char study[PATH_ROOM + 100];
    unsigned status = SL_STORE_NO_ROOM;
    const char *fate = NULL;
    if (!is_uid(arrived->uid) || !is_uid(arrived->study_uid)) {
        status = SL_STORE_NOT_UNDERSTOOD;
    } else {
        snprintf(study, sizeof study, "%s/%s", inbox->folder, arrived->study_uid);
        bool made = !mkdir(study, 0777);
        if ((made || errno == EEXIST) && !sync_path(arrived->part) && !(made && sync_path(inbox->folder)))
            fate = settle(arrived, study);
    }
    unlink(arrived->part);
    if (fate) {
        status = SL_STORE_DONE;
        if (inbox->told)
            inbox->told(inbox->context, arrived, fate);
    }
    return status;
}

sl_keeper sl_inbox_keeper(sl_inbox *inbox)
{
    return (sl_keeper){prepare, NULL, begin, finish, inbox};
}

sl_status sl_inbox_known(void *context, const char *study_uid, sl_arena *arena, const char ***uid, int *count, sl_error *error)
{
    const sl_inbox *inbox = context;
    int room = 0;
    bool failed = false;
    *uid = NULL;
    *count = 0;
    const char *path = sl_arena_printf(arena, "%s/%s", inbox->folder, study_uid);
    DIR *open = path ? opendir(path) : NULL;
    for (struct dirent *entry; open && !failed && (entry = readdir(open));) {
        char *name = sl_arena_text(arena, entry->d_name), *dot = name ? strrchr(name, '.') : NULL;
        failed = !name;
        if (!dot || strcmp(dot, ".dcm"))
            continue;
        *dot = 0;
        if (*count == room) {
            room = room ? 2 * room : 64;
            const char **larger = SL_NEW(arena, room, const char *);
            failed = !larger;
            if (failed)
                break;
            if (*count)
                memcpy(larger, *uid, (size_t)*count * sizeof *larger);
            *uid = larger;
        }
        (*uid)[(*count)++] = name;
    }
    if (open)
        closedir(open);
    return failed || !path ? sl_fail(error, SL_MEMORY, "Memory ran out while looking into %s.", inbox->folder) : SL_OK;
}
