#include <dcmtk/config/osconfig.h>

#include "dicom/ask.h"
#include "dicom/incoming.h"
#include "dicom/line.h"
#include "dicom/syntaxes.h"

#include <cstring>
#include <dcmtk/dcmdata/dcostrmf.h>
#include <unistd.h>

namespace
{

const std::vector<std::string> plain = {UID_LittleEndianExplicitTransferSyntax, UID_LittleEndianImplicitTransferSyntax};
const unsigned long long over_limit = 4; /* times the largest object allowed: read and dropped up to there, then cut off */
const unsigned long long slack = 1 << 20;
const size_t most_contexts = 128;

DcmDataset *identifier(const sl_dicom_wanted *wanted)
{
    static const char *const levels[] = {"STUDY", "SERIES", "IMAGE"};
    DcmDataset *data = new DcmDataset;
    data->putAndInsertString(DCM_QueryRetrieveLevel, levels[wanted->level]);
    data->putAndInsertString(DCM_StudyInstanceUID, wanted->study_uid);
    if (wanted->level >= SL_LEVEL_SERIES)
        data->putAndInsertString(DCM_SeriesInstanceUID, wanted->series_uid);
    std::string list;
    for (int i = 0; wanted->level == SL_LEVEL_IMAGE && i < wanted->uids; i++)
        list += (i ? "\\" : "") + std::string(wanted->uid[i]);
    if (wanted->level == SL_LEVEL_IMAGE)
        data->putAndInsertString(DCM_SOPInstanceUID, list.c_str());
    return data;
}

/* A context for each class in each syntax, so that objects come as they are kept; where that is more than an association may
 * name (128, PS3.8 9.3.2.2), one for each of the rarer classes. */
std::vector<sl_line_context> contexts(const sl_dicom_wanted *wanted)
{
    std::vector<sl_line_context> list = {{UID_GETStudyRootQueryRetrieveInformationModel, plain, false}};
    std::vector<std::string> classes, syntaxes;
    if (wanted->class_uid)
        classes.assign(wanted->class_uid, wanted->class_uid + wanted->classes);
    else
        for (const char *const *at = sl_dicom_classes; *at; at++)
            classes.push_back(*at);
    for (const char *const *at = sl_dicom_syntaxes; *at; at++)
        syntaxes.push_back(*at);
    size_t each = classes.size(); /* the first ones are those of ultrasound */
    while (each && each * syntaxes.size() + classes.size() - each > most_contexts - list.size())
        each--;
    for (size_t i = 0; i < classes.size(); i++)
        if (i < each)
            for (const std::string &syntax : syntaxes)
                list.push_back({classes[i], {syntax}, true});
        else
            list.push_back({classes[i], syntaxes, true});
    return list;
}

/* Takes one object of a C-GET; its sender is told only what `host` says of it. */
OFCondition take(sl_line &line, const sl_incoming_unknown &unknown, T_ASC_PresentationContextID id, T_DIMSE_C_StoreRQ *request,
                 const sl_dicom_host *host, const char *from, sl_dicom_taken *taken)
{
    char part[4096];
    unsigned status = request->DataSetType == DIMSE_DATASET_NULL ? static_cast<unsigned>(SL_STORE_NOT_UNDERSTOOD)
                                                                 : host->begin(host->context, part, sizeof part);
    const bool room = status == SL_STORE_DONE;
    T_ASC_PresentationContext context;
    OFCondition result = ASC_findAcceptedPresentationContext(line.association()->params, id, &context);
    if (result.bad())
        return result;
    if (request->DataSetType != DIMSE_DATASET_NULL) {
        struct progress_data {
            unsigned long count;
            static void watch(void *own, unsigned long bytes) { static_cast<progress_data *>(own)->count = bytes; }
        } progress = {0};
        line.limits().restart(host->most_bytes ? over_limit * host->most_bytes + slack : ~0ULL);
        DcmOutputFileStream *stream = nullptr;
        T_ASC_PresentationContextID on = 0;
        std::unique_ptr<sl_drain> drain(room ? new sl_drain(part, host->most_bytes, unknown.of(id)) : nullptr);
        const bool ready = drain && drain->ready();
        result = DIMSE_createFilestream(ready ? drain->path().c_str() : "/dev/null", request, line.association(), id, 1, &stream);
        if (result.good())
            result = DIMSE_receiveDataSetInFile(line.association(), DIMSE_NONBLOCKING, line.silence(), &on, stream, progress_data::watch,
                                                &progress);
        delete stream;
        const bool good = drain && drain->finish();
        if (result.good() && on != id)
            result = DIMSE_BADMESSAGE;
        if (room && (result.bad() || !good || !sl_incoming_is_whole(part, progress.count))) {
            unlink(part);
            status = SL_STORE_NO_ROOM;
        } else if (room) {
            sl_dicom_arrived arrived;
            status = sl_incoming_examine(*request, part, *unknown.of(id) ? unknown.of(id) : context.acceptedTransferSyntax, &arrived);
            snprintf(arrived.from, sizeof arrived.from, "%s", from);
            if (status == SL_STORE_DONE)
                status = host->finish(host->context, &arrived);
            else
                unlink(part);
        }
    }
    if (result.bad())
        return result;
    (status == SL_STORE_DONE ? taken->kept : taken->refused)++;
    T_DIMSE_C_StoreRSP response = {};
    response.MessageIDBeingRespondedTo = request->MessageID;
    response.DimseStatus = static_cast<DIC_US>(status);
    response.DataSetType = DIMSE_DATASET_NULL;
    OFStandard::strlcpy(response.AffectedSOPClassUID, request->AffectedSOPClassUID, sizeof response.AffectedSOPClassUID);
    OFStandard::strlcpy(response.AffectedSOPInstanceUID, request->AffectedSOPInstanceUID, sizeof response.AffectedSOPInstanceUID);
    response.opts = O_STORE_AFFECTEDSOPCLASSUID | O_STORE_AFFECTEDSOPINSTANCEUID;
    return DIMSE_sendStoreResponse(line.association(), id, request, &response, nullptr);
}

const unsigned warning = 0xB000; /* some sub-operations failed: the counts say how many (PS3.4 C.4.2.1.5, C.4.3.1.4) */

} /* namespace */

extern "C" sl_status sl_dicom_get(const sl_dicom_peer *peer, const sl_dicom_wanted *wanted, const sl_dicom_host *host,
                                  sl_dicom_taken *taken, sl_error *error)
{
    const char *model = UID_GETStudyRootQueryRetrieveInformationModel;
    *taken = {};
    sl_line line(peer, ASC_MAXIMUMPDUSIZE);
    line.limits().moves = true;
    sl_status status = line.open(contexts(wanted), error);
    if (status)
        return status;
    sl_incoming_unknown unknown;
    unknown.stand_in(line.association()->params);
    const T_ASC_PresentationContextID id = line.offered(model);
    if (!id) {
        line.close();
        return sl_fail(error, SL_UNSUPPORTED, "%s does not offer to be fetched from (C-GET).", line.who().c_str());
    }
    T_DIMSE_Message message = {};
    message.CommandField = DIMSE_C_GET_RQ;
    message.msg.CGetRQ.MessageID = 1;
    OFStandard::strlcpy(message.msg.CGetRQ.AffectedSOPClassUID, model, sizeof message.msg.CGetRQ.AffectedSOPClassUID);
    message.msg.CGetRQ.Priority = DIMSE_PRIORITY_MEDIUM;
    message.msg.CGetRQ.DataSetType = DIMSE_DATASET_PRESENT;
    std::unique_ptr<DcmDataset> data(identifier(wanted));
    OFCondition result = line.send(id, &message, data.get());
    while (result.good()) {
        T_DIMSE_Message answer = {};
        T_ASC_PresentationContextID on = 0;
        result = line.receive(&on, &answer);
        if (result.bad())
            break;
        if (answer.CommandField == DIMSE_C_STORE_RQ) {
            result = take(line, unknown, on, &answer.msg.CStoreRQ, host, peer->title, taken);
            continue;
        }
        if (answer.CommandField != DIMSE_C_GET_RSP || on != id)
            return line.broken(DIMSE_BADMESSAGE, error);
        const T_DIMSE_C_GetRSP &said = answer.msg.CGetRSP;
        std::unique_ptr<DcmDataset> detail;
        if (said.DataSetType != DIMSE_DATASET_NULL)
            result = line.receive(id, &detail);
        if (result.bad())
            break;
        if (said.opts & O_GET_NUMBEROFFAILEDSUBOPERATIONS)
            taken->failed = said.NumberOfFailedSubOperations;
        if (DICOM_PENDING_STATUS(said.DimseStatus))
            continue;
        line.close();
        return said.DimseStatus == STATUS_Success || said.DimseStatus == warning ? SL_OK
                                                                                 : sl_line_said(line, said.DimseStatus, "C-GET", error);
    }
    return line.broken(result, error);
}

extern "C" sl_status sl_dicom_move(const sl_dicom_peer *peer, const sl_dicom_wanted *wanted, const char *destination, sl_dicom_taken *taken,
                                   sl_error *error)
{
    const char *model = UID_MOVEStudyRootQueryRetrieveInformationModel;
    *taken = {};
    sl_line line(peer, ASC_DEFAULTMAXPDU);
    line.limits().moves = true; /* each answer is a word that it goes on */
    sl_status status = line.open({{model, plain, false}}, error);
    if (status)
        return status;
    const T_ASC_PresentationContextID id = line.offered(model);
    if (!id) {
        line.close();
        return sl_fail(error, SL_UNSUPPORTED, "%s does not offer to send elsewhere (C-MOVE).", line.who().c_str());
    }
    T_DIMSE_Message message = {};
    message.CommandField = DIMSE_C_MOVE_RQ;
    message.msg.CMoveRQ.MessageID = 1;
    OFStandard::strlcpy(message.msg.CMoveRQ.AffectedSOPClassUID, model, sizeof message.msg.CMoveRQ.AffectedSOPClassUID);
    OFStandard::strlcpy(message.msg.CMoveRQ.MoveDestination, destination, sizeof message.msg.CMoveRQ.MoveDestination);
    message.msg.CMoveRQ.Priority = DIMSE_PRIORITY_MEDIUM;
    message.msg.CMoveRQ.DataSetType = DIMSE_DATASET_PRESENT;
    std::unique_ptr<DcmDataset> data(identifier(wanted));
    OFCondition result = line.send(id, &message, data.get());
    while (result.good()) {
        T_DIMSE_Message answer = {};
        T_ASC_PresentationContextID on = 0;
        result = line.receive(&on, &answer);
        if (result.bad())
            break;
        if (answer.CommandField != DIMSE_C_MOVE_RSP || on != id)
            return line.broken(DIMSE_BADMESSAGE, error);
        const T_DIMSE_C_MoveRSP &said = answer.msg.CMoveRSP;
        std::unique_ptr<DcmDataset> detail;
        if (said.DataSetType != DIMSE_DATASET_NULL)
            result = line.receive(id, &detail);
        if (result.bad())
            break;
        if (said.opts & O_MOVE_NUMBEROFCOMPLETEDSUBOPERATIONS)
            taken->kept = said.NumberOfCompletedSubOperations;
        if (said.opts & O_MOVE_NUMBEROFFAILEDSUBOPERATIONS)
            taken->failed = said.NumberOfFailedSubOperations;
        if (DICOM_PENDING_STATUS(said.DimseStatus))
            continue;
        line.close();
        return said.DimseStatus == STATUS_Success || said.DimseStatus == warning ? SL_OK
                                                                                 : sl_line_said(line, said.DimseStatus, "C-MOVE", error);
    }
    return line.broken(result, error);
}
