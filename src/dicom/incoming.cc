#include <dcmtk/config/osconfig.h>

#include "dicom/incoming.h"
#include "dicom/load.h"

#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmnet/dimse.h>

#include <cstring>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

void sl_incoming_unknown::stand_in(T_ASC_Parameters *parameters)
{
    DUL_ASSOCIATESERVICEPARAMETERS &kept = parameters->DULparams; /* asked for and accepted: the toolkit looks into either */
    for (LST_HEAD **list : {&kept.requestedPresentationContext, &kept.acceptedPresentationContext})
        for (auto *one = static_cast<DUL_PRESENTATIONCONTEXT *>(*list ? LST_Position(list, LST_Head(list)) : nullptr); one;
             one = static_cast<DUL_PRESENTATIONCONTEXT *>(LST_Next(list))) {
            if (one->result != ASC_P_ACCEPTANCE || !*one->acceptedTransferSyntax || DcmXfer(one->acceptedTransferSyntax).getXfer() != EXS_Unknown)
                continue;
            syntax[one->presentationContextID] = one->acceptedTransferSyntax;
            OFStandard::strlcpy(one->acceptedTransferSyntax, UID_JPEG2000LosslessOnlyTransferSyntax, sizeof one->acceptedTransferSyntax);
        }
}

const char *sl_incoming_unknown::of(int context) const
{
    const auto found = syntax.find(context);
    return found == syntax.end() ? "" : found->second.c_str();
}

/* Preamble, "DICM" and group length of the file header, the header, the data set (PS3.10 7.1). */
bool sl_incoming_is_whole(const char *part, unsigned long received)
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

unsigned sl_incoming_examine(const T_DIMSE_C_StoreRQ &request, const char *part, const char *syntax, sl_dicom_arrived *arrived)
{
    DcmFileFormat format;
    DcmTagKey behind(0x0020, 0x000e); /* just behind the study */
    if (sl_dicom_load(format, part, behind).bad())
        return SL_STORE_NOT_UNDERSTOOD;
    DcmItem *item = format.getDataset();
    *arrived = {};
    arrived->part = part;
    copy(item, DCM_StudyInstanceUID, arrived->study_uid, sizeof arrived->study_uid);
    copy(item, DCM_SOPClassUID, arrived->class_uid, sizeof arrived->class_uid);
    copy(item, DCM_SOPInstanceUID, arrived->uid, sizeof arrived->uid);
    snprintf(arrived->syntax, sizeof arrived->syntax, "%s", syntax);
    bool same = !strcmp(arrived->uid, request.AffectedSOPInstanceUID) && !strcmp(arrived->class_uid, request.AffectedSOPClassUID);
    return same && *arrived->study_uid ? SL_STORE_DONE : SL_STORE_MISMATCH;
}
