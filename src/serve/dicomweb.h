/* What other programs may ask for below "dicom": the studies service of DICOM by the web (PS3.18 10). Objects in (STOW-RS), searched
 * (QIDO-RS) and out (WADO-RS), on the store of the page. Beyond this machine they sign in with HTTP Basic (door.h). */
#ifndef SL_SERVE_DICOMWEB_H
#define SL_SERVE_DICOMWEB_H

#include "serve/request.h"

typedef struct sl_dicomweb sl_dicomweb;

/* Before a body: 0, or the status to refuse with and a sentence. */
unsigned sl_dicomweb_begin(sl_request *request, sl_error *why);
/* A piece of it. */
unsigned sl_dicomweb_take(sl_request *request, const void *bytes, size_t length, sl_error *why);
enum MHD_Result sl_dicomweb_answer(sl_request *request);
/* Removes what came half; frees. */
void sl_dicomweb_end(sl_request *request);

/* At the start: removes what a server that was killed left half in the store, if there is one. */
void sl_dicomweb_tidy(const char *store);

#endif
