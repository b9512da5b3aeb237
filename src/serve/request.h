/* A request once it got past the guard, and the ways to answer it. */
#ifndef SL_SERVE_REQUEST_H
#define SL_SERVE_REQUEST_H

#include "access/sessions.h"
#include "core/arena.h"
#include "core/error.h"
#include "core/text.h"

#include <jansson.h>
#include <microhttpd.h>
#include <stdbool.h>
#include <stdint.h>

enum {
    SL_REQUEST_PARTS = 10,
    SL_BODY_MOST = 256 * 1024,              /* bytes of JSON in a request */
    SL_UPLOAD_SECONDS = 30,                 /* before a body must have ended ... */
    SL_UPLOAD_BYTES_A_SECOND = 64 * 1024,   /* ... or have come at least this fast on the whole */
};
static const uint64_t sl_upload_most = (uint64_t)4 << 30; /* bytes of one clip brought in */

struct sl_server;
struct sl_incoming;
struct sl_dicomweb;

typedef struct sl_request {
    struct sl_server *server;
    struct MHD_Connection *connection;
    bool get;                          /* GET or HEAD: changes nothing */
    char *part[SL_REQUEST_PARTS];      /* of the path below the token; "api", "exams", ... */
    int parts;
    sl_text body;
    struct sl_incoming *incoming;      /* a clip that is being brought in, or NULL */
    struct sl_dicomweb *dicomweb;      /* objects that are being brought in by a machine, or NULL */
    uint64_t received, refused_at;     /* bytes; how many when it was refused */
    double began_s;                    /* monotonic */
    unsigned refused;                  /* status of an error found while the body came, 0 none */
    sl_error why;
    sl_arena arena;
    unsigned status;                   /* of the answer, once there is one */
    bool machine;                      /* another program's, below "dicom": no cookie, no page (dicomweb.h) */
    /* beyond this machine (door.h): */
    bool entered;                      /* signed in as `user` */
    sl_user user;
    char session[SL_SESSION_KEY];      /* the key that came with it, or "" */
    char from[64];                     /* address */
} sl_request;

double sl_now_s(void); /* monotonic seconds */

/* The value of "?name=..." or NULL. */
const char *sl_request_argument(const sl_request *request, const char *name);
/* The same as a whole number within bounds; `otherwise` when it is absent or off. */
long sl_request_number(const sl_request *request, const char *name, long low, long high, long otherwise);
/* The same as numbers between `apart`, in pairs between `groups` (0: none); how many, 0 when it is absent, or -1 for anything else:
 * more than `most`, what is no finite number, half a pair. */
int sl_request_numbers(const sl_request *request, const char *name, char apart, char groups, double *value, int most);
/* "part[i] is text". */
bool sl_request_is(const sl_request *request, int part, const char *text);

/* Who is signed in, NULL where nobody has to be. */
const char *sl_request_who(const sl_request *request);

/* The body as JSON; NULL when it is none. New reference. */
json_t *sl_request_json(const sl_request *request);

/* ---- answers; each queues the response with the headers that every answer carries ---- */
enum MHD_Result sl_reply(sl_request *request, unsigned status, const char *type, struct MHD_Response *response);
enum MHD_Result sl_reply_json(sl_request *request, unsigned status, json_t *json); /* takes the reference */
/* {"error": sentence} */
enum MHD_Result sl_reply_error(sl_request *request, unsigned status, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* What could not be done: 507 where the machine failed, 400 where what was asked for will not do. */
enum MHD_Result sl_reply_failed(sl_request *request, sl_status status, const sl_error *error);
/* What `pull` gives, piece by piece (MHD_ContentReaderCallback); `drop` frees `context`, whatever happens. */
enum MHD_Result sl_reply_stream(sl_request *request, MHD_ContentReaderCallback pull, void *context, void (*drop)(void *context));
enum MHD_Result sl_reply_bytes(sl_request *request, const char *type, const void *bytes, size_t length); /* copied */
/* A file by a path that this program made; `download` is the name to save it under, or NULL. */
enum MHD_Result sl_reply_file(sl_request *request, const char *path, const char *type, const char *download);

#endif
