#include <dcmtk/config/osconfig.h>

#include "dicom/incoming.h"
#include "dicom/nesting.h"

#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmnet/dimse.h>

#include <cstring>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <vector>

sl_drain::sl_drain(const char *path, unsigned long long limit) : most(limit)
{
    file = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (file < 0 || pipe(ends))
        good = false;
    else
        worker = std::thread([this] { run(); });
}

bool sl_drain::finish()
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

void sl_drain::run()
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
    if (sl_dicom_nests_too_deep(part) || format.loadFileUntilTag(part, EXS_Unknown, EGL_noChange, 4096, ERM_autoDetect, behind).bad())
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
