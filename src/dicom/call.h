/* Calling another node: an association that we ask for (PS3.8 9.3), by the toolkit. */
#ifndef SL_DICOM_CALL_H
#define SL_DICOM_CALL_H

#include <stddef.h>

#include "dicom/tls.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef struct sl_dicom_peer {
    const char *title, *host; /* who is called (AE title), where */
    int port;
    const char *own;          /* our title */
    const sl_dicom_tls *tls;  /* NULL: nothing is encrypted */
    int connect_s, answer_s;  /* seconds that are waited for a connection, for an answer */
} sl_dicom_peer;

typedef enum sl_dicom_hearing {
    SL_HEARD,
    SL_NOT_HEARD,  /* nobody there, busy, broken off: may pass */
    SL_TURNED_AWAY /* for good, until somebody changes something there or here */
} sl_dicom_hearing;

#ifdef __cplusplus
}

#include <dcmtk/dcmnet/assoc.h>
#include <memory>

class DcmTLSTransportLayer;
class DcmTransportLayer;

class sl_dicom_call
{
public:
    explicit sl_dicom_call(const sl_dicom_peer *called, unsigned most_pdu = ASC_DEFAULTMAXPDU);
    virtual ~sl_dicom_call();
    sl_dicom_call(const sl_dicom_call &) = delete;
    sl_dicom_call &operator=(const sl_dicom_call &) = delete;

    /* Before `dial`: a class with the syntaxes it may come in. Its id, odd; 0 when there is no more room (128 at most). */
    T_ASC_PresentationContextID propose(const char *class_uid, const char *const *syntax, int syntaxes,
                                        T_ASC_SC_ROLE role = ASC_SC_ROLE_DEFAULT);
    /* SL_NOT_HEARD and SL_TURNED_AWAY with a sentence in `error`. */
    sl_dicom_hearing dial(sl_error *error);
    /* The transfer syntax that was accepted for a proposal; "" when none was. Of the call. */
    const char *accepted(T_ASC_PresentationContextID id);
    T_ASC_Association *association() { return line; }
    /* Releases it, or aborts it where something went wrong. */
    void hang_up(bool in_order);

protected:
    const sl_dicom_peer *peer;
    /* The layer that connections come from, given the one of TLS or NULL; NULL: the toolkit's own. It must live longer than the
     * call. */
    virtual DcmTransportLayer *around(DcmTLSTransportLayer *secure);

private:
    unsigned most_pdu;                           /* bytes that the other side may say at once */
    std::unique_ptr<DcmTLSTransportLayer> layer; /* lives longer than the network */
    T_ASC_Network *network = nullptr;
    T_ASC_Parameters *asked = nullptr; /* the association's, once there is one */
    T_ASC_Association *line = nullptr;
    int next = 1;
    char syntax[65] = "";

    bool prepare(sl_error *error);
};
#endif

#endif
