#include <dcmtk/config/osconfig.h>

#include "dicom/file.h"
#include "dicom/load.h"
#include "dicom/recode.h"
#include "dicom/samples.h"

#include <cstring>
#include <dcmtk/dcmdata/dctk.h>
#include <new>
#include <unistd.h>
#include <vector>

namespace
{

sl_status no_room(sl_error *error)
{
    return sl_fail(error, SL_IO, "There is no room on the store's disk for the object in another transfer syntax.");
}

/* `photometric` receives what the first frame was decoded to. */
sl_status write_frames(sl_dicom_file *file, FILE *to, char photometric[17], sl_error *error)
{
    const sl_dicom_facts *facts = sl_dicom_file_facts(file);
    std::vector<uint8_t> samples(sl_dicom_file_frame_size(file));
    for (int i = 0; i < facts->frames; i++) {
        char now[17];
        sl_status status = sl_dicom_frame_samples(file, i, samples.data(), samples.size(), now, error);
        if (status)
            return status;
        if (!i)
            memcpy(photometric, now, 17);
        if (fwrite(samples.data(), 1, samples.size(), to) != samples.size())
            return no_room(error);
    }
    return SL_OK;
}

/* What follows the pixels in a file is padding or signatures of the coded form: left out. */
sl_status write_header(const char *path, const char *to, const sl_dicom_facts *facts, const char *photometric, sl_error *error)
{
    DcmFileFormat format;
    if (sl_dicom_load_header(format, path).bad() && !format.getDataset()->card())
        return sl_fail(error, SL_FORMAT, "The object's header cannot be read.");
    DcmDataset *data = format.getDataset();
    data->putAndInsertString(DCM_PhotometricInterpretation, photometric);
    if (facts->samples == 3)
        data->putAndInsertUint16(DCM_PlanarConfiguration, facts->by_plane);
    if (data->tagExists(DCM_NumberOfFrames))
        data->putAndInsertString(DCM_NumberOfFrames, std::to_string(facts->frames).c_str());
    return format.saveFile(OFFilename(to), EXS_LittleEndianExplicit, EET_ExplicitLength, EGL_withoutGL, EPD_withoutPadding).bad() ? no_room(error) : SL_OK;
}

sl_status decode(const char *path, const char *to, sl_error *error)
{
    sl_dicom_file *file = nullptr;
    sl_status status = sl_dicom_file_open(path, &file, error);
    if (status)
        return status;
    const sl_dicom_facts *facts = sl_dicom_file_facts(file);
    const uint64_t bytes = static_cast<uint64_t>(sl_dicom_file_frame_size(file)) * static_cast<uint64_t>(facts->frames);
    char photometric[17];
    FILE *out = nullptr;
    if (facts->coding == SL_DICOM_VIDEO)
        status = sl_fail(error, SL_UNSUPPORTED, "The object is a video, which is given out as it is stored (transfer-syntax=*).");
    else if (bytes > 0xfffffffeull)
        status = sl_fail(error, SL_LIMIT, "Uncompressed the object is larger than 4 GB, which DICOM does not allow. Take it as it is stored (transfer-syntax=*).");
    else { /* the first frame says what the header has to say */
        std::vector<uint8_t> samples(sl_dicom_file_frame_size(file));
        status = sl_dicom_frame_samples(file, 0, samples.data(), samples.size(), photometric, error);
    }
    if (!status)
        status = write_header(path, to, facts, photometric, error);
    if (!status && !(out = fopen(to, "ab")))
        status = no_room(error);
    if (!status) { /* PS3.5 A.2, 7.1.2 */
        const uint64_t even = bytes + bytes % 2;
        const uint8_t head[12] = {0xe0, 0x7f, 0x10, 0x00, 'O', static_cast<uint8_t>(facts->bits_allocated > 8 ? 'W' : 'B'), 0, 0,
                                  static_cast<uint8_t>(even), static_cast<uint8_t>(even >> 8), static_cast<uint8_t>(even >> 16), static_cast<uint8_t>(even >> 24)};
        status = fwrite(head, 1, sizeof head, out) == sizeof head ? write_frames(file, out, photometric, error) : no_room(error);
        if (!status && bytes % 2 && fputc(0, out) == EOF)
            status = no_room(error);
    }
    if (out && fclose(out) && !status)
        status = no_room(error);
    sl_dicom_file_close(&file);
    return status;
}

} /* namespace */

extern "C" sl_status sl_dicom_recode(const char *path, const char *to, sl_error *error)
{
    sl_status status;
    try {
        DcmFileFormat format;
        sl_dicom_quiet();
        if (sl_dicom_load(format, path).bad())
            status = sl_fail(error, SL_FORMAT, "The object cannot be read whole.");
        else if (DcmXfer(format.getDataset()->getOriginalXfer()).isEncapsulated())
            status = decode(path, to, error);
        else
            status = format.saveFile(OFFilename(to), EXS_LittleEndianExplicit, EET_ExplicitLength, EGL_withoutGL, EPD_withoutPadding).bad() ? no_room(error) : SL_OK;
    } catch (const std::exception &) {
        status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    if (status)
        unlink(to);
    return status;
}

extern "C" sl_status sl_dicom_all_samples(const char *path, FILE *to, sl_error *error)
{
    sl_dicom_file *file = nullptr;
    char photometric[17];
    sl_status status = sl_dicom_file_open(path, &file, error);
    try {
        if (!status && sl_dicom_file_facts(file)->coding == SL_DICOM_VIDEO)
            status = sl_fail(error, SL_UNSUPPORTED, "The object is a video, which is given out as it is stored.");
        if (!status)
            status = write_frames(file, to, photometric, error);
    } catch (const std::exception &) {
        status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    sl_dicom_file_close(&file);
    return status ? status : fflush(to) ? no_room(error) : SL_OK;
}
