#include <dcmtk/config/osconfig.h>

#include "dicom/association.h"
#include "dicom/incoming.h"
#include "dicom/syntaxes.h"

#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmnet/dul.h>
#include <dcmtk/dcmnet/scp.h>
#include <dcmtk/dcmtls/tlslayer.h>

#include <cstring>
#include <list>
#include <memory>
#include <sys/socket.h>
#include <unistd.h>
#include <vector>

namespace
{

class Host : public DcmSCP
{
public:
    Host(const sl_dicom_host *own, int connection) : host(own), wire(connection) {}
    bool served = false;

protected:
    OFCondition handleIncomingCommand(T_DIMSE_Message *message, const DcmPresentationContextInfo &context) override
    {
        switch (message->CommandField) {
        case DIMSE_C_STORE_RQ:
            return store(message->msg.CStoreRQ, context);
        case DIMSE_N_ACTION_RQ:
            if (host->committer && context.abstractSyntax == UID_StorageCommitmentPushModelSOPClass)
                return commit(message->msg.NActionRQ, context.presentationContextID);
            break;
        case DIMSE_N_EVENT_REPORT_RSP:
            return heard(message->msg.NEventReportRSP, context.presentationContextID);
        default:
            break;
        }
        return DcmSCP::handleIncomingCommand(message, context); /* C-ECHO; all else is refused */
    }
    OFBool checkCalledAETitleAccepted(const OFString &called) override { return called == host->title; }
    OFBool checkCallingAETitleAccepted(const OFString &calling) override
    {
        for (int i = 0; i < host->from_count; i++)
            if (calling == host->from[i])
                return OFTrue;
        return host->from_count == 0;
    }
    void notifyAssociationAcknowledge() override
    {
        alarm(0); /* it speaks: from here on the idle time rules */
        served = true;
        if (parameters)
            unknown.stand_in(parameters);
    }
    void notifyAssociationRequest(const T_ASC_Parameters &asked, DcmSCPActionType &) override { parameters = const_cast<T_ASC_Parameters *>(&asked); }
    void notifyRECEIVEProgress(const unsigned long count) override
    {
        received = count;
        if (in_memory && count > MOST_IN_MEMORY)
            shutdown(wire, SHUT_RDWR); /* nobody means this well */
    }
    OFBool stopAfterCurrentAssociation() override { return OFTrue; }
    OFBool stopAfterConnectionTimeout() override { return OFTrue; }

private:
    enum : unsigned long { MOST_IN_MEMORY = 32ul << 20, MOST_REPORTS = 64 };
    struct Report {
        Uint16 message;
        sl_dicom_commit answer;
        std::vector<sl_dicom_claim> claims;
    };
    const sl_dicom_host *host;
    int wire;
    bool in_memory = false;     /* the data set on its way */
    unsigned long received = 0; /* bytes of it */
    std::list<Report> reports;  /* given on this association, not answered yet */
    T_ASC_Parameters *parameters = nullptr; /* of the association */
    sl_incoming_unknown unknown;

    /* Where there is no room the object is read and dropped, so that the sender hears why. */
    OFCondition refuse(T_DIMSE_C_StoreRQ &request, Uint8 id, unsigned status)
    {
        OFCondition result = receiveSTORERequest(request, id, "/dev/null");
        if (result.bad())
            return result;
        return sendSTOREResponse(id, request, static_cast<Uint16>(status));
    }

    OFCondition store(T_DIMSE_C_StoreRQ &request, const DcmPresentationContextInfo &context)
    {
        char part[4096];
        Uint8 id = context.presentationContextID;
        unsigned status = host->begin(host->context, part, sizeof part);
        if (status != SL_STORE_DONE)
            return refuse(request, id, status);
        received = 0;
        sl_drain drain(part, host->most_bytes, unknown.of(id));
        OFCondition result = receiveSTORERequest(request, id, drain.ready() ? drain.path().c_str() : "/dev/null");
        bool good = drain.finish(), whole = result.good() && good && sl_incoming_is_whole(part, received);
        if (!whole) {
            unlink(part);
            /* The disk filled up or the object is larger than allowed: the sender is told, the association goes on. */
            return result.good() ? sendSTOREResponse(id, request, SL_STORE_NO_ROOM) : result;
        }
        sl_dicom_arrived arrived;
        status = sl_incoming_examine(request, part, *unknown.of(id) ? unknown.of(id) : context.acceptedTransferSyntax.c_str(), &arrived);
        snprintf(arrived.from, sizeof arrived.from, "%s", getPeerAETitle().c_str());
        if (status == SL_STORE_DONE)
            status = host->finish(host->context, &arrived);
        else
            unlink(part);
        return sendSTOREResponse(id, request, static_cast<Uint16>(status));
    }

    OFCondition commit(T_DIMSE_N_ActionRQ &request, Uint8 id)
    {
        DcmDataset *data = nullptr;
        Uint16 action = 0;
        Report report = {};
        in_memory = true;
        OFCondition result = receiveACTIONRequest(request, id, data, action);
        in_memory = false;
        std::unique_ptr<DcmDataset> owned(data);
        if (result.bad())
            return result;
        snprintf(report.answer.from, sizeof report.answer.from, "%s", getPeerAETitle().c_str());
        unsigned status = SL_ASK_TAKEN;
        if (strcmp(request.RequestedSOPInstanceUID, UID_StorageCommitmentPushModelSOPInstance))
            status = SL_ASK_NO_SUCH_INSTANCE;
        else if (action != 1)
            status = SL_ASK_NO_SUCH_ACTION;
        else if (reports.size() >= MOST_REPORTS)
            status = SL_ASK_NO_ROOM;
        else
            status = sl_dicom_commit_asked(data, &report.claims, &report.answer);
        if (status == SL_ASK_TAKEN)
            status = host->committer->promise(host->committer->context, &report.answer);
        result = sendACTIONResponse(id, request.MessageID, request.RequestedSOPClassUID, request.RequestedSOPInstanceUID, static_cast<Uint16>(status));
        if (result.bad() || status != SL_ASK_TAKEN || host->committer->calls(host->committer->context, report.answer.from))
            return result;
        host->committer->verify(host->committer->context, &report.answer);
        return tell(std::move(report), id);
    }

    /* The sender may have other things to say before it answers: nothing waits here. */
    OFCondition tell(Report &&report, Uint8 id)
    {
        DcmDataset data;
        T_DIMSE_Message message = {};
        T_DIMSE_N_EventReportRQ &event = message.msg.NEventReportRQ;
        unsigned short type = 0;
        if (!sl_dicom_commit_answer(&report.answer, &data, &type))
            return EC_MemoryExhausted;
        message.CommandField = DIMSE_N_EVENT_REPORT_RQ;
        event.MessageID = report.message = nextMessageID();
        OFStandard::strlcpy(event.AffectedSOPClassUID, UID_StorageCommitmentPushModelSOPClass, sizeof event.AffectedSOPClassUID);
        OFStandard::strlcpy(event.AffectedSOPInstanceUID, UID_StorageCommitmentPushModelSOPInstance, sizeof event.AffectedSOPInstanceUID);
        event.DataSetType = DIMSE_DATASET_PRESENT;
        event.EventTypeID = type;
        reports.push_back(std::move(report));
        return sendDIMSEMessage(id, &message, &data);
    }

    OFCondition heard(const T_DIMSE_N_EventReportRSP &answer, Uint8 id)
    {
        if (answer.DataSetType != DIMSE_DATASET_NULL) {
            DcmDataset *data = nullptr;
            T_ASC_PresentationContextID same = id;
            in_memory = true;
            OFCondition result = receiveDIMSEDataset(&same, &data);
            in_memory = false;
            delete data;
            if (result.bad())
                return result;
        }
        for (auto at = reports.begin(); at != reports.end(); ++at)
            if (at->message == answer.MessageIDBeingRespondedTo) {
                if (answer.DimseStatus == STATUS_Success)
                    host->committer->heard(host->committer->context, &at->answer);
                reports.erase(at);
                break;
            }
        return EC_Normal;
    }

    Uint16 nextMessageID() { return messages = static_cast<Uint16>(messages % 0xffff + 1); }
    Uint16 messages = 0;
};

} /* namespace */

extern "C" sl_status sl_dicom_serve_association(int socket, const sl_dicom_host *own, sl_error *error)
{
    OFLog::configure(OFLogger::OFF_LOG_LEVEL);
    Host host(own, socket);
    dcmExternalSocketHandle.set(socket);
    host.setPort(0);
    host.setAETitle(own->title);
    host.setMaxReceivePDULength(ASC_MAXIMUMPDUSIZE);
    host.setConnectionBlockingMode(DUL_BLOCK);
    host.setDIMSEBlockingMode(DIMSE_NONBLOCKING);
    host.setDIMSETimeout(static_cast<Uint32>(own->idle_s));
    host.setACSETimeout(static_cast<Uint32>(own->idle_s));
    host.setRespondWithCalledAETitle(OFFalse);
    host.setHostLookupEnabled(OFFalse);
    OFList<OFString> syntaxes, plain;
    for (const char *const *at = sl_dicom_syntaxes; *at; at++)
        syntaxes.push_back(*at);
    plain.push_back(UID_LittleEndianExplicitTransferSyntax);
    plain.push_back(UID_LittleEndianImplicitTransferSyntax);
    host.addPresentationContext(UID_VerificationSOPClass, plain);
    if (own->committer)
        host.addPresentationContext(UID_StorageCommitmentPushModelSOPClass, plain);
    for (const char *const *at = sl_dicom_classes; *at; at++)
        host.addPresentationContext(*at, syntaxes);
    std::unique_ptr<DcmTLSTransportLayer> layer; /* lives longer than the network that uses it */
    if (own->tls) {
        layer.reset(sl_dicom_tls_layer(own->tls, true, error));
        if (!layer)
            return error ? error->status : SL_FORMAT;
        host.getConfig().setTransportLayer(layer.get());
    }
    OFCondition result = host.listen();
    if (host.served || result.good() || result == NET_EC_StopAfterAssociation)
        return SL_OK;
    return sl_fail(error, SL_FORMAT, "A connection was no DICOM association: %s.", result.text());
}
