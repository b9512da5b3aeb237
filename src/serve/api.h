/* What the page may ask for. */
#ifndef SL_SERVE_API_H
#define SL_SERVE_API_H

#include "serve/place.h"
#include "serve/request.h"

struct sl_live;
struct sl_door;
struct sl_sending;
struct sl_at_hand;

typedef struct sl_server {
    sl_place *place;
    struct sl_live *bench;
    struct sl_sending *sending;
    struct sl_at_hand *straight; /* clips at hand for motion traces */
    struct sl_at_hand *records;  /* what was read of the clips in hand */
    const char *worklist;  /* who is asked what is planned: a destination's name or an address; NULL: nobody */
    const char *title;     /* our title for it; NULL: the destination's, else STRANDLINE */
    struct sl_door *door;  /* NULL: this machine alone, and the token is the key */
    char token[40];
    char host[2][300];     /* the names it answers to, "NAME:PORT" */
} sl_server;

/* Answers a whole request (its body is there). */
enum MHD_Result sl_api_answer(sl_request *request);

/* A file of the page; "" is the page itself. */
enum MHD_Result sl_api_asset(sl_request *request, const char *name);

/* Whether a request with these parts brings in a clip, and if so the folder it goes to. */
bool sl_api_is_upload(const sl_request *request);
sl_desk *sl_api_upload_desk(sl_request *request);

/* ---- api_tables.c: what does not change while it runs ---- */
json_t *sl_api_tables(void); /* findings, zones, schemes */
enum MHD_Result sl_api_plan(sl_request *request);

#endif
