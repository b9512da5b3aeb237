#include "node/destinations.h"

#include "core/file.h"
#include "core/json.h"
#include "core/text.h"
#include "dicom/tls.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_DESTINATIONS = 200, MOST_NAME = 80, MOST_SECRET = 8192 };

bool sl_destination_is_web(const char *address)
{
    return !strncasecmp(address, "https://", 8) || !strncasecmp(address, "http://", 7);
}

static bool is_title(const char *title)
{
    const size_t length = strlen(title);
    for (const char *at = title; *at; at++)
        if (*at < 0x20 || *at > 0x7e || *at == '\\')
            return false;
    return length >= 1 && length <= 16 && strspn(title, " ") < length;
}

sl_status sl_destination_parts(const char *address, char title[17], char host[256], int *port, sl_error *error)
{
    const char *at = strchr(address, '@'), *colon = strrchr(address, ':');
    char *last = NULL;
    const long number = colon ? strtol(colon + 1, &last, 10) : 0;
    if (!at || !colon || colon <= at + 1 || !colon[1] || *last || number < 1 || number > 65535 || at - address > 16 || colon - at > 250)
        return sl_fail(error, SL_USAGE, "\"%.200s\" is no address: it is written TITLE@host:port, or https://host/.../studies.", address);
    memcpy(title, address, (size_t)(at - address));
    title[at - address] = 0;
    const char *first = at + 1;
    size_t length = (size_t)(colon - first);
    if (*first == '[' && length > 2 && first[length - 1] == ']') {
        first++;
        length -= 2;
    }
    memcpy(host, first, length);
    host[length] = 0;
    *port = (int)number;
    for (const char *letter = host; *letter; letter++)
        if (*letter <= 0x20 || *letter > 0x7e || strchr("/\\@[]", *letter))
            return sl_fail(error, SL_USAGE, "\"%.200s\" is no name or address of a computer.", host);
    if (!is_title(title))
        return sl_fail(error, SL_USAGE, "The title before the @ has 1 to 16 letters, without a backslash.");
    return SL_OK;
}

/* Whether what follows "://" names this computer. */
static bool is_here(const char *rest)
{
    static const char *const names[] = {"127.0.0.1", "localhost", "[::1]"};
    for (int i = 0; i < 3; i++) {
        const size_t length = strlen(names[i]);
        if (!strncmp(rest, names[i], length) && (!rest[length] || rest[length] == ':' || rest[length] == '/'))
            return true;
    }
    return false;
}

static sl_status check_web(const sl_destination *own, sl_error *error)
{
    const char *rest = strstr(own->address, "://") + 3;
    const size_t host = strcspn(rest, "/?#");
    for (const char *at = own->address; *at; at++)
        if (*at <= 0x20 || *at > 0x7e)
            return sl_fail(error, SL_USAGE, "The address has a letter that no web address has.");
    if (!host || memchr(rest, '@', host))
        return sl_fail(error, SL_USAGE, "Give the address without a user or password; they are read from a file (--user-file).");
    if (strpbrk(rest, "?#"))
        return sl_fail(error, SL_USAGE, "Give the address up to .../studies, without what follows a ? or #.");
    if (!strncasecmp(own->address, "http://", 7) && (*own->user_file || *own->token_file) && !is_here(rest))
        return sl_fail(error, SL_USAGE, "A password or token is not sent without encryption: use https://.");
    if (*own->user_file && *own->token_file)
        return sl_fail(error, SL_USAGE, "Either a user or a token, not both.");
    sl_arena arena = {0};
    char *secret;
    sl_status status = SL_OK;
    if (*own->user_file || *own->token_file)
        status = sl_secret_read(*own->user_file ? own->user_file : own->token_file, &arena, &secret, error);
    if (status == SL_OK && *own->user_file && !strchr(secret, ':'))
        status = sl_fail(error, SL_FORMAT, "%s does not hold a line user:password.", own->user_file);
    sl_arena_free(&arena);
    return status;
}

static sl_status check_dicom(const sl_destination *own, sl_error *error)
{
    char title[17], host[256];
    int port;
    sl_status status = sl_destination_parts(own->address, title, host, &port, error);
    if (status == SL_OK && *own->title && !is_title(own->title))
        status = sl_fail(error, SL_USAGE, "A title has 1 to 16 letters, without a backslash.");
    if (status == SL_OK && (*own->user_file || *own->token_file))
        status = sl_fail(error, SL_USAGE, "Users and tokens are for https:// addresses; over C-STORE who we are is told by --certificate and --key.");
    if (status == SL_OK && (own->secure || *own->certificate || *own->key || *own->trust)) {
        const sl_dicom_tls tls = {.certificate = *own->certificate ? own->certificate : NULL, .key = *own->key ? own->key : NULL,
                                  .trust = *own->trust ? own->trust : NULL, .anyone = own->anyone};
        status = sl_dicom_tls_check(&tls, false, error);
    }
    return status;
}

sl_status sl_destination_peer(const sl_destination *own, int wait_s, sl_destination_room *room, sl_dicom_peer *peer, sl_error *error)
{
    *peer = (sl_dicom_peer){.title = room->title, .host = room->host, .own = *own->title ? own->title : "STRANDLINE", .connect_s = wait_s,
                            .answer_s = wait_s};
    room->tls = (sl_dicom_tls){.certificate = *own->certificate ? own->certificate : NULL, .key = *own->key ? own->key : NULL,
                               .trust = *own->trust ? own->trust : NULL, .anyone = own->anyone};
    if (own->secure || room->tls.certificate || room->tls.trust)
        peer->tls = &room->tls;
    return sl_destination_parts(own->address, room->title, room->host, &peer->port, error);
}

sl_status sl_destination_check(const sl_destination *own, sl_error *error)
{
    const size_t length = strlen(own->name);
    if (!length || length > MOST_NAME || strpbrk(own->name, "\n\r\t"))
        return sl_fail(error, SL_USAGE, "A destination's name has 1 to %d letters.", MOST_NAME);
    if (strlen(own->address) > 1000)
        return sl_fail(error, SL_USAGE, "The address is too long.");
    if ((*own->certificate != 0) != (*own->key != 0))
        return sl_fail(error, SL_USAGE, "--certificate and --key go together.");
    return sl_destination_is_web(own->address) ? check_web(own, error) : check_dicom(own, error);
}

/* ---- the file ---- */

static const struct {
    const char *key;
    size_t at;
} fields[] = {
#define FIELD(name) {#name, offsetof(sl_destination, name)}
    FIELD(name), FIELD(address), FIELD(title), FIELD(certificate), FIELD(key), FIELD(trust), FIELD(user_file), FIELD(token_file),
#undef FIELD
};
enum { FIELDS = sizeof fields / sizeof *fields };

static const char *path_of(const char *folder, sl_arena *arena)
{
    return sl_path_join(arena, folder, "destinations.json");
}

/* The file as it is; an empty list where there is none. New reference or NULL with a sentence. */
static json_t *load(const char *path, sl_error *error)
{
    if (access(path, F_OK))
        return json_pack("{s:[]}", "destinations");
    json_t *root = sl_json_load(path, error);
    if (root && !json_is_array(json_object_get(root, "destinations"))) {
        sl_fail(error, SL_FORMAT, "%s holds no list \"destinations\". Put it right, or remove it and add the destinations again.", path);
        json_decref(root);
        return NULL;
    }
    return root;
}

sl_status sl_destinations(const char *folder, sl_arena *arena, const sl_destination **found, int *count, sl_error *error)
{
    *count = 0;
    *found = NULL;
    const char *path = path_of(folder, arena);
    json_t *root = path ? load(path, error) : NULL;
    if (!root)
        return path ? SL_FORMAT : sl_fail(error, SL_MEMORY, "Memory ran out.");
    const json_t *list = json_object_get(root, "destinations");
    sl_destination *own = SL_NEW(arena, json_array_size(list) + 1, sl_destination);
    sl_status status = own ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out.");
    for (size_t i = 0; i < json_array_size(list) && status == SL_OK && *count < MOST_DESTINATIONS; i++) {
        const json_t *one = json_array_get(list, i);
        sl_destination *to = &own[*count];
        for (int k = 0; k < FIELDS && status == SL_OK; k++) {
            const char *text = sl_arena_text(arena, sl_json_text(one, fields[k].key));
            memcpy((char *)to + fields[k].at, &text, sizeof text);
            if (!text)
                status = sl_fail(error, SL_MEMORY, "Memory ran out.");
        }
        to->secure = json_is_true(json_object_get(one, "secure"));
        to->anyone = json_is_true(json_object_get(one, "anyone"));
        if (status == SL_OK && *to->name && *to->address)
            ++*count;
    }
    json_decref(root);
    *found = own;
    return status;
}

const sl_destination *sl_destination_of(const sl_destination *list, int count, const char *name)
{
    for (int i = 0; i < count; i++)
        if (!strcmp(list[i].name, name))
            return &list[i];
    return NULL;
}

static int position_of(const json_t *list, const char *name)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (!strcmp(sl_json_text(json_array_get(list, i), "name"), name))
            return (int)i;
    return -1;
}

/* Changes the file under a lock: `put` NULL removes `name`. */
static sl_status change(const char *folder, const char *name, const sl_destination *put, sl_error *error)
{
    sl_arena arena = {0};
    sl_status status = sl_folder_make(folder, error);
    const char *path = path_of(folder, &arena), *lock_path = sl_path_join(&arena, folder, "destinations.lock");
    if (status != SL_OK || !path || !lock_path) {
        sl_arena_free(&arena);
        return status != SL_OK ? status : sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    int lock = open(lock_path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (lock < 0 || flock(lock, LOCK_EX)) {
        status = sl_fail(error, SL_IO, "%s cannot be written: %s.", lock_path, strerror(errno));
    } else {
        json_t *root = load(path, error), *list = json_object_get(root, "destinations");
        const int at = position_of(list, name);
        json_t *one = put ? json_object() : NULL;
        for (int k = 0; k < FIELDS && one; k++) {
            const char *text;
            memcpy(&text, (const char *)put + fields[k].at, sizeof text);
            if (*text)
                json_object_set_new(one, fields[k].key, json_string(text));
        }
        if (one && put->secure)
            json_object_set_new(one, "secure", json_true());
        if (one && put->anyone)
            json_object_set_new(one, "anyone", json_true());
        if (!root)
            status = SL_FORMAT;
        else if (!put && at < 0)
            status = sl_fail(error, SL_USAGE, "There is no destination \"%.80s\". See: strandline send --destinations.", name);
        else if (put && at < 0 && json_array_size(list) >= MOST_DESTINATIONS)
            status = sl_fail(error, SL_LIMIT, "There are %d destinations already. Remove one first.", MOST_DESTINATIONS);
        else if (!put)
            json_array_remove(list, (size_t)at);
        else if (at >= 0)
            json_array_set(list, (size_t)at, one);
        else
            json_array_append(list, one);
        if (status == SL_OK)
            status = sl_json_save(root, path, error);
        json_decref(one);
        json_decref(root);
    }
    if (lock >= 0)
        close(lock);
    sl_arena_free(&arena);
    return status;
}

sl_status sl_destination_put(const char *folder, const sl_destination *destination, sl_error *error)
{
    sl_status status = sl_destination_check(destination, error);
    return status == SL_OK ? change(folder, destination->name, destination, error) : status;
}

sl_status sl_destination_remove(const char *folder, const char *name, sl_error *error)
{
    return change(folder, name, NULL, error);
}

sl_status sl_secret_read(const char *path, sl_arena *arena, char **secret, sl_error *error)
{
    struct stat facts;
    size_t length;
    if (stat(path, &facts))
        return sl_fail(error, SL_IO, "%s cannot be read: %s.", path, strerror(errno));
    if (facts.st_mode & 077)
        return sl_fail(error, SL_USAGE, "%s holds a secret and others may read it. Take that right away: chmod 600.", path);
    sl_status status = sl_file_read(path, MOST_SECRET, arena, secret, &length, error);
    if (status == SL_OK)
        (*secret)[strcspn(*secret, "\r\n")] = 0;
    if (status == SL_OK && !**secret)
        status = sl_fail(error, SL_FORMAT, "%s is empty.", path);
    return status;
}
