#include <dcmtk/config/osconfig.h>

#include "dicom/object_parts.h"
#include "dicom/write.h"

#include <dcmtk/dcmsr/dsrdoc.h>
#include <dcmtk/dcmsr/dsrimgvl.h>
#include <dcmtk/dcmsr/dsrnumvl.h>
#include <dcmtk/dcmsr/dsrscovl.h>

#include <cmath>
#include <cstring>
#include <ctime>
#include <new>
#include <set>
#include <string>

extern "C" {
#include "core/text.h"
}

namespace
{

typedef DSRTypes T;

DSRCodedEntryValue coded(const sl_dicom_code &code)
{
    return DSRCodedEntryValue(code.value, code.scheme, code.meaning);
}

/* The tree is built by walking it; the first step that fails is remembered and the rest do nothing. */
struct Builder {
    DSRDocumentTree &tree;
    bool good = true;

    void add(T::E_RelationshipType how, T::E_ValueType what, T::E_AddMode where, const DSRCodedEntryValue &name)
    {
        good = good && tree.addContentItem(how, what, where) > 0;
        if (good && !name.isEmpty())
            good = tree.getCurrentContentItem().setConceptName(name).good();
    }
    void text(const char *value) { good = good && tree.getCurrentContentItem().setStringValue(value).good(); }
    void code(const DSRCodedEntryValue &value) { good = good && tree.getCurrentContentItem().setCodeValue(value).good(); }
    void up() { good = good && tree.goUp() > 0; }
};

const DSRCodedEntryValue dcm(const char *value, const char *meaning)
{
    return DSRCodedEntryValue(value, "DCM", meaning);
}

void number(Builder &to, const sl_dicom_finding &finding, double value, T::E_RelationshipType how, T::E_AddMode where,
            const DSRCodedEntryValue &name)
{
    char text[32];
    snprintf(text, sizeof text, "%.*f", finding.decimals, value);
    to.add(how, T::VT_Num, where, name);
    to.good = to.good &&
              to.tree.getCurrentContentItem().setNumericValue(DSRNumericMeasurementValue(text, coded(finding.unit))).good();
}

/* The frames that show it, from 1; a range of more than this many is named by its ends and the middle. */
enum { MOST_FRAMES_LISTED = 400 };

DSRImageReferenceValue image_of(const sl_dicom_instance &instance, int first, int last)
{
    DSRImageReferenceValue image(instance.class_uid, instance.uid);
    if (first >= 1 && last >= first && instance.frames > 1) {
        if (last - first < MOST_FRAMES_LISTED)
            for (int i = first; i <= last; i++)
                image.getFrameList().addItem(i);
        else
            for (int i : {first, first + (last - first) / 2, last})
                image.getFrameList().addItem(i);
    }
    return image;
}

/* TID 320: coordinates selected from frames of the image. */
void coordinates(Builder &to, const sl_dicom_place &place, const sl_dicom_instance &instance, bool first_below)
{
    DSRSpatialCoordinatesValue where(place.points > 1 ? T::GT_Polyline : T::GT_Point);
    for (int i = 0; i < place.points; i++)
        where.getGraphicDataList().addItem(place.xy[2 * i], place.xy[2 * i + 1]);
    to.add(T::RT_inferredFrom, T::VT_SCoord, first_below ? T::AM_belowCurrent : T::AM_afterCurrent,
           dcm("121112", "Source of Measurement"));
    to.good = to.good && to.tree.getCurrentContentItem().setSpatialCoordinates(where).good();
    to.add(T::RT_selectedFrom, T::VT_Image, T::AM_belowCurrent, DSRCodedEntryValue());
    to.good = to.good && to.tree.getCurrentContentItem()
                             .setImageReference(image_of(instance, place.first_frame, place.last_frame))
                             .good();
    to.up();
}

/* What shows it: the places in the picture, else the frames. */
void evidence(Builder &to, const sl_dicom_finding &finding, const sl_dicom_instance &instance, bool first_below)
{
    for (int i = 0; i < finding.places; i++)
        coordinates(to, finding.place[i], instance, first_below && !i);
    if (finding.places)
        return;
    to.add(T::RT_inferredFrom, T::VT_Image, first_below ? T::AM_belowCurrent : T::AM_afterCurrent, DSRCodedEntryValue());
    to.good = to.good && to.tree.getCurrentContentItem()
                             .setImageReference(image_of(instance, finding.first_frame, finding.last_frame))
                             .good();
}

/* TID 300 Measurement, or a qualitative evaluation of TID 1501. */
void finding_item(Builder &to, const sl_dicom_finding &finding, const sl_dicom_instance &instance)
{
    if (finding.is_number) {
        number(to, finding, finding.value, T::RT_contains, T::AM_afterCurrent, coded(finding.concept));
        bool below = true;
        const struct { double value; const char *code, *meaning; } ends[] = {
            {finding.low, "interval_low", "Lower end of the 95 % interval"},
            {finding.high, "interval_high", "Upper end of the 95 % interval"}};
        for (const auto &end : ends)
            if (std::isfinite(end.value)) {
                number(to, finding, end.value, T::RT_hasProperties, below ? T::AM_belowCurrent : T::AM_afterCurrent,
                       DSRCodedEntryValue(end.code, "99STRANDLINE", end.meaning));
                below = false;
            }
        evidence(to, finding, instance, below);
        to.up();
    } else {
        to.add(T::RT_contains, T::VT_Code, T::AM_afterCurrent, coded(finding.concept));
        to.code(coded(finding.answer));
        if (finding.first_frame > 0) {
            evidence(to, finding, instance, true);
            to.up();
        }
    }
}

/* TID 1501 Measurement and Qualitative Evaluation Group. */
void group(Builder &to, const sl_dicom_group &own, int index, const sl_dicom_report &report, const sl_secret *secret)
{
    char uid[SL_DICOM_UID];
    std::string tracked = std::string(own.instance->uid) + "\n" + std::to_string(index);
    sl_dicom_uid_for(secret, "tracked", tracked.c_str(), uid);
    (void)report;
    to.add(T::RT_contains, T::VT_Container, index ? T::AM_afterCurrent : T::AM_belowCurrent, dcm("125007", "Measurement Group"));
    to.add(T::RT_hasObsContext, T::VT_Text, T::AM_belowCurrent, dcm("112039", "Tracking Identifier"));
    to.text(own.label);
    to.add(T::RT_hasObsContext, T::VT_UIDRef, T::AM_afterCurrent, dcm("112040", "Tracking Unique Identifier"));
    to.text(uid);
    if (*own.site.value) {
        to.add(T::RT_hasConceptMod, T::VT_Code, T::AM_afterCurrent,
               DSRCodedEntryValue("363698007", "SCT", "Finding Site"));
        to.code(coded(own.site));
        if (*own.laterality.value) {
            to.add(T::RT_hasConceptMod, T::VT_Code, T::AM_belowCurrent, DSRCodedEntryValue("272741003", "SCT", "Laterality"));
            to.code(coded(own.laterality));
            to.up();
        }
    }
    for (int i = 0; i < own.findings; i++)
        finding_item(to, own.finding[i], *own.instance);
    if (*own.zone) {
        to.add(T::RT_contains, T::VT_Text, T::AM_afterCurrent, DSRCodedEntryValue("zone", "99STRANDLINE", "Zone of the chest"));
        to.text(own.zone);
    }
    to.up();
}

/* TID 1600 Image Library. */
void library(Builder &to, const sl_dicom_report &report)
{
    to.add(T::RT_contains, T::VT_Container, T::AM_afterCurrent, dcm("111028", "Image Library"));
    to.add(T::RT_contains, T::VT_Container, T::AM_belowCurrent, dcm("126200", "Image Library Group"));
    std::set<std::string> listed;
    for (int i = 0; i < report.groups; i++) {
        const sl_dicom_instance &instance = *report.group[i].instance;
        if (!listed.insert(instance.uid).second)
            continue;
        to.add(T::RT_contains, T::VT_Image, listed.size() == 1 ? T::AM_belowCurrent : T::AM_afterCurrent, DSRCodedEntryValue());
        to.good = to.good && to.tree.getCurrentContentItem()
                                 .setImageReference(DSRImageReferenceValue(instance.class_uid, instance.uid))
                                 .good();
    }
    to.up();
    to.up();
}

bool build(DSRDocumentTree &tree, const sl_dicom_report &report, const sl_secret *secret)
{
    char device[SL_DICOM_UID];
    Builder to{tree};
    sl_dicom_uid_for(secret, "device", "strandline", device);
    to.add(T::RT_isRoot, T::VT_Container, T::AM_afterCurrent, dcm("126000", "Imaging Measurement Report"));
    to.good = to.good && tree.getCurrentContentItem().setTemplateIdentification("1500", "DCMR").good();
    to.add(T::RT_hasConceptMod, T::VT_Code, T::AM_belowCurrent, dcm("121049", "Language of Content Item and Descendants"));
    to.code(DSRCodedEntryValue("en", "RFC5646", "English"));
    to.add(T::RT_hasObsContext, T::VT_Code, T::AM_afterCurrent, dcm("121005", "Observer Type"));
    to.code(dcm("121007", "Device"));
    to.add(T::RT_hasObsContext, T::VT_UIDRef, T::AM_afterCurrent, dcm("121012", "Device Observer UID"));
    to.text(device);
    to.add(T::RT_hasObsContext, T::VT_Text, T::AM_afterCurrent, dcm("121013", "Device Observer Name"));
    to.text("strandline");
    to.add(T::RT_hasConceptMod, T::VT_Code, T::AM_afterCurrent, dcm("121058", "Procedure reported"));
    to.code(DSRCodedEntryValue("24630-6", "LN", "US Chest"));
    library(to, report);
    to.add(T::RT_contains, T::VT_Container, T::AM_afterCurrent, dcm("126010", "Imaging Measurements"));
    for (int i = 0; i < report.groups; i++)
        group(to, report.group[i], i, report, secret);
    to.up();
    to.add(T::RT_contains, T::VT_Container, T::AM_afterCurrent, DSRCodedEntryValue("C0034375", "UMLS", "Qualitative Evaluations"));
    to.add(T::RT_contains, T::VT_Text, T::AM_belowCurrent, dcm("121106", "Comment"));
    to.text(report.caution);
    to.up();
    return to.good;
}

void general(DSRDocument &document, const sl_dicom_report &report)
{
    const sl_dicom_subject &subject = *report.subject;
    document.createNewSeriesInStudy(subject.study_uid);
    document.setSpecificCharacterSet(*subject.character_set ? subject.character_set : "ISO_IR 192");
    document.setPatientName(subject.name);
    document.setPatientID(subject.id);
    document.setPatientBirthDate(subject.birth_date);
    document.setPatientSex(subject.sex);
    document.setStudyDate(subject.study_date);
    document.setStudyTime(subject.study_time);
    document.setStudyID(subject.study_id);
    document.setAccessionNumber(subject.accession);
    document.setReferringPhysicianName(subject.referring);
    document.setManufacturer("strandline (open software)");
    document.setManufacturerModelName("strandline");
    document.setSoftwareVersions(SL_VERSION);
    document.setDeviceSerialNumber("0");
    document.setSeriesDescription("Findings");
    document.setSeriesNumber("900");
    document.setInstanceNumber("1");
    document.getCodingSchemeIdentification().addItem("99STRANDLINE");
    document.getCodingSchemeIdentification().setCodingSchemeName("strandline: findings of lung ultrasound");
    for (int i = 0; i < report.groups; i++) {
        const sl_dicom_instance &image = *report.group[i].instance;
        document.getCurrentRequestedProcedureEvidence().addItem(image.study_uid, image.series_uid, image.class_uid, image.uid);
    }
}

/* The content must have a date (PS3.3 C.17.2): that of the making where the examination states none. */
void today_of(char date[9])
{
    time_t now = time(nullptr);
    struct tm parts;
    if (!localtime_r(&now, &parts) || !strftime(date, 9, "%Y%m%d", &parts))
        snprintf(date, 9, "19700101");
}

/* The toolkit makes UIDs by chance and dates of today; ours follow from the content, so that the same makes the same. */
void fix_identity(DcmDataset *dataset, const sl_dicom_report &report, const sl_secret *secret)
{
    std::string content;
    for (int i = 0; i < report.groups; i++) {
        content += report.group[i].instance->uid;
        for (int k = 0; k < report.group[i].findings; k++) {
            const sl_dicom_finding &own = report.group[i].finding[k];
            char value[128];
            snprintf(value, sizeof value, ";%s %.9g %.9g %.9g %s", own.concept.value, own.is_number ? own.value : 0.0, own.is_number ? own.low : 0.0,
                     own.is_number ? own.high : 0.0, own.is_number ? "" : own.answer.value);
            content += value;
        }
    }
    char uid[SL_DICOM_UID], series[SL_DICOM_UID];
    sl_dicom_uid_for(secret, "sr", content.c_str(), uid);
    sl_dicom_uid_for(secret, "sr series", report.subject->study_uid, series);
    dataset->putAndInsertString(DCM_SOPInstanceUID, uid);
    dataset->putAndInsertString(DCM_SeriesInstanceUID, series);
    char today[9];
    today_of(today);
    const char *date = *report.title_date ? report.title_date : *report.subject->study_date ? report.subject->study_date : today;
    const char *time = *report.title_time ? report.title_time : "000000";
    dataset->putAndInsertString(DCM_InstanceCreationDate, date);
    dataset->putAndInsertString(DCM_InstanceCreationTime, time);
    dataset->putAndInsertString(DCM_ContentDate, date);
    dataset->putAndInsertString(DCM_ContentTime, time);
    delete dataset->remove(DCM_InstanceCreatorUID);
    delete dataset->remove(DCM_TimezoneOffsetFromUTC);
    dataset->putAndInsertString(DCM_SeriesDate, date);
    dataset->putAndInsertString(DCM_SeriesTime, time);
}

} /* namespace */

extern "C" sl_status sl_dicom_sr(const char *path, const sl_dicom_report *report, const sl_secret *secret, sl_error *error)
{
    try {
        DSRDocument document(T::DT_ComprehensiveSR);
        general(document, *report);
        if (!build(document.getTree(), *report, secret))
            return sl_fail(error, SL_FORMAT, "%s could not be written: a finding does not fit a structured report.",
                           sl_path_name(path));
        DcmDataset *dataset = new DcmDataset;
        OFCondition done = document.write(*dataset);
        if (done.bad()) {
            delete dataset;
            return sl_fail(error, SL_FORMAT, "%s could not be written: %s.", sl_path_name(path), done.text());
        }
        fix_identity(dataset, *report, secret);
        return sl_dicom_write(dataset, path, EXS_LittleEndianExplicit, error);
    } catch (const std::exception &) {
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing %s. Close other programs and try again.",
                       sl_path_name(path));
    }
}
