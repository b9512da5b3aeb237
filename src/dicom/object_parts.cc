#include <dcmtk/config/osconfig.h>

#include "dicom/object_parts.h"
#include "dicom/header.h"
#include "dicom/load.h"

#include <cstring>
#include <string>

extern "C" {
#include "core/text.h"
}

namespace
{

void copy(DcmItem *item, const DcmTagKey &tag, char *to, size_t room)
{
    OFString value;
    if (item->findAndGetOFStringArray(tag, value).good())
        snprintf(to, room, "%s", value.c_str());
}

} /* namespace */

void sl_dicom_uid_for(const sl_secret *secret, const char *kind, const char *original, char uid[SL_DICOM_UID])
{
    sl_pseudonym_uid(secret, (std::string(kind) + "\n" + original).c_str(), uid);
}

void sl_dicom_put_code(DcmItem *item, const char *value, const char *scheme, const char *meaning)
{
    item->putAndInsertString(DCM_CodeValue, value);
    item->putAndInsertString(DCM_CodingSchemeDesignator, scheme);
    item->putAndInsertString(DCM_CodeMeaning, meaning);
}

void sl_dicom_common(DcmDataset *dataset, const sl_dicom_subject *subject, const char *class_uid, const char *uid,
                     const char *series_uid, const char *modality, const char *description, int series_number)
{
    const struct { DcmTagKey tag; const char *value; } texts[] = {
        {DCM_SpecificCharacterSet, *subject->character_set ? subject->character_set : "ISO_IR 192"},
        {DCM_SOPClassUID, class_uid}, {DCM_SOPInstanceUID, uid}, {DCM_StudyInstanceUID, subject->study_uid},
        {DCM_SeriesInstanceUID, series_uid}, {DCM_Modality, modality}, {DCM_StudyDate, subject->study_date},
        {DCM_StudyTime, subject->study_time}, {DCM_AccessionNumber, subject->accession},
        {DCM_ReferringPhysicianName, subject->referring}, {DCM_StudyID, subject->study_id},
        {DCM_PatientName, subject->name}, {DCM_PatientID, subject->id}, {DCM_PatientBirthDate, subject->birth_date},
        {DCM_PatientSex, subject->sex}, {DCM_Manufacturer, "strandline (open software)"},
        {DCM_ManufacturerModelName, "strandline"}, {DCM_SoftwareVersions, SL_VERSION}, {DCM_DeviceSerialNumber, "0"},
        {DCM_SeriesDescription, description}};
    for (const auto &text : texts)
        dataset->putAndInsertString(text.tag, text.value);
    dataset->putAndInsertString(DCM_SeriesNumber, std::to_string(series_number).c_str());
}

extern "C" sl_status sl_dicom_identity(const char *path, sl_dicom_subject *subject, sl_dicom_instance *instance,
                                       sl_error *error)
{
    DcmFileFormat format;
    if (sl_dicom_load_header(format, path, ERM_autoDetect).bad())
        return sl_fail(error, SL_FORMAT, "%s cannot be read as a DICOM file.", sl_path_name(path));
    DcmItem *item = format.getDataset();
    *subject = {};
    *instance = {};
    copy(item, DCM_PatientName, subject->name, sizeof subject->name);
    copy(item, DCM_PatientID, subject->id, sizeof subject->id);
    copy(item, DCM_PatientBirthDate, subject->birth_date, sizeof subject->birth_date);
    copy(item, DCM_PatientSex, subject->sex, sizeof subject->sex);
    copy(item, DCM_StudyInstanceUID, subject->study_uid, sizeof subject->study_uid);
    copy(item, DCM_StudyID, subject->study_id, sizeof subject->study_id);
    copy(item, DCM_AccessionNumber, subject->accession, sizeof subject->accession);
    copy(item, DCM_StudyDate, subject->study_date, sizeof subject->study_date);
    copy(item, DCM_StudyTime, subject->study_time, sizeof subject->study_time);
    copy(item, DCM_ReferringPhysicianName, subject->referring, sizeof subject->referring);
    copy(item, DCM_SpecificCharacterSet, subject->character_set, sizeof subject->character_set);
    copy(item, DCM_SOPClassUID, instance->class_uid, sizeof instance->class_uid);
    copy(item, DCM_SOPInstanceUID, instance->uid, sizeof instance->uid);
    copy(item, DCM_SeriesInstanceUID, instance->series_uid, sizeof instance->series_uid);
    copy(item, DCM_StudyInstanceUID, instance->study_uid, sizeof instance->study_uid);
    Sint32 frames = 1;
    item->findAndGetSint32(DCM_NumberOfFrames, frames);
    instance->frames = frames;
    if (!*instance->uid || !*instance->class_uid || !*instance->series_uid || !*instance->study_uid)
        return sl_fail(error, SL_FORMAT, "%s lacks the identifiers that a report must refer to.", sl_path_name(path));
    return SL_OK;
}
