#include "serve/door.h"

#include "core/json.h"
#include "serve/api.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <string.h>

static const char cookie_name[] = "__Host-strandline"; /* RFC 6265bis: secure, this host alone, path "/" */

sl_status sl_door_open(const char *folder, const char *name, const char *certificate, const char *key, sl_door *door,
                       sl_error *error)
{
    int all, administrators;
    sl_status status = sl_users_open(folder, &door->users, error);
    if (status == SL_OK)
        status = sl_users_count(door->users, &all, &administrators, error);
    if (status == SL_OK && !administrators)
        status = sl_fail(error, SL_USAGE,
                         "Nobody may enter yet, so the page is not opened beyond this machine. Make an administrator first: "
                         "strandline users add NAME --role administrator.");
    if (status == SL_OK)
        status = sl_access_log_open(folder, &door->log, error);
    if (status == SL_OK)
        status = certificate ? sl_certificate_load(certificate, key, &door->arena, &door->certificate, error)
                             : sl_certificate_own(folder, name, &door->arena, &door->certificate, error);
    if (status == SL_OK && (!(door->sessions = sl_sessions_new()) || !(door->basic = sl_basic_new())))
        status = sl_fail(error, SL_MEMORY, "Memory ran out while the server was started.");
    if (status != SL_OK)
        sl_door_close(door);
    return status;
}

void sl_door_close(sl_door *door)
{
    sl_users_close(&door->users);
    sl_access_log_close(&door->log);
    sl_sessions_free(&door->sessions);
    sl_basic_free(&door->basic);
    sl_arena_free(&door->arena);
}

/* ---- who asks, and may they ---- */

static void address_of(struct MHD_Connection *connection, char text[64])
{
    const union MHD_ConnectionInfo *info = MHD_get_connection_info(connection, MHD_CONNECTION_INFO_CLIENT_ADDRESS);
    const struct sockaddr *address = info ? info->client_addr : NULL;
    const void *bytes = !address ? NULL
                        : address->sa_family == AF_INET
                            ? (const void *)&((const struct sockaddr_in *)(const void *)address)->sin_addr
                            : (const void *)&((const struct sockaddr_in6 *)(const void *)address)->sin6_addr;
    if (!bytes || !inet_ntop(address->sa_family, bytes, text, 64))
        snprintf(text, 64, "unknown");
}

/* What a learner may change: nothing of an examination. */
static bool for_learners(const sl_request *request)
{
    static const char *const parts[] = {"session", "bench", "learners"};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
        if (sl_request_is(request, 1, parts[i]))
            return true;
    return false;
}

static void note(const sl_request *request, const char *who, const char *what, const char *of)
{
    sl_error ignored;
    sl_access_log_add(request->server->door->log, who, request->from, what, of, &ignored);
}

static bool still_the_same(sl_door *door, const sl_user *user)
{
    sl_user kept;
    return sl_users_find(door->users, user->name, &kept) && kept.stamp == user->stamp;
}

/* A password that is not known yet, under the same limits as signing in on the page. */
static unsigned try_machine(sl_request *request, const char *name, const char *password, double now, sl_error *why)
{
    sl_door *door = request->server->door;
    int wait = sl_sessions_wait(door->sessions, name, request->from, now);
    if (wait) {
        note(request, name, "had to wait", "dicom");
        sl_fail(why, SL_LIMIT, "Too many wrong tries. Wait %d s and try again.", wait);
        return 429;
    }
    request->entered = sl_users_check(door->users, name, password, &request->user);
    sl_sessions_tried(door->sessions, name, request->from, request->entered, now);
    note(request, name, request->entered ? "entered" : "wrong password or name", "dicom");
    if (!request->entered) {
        sl_fail(why, SL_USAGE, "The name or the password is not right.");
        return 401;
    }
    sl_sessions_begin(door->sessions, &request->user, now, request->session);
    sl_basic_remember(door->basic, name, password, request->session);
    return 0;
}

/* Another program: name and password come with each request (RFC 7617, over TLS). */
static unsigned check_machine(sl_request *request, double now, sl_error *why)
{
    sl_door *door = request->server->door;
    char name[SL_USER_NAME], password[SL_PASSWORD_MOST + 1];
    unsigned refused = 0;
    if (!sl_basic_parse(MHD_lookup_connection_value(request->connection, MHD_HEADER_KIND, "Authorization"), name, password)) {
        if (!sl_sessions_may_ask(door->sessions, request->from, now)) {
            sl_fail(why, SL_LIMIT, "That is too much at once. Wait a few seconds.");
            return 429;
        }
        sl_fail(why, SL_USAGE, "Sign in with the name and password of a reader (HTTP Basic).");
        return 401;
    }
    request->entered = sl_basic_recall(door->basic, name, password, request->session) &&
                       sl_sessions_find(door->sessions, request->session, now, &request->user) && still_the_same(door, &request->user);
    if (!request->entered)
        refused = try_machine(request, name, password, now, why);
    explicit_bzero(password, sizeof password);
    if (!refused && !sl_sessions_may_ask(door->sessions, request->session, now)) {
        sl_fail(why, SL_LIMIT, "That is too much at once. Wait a few seconds.");
        return 429;
    }
    if (!refused && request->user.role == SL_ROLE_LEARNER) {
        sl_fail(why, SL_USAGE, "A learner does not see what arrived: it names the patients.");
        return 403;
    }
    return refused;
}

unsigned sl_door_check(sl_request *request, sl_error *why)
{
    sl_door *door = request->server->door;
    double now = sl_now_s();
    address_of(request->connection, request->from);
    if (request->machine)
        return check_machine(request, now, why);
    const char *key = MHD_lookup_connection_value(request->connection, MHD_COOKIE_KIND, cookie_name);
    if (key && strlen(key) == SL_SESSION_KEY - 1 && sl_sessions_find(door->sessions, key, now, &request->user)) {
        snprintf(request->session, sizeof request->session, "%s", key);
        request->entered = still_the_same(door, &request->user);
        if (!request->entered)
            sl_sessions_end(door->sessions, key); /* removed, or password or role changed */
    }
    if (!sl_sessions_may_ask(door->sessions, request->entered ? request->session : request->from, now)) {
        sl_fail(why, SL_LIMIT, "That is too much at once. Wait a few seconds.");
        return 429;
    }
    if (!sl_request_is(request, 0, "api") || sl_request_is(request, 1, "session"))
        return 0; /* the page itself holds nothing of anybody */
    if (!request->entered) {
        sl_fail(why, SL_USAGE, "Sign in first.");
        return 401;
    }
    bool rules = sl_request_is(request, 1, "users") || sl_request_is(request, 1, "access");
    if ((rules && request->user.role != SL_ROLE_ADMINISTRATOR) ||
        (!request->get && request->user.role == SL_ROLE_LEARNER && !for_learners(request))) {
        sl_fail(why, SL_USAGE, rules ? "Only an administrator may do that." : "A learner looks at examinations and does not change them.");
        return 403;
    }
    return 0;
}

/* ---- the log ---- */

static void path_of(const sl_request *request, char *text, size_t room)
{
    size_t used = 0;
    text[0] = 0;
    for (int i = 1; i < request->parts && used < room; i++)
        used += (size_t)snprintf(text + used, room - used, "%s%s", i > 1 ? "/" : "", request->part[i]);
}

/* Studies brought in each time; studies and searches that were looked at once a session. */
static void machine_done(const sl_request *request)
{
    char path[300];
    sl_door *door = request->server->door;
    bool study = request->parts > 3 || (request->get && request->parts > 2);
    path_of(request, path, sizeof path);
    if (!request->entered || request->status == 403) {
        if (request->status == 403)
            note(request, request->user.name, "refused", path);
    } else if (!request->get) {
        if (request->status < 300)
            note(request, request->user.name, "brought in", path);
    } else if (request->status < 400 && sl_sessions_first_look(door->sessions, request->session, study ? request->part[2] : "search")) {
        snprintf(path, sizeof path, "dicom %.64s", study ? request->part[2] : "search");
        note(request, request->user.name, study ? "took away" : "looked", path);
    }
}

void sl_door_done(const sl_request *request)
{
    if (request->machine && request->server->door) {
        machine_done(request);
        return;
    }

    static const char *const taken[] = {"report.pdf", "readings.csv", "exam.json", "says.jsonl"};
    sl_door *door = request->server->door;
    char path[300];
    if (!door || !sl_request_is(request, 0, "api") || sl_request_is(request, 1, "session"))
        return;
    path_of(request, path, sizeof path);
    if (!request->entered || request->status == 403) {
        if (!request->get || request->status == 403)
            note(request, request->entered ? request->user.name : "", "refused", path);
        return;
    }
    if (!request->get) {
        if (request->status < 400 && !sl_request_is(request, 1, "bench"))
            note(request, request->user.name, "changed", path);
        return;
    }
    if (request->status >= 400 || request->parts < 3 || !sl_request_is(request, 1, "exams"))
        return;
    if (sl_sessions_first_look(door->sessions, request->session, request->part[2]))
        note(request, request->user.name, "looked", request->part[2]);
    for (size_t i = 0; i < sizeof taken / sizeof *taken; i++)
        if (sl_request_is(request, 3, taken[i]))
            note(request, request->user.name, "took away", path);
}

/* ---- answers ---- */

static enum MHD_Result with_cookie(sl_request *request, const char *key, int seconds, json_t *json)
{
    char cookie[256];
    char *text = json_dumps(json, JSON_COMPACT);
    json_decref(json);
    struct MHD_Response *response = text ? MHD_create_response_from_buffer(strlen(text), text, MHD_RESPMEM_MUST_FREE) : NULL;
    snprintf(cookie, sizeof cookie, "%s=%s; Secure; HttpOnly; SameSite=Strict; Path=/; Max-Age=%d", cookie_name, key, seconds);
    if (response)
        MHD_add_response_header(response, MHD_HTTP_HEADER_SET_COOKIE, cookie);
    return sl_reply(request, 200, "application/json", response);
}

static enum MHD_Result wait_first(sl_request *request, int seconds)
{
    return sl_reply_error(request, 429, "Too many wrong tries. Wait %d s and try again.", seconds);
}

static enum MHD_Result enter(sl_request *request)
{
    sl_door *door = request->server->door;
    json_t *body = sl_request_json(request);
    char name[SL_USER_NAME], key[SL_SESSION_KEY];
    sl_user user;
    snprintf(name, sizeof name, "%s", sl_json_text(body, "name"));
    int wait = sl_sessions_wait(door->sessions, name, request->from, sl_now_s());
    if (wait) {
        json_decref(body);
        note(request, name, "had to wait", "");
        return wait_first(request, wait);
    }
    bool right = strlen(sl_json_text(body, "name")) < SL_USER_NAME && sl_users_check(door->users, name, sl_json_text(body, "password"), &user);
    json_decref(body);
    sl_sessions_tried(door->sessions, name, request->from, right, sl_now_s());
    note(request, name, right ? "entered" : "wrong password or name", "");
    if (!right)
        return sl_reply_error(request, 401, "The name or the password is not right.");
    if (*request->session) /* a new key with every sign-in */
        sl_sessions_end(door->sessions, request->session);
    sl_sessions_begin(door->sessions, &user, sl_now_s(), key);
    return with_cookie(request, key, SL_SESSION_WHOLE_S,
                       json_pack("{s:b, s:s, s:s}", "needed", 1, "name", user.name, "role", sl_role_word(user.role)));
}

static enum MHD_Result leave(sl_request *request)
{
    if (*request->session)
        sl_sessions_end(request->server->door->sessions, request->session);
    if (request->entered)
        note(request, request->user.name, "left", "");
    return with_cookie(request, "gone", 0, json_pack("{s:b}", "needed", 1));
}

static enum MHD_Result new_password(sl_request *request)
{
    sl_door *door = request->server->door;
    sl_error error;
    sl_user user;
    if (!request->entered)
        return sl_reply_error(request, 401, "Sign in first.");
    int wait = sl_sessions_wait(door->sessions, request->user.name, request->from, sl_now_s());
    if (wait)
        return wait_first(request, wait);
    json_t *body = sl_request_json(request);
    bool right = sl_users_check(door->users, request->user.name, sl_json_text(body, "old"), &user);
    sl_sessions_tried(door->sessions, request->user.name, request->from, right, sl_now_s());
    sl_status status = !right ? sl_fail(&error, SL_USAGE, "The old password is not right.")
                              : sl_users_set_password(door->users, user.name, sl_json_text(body, "new"), &error);
    json_decref(body);
    if (status != SL_OK)
        return sl_reply_error(request, status == SL_USAGE ? 400 : 507, "%s", error.text);
    note(request, user.name, "changed the password", user.name);
    return leave(request); /* every session of theirs is over */
}

/* {"do": "add" | "role" | "password" | "remove", "name", "role", "password"} */
static enum MHD_Result change_users(sl_request *request)
{
    sl_users *users = request->server->door->users;
    json_t *body = sl_request_json(request);
    const char *what = sl_json_text(body, "do"), *name = sl_json_text(body, "name"), *password = sl_json_text(body, "password");
    char done[160];
    sl_role role = SL_ROLE_READER;
    sl_error error;
    sl_status status;
    bool needs_role = !strcmp(what, "add") || !strcmp(what, "role");
    if (needs_role && !sl_role_from_word(sl_json_text(body, "role"), &role))
        status = sl_fail(&error, SL_USAGE, "The role must be reader, learner or administrator.");
    else if (!strcmp(what, "add"))
        status = sl_users_add(users, name, role, password, &error);
    else if (!strcmp(what, "role"))
        status = sl_users_set_role(users, name, role, &error);
    else if (!strcmp(what, "password"))
        status = sl_users_set_password(users, name, password, &error);
    else if (!strcmp(what, "remove"))
        status = sl_users_remove(users, name, &error);
    else
        status = sl_fail(&error, SL_USAGE, "It must say what to do: add, role, password or remove.");
    snprintf(done, sizeof done, "user %.64s: %.16s%s%s", name, what, needs_role ? " " : "", needs_role ? sl_role_word(role) : "");
    json_decref(body);
    if (status != SL_OK)
        return sl_reply_failed(request, status, &error);
    note(request, request->user.name, "users changed", done);
    return sl_reply_json(request, 200, json_pack("{s:o}", "users", sl_users_json(users)));
}

bool sl_door_is(const sl_request *request)
{
    return sl_request_is(request, 1, "session") || sl_request_is(request, 1, "users") || sl_request_is(request, 1, "access");
}

enum MHD_Result sl_door_answer(sl_request *request)
{
    sl_door *door = request->server->door;
    bool session = sl_request_is(request, 1, "session");
    if (session && request->parts == 2 && request->get) {
        if (!door)
            return sl_reply_json(request, 200, json_pack("{s:b}", "needed", 0));
        return sl_reply_json(request, 200, request->entered ? json_pack("{s:b, s:s, s:s}", "needed", 1, "name", request->user.name, "role",
                                                                         sl_role_word(request->user.role))
                                                             : json_pack("{s:b}", "needed", 1));
    }
    if (!door)
        return sl_reply_error(request, 404, "This page is open to this machine alone, so nobody signs in.");
    if (session && request->parts == 2)
        return enter(request);
    if (session && request->parts == 3 && !request->get && sl_request_is(request, 2, "end"))
        return leave(request);
    if (session && request->parts == 3 && !request->get && sl_request_is(request, 2, "password"))
        return new_password(request);
    if (sl_request_is(request, 1, "users") && request->parts == 2)
        return request->get ? sl_reply_json(request, 200, json_pack("{s:o}", "users", sl_users_json(door->users))) : change_users(request);
    if (sl_request_is(request, 1, "access") && request->parts == 2 && request->get)
        return sl_reply_json(request, 200, json_pack("{s:o}", "lines", sl_access_log_last(door->log, (int)sl_request_number(request, "most", 1, 1000, 200))));
    return sl_reply_error(request, 404, "There is nothing under this address.");
}
