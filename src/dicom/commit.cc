#include <dcmtk/config/osconfig.h>

#include "dicom/commit.h"

#include <cstdio>
#include <cstring>
#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmnet/scu.h>
#include <dcmtk/dcmtls/tlslayer.h>
#include <memory>

namespace
{

/* Such a value may become the name of a file (PS3.5 9.1); anything else may not. */
bool uid_of(DcmItem *item, const DcmTagKey &tag, char *to, size_t room)
{
    OFString value;
    if (item->findAndGetOFString(tag, value).bad() || value.empty() || value.size() >= room ||
        strspn(value.c_str(), "0123456789.") != value.size() || value[0] == '.')
        return false;
    snprintf(to, room, "%s", value.c_str());
    return true;
}

class Caller : public DcmSCU
{
public:
    OFCondition secure(DcmTransportLayer *layer) { return useSecureConnection(layer); }
};

sl_status fail(const sl_dicom_callee *callee, const char *what, sl_error *error)
{
    return sl_fail(error, SL_IO, "%s (%s, port %d) was not told what is kept: %s.", callee->title, callee->host, callee->port, what);
}

} /* namespace */

unsigned sl_dicom_commit_asked(DcmDataset *data, std::vector<sl_dicom_claim> *claims, sl_dicom_commit *asked)
{
    DcmSequenceOfItems *rows = nullptr;
    if (!uid_of(data, DCM_TransactionUID, asked->transaction, sizeof asked->transaction) ||
        data->findAndGetSequence(DCM_ReferencedSOPSequence, rows).bad() || !rows || rows->card() == 0)
        return SL_ASK_INVALID;
    if (rows->card() > SL_COMMIT_MOST)
        return SL_ASK_NO_ROOM;
    claims->reserve(rows->card());
    for (DcmObject *at = nullptr; (at = rows->nextInContainer(at));) { /* by its number each would be a walk of the list */
        DcmItem *row = static_cast<DcmItem *>(at);
        sl_dicom_claim claim = {};
        if (!uid_of(row, DCM_ReferencedSOPClassUID, claim.class_uid, sizeof claim.class_uid) ||
            !uid_of(row, DCM_ReferencedSOPInstanceUID, claim.uid, sizeof claim.uid))
            return SL_ASK_INVALID;
        claims->push_back(claim);
    }
    asked->count = static_cast<int>(claims->size());
    asked->claim = claims->data();
    return SL_ASK_TAKEN;
}

bool sl_dicom_commit_answer(const sl_dicom_commit *verified, DcmDataset *data, unsigned short *event)
{
    bool good = data->putAndInsertString(DCM_TransactionUID, verified->transaction).good();
    *event = 1;
    for (int i = 0; good && i < verified->count; i++) {
        const sl_dicom_claim *claim = &verified->claim[i];
        DcmItem *row = nullptr;
        const DcmTagKey list = claim->failure ? DCM_FailedSOPSequence : DCM_ReferencedSOPSequence;
        good = data->findOrCreateSequenceItem(list, row, -2).good() && row->putAndInsertString(DCM_ReferencedSOPClassUID, claim->class_uid).good() &&
               row->putAndInsertString(DCM_ReferencedSOPInstanceUID, claim->uid).good();
        if (claim->failure) {
            good = good && row->putAndInsertUint16(DCM_FailureReason, static_cast<Uint16>(claim->failure)).good();
            *event = 2;
        }
    }
    return good;
}

extern "C" sl_status sl_dicom_commit_report(const sl_dicom_callee *callee, const sl_dicom_commit *verified, sl_error *error)
{
    OFLog::configure(OFLogger::OFF_LOG_LEVEL);
    std::unique_ptr<DcmTLSTransportLayer> layer; /* lives longer than the caller that uses it */
    if (callee->tls) {
        layer.reset(sl_dicom_tls_layer(callee->tls, false, error));
        if (!layer)
            return SL_IO;
    }
    Caller caller;
    DcmDataset data;
    unsigned short event = 0;
    if (!sl_dicom_commit_answer(verified, &data, &event))
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    OFList<OFString> plain;
    plain.push_back(UID_LittleEndianExplicitTransferSyntax);
    plain.push_back(UID_LittleEndianImplicitTransferSyntax);
    dcmConnectionTimeout.set(callee->wait_s);
    caller.setAETitle(callee->own);
    caller.setPeerAETitle(callee->title);
    caller.setPeerHostName(callee->host);
    caller.setPeerPort(static_cast<Uint16>(callee->port));
    caller.setACSETimeout(static_cast<Uint32>(callee->wait_s));
    caller.setDIMSETimeout(static_cast<Uint32>(callee->wait_s));
    caller.setDIMSEBlockingMode(DIMSE_NONBLOCKING);
    OFCondition result = caller.addPresentationContext(UID_StorageCommitmentPushModelSOPClass, plain, ASC_SC_ROLE_SCP);
    if (result.good())
        result = caller.initNetwork();
    if (result.good() && layer)
        result = caller.secure(layer.get());
    if (result.good())
        result = caller.negotiateAssociation();
    if (result.bad())
        return fail(callee, "it does not answer", error);
    T_ASC_PresentationContextID id = caller.findPresentationContextID(UID_StorageCommitmentPushModelSOPClass, "", ASC_SC_ROLE_SCP);
    Uint16 status = 0;
    if (!id) {
        caller.releaseAssociation();
        return fail(callee, "it does not take answers to such requests", error);
    }
    result = caller.sendEVENTREPORTRequest(id, UID_StorageCommitmentPushModelSOPInstance, event, &data, status);
    if (result.bad()) {
        caller.abortAssociation();
        return fail(callee, "the association broke off", error);
    }
    caller.releaseAssociation();
    return status ? fail(callee, "it did not accept the answer", error) : SL_OK;
}
