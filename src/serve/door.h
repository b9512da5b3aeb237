/* Beyond this machine: who is asking, whether they may, and the log of it. On the loopback address there is no door: the
 * token in the address is the key, and the machine's owner the only user. */
#ifndef SL_SERVE_DOOR_H
#define SL_SERVE_DOOR_H

#include "access/basic.h"
#include "access/certificate.h"
#include "access/log.h"
#include "access/sessions.h"
#include "access/users.h"
#include "serve/request.h"

typedef struct sl_door {
    sl_users *users;
    sl_sessions *sessions;
    sl_basic *basic;            /* programs that sign in with each request */
    sl_access_log *log;
    sl_certificate certificate; /* strings owned by `arena` */
    sl_arena arena;
} sl_door;

/* Opens users and log of `folder`, and the certificate: the files named, or one of its own for `name`. SL_USAGE when there
 * is no administrator yet. */
sl_status sl_door_open(const char *folder, const char *name, const char *certificate, const char *key, sl_door *door,
                       sl_error *error);
void sl_door_close(sl_door *door);

/* 0 when the request may go on (its user is filled in when there is one), else the status to refuse with and a sentence. */
unsigned sl_door_check(sl_request *request, sl_error *why);

/* Logs what was done, once it was answered. */
void sl_door_done(const sl_request *request);

/* Answers api/session..., api/users and api/access. */
enum MHD_Result sl_door_answer(sl_request *request);
bool sl_door_is(const sl_request *request);

#endif
