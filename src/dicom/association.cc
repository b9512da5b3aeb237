#include <dcmtk/config/osconfig.h>

#include "dicom/association.h"
#include "dicom/syntaxes.h"

#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmnet/dul.h>
#include <dcmtk/dcmnet/scp.h>
#include <dcmtk/dcmtls/tlslayer.h>

#include <cstring>
#include <fcntl.h>
#include <memory>
#include <string>
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
    explicit Host(const sl_dicom_host *own) : host(own) {}
    bool served = false;

protected:
    OFCondition handleIncomingCommand(T_DIMSE_Message *message, const DcmPresentationContextInfo &context) override
    {
        if (message->CommandField != DIMSE_C_STORE_RQ)
            return DcmSCP::handleIncomingCommand(message, context); /* C-ECHO; all else is refused */
        return store(message->msg.CStoreRQ, context);
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
    void notifyRECEIVEProgress(const unsigned long count) override { received = count; }
    OFBool stopAfterCurrentAssociation() override { return OFTrue; }
    OFBool stopAfterConnectionTimeout() override { return OFTrue; }

private:
    const sl_dicom_host *host;
    unsigned long received = 0; /* bytes of the data set on its way */

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
};

} /* namespace */

extern "C" sl_status sl_dicom_serve_association(int socket, const sl_dicom_host *own, sl_error *error)
{
    OFLog::configure(OFLogger::OFF_LOG_LEVEL);
    Host host(own);
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
