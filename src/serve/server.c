#include "serve/serve.h"

#include "serve/api.h"
#include "serve/bench.h"
#include "serve/guard.h"
#include "serve/incoming.h"

#include <arpa/inet.h>
#include <errno.h>
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
    sl_watch *watch;
} running;

/* Splits what follows the token. Parts are letters, digits, '-', '_' and '.', at most 64 of them; anything else is no
 * address of ours. */
static bool split(sl_request *request, const char *below)
{
    char *text = sl_arena_text(&request->arena, below);
    if (!text)
        return false;
    for (char *at = text; *at;) {
        char *end = at + strcspn(at, "/");
        bool last = !*end;
        *end = 0;
        if (request->parts == SL_REQUEST_PARTS || end == at || end - at > 64 ||
            strspn(at, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.") != (size_t)(end - at))
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
    const char *below = sl_guard_below_token(path, self->server.token);
    if (!below || !split(request, below)) {
        request->refused = 404;
        sl_fail(&request->why, SL_USAGE, "There is nothing under this address. Use the address that strandline serve printed.");
    }
    bool upload = sl_api_is_upload(request);
    if (!request->refused)
        request->refused = sl_guard_check(connection, method, self->server.port, upload, &request->why);
    if (!request->refused && upload) {
        sl_desk *desk = sl_api_upload_desk(request);
        const char *name = sl_request_argument(request, "name");
        if (!desk) {
            request->refused = 404;
            sl_fail(&request->why, SL_USAGE, "There is no such examination to bring a clip to.");
        } else if (sl_incoming_open(sl_desk_folder(desk), name ? name : "", &request->incoming, &request->why) != SL_OK)
            request->refused = 507;
    }
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
        return request->received < (uint64_t)SL_BODY_MOST * 4; /* read on a little, so that the sentence arrives */
    if (request->incoming) {
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
    return sl_api_answer(request);
}

static void completed(void *context, struct MHD_Connection *connection, void **memory, enum MHD_RequestTerminationCode code)
{
    running *self = context;
    sl_request *request = *memory;
    (void)code;
    sl_watch_idle(self->watch, connection);
    if (!request)
        return;
    sl_incoming_drop(&request->incoming);
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

/* A socket that listens on the loopback address; the port it got goes to `*port`. */
static int listen_on(int *port, bool any, sl_error *error)
{
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), yes = 1;
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons((uint16_t)*port)};
    socklen_t length = sizeof address;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    if (fd >= 0)
        setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
    bool bound = fd >= 0 && !bind(fd, (struct sockaddr *)&address, sizeof address);
    if (fd >= 0 && !bound && any) {
        address.sin_port = 0;
        bound = !bind(fd, (struct sockaddr *)&address, sizeof address);
    }
    if (!bound || listen(fd, 128) ||
        getsockname(fd, (struct sockaddr *)&address, &length)) {
        sl_fail(error, SL_IO, "Port %d could not be opened: %s. Choose another with --port.", *port, strerror(errno));
        if (fd >= 0)
            close(fd);
        return -1;
    }
    *port = ntohs(address.sin_port);
    return fd;
}

static sl_status serve(running *self, const sl_serve_options *options, const sigset_t *stops, sl_error *error)
{
    self->server.port = options->port;
    int fd = listen_on(&self->server.port, options->any_port, error);
    if (fd < 0)
        return SL_IO;
    struct MHD_Daemon *daemon = MHD_start_daemon(
        MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_THREAD_PER_CONNECTION | MHD_USE_POLL | MHD_USE_ITC, 0, NULL, NULL, answer,
        self, MHD_OPTION_LISTEN_SOCKET, fd, MHD_OPTION_CONNECTION_LIMIT, (unsigned)SL_CONNECTIONS_MOST,
        MHD_OPTION_CONNECTION_TIMEOUT, 30u, MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)(64 * 1024),
        MHD_OPTION_UNESCAPE_CALLBACK, unescape, NULL,
        MHD_OPTION_NOTIFY_COMPLETED, completed, self, MHD_OPTION_NOTIFY_CONNECTION, sl_watch_notify, self->watch,
        MHD_OPTION_END);
    if (!daemon) {
        close(fd);
        return sl_fail(error, SL_IO, "The server could not be started: %s.", strerror(errno));
    }
    char address[96];
    snprintf(address, sizeof address, "http://127.0.0.1:%d/%s/", self->server.port, self->server.token);
    options->ready(options->context, address);
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
    if (status == SL_OK)
        status = sl_place_open(options->folder, &self.server.place, error);
    if (status == SL_OK && (!(self.watch = sl_watch_new()) || !(self.server.bench = sl_live_new())))
        status = sl_fail(error, SL_MEMORY, "Memory ran out while the server was started.");
    if (status == SL_OK)
        status = serve(&self, options, &stops, error);
    sl_watch_free(&self.watch);
    sl_live_free(&self.server.bench);
    sl_place_close(&self.server.place);
    return status;
}
