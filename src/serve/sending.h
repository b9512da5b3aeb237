/* Sending an examination's findings, report and clips (src/node/queue.h): what the page may ask for, and the thread that sends what
 * the queue holds while the server runs, whoever queued it. */
#ifndef SL_SERVE_SENDING_H
#define SL_SERVE_SENDING_H

#include "serve/desk.h"
#include "serve/request.h"

typedef struct sl_sending sl_sending;

/* `store`: its folder; NULL: the user's. Without one that is known nothing is sent and `*sending` is NULL. */
sl_status sl_sending_start(const char *store, sl_sending **sending, sl_error *error);
/* Ends the thread, or leaves an object that is under way to the end of the program: what waits is on the disk. */
void sl_sending_end(sl_sending **sending);

/* GET api/exams/ID/sending: {"may": whether the user may send, "destinations": [{name, kind, safe}], "items": [...] of its study}.
 * POST the same: {"to": name, "what": ["findings", "report", "clips"]} makes the objects of what stands now and queues them:
 * {"queued", "waited", "done"}; {"retry": item} or {"forget": item}. */
enum MHD_Result sl_sending_answer(sl_request *request, sl_desk *desk);

#endif
