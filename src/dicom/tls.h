/* DICOM over TLS (PS3.15 B.9 BCP 195 profile: TLS 1.2 or newer with forward secrecy, downgrading no further), by the toolkit. */
#ifndef SL_DICOM_TLS_H
#define SL_DICOM_TLS_H

#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

#include "core/error.h"

/* PEM files. Who answers must have a certificate of its own; who calls may go without one (NULL) where the other side asks for
 * none. */
typedef struct sl_dicom_tls {
    const char *certificate, *key;
    const char *trust;    /* certificates of those that are trusted, or of who issued theirs */
    bool anyone;          /* answering: who calls need not show a certificate. Calling: whoever answers is taken (no check) */
} sl_dicom_tls;

/* Whether the files are there and fit each other; a sentence that says which is wrong. `answers`: for who is called. */
sl_status sl_dicom_tls_check(const sl_dicom_tls *tls, bool answers, sl_error *error);

#ifdef __cplusplus
}

class DcmTLSTransportLayer;

/* The toolkit's layer; the caller's to delete, after the network that uses it. NULL with a sentence on failure. */
DcmTLSTransportLayer *sl_dicom_tls_layer(const sl_dicom_tls *tls, bool answers, sl_error *error);
#endif

#endif
