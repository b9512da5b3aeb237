#include <dcmtk/config/osconfig.h>

#include "dicom/call.h"
#include "dicom/load.h"

#include <cstdio>
#include <dcmtk/dcmnet/dcmtrans.h>
#include <dcmtk/dcmnet/diutil.h>
#include <dcmtk/dcmtls/tlslayer.h>

extern "C" {
#include "core/utf8.h"
}

namespace
{

/* PS3.8 table 9-21. */
const char *refusal(const T_ASC_RejectParameters &rejected)
{
    switch (rejected.reason) {
    case ASC_REASON_SU_CALLINGAETITLENOTRECOGNIZED:
        return "it does not know the title we call ourselves by; have it entered there, or give another with --title";
    case ASC_REASON_SU_CALLEDAETITLENOTRECOGNIZED:
        return "it does not go by the title we called; ask for its AE title";
    case ASC_REASON_SU_APPCONTEXTNAMENOTSUPPORTED:
    case ASC_REASON_SP_ACSE_PROTOCOLVERSIONNOTSUPPORTED:
        return "it does not speak this protocol";
    case ASC_REASON_SP_PRES_TEMPORARYCONGESTION:
    case ASC_REASON_SP_PRES_LOCALLIMITEXCEEDED:
        return "it is busy";
    default:
        return "it gave no reason";
    }
}

/* The toolkit's words without its line breaks and its codes, as a part of a sentence. */
void words_of(OFCondition result, char *to, size_t room)
{
    sl_arena arena = {};
    const char *valid = sl_utf8_valid(&arena, result.text());
    size_t used = 0;
    for (const char *at = valid ? valid : ""; *at && used + 1 < room; at++)
        to[used++] = *at == '\n' || *at == '\r' || *at == '\t' ? ' ' : *at;
    while (used && (to[used - 1] == ' ' || to[used - 1] == '.'))
        used--;
    to[used] = 0;
    sl_arena_free(&arena);
}

} /* namespace */

sl_dicom_call::sl_dicom_call(const sl_dicom_peer *called, unsigned most) : peer(called), most_pdu(most) {}

sl_dicom_call::~sl_dicom_call()
{
    hang_up(false);
}

DcmTransportLayer *sl_dicom_call::around(DcmTLSTransportLayer *secure)
{
    return secure;
}

bool sl_dicom_call::prepare(sl_error *error)
{
    if (asked)
        return true;
    sl_dicom_quiet();
    dcmConnectionTimeout.set(peer->connect_s);
    dcmSocketSendTimeout.set(peer->answer_s);
    dcmSocketReceiveTimeout.set(peer->answer_s);
    if (peer->tls) {
        layer.reset(sl_dicom_tls_layer(peer->tls, false, error));
        if (!layer)
            return false;
    }
    char where[300];
    snprintf(where, sizeof where, "%.256s:%d", peer->host, peer->port);
    OFCondition result = ASC_initializeNetwork(NET_REQUESTOR, 0, peer->answer_s, &network);
    if (result.good())
        result = ASC_createAssociationParameters(&asked, most_pdu);
    if (result.good())
        result = ASC_setAPTitles(asked, peer->own, peer->title, nullptr);
    DcmTransportLayer *from = around(layer.get());
    if (result.good() && from)
        result = ASC_setTransportLayer(network, from, 0);
    if (result.good())
        result = ASC_setTransportLayerType(asked, layer != nullptr);
    if (result.good())
        result = ASC_setPresentationAddresses(asked, "localhost", where);
    if (result.good())
        return true;
    sl_fail(error, SL_IO, "No call can be made to %s: %s.", peer->title, result.text());
    return false;
}

T_ASC_PresentationContextID sl_dicom_call::propose(const char *class_uid, const char *const *syntaxes, int count,
                                                   T_ASC_SC_ROLE role)
{
    if (next > 255 || !prepare(nullptr))
        return 0;
    const int id = next;
    if (ASC_addPresentationContext(asked, static_cast<T_ASC_PresentationContextID>(id), class_uid, const_cast<const char **>(syntaxes), count,
                                   role).bad())
        return 0;
    next += 2;
    return static_cast<T_ASC_PresentationContextID>(id);
}

sl_dicom_hearing sl_dicom_call::dial(sl_error *error)
{
    char words[200];
    if (!prepare(error))
        return peer->tls ? SL_TURNED_AWAY : SL_NOT_HEARD; /* a certificate that is not there waits for somebody */
    OFCondition result = ASC_requestAssociation(network, asked, &line, nullptr, nullptr, DUL_NOBLOCK, peer->answer_s);
    if (result.good())
        return SL_HEARD;
    if (result == DUL_ASSOCIATIONREJECTED) {
        T_ASC_RejectParameters rejected;
        ASC_getRejectParameters(asked, &rejected);
        sl_fail(error, SL_IO, "%s turned us away: %s.", peer->title, refusal(rejected));
        return rejected.result == ASC_RESULT_REJECTEDPERMANENT ? SL_TURNED_AWAY : SL_NOT_HEARD;
    }
    words_of(result, words, sizeof words);
    sl_fail(error, SL_IO, "%s is not reached at %s, port %d: %s.", peer->title, peer->host, peer->port, words);
    return SL_NOT_HEARD;
}

const char *sl_dicom_call::accepted(T_ASC_PresentationContextID id)
{
    T_ASC_PresentationContext context;
    *syntax = 0;
    if (line && ASC_findAcceptedPresentationContext(line->params, id, &context).good() && context.resultReason == ASC_P_ACCEPTANCE)
        snprintf(syntax, sizeof syntax, "%s", context.acceptedTransferSyntax);
    return syntax;
}

void sl_dicom_call::hang_up(bool in_order)
{
    if (line) {
        if (!in_order || ASC_releaseAssociation(line).bad())
            ASC_abortAssociation(line);
        ASC_destroyAssociation(&line); /* with its parameters */
        asked = nullptr;
    }
    if (asked)
        ASC_destroyAssociationParameters(&asked);
    if (network)
        ASC_dropNetwork(&network);
    line = nullptr;
    asked = nullptr;
    network = nullptr;
    next = 1;
}
