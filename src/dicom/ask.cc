#include <dcmtk/config/osconfig.h>

#include "dicom/ask.h"
#include "dicom/line.h"
#include "dicom/value.h"

#include <cstdlib>
#include <cstring>

namespace
{

const unsigned query_pdu = 16384; /* small, so that no more than one comes on top of a limit */
const std::vector<std::string> plain = {UID_LittleEndianExplicitTransferSyntax, UID_LittleEndianImplicitTransferSyntax};

void put(DcmItem *item, const DcmTagKey &tag, const char *value)
{
    item->putAndInsertString(tag, value ? value : "");
}

/* Values beyond ASCII are told in UTF-8. */
void put_set(DcmDataset *data, std::initializer_list<const char *> values)
{
    for (const char *value : values)
        for (const char *at = value ? value : ""; *at; at++)
            if (static_cast<unsigned char>(*at) > 127) {
                data->putAndInsertString(DCM_SpecificCharacterSet, "ISO_IR 192");
                return;
            }
}

/* One question and its answers. `told` is called for each with what its texts are coded in (value.h); false cancels. */
template <typename Told>
sl_status ask(const sl_dicom_peer *peer, const char *model, const char *what, DcmDataset *question, Told told, sl_error *error)
{
    sl_line line(peer, query_pdu);
    sl_status status = line.open({{model, plain, false}}, error);
    if (status)
        return status;
    const T_ASC_PresentationContextID id = line.offered(model);
    if (!id) {
        line.close();
        return sl_fail(error, SL_UNSUPPORTED, "%s does not offer %s.", line.who().c_str(), what);
    }
    T_DIMSE_Message message = {};
    message.CommandField = DIMSE_C_FIND_RQ;
    message.msg.CFindRQ.MessageID = 1;
    OFStandard::strlcpy(message.msg.CFindRQ.AffectedSOPClassUID, model, sizeof message.msg.CFindRQ.AffectedSOPClassUID);
    message.msg.CFindRQ.Priority = DIMSE_PRIORITY_MEDIUM;
    message.msg.CFindRQ.DataSetType = DIMSE_DATASET_PRESENT;
    OFCondition result = line.send(id, &message, question);
    bool cancelled = false;
    for (int count = 0, after = 0; result.good();) {
        T_DIMSE_Message answer = {};
        T_ASC_PresentationContextID on = 0;
        result = line.receive(&on, &answer);
        if (result.bad())
            break;
        if (answer.CommandField != DIMSE_C_FIND_RSP || on != id || answer.msg.CFindRSP.MessageIDBeingRespondedTo != 1)
            return line.broken(DIMSE_BADMESSAGE, error);
        const unsigned said = answer.msg.CFindRSP.DimseStatus;
        std::unique_ptr<DcmDataset> data;
        if (answer.msg.CFindRSP.DataSetType != DIMSE_DATASET_NULL)
            result = line.receive(id, &data);
        if (result.bad())
            break;
        if (said == STATUS_Success || (cancelled && said == STATUS_FIND_Cancel_MatchingTerminatedDueToCancelRequest)) {
            line.close();
            return SL_OK;
        }
        if (said != 0xFF00 && said != 0xFF01) { /* pending, PS3.4 C.4.1.1.4 */
            line.close();
            return sl_line_said(line, said, what, error);
        }
        if (cancelled) { /* those that were on their way; who does not stop is hung up on */
            if (++after > SL_ASK_MOST)
                return SL_OK;
            continue;
        }
        if (!data)
            return line.broken(DIMSE_BADDATA, error);
        if (!told(data.get(), sl_dicom_to_utf8(data.get())) || ++count >= SL_ASK_MOST) {
            cancelled = true;
            line.cancel(id, 1);
        }
    }
    return line.broken(result, error);
}

void number(DcmItem *item, const DcmTagKey &tag, int *value)
{
    char text[40], *end;
    sl_dicom_value(item, tag, "", text, sizeof text);
    const long read = strtol(text, &end, 10);
    *value = *text && !*end && read >= 0 && read <= 1000000 ? static_cast<int>(read) : -1;
}

} /* namespace */

extern "C" sl_status sl_dicom_echo(const sl_dicom_peer *peer, sl_error *error)
{
    sl_line line(peer, query_pdu);
    sl_status status = line.open({{UID_VerificationSOPClass, plain, false}}, error);
    if (status)
        return status;
    if (!line.offered(UID_VerificationSOPClass)) {
        line.close();
        return sl_fail(error, SL_UNSUPPORTED, "%s does not offer verification.", line.who().c_str());
    }
    DIC_US said = 0;
    DcmDataset *detail = nullptr;
    OFCondition result = DIMSE_echoUser(line.association(), 1, DIMSE_NONBLOCKING, line.silence(), &said, &detail);
    delete detail;
    if (result.bad())
        return line.broken(result, error);
    line.close();
    return said == STATUS_Success ? SL_OK : sl_line_said(line, said, "verification", error);
}

extern "C" sl_status sl_dicom_find(const sl_dicom_peer *peer, const sl_dicom_question *q, sl_dicom_matched matched, void *context,
                                   sl_error *error)
{
    DcmDataset data;
    put_set(&data, {q->patient_id, q->patient_name, q->accession});
    put(&data, DCM_StudyInstanceUID, q->study_uid);
    if (q->level == SL_LEVEL_STUDY) {
        put(&data, DCM_QueryRetrieveLevel, "STUDY");
        put(&data, DCM_PatientID, q->patient_id);
        put(&data, DCM_PatientName, q->patient_name);
        put(&data, DCM_StudyDate, q->dates);
        put(&data, DCM_AccessionNumber, q->accession);
        for (const DcmTagKey &tag : {DCM_StudyTime, DCM_StudyDescription, DCM_PatientBirthDate, DCM_PatientSex, DCM_ModalitiesInStudy,
                                     DCM_NumberOfStudyRelatedInstances})
            put(&data, tag, "");
    } else if (q->level == SL_LEVEL_SERIES) {
        put(&data, DCM_QueryRetrieveLevel, "SERIES");
        for (const DcmTagKey &tag : {DCM_SeriesInstanceUID, DCM_Modality, DCM_SeriesDescription, DCM_BodyPartExamined,
                                     DCM_NumberOfSeriesRelatedInstances})
            put(&data, tag, "");
    } else {
        put(&data, DCM_QueryRetrieveLevel, "IMAGE");
        put(&data, DCM_SeriesInstanceUID, q->series_uid);
        put(&data, DCM_SOPInstanceUID, "");
        put(&data, DCM_SOPClassUID, "");
    }
    auto told = [&](DcmDataset *answer, const std::string &coded) {
        sl_dicom_match m = {};
        const struct {
            DcmTagKey tag;
            char *to;
            size_t room;
        } rows[] = {
#define ROW(tag, field) {tag, m.field, sizeof m.field}
            ROW(DCM_StudyInstanceUID, study_uid), ROW(DCM_SeriesInstanceUID, series_uid), ROW(DCM_SOPInstanceUID, uid),
            ROW(DCM_SOPClassUID, class_uid), ROW(DCM_PatientID, patient_id), ROW(DCM_PatientName, patient_name),
            ROW(DCM_PatientBirthDate, birth_date), ROW(DCM_PatientSex, sex), ROW(DCM_StudyDate, study_date), ROW(DCM_StudyTime, study_time),
            ROW(DCM_AccessionNumber, accession), ROW(DCM_BodyPartExamined, body_part),
#undef ROW
        };
        for (const auto &row : rows)
            sl_dicom_value(answer, row.tag, coded, row.to, row.room);
        const bool study = q->level == SL_LEVEL_STUDY;
        sl_dicom_value(answer, study ? DCM_StudyDescription : DCM_SeriesDescription, coded, m.description, sizeof m.description);
        sl_dicom_value(answer, study ? DCM_ModalitiesInStudy : DCM_Modality, coded, m.modalities, sizeof m.modalities);
        number(answer, study ? DCM_NumberOfStudyRelatedInstances : DCM_NumberOfSeriesRelatedInstances, &m.objects);
        return matched(context, &m);
    };
    return ask(peer, UID_FINDStudyRootQueryRetrieveInformationModel, "looking for studies (C-FIND)", &data, told, error);
}

extern "C" sl_status sl_dicom_worklist(const sl_dicom_peer *peer, const sl_dicom_step_question *q, sl_dicom_stepped stepped, void *context,
                                       sl_error *error)
{
    DcmDataset data;
    put_set(&data, {q->patient_id, q->accession, q->station});
    put(&data, DCM_PatientID, q->patient_id);
    put(&data, DCM_AccessionNumber, q->accession);
    for (const DcmTagKey &tag : {DCM_PatientName, DCM_PatientBirthDate, DCM_PatientSex, DCM_StudyInstanceUID, DCM_ReferringPhysicianName,
                                 DCM_RequestedProcedureID, DCM_RequestedProcedureDescription})
        put(&data, tag, "");
    DcmItem *code = nullptr, *step = nullptr;
    if (data.findOrCreateSequenceItem(DCM_ScheduledProcedureStepSequence, step, -2).bad() ||
        data.findOrCreateSequenceItem(DCM_RequestedProcedureCodeSequence, code, -2).bad())
        return sl_fail(error, SL_MEMORY, "Memory ran out while asking for the worklist.");
    for (const DcmTagKey &tag : {DCM_CodeValue, DCM_CodingSchemeDesignator, DCM_CodeMeaning})
        put(code, tag, "");
    put(step, DCM_Modality, q->modality);
    put(step, DCM_ScheduledStationAETitle, q->station);
    put(step, DCM_ScheduledProcedureStepStartDate, q->date);
    for (const DcmTagKey &tag : {DCM_ScheduledProcedureStepStartTime, DCM_ScheduledProcedureStepDescription, DCM_ScheduledProcedureStepID})
        put(step, tag, "");
    auto told = [&](DcmDataset *answer, const std::string &coded) {
        sl_dicom_step s = {};
        DcmItem *inner = nullptr, *meaning = nullptr, none;
        if (answer->findAndGetSequenceItem(DCM_ScheduledProcedureStepSequence, inner, 0).bad() || !inner)
            inner = &none;
        const struct {
            DcmItem *item;
            DcmTagKey tag;
            char *to;
            size_t room;
        } rows[] = {
#define ROW(item, tag, field) {item, tag, s.field, sizeof s.field}
            ROW(answer, DCM_PatientName, patient_name), ROW(answer, DCM_PatientID, patient_id), ROW(answer, DCM_PatientBirthDate, birth_date),
            ROW(answer, DCM_PatientSex, sex), ROW(answer, DCM_AccessionNumber, accession), ROW(answer, DCM_ReferringPhysicianName, referring),
            ROW(answer, DCM_StudyInstanceUID, study_uid), ROW(answer, DCM_RequestedProcedureID, requested_id),
            ROW(answer, DCM_RequestedProcedureDescription, requested), ROW(inner, DCM_ScheduledProcedureStepStartDate, date),
            ROW(inner, DCM_ScheduledProcedureStepStartTime, time), ROW(inner, DCM_Modality, modality),
            ROW(inner, DCM_ScheduledStationAETitle, station), ROW(inner, DCM_ScheduledProcedureStepID, step_id),
            ROW(inner, DCM_ScheduledProcedureStepDescription, step),
#undef ROW
        };
        for (const auto &row : rows)
            sl_dicom_value(row.item, row.tag, coded, row.to, row.room);
        if (!*s.requested && answer->findAndGetSequenceItem(DCM_RequestedProcedureCodeSequence, meaning, 0).good() && meaning)
            sl_dicom_value(meaning, DCM_CodeMeaning, coded, s.requested, sizeof s.requested);
        return stepped(context, &s);
    };
    return ask(peer, UID_FINDModalityWorklistInformationModel, "a worklist", &data, told, error);
}
