#include <dcmtk/config/osconfig.h>

#include "dicom/association.h"
#include "dicom/syntaxes.h"

#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmnet/dul.h>
#include <dcmtk/dcmnet/scp.h>
#include <dcmtk/dcmtls/tlslayer.h>

#include <cstring>
#include <fcntl.h>
#include <list>
#include <memory>
#include <string>
#include <sys/socket.h>
#include <sys/stat.h>
#include <thread>
#include <unistd.h>
#include <vector>

namespace
{

/* Takes what the toolkit writes through a pipe to the disk. The toolkit cannot go on after a failed write; this reads to the end
 * whatever happens, so that the sender can be told. */
class Drain
{
public:
    Drain(const char *path, unsigned long long limit) : most(limit)
    {
        file = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
        if (file < 0 || pipe(ends))
            good = false;
        else
            worker = std::thread([this] { run(); });
    }
    ~Drain() { finish(); }
    bool ready() const { return worker.joinable(); }
    std::string path() const { return "/proc/self/fd/" + std::to_string(ends[1]); }

    /* After the toolkit has closed its side: did everything go to the file? */
    bool finish()
    {
        if (ends[1] >= 0)
            close(ends[1]);
        ends[1] = -1;
        if (worker.joinable())
            worker.join();
        if (ends[0] >= 0)
            close(ends[0]);
        ends[0] = -1;
        if (file >= 0 && close(file))
            good = false;
        file = -1;
        return good;
    }

private:
    int file = -1, ends[2] = {-1, -1};
    bool good = true;
    unsigned long long came = 0, most;
    std::thread worker;

    void run()
    {
        std::vector<char> block(1 << 16);
        for (ssize_t got; (got = read(ends[0], block.data(), block.size())) > 0;) {
            came += static_cast<unsigned long long>(got);
            good = good && (!most || came <= most);
            for (ssize_t at = 0; good && at < got;) {
                ssize_t put = write(file, block.data() + at, static_cast<size_t>(got - at));
                good = put > 0;
                at += put;
            }
        }
    }
};

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
    }
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

    /* Preamble, "DICM" and group length of the file header, the header, the data set (PS3.10 7.1): is every byte there? */
    bool is_whole(const char *part) const
    {
        struct stat facts;
        uint8_t head[144];
        int file = open(part, O_RDONLY | O_CLOEXEC);
        bool good = file >= 0 && read(file, head, sizeof head) == static_cast<ssize_t>(sizeof head) && !fstat(file, &facts);
        if (file >= 0)
            close(file);
        unsigned long length = head[140] | head[141] << 8 | head[142] << 16 | static_cast<unsigned long>(head[143]) << 24;
        return good && static_cast<unsigned long>(facts.st_size) == sizeof head + length + received;
    }

    static void copy(DcmItem *item, const DcmTagKey &tag, char *to, size_t room)
    {
        OFString value;
        if (item->findAndGetOFString(tag, value).good())
            snprintf(to, room, "%s", value.c_str());
    }

    /* Does the file hold what the command promised? */
    unsigned examine(const T_DIMSE_C_StoreRQ &request, const char *part, const DcmPresentationContextInfo &context,
                     sl_dicom_arrived *arrived)
    {
        DcmFileFormat format;
        DcmTagKey behind(0x0020, 0x000e); /* just behind the study */
        if (format.loadFileUntilTag(part, EXS_Unknown, EGL_noChange, 4096, ERM_autoDetect, behind).bad())
            return SL_STORE_NOT_UNDERSTOOD;
        DcmItem *item = format.getDataset();
        *arrived = {};
        arrived->part = part;
        copy(item, DCM_StudyInstanceUID, arrived->study_uid, sizeof arrived->study_uid);
        copy(item, DCM_SOPClassUID, arrived->class_uid, sizeof arrived->class_uid);
        copy(item, DCM_SOPInstanceUID, arrived->uid, sizeof arrived->uid);
        snprintf(arrived->syntax, sizeof arrived->syntax, "%s", context.acceptedTransferSyntax.c_str());
        snprintf(arrived->from, sizeof arrived->from, "%s", getPeerAETitle().c_str());
        bool same = !strcmp(arrived->uid, request.AffectedSOPInstanceUID) &&
                    !strcmp(arrived->class_uid, request.AffectedSOPClassUID);
        return same && *arrived->study_uid ? SL_STORE_DONE : SL_STORE_MISMATCH;
    }

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
        Drain drain(part, host->most_bytes);
        OFCondition result = receiveSTORERequest(request, id, drain.ready() ? drain.path().c_str() : "/dev/null");
        bool good = drain.finish(), whole = result.good() && good && is_whole(part);
        if (!whole) {
            unlink(part);
            /* The disk filled up or the object is larger than allowed: the sender is told, the association goes on. */
            return result.good() ? sendSTOREResponse(id, request, SL_STORE_NO_ROOM) : result;
        }
        sl_dicom_arrived arrived;
        status = examine(request, part, context, &arrived);
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
