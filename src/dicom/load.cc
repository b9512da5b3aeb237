#include <dcmtk/config/osconfig.h>

#include "dicom/load.h"
#include "dicom/nesting.h"

#include <dcmtk/dcmdata/dcistrmf.h>
#include <dcmtk/dcmdata/dcrledrg.h>
#include <dcmtk/dcmjpeg/djdecode.h>
#include <dcmtk/dcmjpls/djdecode.h>
#include <mutex>

namespace
{

struct Alias {
    const char *uid; /* below 1.2.840.10008.1.2.4. */
    E_TransferSyntax coded_as;
};

/* PS3.5 2026c, A.4.4 (HTJ2K: the same codestream with another block coder) and A.4.5 to A.4.9 (video in several fragments,
 * which are joined here for every syntax). */
const Alias aliases[] = {
    {"201", EXS_JPEG2000LosslessOnly},
    {"202", EXS_JPEG2000LosslessOnly},
    {"203", EXS_JPEG2000},
    {"100.1", EXS_MPEG2MainProfileAtMainLevel},
    {"101.1", EXS_MPEG2MainProfileAtHighLevel},
    {"102.1", EXS_MPEG4HighProfileLevel4_1},
    {"103.1", EXS_MPEG4BDcompatibleHighProfileLevel4_1},
    {"104.1", EXS_MPEG4HighProfileLevel4_2_For2DVideo},
    {"105.1", EXS_MPEG4HighProfileLevel4_2_For3DVideo},
    {"106.1", EXS_MPEG4StereoHighProfileLevel4_2},
};

const Alias *alias_of(DcmFileFormat &format)
{
    static const OFString root = "1.2.840.10008.1.2.4.";
    OFString uid;
    if (!format.getMetaInfo() || format.getMetaInfo()->findAndGetOFString(DCM_TransferSyntaxUID, uid).bad())
        return nullptr;
    for (const Alias &alias : aliases)
        if (uid == root + alias.uid)
            return &alias;
    return nullptr;
}

} /* namespace */

void sl_dicom_quiet(void)
{
    static std::once_flag once;
    std::call_once(once, [] { OFLog::configure(OFLogger::OFF_LOG_LEVEL); });
}

void sl_dicom_prepare_toolkit()
{
    static std::once_flag once;
    std::call_once(once, [] {
        sl_dicom_quiet();
        DcmRLEDecoderRegistration::registerCodecs();
        DJDecoderRegistration::registerCodecs();
        DJLSDecoderRegistration::registerCodecs();
    });
}

OFString sl_dicom_own_syntax(DcmFileFormat &format)
{
    OFString uid;
    if (alias_of(format))
        format.getMetaInfo()->findAndGetOFString(DCM_TransferSyntaxUID, uid);
    return uid;
}

static makeOFConditionConst(too_deep, OFM_dcmdata, 0x7ff, OF_error, "its sequences lie too deep in each other");
static makeOFConditionConst(inflates, OFM_dcmdata, 0x7fe, OF_error, "deflated, it is larger than a clip can be or says so");

OFCondition sl_dicom_load_header(DcmFileFormat &format, const char *path, E_FileReadMode mode)
{
    return sl_dicom_load(format, path, DCM_PixelData, mode);
}

OFCondition sl_dicom_load(DcmFileFormat &format, const char *path, const DcmTagKey &behind, E_FileReadMode mode)
{
    const bool whole = behind == DCM_UndefinedTagKey;
    const Uint32 most = whole ? static_cast<Uint32>(DCM_MaxReadLength) : 4096;
    if (const sl_dicom_unfit unfit = sl_dicom_unfit_of(path))
        return OFCondition(unfit == SL_DICOM_INFLATES ? inflates : too_deep);
    DcmInputFileStream stream{OFFilename(path)};
    DcmFileFormat header;
    const Alias *alias = nullptr;
    if (stream.good()) {
        header.getMetaInfo()->transferInit();
        if (header.getMetaInfo()->read(stream, EXS_Unknown).good())
            alias = alias_of(header);
        header.getMetaInfo()->transferEnd();
    }
    if (!alias)
        return whole ? format.loadFile(path) : format.loadFileUntilTag(path, EXS_Unknown, EGL_noChange, most, mode, behind);
    *format.getMetaInfo() = *header.getMetaInfo();
    format.getDataset()->clear();
    format.getDataset()->transferInit();
    OFCondition result = format.getDataset()->readUntilTag(stream, alias->coded_as, EGL_noChange, most, behind);
    format.getDataset()->transferEnd();
    return result;
}
