#include "serve/guard.h"

#include "dicomweb/stow.h"
#include "serve/api.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/random.h>
#include <sys/socket.h>
#include <time.h>

sl_status sl_guard_token(char token[SL_TOKEN_LENGTH + 1], sl_error *error)
{
    unsigned char bytes[SL_TOKEN_LENGTH / 2];
    if (getrandom(bytes, sizeof bytes, 0) != (ssize_t)sizeof bytes)
        return sl_fail(error, SL_IO, "The system gave no random numbers, so the page would not be safe to open. Try again.");
    for (size_t i = 0; i < sizeof bytes; i++)
        snprintf(token + 2 * i, 3, "%02x", bytes[i]);
    return SL_OK;
}

const char *sl_guard_below_token(const char *path, const char *token)
{
    if (path[0] != '/' || strlen(path) < SL_TOKEN_LENGTH + 2)
        return NULL;
    unsigned char differs = 0;
    for (int i = 0; i < SL_TOKEN_LENGTH; i++)
        differs |= (unsigned char)(path[1 + i] ^ token[i]);
    return differs || path[1 + SL_TOKEN_LENGTH] != '/' ? NULL : path + SL_TOKEN_LENGTH + 2;
}

static const char *header(struct MHD_Connection *connection, const char *name)
{
    return MHD_lookup_connection_value(connection, MHD_HEADER_KIND, name);
}

/* Any other name was made to point here by someone else. */
static bool own_name(const char *host, const sl_server *server, bool machine)
{
    for (int i = 0; i < 2 && host; i++) {
        const char *name = server->host[i], *port = strrchr(name, ':');
        if (!strcasecmp(host, name))
            return true;
        if (machine && port && strlen(host) == (size_t)(port - name) && !strncasecmp(host, name, strlen(host)))
            return true; /* programs leave the port out, against RFC 9110 7.2 */
    }
    return false;
}

unsigned sl_guard_check(const sl_request *request, const char *method, bool upload, sl_error *why)
{
    struct MHD_Connection *connection = request->connection;
    const sl_server *server = request->server;
    const char *scheme = server->door ? "https://" : "http://";
    const char *host = header(connection, "Host"), *origin = header(connection, "Origin"),
               *site = header(connection, "Sec-Fetch-Site"), *length = header(connection, "Content-Length");
    bool get = !strcmp(method, "GET") || !strcmp(method, "HEAD");
    if (!own_name(host, server, request->machine)) {
        sl_fail(why, SL_USAGE, "This server answers only under its own address.");
        return 421;
    }
    if (!get && strcmp(method, "POST") && (request->machine || strcmp(method, "PUT"))) {
        sl_fail(why, SL_USAGE, "Only GET, HEAD, POST%s are understood.", request->machine ? "" : " and PUT");
        return 405;
    }
    if (site && strcmp(site, "same-origin") && !(get && !strcmp(site, "none"))) {
        sl_fail(why, SL_USAGE, "Another page asked; only strandline's own page may.");
        return 403;
    }
    if (origin && (strncmp(origin, scheme, strlen(scheme)) || strcasecmp(origin + strlen(scheme), host))) {
        sl_fail(why, SL_USAGE, "Another page asked; only strandline's own page may.");
        return 403;
    }
    if (!get && !request->machine && !header(connection, "X-Strandline")) {
        sl_fail(why, SL_USAGE, "A change must come from strandline's own page.");
        return 403;
    }
    const char *type = header(connection, "Content-Type");
    const char *wanted = request->machine ? "multipart/related" : upload ? "application/octet-stream" : "application/json";
    if (!get && (!type || strncasecmp(type, wanted, strlen(wanted)))) {
        sl_fail(why, SL_USAGE, "The body must be %s.", wanted);
        return 415;
    }
    if (length) {
        char *end;
        unsigned long long bytes = strtoull(length, &end, 10);
        unsigned long long most = get ? 0 : request->machine ? sl_stow_most_body : upload ? sl_upload_most : SL_BODY_MOST;
        if (*end || bytes > most) {
            sl_fail(why, SL_LIMIT, "That is too large: at most %llu bytes are taken here.", most);
            return 413;
        }
    }
    return 0;
}

/* ---- the watch ---- */

typedef struct slot {
    int socket;
    double waits_since; /* for headers; < 0: not waiting */
    bool used;
} slot;

struct sl_watch {
    pthread_mutex_t lock;
    pthread_cond_t wake;
    pthread_t thread;
    bool ends;
    slot slot[SL_CONNECTIONS_MOST + 8];
};

static void *run(void *context)
{
    sl_watch *watch = context;
    pthread_mutex_lock(&watch->lock);
    while (!watch->ends) {
        double now = sl_now_s();
        for (size_t i = 0; i < sizeof watch->slot / sizeof *watch->slot; i++) {
            slot *at = &watch->slot[i];
            if (at->used && at->waits_since >= 0 && now - at->waits_since > SL_HEADER_SECONDS) {
                shutdown(at->socket, SHUT_RDWR);
                at->waits_since = -1;
            }
        }
        struct timespec until;
        clock_gettime(CLOCK_REALTIME, &until);
        until.tv_sec += 1;
        pthread_cond_timedwait(&watch->wake, &watch->lock, &until);
    }
    pthread_mutex_unlock(&watch->lock);
    return NULL;
}

sl_watch *sl_watch_new(void)
{
    sl_watch *watch = calloc(1, sizeof *watch);
    if (!watch)
        return NULL;
    pthread_mutex_init(&watch->lock, NULL);
    pthread_cond_init(&watch->wake, NULL);
    if (pthread_create(&watch->thread, NULL, run, watch)) {
        free(watch);
        return NULL;
    }
    return watch;
}

void sl_watch_free(sl_watch **watch)
{
    if (!*watch)
        return;
    pthread_mutex_lock(&(*watch)->lock);
    (*watch)->ends = true;
    pthread_cond_signal(&(*watch)->wake);
    pthread_mutex_unlock(&(*watch)->lock);
    pthread_join((*watch)->thread, NULL);
    pthread_cond_destroy(&(*watch)->wake);
    pthread_mutex_destroy(&(*watch)->lock);
    free(*watch);
    *watch = NULL;
}

static slot **slot_of(struct MHD_Connection *connection)
{
    const union MHD_ConnectionInfo *info = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    return info ? (slot **)(uintptr_t)&info->socket_context : NULL;
}

void sl_watch_notify(void *context, struct MHD_Connection *connection, void **socket_context,
                     enum MHD_ConnectionNotificationCode code)
{
    sl_watch *watch = context;
    pthread_mutex_lock(&watch->lock);
    slot *mine = *socket_context;
    if (code == MHD_CONNECTION_NOTIFY_CLOSED) {
        if (mine)
            mine->used = false;
        *socket_context = NULL;
    } else {
        const union MHD_ConnectionInfo *info = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CONNECTION_FD);
        for (size_t i = 0; info && i < sizeof watch->slot / sizeof *watch->slot; i++)
            if (!watch->slot[i].used) {
                watch->slot[i] = (slot){.socket = info->connect_fd, .waits_since = sl_now_s(), .used = true};
                *socket_context = &watch->slot[i];
                break;
            }
    }
    pthread_mutex_unlock(&watch->lock);
}

static void set_wait(sl_watch *watch, struct MHD_Connection *connection, double since)
{
    slot **mine = slot_of(connection);
    if (!mine || !*mine)
        return;
    pthread_mutex_lock(&watch->lock);
    (*mine)->waits_since = since;
    pthread_mutex_unlock(&watch->lock);
}

void sl_watch_busy(sl_watch *watch, struct MHD_Connection *connection)
{
    set_wait(watch, connection, -1);
}

void sl_watch_idle(sl_watch *watch, struct MHD_Connection *connection)
{
    set_wait(watch, connection, sl_now_s());
}
