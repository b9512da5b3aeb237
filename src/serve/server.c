#include "serve/serve.h"

#include "serve/api.h"
#include "serve/bench.h"
#include "serve/dicomweb.h"
#include "serve/door.h"
#include "serve/guard.h"
#include "serve/incoming.h"
#include "serve/records.h"
#include "serve/sending.h"
#include "serve/straight.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

typedef struct running {
    sl_server server;
    sl_door door;
    sl_watch *watch;
} running;

/* Splits what follows the token. Parts are letters, digits, '-', '_' and '.', at most 64 of them; anything else is no
 * address of ours. Below "dicom" a list of frames may be longer and has commas. */
static bool split(sl_request *request, const char *below)
{
    static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.,";
    enum { LONG = 4096 };
    request->machine = !strncmp(below, "dicom/", 6);
    char *text = sl_arena_text(&request->arena, below);
    if (!text)
        return false;
    for (char *at = text; *at;) {
        char *end = at + strcspn(at, "/");
        bool last = !*end;
        *end = 0;
        if (request->parts == SL_REQUEST_PARTS || end == at || end - at > (request->machine ? LONG : 64) ||
            strspn(at, letters) != (size_t)(end - at) || (!request->machine && strchr(at, ',')))
            return false;
        request->part[request->parts++] = at;
        if (last)
            break;
        at = end + 1;
    }
    return true;
}

static sl_request *begin(running *self, struct MHD_Connection *connection, const char *path, const char *method)
{
    sl_request *request = calloc(1, sizeof *request);
    if (!request)
        return NULL;
    request->server = &self->server;
    request->connection = connection;
    request->began_s = sl_now_s();
    request->get = !strcmp(method, "GET") || !strcmp(method, "HEAD");
    const char *below = self->server.door ? (path[0] == '/' ? path + 1 : NULL) : sl_guard_below_token(path, self->server.token);
    if (!below || !split(request, below)) {
        request->refused = 404;
        sl_fail(&request->why, SL_USAGE, "There is nothing under this address. Use the address that strandline serve printed.");
    }
    bool upload = sl_api_is_upload(request);
    if (!request->refused)
        request->refused = sl_guard_check(request, method, upload, &request->why);
    if (!request->refused && self->server.door)
        request->refused = sl_door_check(request, &request->why);
    if (!request->refused && upload) {
        sl_desk *desk = sl_api_upload_desk(request);
        const char *name = sl_request_argument(request, "name");
        if (!desk) {
            request->refused = 404;
            sl_fail(&request->why, SL_USAGE, "There is no such examination to bring a clip to.");
        } else if (sl_incoming_open(sl_desk_folder(desk), name ? name : "", &request->incoming, &request->why) != SL_OK)
            request->refused = 507;
    }
    if (!request->refused && request->machine && !request->get)
        request->refused = sl_dicomweb_begin(request, &request->why);
    return request;
}

/* A piece of the body. False: the client is too slow, the connection is closed. */
static bool take(sl_request *request, const char *bytes, size_t length)
{
    request->received += length;
    double spent = sl_now_s() - request->began_s;
    if (spent > SL_UPLOAD_SECONDS && (double)request->received < spent * SL_UPLOAD_BYTES_A_SECOND)
        return false;
    if (request->refused)
        return request->received - request->refused_at < (uint64_t)SL_BODY_MOST * 4; /* read on a little, so that the sentence arrives */
    if (request->machine) {
        request->refused = sl_dicomweb_take(request, bytes, length, &request->why);
    } else if (request->incoming) {
        if (request->received > sl_upload_most) {
            request->refused = 413;
            sl_fail(&request->why, SL_LIMIT, "The clip is too large: at most 4 GiB are taken.");
        } else if (sl_incoming_add(request->incoming, bytes, length, &request->why) != SL_OK)
            request->refused = 507;
    } else if (request->received > SL_BODY_MOST) {
        request->refused = 413;
        sl_fail(&request->why, SL_LIMIT, "That is too large: at most %d bytes are taken here.", SL_BODY_MOST);
    } else
        sl_text_add_bytes(&request->body, bytes, length);
    if (request->refused)
        request->refused_at = request->received;
    return true;
}

static enum MHD_Result answer(void *context, struct MHD_Connection *connection, const char *path, const char *method,
                              const char *version, const char *upload, size_t *upload_size, void **memory)
{
    running *self = context;
    sl_request *request = *memory;
    (void)version;
    if (!request) {
        sl_watch_busy(self->watch, connection);
        *memory = request = begin(self, connection, path, method);
        if (request && request->refused) /* before any body is taken */
            return sl_reply_error(request, request->refused, "%s", request->why.text);
        return request ? MHD_YES : MHD_NO;
    }
    if (*upload_size) {
        bool fine = take(request, upload, *upload_size);
        *upload_size = 0;
        return fine ? MHD_YES : MHD_NO;
    }
    if (!request->refused && request->body.failed) {
        request->refused = 507;
        sl_fail(&request->why, SL_MEMORY, "Memory ran out while the request came in.");
    }
    if (request->refused)
        return sl_reply_error(request, request->refused, "%s", request->why.text);
    return request->machine ? sl_dicomweb_answer(request) : sl_api_answer(request);
}

static void completed(void *context, struct MHD_Connection *connection, void **memory, enum MHD_RequestTerminationCode code)
{
    running *self = context;
    sl_request *request = *memory;
    (void)code;
    sl_watch_idle(self->watch, connection);
    if (!request)
        return;
    if (self->server.door)
        sl_door_done(request);
    sl_incoming_drop(&request->incoming);
    sl_dicomweb_end(request);
    sl_text_free(&request->body);
    sl_arena_free(&request->arena);
    free(request);
    *memory = NULL;
}

/* An address with a zero byte in it is no address of ours; without this it would end there. */
static size_t unescape(void *context, struct MHD_Connection *connection, char *text)
{
    (void)context;
    (void)connection;
    size_t length = MHD_http_unescape(text);
    for (size_t i = 0; i < length; i++)
        if (!text[i])
            text[i] = '\1';
    return length;
}

static int bind_to(const struct addrinfo *to, int port)
{
    int fd = socket(to->ai_family, SOCK_STREAM | SOCK_CLOEXEC, 0), yes = 1;
    struct sockaddr_storage address = {0};
    memcpy(&address, to->ai_addr, to->ai_addrlen);
    if (to->ai_family == AF_INET)
        ((struct sockaddr_in *)(void *)&address)->sin_port = htons((uint16_t)port);
    else
        ((struct sockaddr_in6 *)(void *)&address)->sin6_port = htons((uint16_t)port);
    if (fd >= 0)
        setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
    if (fd >= 0 && (bind(fd, (struct sockaddr *)&address, to->ai_addrlen) || listen(fd, 128))) {
        int cause = errno;
        close(fd);
        errno = cause;
        return -1;
    }
    return fd;
}

/* A socket that listens on an address of this machine; the port it got goes to `*port`. */
static int listen_on(const char *on, int *port, bool any, sl_error *error)
{
    struct addrinfo hints = {.ai_flags = AI_NUMERICHOST | AI_PASSIVE, .ai_socktype = SOCK_STREAM}, *to = NULL;
    if (getaddrinfo(on, NULL, &hints, &to)) {
        sl_fail(error, SL_USAGE, "\"%.60s\" is no address of this machine. Give numbers, as 192.0.2.7 or 0.0.0.0 for all.", on);
        return -1;
    }
    int fd = bind_to(to, *port);
    if (fd < 0 && any)
        fd = bind_to(to, 0);
    if (fd < 0)
        sl_fail(error, SL_IO, "Port %d of %s could not be opened: %s. Choose another with --port.", *port, on, strerror(errno));
    freeaddrinfo(to);
    struct sockaddr_storage got;
    socklen_t length = sizeof got;
    if (fd >= 0 && !getsockname(fd, (struct sockaddr *)&got, &length))
        *port = ntohs(got.ss_family == AF_INET ? ((struct sockaddr_in *)(void *)&got)->sin_port
                                               : ((struct sockaddr_in6 *)(void *)&got)->sin6_port);
    return fd;
}

/* The names it answers to. */
static void set_names(sl_server *server, const sl_serve_options *options, int port)
{
    if (!options->on) {
        snprintf(server->host[0], sizeof server->host[0], "127.0.0.1:%d", port);
        snprintf(server->host[1], sizeof server->host[1], "localhost:%d", port);
        return;
    }
    const char *before = strchr(options->name, ':') ? "[" : "", *after = *before ? "]" : "";
    snprintf(server->host[0], sizeof server->host[0], "%s%.250s%s:%d", before, options->name, after, port);
    if (port == 443) /* browsers leave it out */
        snprintf(server->host[1], sizeof server->host[1], "%s%.250s%s", before, options->name, after);
    else
        memcpy(server->host[1], server->host[0], sizeof server->host[1]);
}

static sl_status serve(running *self, const sl_serve_options *options, const sigset_t *stops, sl_error *error)
{
    enum { FROM_ONE_ADDRESS = 64 };
    int port = options->port, fd = listen_on(options->on ? options->on : "127.0.0.1", &port, options->any_port, error);
    if (fd < 0)
        return SL_IO;
    set_names(&self->server, options, port);
    const struct MHD_OptionItem tls[] = {
        {MHD_OPTION_HTTPS_MEM_CERT, 0, (void *)(uintptr_t)self->door.certificate.pem},
        {MHD_OPTION_HTTPS_MEM_KEY, 0, (void *)(uintptr_t)self->door.certificate.key},
        {MHD_OPTION_HTTPS_PRIORITIES, 0, (void *)(uintptr_t)"NORMAL:-VERS-ALL:+VERS-TLS1.3:+VERS-TLS1.2"},
        {MHD_OPTION_PER_IP_CONNECTION_LIMIT, FROM_ONE_ADDRESS, NULL},
        {MHD_OPTION_END, 0, NULL}};
    const struct MHD_OptionItem plain[] = {{MHD_OPTION_END, 0, NULL}};
    struct MHD_Daemon *daemon = MHD_start_daemon(
        MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_THREAD_PER_CONNECTION | MHD_USE_POLL | MHD_USE_ITC |
            (self->server.door ? MHD_USE_TLS : 0),
        0, NULL, NULL, answer, self, MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_CONNECTION_LIMIT, (unsigned)SL_CONNECTIONS_MOST,
        MHD_OPTION_CONNECTION_TIMEOUT, 30u, MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)(64 * 1024),
        MHD_OPTION_UNESCAPE_CALLBACK, unescape, NULL,
        MHD_OPTION_NOTIFY_COMPLETED, completed, self, MHD_OPTION_NOTIFY_CONNECTION, sl_watch_notify, self->watch,
        MHD_OPTION_ARRAY, self->server.door ? tls : plain, MHD_OPTION_END);
    if (!daemon) {
        close(fd);
        return sl_fail(error, SL_IO, "The server could not be started: %s.", strerror(errno));
    }
    char address[400];
    if (self->server.door)
        snprintf(address, sizeof address, "https://%s/", self->server.host[1]);
    else
        snprintf(address, sizeof address, "http://%s/%s/", self->server.host[0], self->server.token);
    options->ready(options->context, address, self->server.door ? self->door.certificate.fingerprint : NULL);
    int got;
    sigwait(stops, &got);
    sl_place_wake(self->server.place);
    MHD_stop_daemon(daemon);
    return SL_OK;
}

sl_status sl_serve_run(const sl_serve_options *options, sl_error *error)
{
    running self = {0};
    sl_status status = sl_guard_token(self.server.token, error);
    sigset_t stops;
    sigemptyset(&stops);
    sigaddset(&stops, SIGINT);
    sigaddset(&stops, SIGTERM);
    pthread_sigmask(SIG_BLOCK, &stops, NULL); /* before any thread starts: all of them inherit it */
    signal(SIGPIPE, SIG_IGN);
    signal(SIGXFSZ, SIG_IGN);
    self.server.worklist = options->worklist;
    self.server.title = options->title;
    if (status == SL_OK && options->on) {
        status = sl_door_open(options->access, options->name, options->certificate, options->key, &self.door, error);
        self.server.door = &self.door;
        if (status == SL_OK)
            status = sl_access_log_add(self.door.log, "", options->on, "started", options->folder, error);
    }
    if (status == SL_OK)
        status = sl_place_open(options->folder, options->store, &self.server.place, error);
    if (status == SL_OK)
        sl_dicomweb_tidy(options->store);
    if (status == SL_OK && (!(self.watch = sl_watch_new()) || !(self.server.bench = sl_live_new()) || !(self.server.straight = sl_straight_new()) ||
                            !(self.server.records = sl_records_new())))
        status = sl_fail(error, SL_MEMORY, "Memory ran out while the server was started.");
    if (status == SL_OK)
        status = sl_sending_start(sl_place_store(self.server.place), &self.server.sending, error);
    if (status == SL_OK)
        status = serve(&self, options, &stops, error);
    sl_sending_end(&self.server.sending);
    sl_watch_free(&self.watch);
    sl_live_free(&self.server.bench);
    sl_at_hand_free(&self.server.straight);
    sl_at_hand_free(&self.server.records);
    sl_place_close(&self.server.place);
    if (status == SL_OK && self.server.door)
        status = sl_access_log_add(self.door.log, "", options->on, "stopped", options->folder, error);
    sl_door_close(&self.door);
    return status;
}
