/* Requests to the local server and their bodies, over its own socket: the server runs in this process, in a folder with one
 * empty examination, and is started afresh every FRESH_AFTER inputs.
 *
 * An input is "METHOD ADDRESS\n", lines of further headers, an empty line and the body. The headers that let a request past
 * the guard, the token and the length are put in front; '@' in the address stands for the examination's id. */
#include "as_file.h"
#include "serve/desk.h"
#include "serve/serve.h"

#include <arpa/inet.h>
#include <fcntl.h>
#include <ftw.h>
#include <netinet/in.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <unistd.h>

enum { FRESH_AFTER = 300, MOST_HEAD = 16 * 1024 };

static struct {
    char folder[64], exam[96], store[96], id[17], token[96];
    int port, inputs;
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t is_ready;
    bool ready, runs;
} the = {.lock = PTHREAD_MUTEX_INITIALIZER, .is_ready = PTHREAD_COND_INITIALIZER};

static void listens(void *context, const char *address, const char *fingerprint)
{
    (void)context, (void)fingerprint;
    pthread_mutex_lock(&the.lock);
    the.ready = sscanf(address, "http://127.0.0.1:%d/%80[^/]", &the.port, the.token) == 2;
    pthread_cond_signal(&the.is_ready);
    pthread_mutex_unlock(&the.lock);
}

static void *serve(void *context)
{
    sl_serve_options options = {.folder = the.folder, .store = the.store, .port = 0, .any_port = true, .ready = listens};
    sl_error error;
    (void)context;
    if (sl_serve_run(&options, &error)) {
        fprintf(stderr, "%s\n", error.text);
        abort();
    }
    return NULL;
}

static int drop(const char *path, const struct stat *facts, int kind, struct FTW *where)
{
    (void)facts, (void)kind, (void)where;
    return remove(path);
}

static void stop(void)
{
    if (!the.runs)
        return;
    pthread_kill(the.thread, SIGTERM); /* which waits for it */
    pthread_join(the.thread, NULL);
    the.runs = the.ready = false;
    nftw(the.folder, drop, 16, FTW_DEPTH | FTW_PHYS);
}

static void start(void)
{
    sigset_t stops;
    sigemptyset(&stops);
    sigaddset(&stops, SIGTERM);
    pthread_sigmask(SIG_BLOCK, &stops, NULL);
    snprintf(the.folder, sizeof the.folder, "%s/strandline-fuzz-XXXXXX", access("/dev/shm", W_OK) ? "/tmp" : "/dev/shm");
    if (!mkdtemp(the.folder))
        abort();
    snprintf(the.exam, sizeof the.exam, "%s/2031-05-04", the.folder);
    snprintf(the.store, sizeof the.store, "%s/store", the.folder);
    if (mkdir(the.exam, 0700))
        abort();
    sl_desk_name(the.exam, the.id);
    the.runs = !pthread_create(&the.thread, NULL, serve, NULL);
    pthread_mutex_lock(&the.lock);
    while (the.runs && !the.ready)
        pthread_cond_wait(&the.is_ready, &the.lock);
    pthread_mutex_unlock(&the.lock);
}

/* The head as it is sent; returns its length, 0 when there is no room. */
static size_t head_of(char *head, const char *asked, size_t length, size_t body)
{
    const char *line = memchr(asked, '\n', length), *end = line ? line : asked + length;
    const char *space = memchr(asked, ' ', (size_t)(end - asked));
    if (!space)
        return 0;
    size_t used = (size_t)snprintf(head, MOST_HEAD, "%.*s /%s/", (int)(space - asked), asked, the.token);
    for (const char *at = space + 1; at < end && used < MOST_HEAD / 2; at++)
        if (*at == '@')
            used += (size_t)snprintf(head + used, MOST_HEAD - used, "%s", the.id);
        else
            head[used++] = *at;
    bool bytes = memmem(asked, (size_t)(end - asked), "/clips", 6), objects = memmem(asked, (size_t)(end - asked), " dicom/", 7);
    used += (size_t)snprintf(head + used, MOST_HEAD - used,
                             " HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nX-Strandline: 1\r\nContent-Type: %s\r\nConnection: close\r\n", the.port,
                             objects ? "multipart/related; type=\"application/dicom\"; boundary=x" : bytes ? "application/octet-stream" : "application/json");
    if (body || *asked != 'G')
        used += (size_t)snprintf(head + used, MOST_HEAD - used, "Content-Length: %zu\r\n", body);
    for (const char *at = line ? line + 1 : end; at < asked + length && used + 2 < MOST_HEAD; at++) {
        if (*at == '\n')
            head[used++] = '\r';
        head[used++] = *at;
    }
    if (line && used < MOST_HEAD)
        used += (size_t)snprintf(head + used, MOST_HEAD - used, "\r\n");
    used += used < MOST_HEAD ? (size_t)snprintf(head + used, MOST_HEAD - used, "\r\n") : 0;
    return used < MOST_HEAD ? used : 0;
}

static void put(int to, const void *bytes, size_t length)
{
    for (const char *at = bytes; length;) {
        ssize_t wrote = send(to, at, length, MSG_NOSIGNAL);
        if (wrote <= 0)
            return;
        at += wrote;
        length -= (size_t)wrote;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static char head[MOST_HEAD];
    const char *text = (const char *)data, *blank = memmem(data, size, "\n\n", 2);
    size_t asked = blank ? (size_t)(blank - text) : size, body = blank ? size - asked - 2 : 0;
    if (asked > MOST_HEAD / 4 || !asked || memmem(text, asked, "after", 5)) /* "after" waits for news, for seconds */
        return 0;
    if (the.inputs++ % FRESH_AFTER == 0 || !the.runs) {
        if (the.inputs == 1) {
            setenv("G_DEBUG", "fatal-warnings", 0); /* what the report's drawing warns of counts as a crash */
            atexit(stop);
        }
        stop();
        start();
    }
    size_t length = head_of(head, text, asked, body);
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons((uint16_t)the.port)};
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int to = length ? socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0) : -1;
    if (to >= 0 && !connect(to, (struct sockaddr *)&address, sizeof address)) {
        struct timeval wait = {.tv_sec = 5};
        char answer[4096];
        setsockopt(to, SOL_SOCKET, SO_RCVTIMEO, &wait, sizeof wait);
        put(to, head, length);
        if (body)
            put(to, text + asked + 2, body);
        shutdown(to, SHUT_WR);
        while (recv(to, answer, sizeof answer, 0) > 0)
            ;
    }
    if (to >= 0)
        close(to);
    return 0;
}
