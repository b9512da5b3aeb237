#include <dcmtk/config/osconfig.h>

#include "dicom/file.h"
#include "dicom/header.h"
#include "dicom/load.h"

#include <dcmtk/dcmdata/dcfcache.h>
#include <dcmtk/dcmdata/dcistrmf.h>
#include <dcmtk/dcmdata/dcpixel.h>
#include <dcmtk/dcmdata/dcpixseq.h>
#include <dcmtk/dcmdata/dcpxitem.h>
#include <dcmtk/dcmdata/dctk.h>

#include <cstring>
#include <sys/stat.h>
#include <new>
#include <string>
#include <vector>

extern "C" {
#include "core/text.h"
}

struct sl_dicom_file {
    std::string name;
    DcmFileFormat format;
    DcmFileCache cache;
    sl_dicom_facts facts = {};
    sl_dicom_store store;
    DcmPixelData *pixels = nullptr;       /* owned by `format` */
    DcmPixelSequence *sequence = nullptr; /* owned by `format`; NULL when native */
    std::vector<unsigned long> first;     /* first fragment of each frame, and one behind the last */
    std::vector<uint8_t> joined, even;
    size_t bytes = 0; /* of the whole file */
    int stated = 0; /* frames, by the header */
    bool broke_off = false;
    int last_frame = -2;
    Uint32 next_fragment = 0;
};

namespace
{

sl_status damaged(const sl_dicom_file *file, const char *what, const char *cause, sl_error *error)
{
    return sl_fail(error, SL_FORMAT, "%s is a DICOM file whose %s cannot be read (%s). Send or export it again.",
                   file->name.c_str(), what, cause);
}

sl_status load(sl_dicom_file *file, const char *path, sl_error *error)
{
    OFCondition result = sl_dicom_load(file->format, path);
    if (result.good())
        return SL_OK;
    /* A file that breaks off within its pixels still has its header and the frames before the break. */
    file->broke_off = file->format.getDataset()->tagExists(DCM_PixelData);
    return file->broke_off ? SL_OK : damaged(file, "header", result.text(), error);
}

sl_status find_pixels(sl_dicom_file *file, sl_error *error)
{
    DcmDataset *dataset = file->format.getDataset();
    DcmElement *element = nullptr;
    if (dataset->findAndGetElement(DCM_PixelData, element).bad() || !element)
        return sl_fail(error, SL_FORMAT,
                       "%s is a DICOM object without pictures (a report, a plan or the like). Name the files with the "
                       "clips.",
                       file->name.c_str());
    file->pixels = OFdynamic_cast(DcmPixelData *, element);
    if (!file->pixels)
        return damaged(file, "pixel data", "not of a known kind", error);
    if (file->facts.coding == SL_DICOM_NATIVE)
        return SL_OK;
    E_TransferSyntax syntax = EXS_Unknown;
    const DcmRepresentationParameter *parameter = nullptr;
    file->pixels->getOriginalRepresentationKey(syntax, parameter);
    if (file->pixels->getEncapsulatedRepresentation(syntax, parameter, file->sequence).bad() || !file->sequence)
        return damaged(file, "pixel data", "not in fragments", error);
    return SL_OK;
}

/* First two bytes of a fragment: a JPEG or JPEG 2000 picture starts with its marker. */
bool starts_picture(sl_dicom_file *file, unsigned long fragment)
{
    DcmPixelItem *item = nullptr;
    uint8_t mark[2] = {0, 0};
    if (file->sequence->getItem(item, fragment).bad() || item->getLength() < 2 ||
        item->getPartialValue(mark, 0, 2, &file->cache).bad())
        return false;
    return mark[0] == 0xff && (mark[1] == 0xd8 || mark[1] == 0x4f);
}

/* Which fragments hold which frame (PS3.5 A.4): one each; else by the basic offset table; else, for want of a table, by
 * the marker that each picture starts with. */
sl_status share_fragments(sl_dicom_file *file, sl_error *error)
{
    /* The parser ends at an item that claims to be longer than the file; the toolkit's decoders would ask for its memory. */
    DcmPixelItem *last = nullptr;
    unsigned long items = file->sequence->card();
    if (items && file->sequence->getItem(last, items - 1).good() && last->getLength() > file->bytes &&
        file->sequence->remove(last, items - 1).good()) {
        delete last;
        file->broke_off = true;
    }
    unsigned long fragments = file->sequence->card() ? file->sequence->card() - 1 : 0; /* item 0 is the table */
    unsigned long frames = static_cast<unsigned long>(file->facts.frames);
    if (!fragments)
        return damaged(file, "pixel data", "no fragments", error);
    if (fragments == frames || file->facts.coding == SL_DICOM_VIDEO) {
        for (unsigned long i = 0; i <= frames; i++)
            file->first.push_back(1 + (i < fragments ? i : fragments));
        return SL_OK;
    }
    if (frames == 1) {
        file->first = {1, fragments + 1};
        return SL_OK;
    }
    DcmPixelItem *table = nullptr;
    Uint8 *bytes = nullptr;
    unsigned long entries = 0;
    if (file->sequence->getItem(table, 0).good() && table->getLength() / 4 == frames &&
        table->getUint8Array(bytes).good() && bytes)
        entries = frames;
    unsigned long offset = 0, found = 0;
    for (unsigned long i = 1; i <= fragments; i++) {
        DcmPixelItem *item = nullptr;
        if (file->sequence->getItem(item, i).bad())
            return damaged(file, "pixel data", "a fragment is missing", error);
        unsigned long stated = 0;
        if (entries && found < frames)
            for (int k = 3; k >= 0; k--)
                stated = stated << 8 | bytes[4 * found + static_cast<unsigned long>(k)];
        bool begins = entries ? found < frames && stated == offset : starts_picture(file, i);
        if (begins) {
            file->first.push_back(i);
            found++;
        }
        offset += 8 + item->getLength();
    }
    if (entries && found != frames) { /* a wrong table: trust the markers */
        file->first.clear();
        found = 0;
        for (unsigned long i = 1; i <= fragments; i++)
            if (starts_picture(file, i)) {
                file->first.push_back(i);
                found++;
            }
    }
    if (!found)
        return damaged(file, "pixel data", "its frames cannot be told apart", error);
    file->first.push_back(fragments + 1);
    file->facts.frames = static_cast<int>(found); /* what is there, not what is stated */
    return SL_OK;
}

/* Bytes of the pixel data that the file holds: the parser stops behind their tag and length. */
size_t bytes_of_pixels(const char *path)
{
    DcmFileFormat header;
    DcmInputFileStream stream{OFFilename(path)};
    if (stream.status().bad())
        return 0;
    header.transferInit();
    header.readUntilTag(stream, EXS_Unknown, EGL_noChange, DCM_MaxReadLength, DCM_PixelData);
    offile_off_t at = stream.tell();
    struct stat facts;
    return stat(path, &facts) || facts.st_size < at ? 0 : static_cast<size_t>(facts.st_size - at);
}

/* Native pixels that are shorter than stated: the frames that are there. */
sl_status count_native(sl_dicom_file *file, const char *path, sl_error *error)
{
    size_t frame = sl_dicom_file_frame_size(file);
    size_t length = file->pixels->getLength();
    if (file->broke_off) {
        size_t behind = bytes_of_pixels(path);
        length = behind < length ? behind : length;
    }
    if (!frame || length < frame)
        return damaged(file, "pixel data", "shorter than one frame", error);
    if (length / frame < static_cast<size_t>(file->facts.frames))
        file->facts.frames = static_cast<int>(length / frame);
    return SL_OK;
}

/* Does the first fragment of a frame lead, marker by marker, to the header of a picture (ITU-T T.81 B.1.1, T.87 C.1.1)? The
 * toolkit's own search for it does not end on every damaged file. */
bool leads_to_picture(const uint8_t *bytes, size_t length)
{
    if (length < 4 || bytes[0] != 0xff || bytes[1] != 0xd8)
        return false;
    for (size_t at = 2; at + 4 <= length;) {
        if (bytes[at] != 0xff)
            return false;
        uint8_t kind = bytes[at + 1];
        size_t size = static_cast<size_t>(bytes[at + 2]) << 8 | bytes[at + 3];
        if (kind == 0xff) {
            at++;
            continue;
        }
        bool is_frame = (kind >= 0xc0 && kind <= 0xcf && kind != 0xc4 && kind != 0xc8 && kind != 0xcc) || kind == 0xf7;
        if (is_frame)
            return at + 2 + size <= length && size >= 8;
        if (kind == 0xda || kind == 0xd9 || kind < 0xc0 || size < 2)
            return false;
        at += 2 + size;
    }
    return false;
}

/* What the toolkit may be given to decode. */
sl_status check_frame(sl_dicom_file *file, int frame, sl_error *error)
{
    const uint8_t *bytes;
    size_t length;
    sl_status status = sl_dicom_file_coded(file, frame, &bytes, &length, error);
    DcmPixelItem *first = nullptr;
    if (status || !strcmp(file->facts.syntax, UID_RLELosslessTransferSyntax))
        return status;
    if (file->sequence->getItem(first, file->first[static_cast<size_t>(frame)]).good() && first->getLength() < length)
        length = first->getLength();
    return leads_to_picture(bytes, length) ? SL_OK : damaged(file, "pixel data", "a picture without a header", error);
}

sl_status open_parts(sl_dicom_file *file, const char *path, sl_error *error)
{
    struct stat facts;
    if (!stat(path, &facts))
        file->bytes = static_cast<size_t>(facts.st_size);
    sl_status status = load(file, path, error);
    if (!status)
        status = sl_dicom_read_header(file->format, file->name.c_str(), &file->facts, &file->store, error);
    file->stated = file->facts.frames;
    if (!status)
        status = find_pixels(file, error);
    if (!status)
        status = file->sequence ? share_fragments(file, error) : count_native(file, path, error);
    return status;
}

} /* namespace */

extern "C" sl_status sl_dicom_file_open(const char *path, sl_dicom_file **result, sl_error *error)
{
    *result = nullptr;
    try {
        sl_dicom_prepare_toolkit();
        sl_dicom_file *file = new sl_dicom_file;
        *result = file;
        file->name = sl_path_name(path);
        sl_status status = open_parts(file, path, error);
        if (status)
            sl_dicom_file_close(result);
        return status;
    } catch (const std::exception &) {
        sl_dicom_file_close(result);
        return sl_fail(error, SL_MEMORY, "Memory ran out while opening %s. Close other programs and try again.",
                       sl_path_name(path));
    }
}

extern "C" const sl_dicom_facts *sl_dicom_file_facts(const sl_dicom_file *file)
{
    return &file->facts;
}

extern "C" int sl_dicom_file_stated(const sl_dicom_file *file)
{
    return file->stated;
}

extern "C" bool sl_dicom_file_broke_off(const sl_dicom_file *file)
{
    return file->broke_off || file->stated > file->facts.frames;
}

extern "C" size_t sl_dicom_file_frame_size(const sl_dicom_file *file)
{
    const sl_dicom_facts &facts = file->facts;
    size_t pixels = static_cast<size_t>(facts.width) * static_cast<size_t>(facts.height);
    bool halved = facts.coding == SL_DICOM_NATIVE && strstr(facts.photometric, "_422");
    size_t samples = pixels * static_cast<size_t>(facts.samples);
    if (halved)
        samples = 2 * static_cast<size_t>((facts.width + 1) / 2 * 2) * static_cast<size_t>(facts.height);
    return samples * static_cast<size_t>(facts.bits_allocated / 8);
}

extern "C" sl_status sl_dicom_file_samples(sl_dicom_file *file, int frame, uint8_t *samples, size_t size,
                                           char photometric[17], sl_error *error)
{
    try {
        OFCondition result;
        memcpy(photometric, file->facts.photometric, 17);
        if (!file->sequence) {
            unsigned long long offset = static_cast<unsigned long long>(frame) * size;
            if (offset + size > 0xffffffffull)
                return sl_fail(error, SL_LIMIT, "%s holds more than 4 GB of pixels. Export it in parts.",
                               file->name.c_str());
            result = file->pixels->getPartialValue(samples, static_cast<Uint32>(offset), static_cast<Uint32>(size),
                                                   &file->cache);
        } else {
            OFString model;
            sl_status status = check_frame(file, frame, error);
            if (status)
                return status;
            if (frame != file->last_frame + 1)
                file->next_fragment = static_cast<Uint32>(file->first[static_cast<size_t>(frame)]);
            uint8_t *to = samples;
            size_t room = size + size % 2; /* the toolkit wants room for an even number of bytes */
            if (room != size) {
                file->even.resize(room);
                to = file->even.data();
            }
            result = file->pixels->getUncompressedFrame(file->format.getDataset(), static_cast<Uint32>(frame),
                                                        file->next_fragment, to, static_cast<Uint32>(room), model,
                                                        &file->cache);
            if (to != samples)
                memcpy(samples, to, size);
            file->last_frame = result.good() ? frame : -2;
            file->sequence->compact(); /* the coded bytes stay in the file, whatever the clip's length */
            snprintf(photometric, 17, "%s", model.c_str());
        }
        if (result.bad())
            return damaged(file, "pixel data", result.text(), error);
        return SL_OK;
    } catch (const std::exception &) {
        return sl_fail(error, SL_MEMORY, "Memory ran out while decoding %s. Close other programs and try again.",
                       file->name.c_str());
    }
}

extern "C" sl_status sl_dicom_file_coded(sl_dicom_file *file, int frame, const uint8_t **bytes, size_t *length,
                                         sl_error *error)
{
    try {
        size_t at = 0;
        file->joined.clear();
        for (unsigned long i = file->first[static_cast<size_t>(frame)]; i < file->first[static_cast<size_t>(frame) + 1];
             i++) {
            DcmPixelItem *item = nullptr;
            if (file->sequence->getItem(item, i).bad())
                return damaged(file, "pixel data", "a fragment is missing", error);
            Uint32 size = item->getLength();
            if (size > file->bytes)
                return damaged(file, "pixel data", "a fragment is longer than the file", error);
            file->joined.resize(at + size);
            OFCondition result = size ? item->getPartialValue(file->joined.data() + at, 0, size, &file->cache) : EC_Normal;
            if (result.bad())
                return damaged(file, "pixel data", result.text(), error);
            at += size;
        }
        *bytes = file->joined.data();
        *length = at;
        return SL_OK;
    } catch (const std::exception &) {
        return sl_fail(error, SL_MEMORY, "Memory ran out while decoding %s. Close other programs and try again.",
                       file->name.c_str());
    }
}

extern "C" sl_status sl_dicom_file_stream(sl_dicom_file *file, FILE *to, sl_error *error)
{
    std::vector<uint8_t> block(1 << 20);
    for (unsigned long i = 1; i < file->sequence->card(); i++) {
        DcmPixelItem *item = nullptr;
        if (file->sequence->getItem(item, i).bad() || item->getLength() > file->bytes)
            return damaged(file, "video stream", "a fragment is missing or longer than the file", error);
        for (Uint32 at = 0, length = item->getLength(); at < length;) {
            Uint32 count = length - at < block.size() ? length - at : static_cast<Uint32>(block.size());
            OFCondition result = item->getPartialValue(block.data(), at, count, &file->cache);
            if (result.bad())
                return damaged(file, "video stream", result.text(), error);
            if (fwrite(block.data(), 1, count, to) != count)
                return sl_fail(error, SL_IO, "The disk is full; %s needs room for a copy of its video.", file->name.c_str());
            at += count;
        }
    }
    if (fflush(to) || fseek(to, 0, SEEK_SET))
        return sl_fail(error, SL_IO, "The disk is full; %s needs room for a copy of its video.", file->name.c_str());
    return SL_OK;
}

extern "C" void sl_dicom_file_close(sl_dicom_file **file)
{
    if (file && *file) {
        delete *file;
        *file = nullptr;
    }
}
