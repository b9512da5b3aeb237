#include <dcmtk/config/osconfig.h>

#include "dicom/describe.h"
#include "dicom/load.h"
#include "dicom/value.h"

#include <cstring>
#include <dcmtk/dcmdata/dcistrmf.h>
#include <dcmtk/dcmdata/dctk.h>

namespace
{

bool is_uid(const char *uid)
{
    return *uid && strlen(uid) <= 64 && strspn(uid, "0123456789.") == strlen(uid) && *uid != '.';
}

/* Where the data set begins: behind preamble, "DICM" and the header; 0 where there is no file header. */
int64_t data_at(const char *path)
{
    DcmInputFileStream stream{OFFilename(path)};
    DcmMetaInfo header;
    if (stream.status().bad())
        return 0;
    header.transferInit(); /* its group length is not believed: some writers leave it out */
    const OFCondition read = header.read(stream, EXS_Unknown);
    header.transferEnd();
    return read.good() ? static_cast<int64_t>(stream.tell()) : 0;
}

} /* namespace */

extern "C" sl_status sl_dicom_describe(const char *path, sl_dicom_words *words, sl_error *error)
{
    DcmFileFormat format;
    *words = {};
    sl_dicom_quiet();
    OFCondition read = sl_dicom_load_header(format, path);
    DcmDataset *item = format.getDataset();
    if (read.bad() || !item)
        return sl_fail(error, SL_FORMAT, "%s is no DICOM file: %s.", path, read.text());
    const struct {
        DcmTagKey tag;
        char *to;
        size_t room;
    } rows[] = {
#define ROW(tag, field) {tag, words->field, sizeof words->field}
        ROW(DCM_SOPInstanceUID, uid), ROW(DCM_SOPClassUID, class_uid), ROW(DCM_SeriesInstanceUID, series_uid), ROW(DCM_StudyInstanceUID, study_uid),
        ROW(DCM_Modality, modality), ROW(DCM_PatientID, patient_id), ROW(DCM_PatientName, patient_name), ROW(DCM_PatientBirthDate, birth_date),
        ROW(DCM_PatientSex, sex), ROW(DCM_StudyDate, study_date), ROW(DCM_StudyTime, study_time), ROW(DCM_StudyID, study_id),
        ROW(DCM_StudyDescription, study_description), ROW(DCM_AccessionNumber, accession), ROW(DCM_ReferringPhysicianName, referring),
        ROW(DCM_SeriesNumber, series_number), ROW(DCM_SeriesDescription, series_description), ROW(DCM_BodyPartExamined, body_part),
        ROW(DCM_InstanceNumber, instance_number),
#undef ROW
    };
    const std::string coded = sl_dicom_to_utf8(item);
    for (const auto &row : rows)
        sl_dicom_value(item, row.tag, coded, row.to, row.room);
    sl_dicom_value(format.getMetaInfo(), DCM_TransferSyntaxUID, "", words->syntax, sizeof words->syntax);
    Sint32 frames = 0;
    Uint16 side = 0;
    if (item->findAndGetUint16(DCM_Rows, side).good())
        words->rows = side;
    if (item->findAndGetUint16(DCM_Columns, side).good())
        words->columns = side;
    words->frames = item->findAndGetSint32(DCM_NumberOfFrames, frames).good() && frames > 0 ? frames : words->rows > 0;
    words->data_at = data_at(path);
    if (!is_uid(words->uid) || !is_uid(words->class_uid) || !is_uid(words->study_uid) || !is_uid(words->syntax))
        return sl_fail(error, SL_FORMAT, "%s lacks the identifier of its study, its class, its transfer syntax or its own. Have it written again.", path);
    return SL_OK;
}
