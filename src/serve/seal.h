/* Signing on the page is the store's signing. While one reads, what is entered lives in the journal beside the clips (says.h): it
 * takes back, keeps what two tabs say and asks for no store. Signing puts all of it into the store at once: the examination with its
 * clips, the program's readings, the signer's readings, the report as it was drawn with conclusion and signature. From then on
 * the signed report cannot change (src/store); what the journal says later is kept, told as later, and is no part of it; an
 * addendum is signed in the same way. OUT/signed.json names the examination in the store. */
#ifndef SL_SERVE_SEAL_H
#define SL_SERVE_SEAL_H

#include "serve/desk.h"
#include "serve/request.h"
#include "store/store.h"

/* Tells the desk what the store holds of its signature; nothing when it was never signed. */
void sl_seal_look(sl_desk *desk, const char *store);

/* Notes in the output folder `out` that examination `uid` is signed, the journal standing at entry `last`. */
sl_status sl_seal_note(sl_store *store, const char *uid, json_int_t last, const char *out, sl_arena *arena, sl_error *error);

/* POST {name, text, language}: signs what stands, with the conclusion; once signed, `text` is signed as an addendum. */
enum MHD_Result sl_seal_answer(sl_request *request, sl_desk *desk);

/* The PDF of the last report that was signed. */
enum MHD_Result sl_seal_pdf(sl_request *request, sl_desk *desk);

#endif
