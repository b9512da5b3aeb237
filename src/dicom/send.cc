#include <dcmtk/config/osconfig.h>

#include "dicom/load.h"
#include "dicom/recode.h"
#include "dicom/send.h"

extern "C" {
#include "core/text.h"
#include "core/utf8.h"
}

#include <cstring>
#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmnet/diutil.h>
#include <map>
#include <string>
#include <unistd.h>
#include <utility>
#include <vector>

namespace
{

const char *const PLAIN[] = {UID_LittleEndianExplicitTransferSyntax, UID_LittleEndianImplicitTransferSyntax};

struct Proposal {
    T_ASC_PresentationContextID own = 0, plain = 0;
};
using Proposals = std::map<std::pair<std::string, std::string>, Proposal>; /* by class and syntax */

bool is_plain(const char *syntax)
{
    return !strcmp(syntax, PLAIN[0]) || !strcmp(syntax, PLAIN[1]);
}

/* The toolkit sends only what it knows; HTJ2K goes uncompressed. */
bool is_known(const char *syntax)
{
    return DcmXfer(syntax).getXfer() != EXS_Unknown;
}

/* Proposes each class with the objects' own syntaxes, one context each so that the other side cannot choose between them, and with
 * the uncompressed ones. Returns how many objects have their contexts. */
int propose(sl_dicom_call &call, const sl_dicom_outgoing *object, int count, Proposals &proposals)
{
    std::map<std::string, T_ASC_PresentationContextID> plain;
    int at = 0;
    for (; at < count; at++) {
        const auto key = std::make_pair(std::string(object[at].class_uid), std::string(object[at].syntax));
        if (proposals.count(key))
            continue;
        Proposal proposal;
        if (!is_plain(object[at].syntax) && is_known(object[at].syntax)) {
            proposal.own = call.propose(object[at].class_uid, &object[at].syntax, 1);
            if (!proposal.own)
                break;
        }
        if (!plain.count(key.first)) {
            plain[key.first] = call.propose(object[at].class_uid, PLAIN, 2);
            if (!plain[key.first])
                break;
        }
        proposal.plain = plain[key.first];
        proposals[key] = proposal;
    }
    return at;
}

const char *name_of(const char *syntax)
{
    return DcmXfer(syntax).getXferName();
}

class Sender
{
public:
    Sender(sl_dicom_call &call, const sl_dicom_peer *peer, const char *scratch) : call(call), peer(peer), scratch(scratch) {}

    void send(const sl_dicom_outgoing &object, const Proposal &proposal, sl_dicom_reply *reply)
    {
        *reply = {};
        T_ASC_PresentationContextID id = choose(object, proposal, reply);
        if (!id)
            return;
        DcmFileFormat format;
        char why[160];
        if (sl_dicom_load(format, object.path).bad())
            return end(reply, SL_END_NO_FILE, "its file cannot be read");
        const bool coded = DcmXfer(format.getDataset()->getOriginalXfer()).isEncapsulated();
        if (coded && strcmp(reply->syntax, object.syntax)) {
            if (!sl_dicom_uncompress(object.path, scratch, why, sizeof why))
                return end(reply, SL_END_NO_FILE, (std::string(is_known(object.syntax) ? "it is not taken as it is coded, and " : "it cannot be sent by C-STORE as it is coded, and ") + why).c_str());
            const bool loaded = format.loadFile(scratch).good();
            if (loaded)
                store(object, id, format.getDataset(), reply);
            else
                end(reply, SL_END_NO_FILE, "it could not be read back uncompressed");
            format.clear();
            unlink(scratch);
            return;
        }
        store(object, id, format.getDataset(), reply);
    }

private:
    sl_dicom_call &call;
    const sl_dicom_peer *peer;
    const char *scratch;

    static void end(sl_dicom_reply *reply, sl_dicom_end how, const char *words)
    {
        reply->end = how;
        snprintf(reply->words, sizeof reply->words, "%s", words);
    }

    /* The context for it, and the syntax that was agreed there; 0 with the reason. */
    T_ASC_PresentationContextID choose(const sl_dicom_outgoing &object, const Proposal &proposal, sl_dicom_reply *reply)
    {
        for (T_ASC_PresentationContextID id : {proposal.own, proposal.plain}) {
            const char *syntax = id ? call.accepted(id) : "";
            if (!*syntax)
                continue;
            snprintf(reply->syntax, sizeof reply->syntax, "%s", syntax);
            return id;
        }
        std::string words = std::string("it takes no objects of the class ") + dcmFindNameOfUID(object.class_uid, object.class_uid);
        if (proposal.own)
            words += std::string(", neither as ") + name_of(object.syntax) + " nor uncompressed";
        end(reply, SL_END_NOT_TAKEN, words.c_str());
        return 0;
    }

    void store(const sl_dicom_outgoing &object, T_ASC_PresentationContextID id, DcmDataset *item, sl_dicom_reply *reply)
    {
        T_ASC_Association *line = call.association();
        T_DIMSE_C_StoreRQ request = {};
        T_DIMSE_C_StoreRSP response = {};
        request.MessageID = line->nextMsgID++;
        snprintf(request.AffectedSOPClassUID, sizeof request.AffectedSOPClassUID, "%s", object.class_uid);
        snprintf(request.AffectedSOPInstanceUID, sizeof request.AffectedSOPInstanceUID, "%s", object.uid);
        request.DataSetType = DIMSE_DATASET_PRESENT;
        request.Priority = DIMSE_PRIORITY_MEDIUM;
        DcmDataset *detail = nullptr;
        OFCondition result = DIMSE_storeUser(line, id, &request, nullptr, item, nullptr, nullptr, DIMSE_NONBLOCKING, peer->answer_s, &response, &detail);
        OFString comment;
        if (detail)
            detail->findAndGetOFString(DCM_ErrorComment, comment);
        if (result.bad())
            end(reply, SL_END_BROKEN, result == DIMSE_NODATAAVAILABLE ? "it did not answer in time" : "the connection broke off");
        else
            answered(response.DimseStatus, comment.c_str(), reply);
        delete detail;
    }

    static void answered(unsigned status, const char *comment, sl_dicom_reply *reply)
    {
        sl_arena arena = {};
        const char *valid = sl_utf8_valid(&arena, comment);
        reply->status = status;
        end(reply, SL_END_ANSWERED, valid ? valid : "");
        sl_arena_free(&arena);
    }
};

} /* namespace */

extern "C" sl_dicom_hearing sl_dicom_send(const sl_dicom_peer *peer, const sl_dicom_outgoing *object, int count, const char *scratch, sl_dicom_told told, void *context,
                                         sl_error *error)
{
    for (int first = 0; first < count;) {
        sl_dicom_call call(peer);
        Proposals proposals;
        const int some = propose(call, object + first, count - first, proposals);
        const sl_dicom_hearing heard = call.dial(error);
        if (heard != SL_HEARD)
            return heard;
        if (!some) {
            sl_fail(error, SL_FORMAT, "No object could be proposed to %s.", peer->title);
            return SL_NOT_HEARD;
        }
        Sender sender(call, peer, scratch);
        for (int i = first; i < first + some; i++) {
            sl_dicom_reply reply;
            sender.send(object[i], proposals[{object[i].class_uid, object[i].syntax}], &reply);
            const bool go_on = told(context, i, &reply);
            if (reply.end == SL_END_BROKEN) {
                sl_fail(error, SL_IO, "%s: %s.", peer->title, reply.words);
                return SL_NOT_HEARD;
            }
            if (!go_on) {
                call.hang_up(true);
                return SL_HEARD;
            }
        }
        call.hang_up(true);
        first += some;
    }
    return SL_HEARD;
}

extern "C" bool sl_dicom_uncompress(const char *path, const char *to, char *why, size_t room)
{
    sl_error error = {};
    unlink(to); /* of a run that ended within */
    switch (sl_dicom_recode(path, to, &error)) {
    case SL_OK:
        return true;
    case SL_UNSUPPORTED:
        snprintf(why, room, "video is not taken apart");
        break;
    case SL_LIMIT:
        snprintf(why, room, "it would be over 4 GB uncompressed");
        break;
    default:
        snprintf(why, room, "uncompressing it failed: %.120s", error.text);
    }
    unlink(to);
    return false;
}
