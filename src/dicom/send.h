/* Sending objects by C-STORE (PS3.4 B, PS3.7 9.1.1) through the toolkit. What an answer means and when to try again is the
 * caller's. */
#ifndef SL_DICOM_SEND_H
#define SL_DICOM_SEND_H

#include "dicom/call.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct sl_dicom_outgoing {
    const char *path;                   /* a Part 10 file */
    const char *uid, *class_uid, *syntax;
} sl_dicom_outgoing;

typedef enum sl_dicom_end {
    SL_END_ANSWERED,  /* `status` says how */
    SL_END_NOT_TAKEN, /* the other side takes no objects of this class, or not in a syntax we can give it */
    SL_END_NO_FILE,   /* it cannot be read, or not be converted */
    SL_END_BROKEN     /* the association ended before the answer */
} sl_dicom_end;

typedef struct sl_dicom_reply {
    sl_dicom_end end;
    unsigned status;  /* PS3.7 annex C, PS3.4 B.2.3 */
    char syntax[65];  /* in which it was sent */
    char words[300];  /* the other side's comment, or a sentence for the other ends; UTF-8, may be "" */
} sl_dicom_reply;

/* Told of each object as soon as its answer is there; false: no more are sent. */
typedef bool (*sl_dicom_told)(void *context, int which, const sl_dicom_reply *reply);

/* Sends `count` objects over one association (over several where they have more classes and syntaxes than fit one), each in its
 * own transfer syntax where the other side takes that, else uncompressed, by way of the file `scratch`, which is removed. Objects
 * that `told` was not called for were not tried: the sentence in `error` says why. */
sl_dicom_hearing sl_dicom_send(const sl_dicom_peer *peer, const sl_dicom_outgoing *object, int count, const char *scratch, sl_dicom_told told, void *context, sl_error *error);

/* Writes the object uncompressed to `to`, its UID as it was; false with the reason as a part of a sentence. */
bool sl_dicom_uncompress(const char *path, const char *to, char *why, size_t room);

#ifdef __cplusplus
}
#endif

#endif
