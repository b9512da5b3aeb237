/* Who has entered, how often one may try, and how fast one may ask. In memory only: a restart signs everyone out.
 * Every call may come from any thread. `now_s` is monotonic. */
#ifndef SL_ACCESS_SESSIONS_H
#define SL_ACCESS_SESSIONS_H

#include "access/users.h"

enum {
    SL_SESSION_KEY = 65,          /* 256 bits as hexadecimal digits, with the closing zero */
    SL_SESSIONS_MOST = 256,       /* the one unused longest makes room */
    SL_SESSION_IDLE_S = 30 * 60,  /* at a shared machine on a ward (common practice, no source) */
    SL_SESSION_WHOLE_S = 12 * 3600, /* a long shift (common practice, no source) */
    SL_TRIES_FREE = 5,            /* wrong passwords before one has to wait, doubling from a second */
    SL_WAIT_NAME_S = 60,          /* longest for a name: nobody shall shut out a colleague for long */
    SL_WAIT_FROM_S = 900,         /* longest for an address */
    SL_ASKS_A_SECOND = 100,       /* of one session, or of one address without a session */
    SL_ASKS_AT_ONCE = 400,
};

typedef struct sl_sessions sl_sessions;
sl_sessions *sl_sessions_new(void);
void sl_sessions_free(sl_sessions **sessions);

/* How many seconds this name or address has to wait before the next try; 0: none. */
int sl_sessions_wait(sl_sessions *sessions, const char *name, const char *from, double now_s);
void sl_sessions_tried(sl_sessions *sessions, const char *name, const char *from, bool right, double now_s);

/* Begins one; the key goes to the user's browser and nowhere else (only its hash is kept). */
void sl_sessions_begin(sl_sessions *sessions, const sl_user *user, double now_s, char key[SL_SESSION_KEY]);
/* Whose session the key is, when it is still good. */
bool sl_sessions_find(sl_sessions *sessions, const char *key, double now_s, sl_user *user);
void sl_sessions_end(sl_sessions *sessions, const char *key);

/* False: this one asks too fast. `who` is the session's name or the address. */
bool sl_sessions_may_ask(sl_sessions *sessions, const char *who, double now_s);

/* True the first time this key opens this examination: looking is logged once a session. */
bool sl_sessions_first_look(sl_sessions *sessions, const char *key, const char *exam);

#endif
