/* Who may ask, how large, and for how long. */
#ifndef SL_SERVE_GUARD_H
#define SL_SERVE_GUARD_H

#include "serve/request.h"

enum { SL_TOKEN_LENGTH = 32, SL_CONNECTIONS_MOST = 160, SL_HEADER_SECONDS = 10 };

/* 32 hexadecimal digits from the system's random source. */
sl_status sl_guard_token(char token[SL_TOKEN_LENGTH + 1], sl_error *error);

/* What follows "/TOKEN/" of a path, or NULL when the token is not there (compared in constant time). */
const char *sl_guard_below_token(const char *path, const char *token);

/* 0, or the status to refuse with and a sentence: Host, method, origin, size that was announced. `upload` says that a
 * clip is brought in. */
unsigned sl_guard_check(const sl_request *request, const char *method, bool upload, sl_error *why);

/* ---- clients that dawdle over their headers ---- */
typedef struct sl_watch sl_watch;
sl_watch *sl_watch_new(void);
void sl_watch_free(sl_watch **watch);
/* For MHD_OPTION_NOTIFY_CONNECTION; `context` is the watch. */
void sl_watch_notify(void *context, struct MHD_Connection *connection, void **socket_context,
                     enum MHD_ConnectionNotificationCode code);
/* Headers have come; the answer is done and the next headers may come. */
void sl_watch_busy(sl_watch *watch, struct MHD_Connection *connection);
void sl_watch_idle(sl_watch *watch, struct MHD_Connection *connection);

#endif
