#include <dcmtk/config/osconfig.h>

#include "dicom/write.h"

#include <cerrno>
#include <cstring>
#include <fcntl.h>
#include <string>
#include <unistd.h>

extern "C" {
#include "core/text.h"
}

namespace
{

bool bring_to_disk(const char *path)
{
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return false;
    bool good = !fsync(file);
    return !close(file) && good;
}

} /* namespace */

sl_status sl_dicom_write(DcmDataset *dataset, const char *path, E_TransferSyntax syntax, sl_error *error)
{
    DcmFileFormat format(dataset, OFFalse); /* owns the data set now */
    std::string part = std::string(path) + ".part";
    errno = 0;
    OFCondition result = format.saveFile(OFFilename(part.c_str()), syntax, EET_ExplicitLength, EGL_recalcGL, EPD_withoutPadding);
    bool good = result.good() && bring_to_disk(part.c_str()) && !rename(part.c_str(), path);
    if (good)
        return SL_OK;
    int cause = errno;
    unlink(part.c_str());
    return sl_fail(error, SL_IO, "%s could not be written: %s. Free some space or choose another place.", sl_path_name(path),
                   result.bad() ? result.text() : strerror(cause));
}
