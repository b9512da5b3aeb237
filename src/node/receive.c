#define _GNU_SOURCE /* prctl */
#include "node/receive.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { BACKLOG = 64, TICK_MS = 200, FAREWELL_S = 10, HELLO_S = 15 /* for the association request to arrive */, CALL_TICKS = 5 };

static sl_status open_port(const sl_receiver *receiver, int *listener, int *port, sl_error *error)
{
    struct sockaddr_in at = {.sin_family = AF_INET, .sin_port = htons((uint16_t)receiver->port)};
    if (inet_pton(AF_INET, receiver->address, &at.sin_addr) != 1)
        return sl_fail(error, SL_USAGE, "%s is no address like 127.0.0.1 or 0.0.0.0.", receiver->address);
    int yes = 1;
    socklen_t size = sizeof at;
    *listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (*listener < 0 || setsockopt(*listener, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes) ||
        bind(*listener, (struct sockaddr *)(void *)&at, sizeof at) || listen(*listener, BACKLOG) ||
        getsockname(*listener, (struct sockaddr *)(void *)&at, &size)) {
        int cause = errno;
        if (*listener >= 0)
            close(*listener);
        return sl_fail(error, SL_IO, "Port %d of %s cannot be listened on: %s. Choose another port or end the other program.",
                       receiver->port, receiver->address, strerror(cause));
    }
    *port = ntohs(at.sin_port);
    return SL_OK;
}

static bool may_connect(const sl_receiver *receiver, const struct sockaddr_in *from)
{
    char text[INET_ADDRSTRLEN];
    if (!receiver->peer_count)
        return true;
    if (!inet_ntop(AF_INET, &from->sin_addr, text, sizeof text))
        return false;
    for (int i = 0; i < receiver->peer_count; i++)
        if (!strcmp(text, receiver->peers[i]))
            return true;
    return false;
}

/* In the process of one association. */
static void serve(const sl_receiver *receiver, int connection)
{
    sl_error error;
    sl_dicom_host host = receiver->host;
    sl_dicom_committer committer;
    if (receiver->commitments) {
        committer = sl_commitments_committer(receiver->commitments);
        host.committer = &committer;
    }
    host.begin = receiver->keeper.begin;
    host.finish = receiver->keeper.finish;
    host.context = receiver->keeper.context;
    prctl(PR_SET_PDEATHSIG, SIGKILL); /* a receiver that was killed leaves nobody who writes behind its successor's back */
    signal(SIGTERM, SIG_IGN);
    signal(SIGINT, SIG_IGN);
    signal(SIGPIPE, SIG_IGN);
    signal(SIGXFSZ, SIG_IGN); /* a limit on file sizes ends as a failed write */
    signal(SIGALRM, SIG_DFL);
    alarm(HELLO_S);
    if (receiver->keeper.enter)
        receiver->keeper.enter(host.context);
    sl_dicom_serve_association(connection, &host, &error);
}

/* The processes: how many associations, and the one that brings senders their answers (0: none). */
typedef struct children {
    int running;
    pid_t caller;
} children;

static void reap(children *own)
{
    for (pid_t ended; (ended = waitpid(-1, NULL, WNOHANG)) > 0;)
        if (ended == own->caller)
            own->caller = 0;
        else
            own->running--;
}

static void call_senders(const sl_receiver *receiver, int listener, children *own)
{
    if (!receiver->commitments || own->caller || !sl_commitments_due(receiver->commitments))
        return;
    fflush(NULL);
    pid_t child = fork();
    if (!child) {
        close(listener);
        prctl(PR_SET_PDEATHSIG, SIGKILL);
        signal(SIGTERM, SIG_DFL); /* what was not answered waits for the next run */
        signal(SIGINT, SIG_DFL);
        signal(SIGPIPE, SIG_IGN);
        sl_commitments_call(receiver->commitments);
        fflush(NULL);
        _exit(0);
    }
    own->caller = child > 0 ? child : 0;
}

static void accept_one(const sl_receiver *receiver, int listener, children *own)
{
    struct sockaddr_in from;
    socklen_t size = sizeof from;
    int connection = accept(listener, (struct sockaddr *)(void *)&from, &size);
    if (connection < 0)
        return;
    if (own->running < receiver->most_associations && may_connect(receiver, &from)) {
        fflush(NULL); /* or the child writes it again */
        pid_t child = fork();
        if (!child) {
            close(listener);
            serve(receiver, connection);
            fflush(NULL);
            _exit(0);
        }
        own->running += child > 0;
    }
    close(connection);
}

static void say_farewell(children *own)
{
    if (own->caller)
        kill(own->caller, SIGTERM);
    struct timespec tick = {0, TICK_MS * 1000000L};
    for (int i = 0; own->running > 0 && i < FAREWELL_S * 1000 / TICK_MS; i++) {
        reap(own);
        if (own->running > 0)
            nanosleep(&tick, NULL);
    }
}

sl_status sl_receive(const sl_receiver *receiver, sl_error *error)
{
    int listener = -1, port = 0;
    children own = {0};
    sl_status status = receiver->host.tls ? sl_dicom_tls_check(receiver->host.tls, true, error) : SL_OK;
    if (!status)
        status = receiver->keeper.prepare(receiver->keeper.context, error);
    if (!status)
        status = open_port(receiver, &listener, &port, error);
    if (status)
        return status;
    if (receiver->ready)
        receiver->ready(receiver->context, port);
    if (receiver->commitments)
        sl_commitments_tidy(receiver->commitments);
    for (unsigned tick = 0; !*receiver->stop; tick++) {
        struct pollfd wait = {listener, POLLIN, 0};
        if (poll(&wait, 1, TICK_MS) > 0)
            accept_one(receiver, listener, &own);
        reap(&own);
        if (tick % CALL_TICKS == 0)
            call_senders(receiver, listener, &own);
    }
    close(listener);
    say_farewell(&own);
    return SL_OK;
}
