#include "serve/arrived.h"

#include "core/text.h"
#include "serve/api.h"
#include "serve/incoming.h"

#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { MOST_STUDIES = 500, MOST_CLIPS = 2000, BLOCK = 1 << 20 };

typedef struct study {
    char id[17];
    const char *folder;
    int clips;
    long long bytes;
    time_t newest;
} study;

static bool is_object(const char *name)
{
    return name[0] != '.' && !strcmp(sl_path_extension(name), "dcm");
}

static void look_into(study *one, sl_arena *arena)
{
    DIR *open = opendir(one->folder);
    for (struct dirent *entry; open && one->clips < MOST_CLIPS && (entry = readdir(open));) {
        struct stat facts;
        char *path = is_object(entry->d_name) ? sl_path_join(arena, one->folder, entry->d_name) : NULL;
        if (!path || lstat(path, &facts) || !S_ISREG(facts.st_mode)) /* a link may lead anywhere */
            continue;
        one->clips++;
        one->bytes += facts.st_size;
        if (facts.st_mtime > one->newest)
            one->newest = facts.st_mtime;
    }
    if (open)
        closedir(open);
}

static int newest_first(const void *a, const void *b)
{
    const study *x = a, *y = b;
    return x->newest != y->newest ? (x->newest < y->newest) - (x->newest > y->newest) : strcmp(x->id, y->id);
}

static int studies_of(sl_request *request, study **list)
{
    const char *folder = request->server->arrivals;
    sl_arena *arena = &request->arena;
    int count = 0;
    *list = folder ? SL_NEW(arena, MOST_STUDIES, study) : NULL;
    DIR *open = *list ? opendir(folder) : NULL;
    for (struct dirent *entry; open && count < MOST_STUDIES && (entry = readdir(open));) {
        struct stat facts;
        char *path = entry->d_name[0] == '.' ? NULL : sl_path_join(arena, folder, entry->d_name);
        if (!path || lstat(path, &facts) || !S_ISDIR(facts.st_mode))
            continue;
        study *one = &(*list)[count];
        *one = (study){.folder = path};
        sl_desk_name(path, one->id);
        look_into(one, arena);
        count += one->clips > 0;
    }
    if (open)
        closedir(open);
    if (count)
        qsort(*list, (size_t)count, sizeof **list, newest_first);
    return count;
}

enum MHD_Result sl_arrived_list(sl_request *request)
{
    study *list;
    int count = studies_of(request, &list);
    json_t *studies = json_array();
    for (int i = 0; i < count; i++) {
        char when[32];
        sl_time_text(list[i].newest, when, sizeof when);
        json_array_append_new(studies, json_pack("{s:s,s:i,s:I,s:s}", "id", list[i].id, "clips", list[i].clips, "bytes",
                                                 (json_int_t)list[i].bytes, "newest", when));
    }
    return sl_reply_json(request, 200, json_pack("{s:b,s:o}", "open", request->server->arrivals != NULL, "studies", studies));
}

/* Copied rather than linked: the folder of arrivals may be on another disk, and what is taken from it may be cleared. */
static sl_status copy(const char *from, const char *folder, const char *name, sl_error *error)
{
    int file = open(from, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    char *block = malloc(BLOCK), called[200];
    sl_incoming *incoming = NULL;
    ssize_t got = 0;
    sl_status status = file >= 0 && block ? sl_incoming_open(folder, name, &incoming, error)
                                          : sl_fail(error, SL_IO, "A clip that arrived could not be opened; it may have been cleared meanwhile.");
    while (status == SL_OK && (got = read(file, block, BLOCK)) > 0)
        status = sl_incoming_add(incoming, block, (size_t)got, error);
    if (status == SL_OK && got < 0)
        status = sl_fail(error, SL_IO, "A clip that arrived could not be read.");
    if (status == SL_OK)
        status = sl_incoming_finish(incoming, called, sizeof called, error);
    sl_incoming_drop(&incoming);
    free(block);
    if (file >= 0)
        close(file);
    return status;
}

enum MHD_Result sl_arrived_take(sl_request *request, sl_desk *desk)
{
    json_t *asked = sl_request_json(request);
    const char *id = json_string_value(json_object_get(asked, "study"));
    study *list;
    const study *found = NULL;
    int count = studies_of(request, &list), taken = 0;
    for (int i = 0; id && i < count; i++)
        if (!strcmp(list[i].id, id))
            found = &list[i];
    json_decref(asked);
    if (!found)
        return sl_reply_error(request, 404, "That study is no longer among what arrived.");
    sl_status status = SL_OK;
    sl_error error;
    DIR *open = opendir(found->folder);
    for (struct dirent *entry; open && status == SL_OK && taken < MOST_CLIPS && (entry = readdir(open));) {
        struct stat facts;
        char clean[160], *from = is_object(entry->d_name) ? sl_path_join(&request->arena, found->folder, entry->d_name) : NULL;
        if (!from || lstat(from, &facts) || !S_ISREG(facts.st_mode))
            continue;
        sl_incoming_name(entry->d_name, clean, sizeof clean);
        char *to = sl_path_join(&request->arena, sl_desk_folder(desk), clean);
        if (!to || !stat(to, &facts)) /* taken before */
            continue;
        status = copy(from, sl_desk_folder(desk), entry->d_name, &error);
        taken += status == SL_OK;
    }
    if (open)
        closedir(open);
    if (taken)
        sl_place_read(request->server->place, desk);
    if (status != SL_OK)
        return sl_reply_error(request, 507, "%s", error.text);
    return sl_reply_json(request, 200, json_pack("{s:i}", "clips", taken));
}
