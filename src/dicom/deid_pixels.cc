#include <dcmtk/config/osconfig.h>

#include "dicom/deid_pixels.h"

#include "dicom/deid_video.h"
#include "dicom/file.h"
#include "dicom/jpeg_mask.h"
#include "dicom/rle.h"
#include "dicom/samples.h"

#include <dcmtk/dcmdata/dcpixel.h>
#include <dcmtk/dcmdata/dcpixseq.h>
#include <dcmtk/dcmdata/dcpxitem.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <memory>
#include <vector>

extern "C" {
#include "core/pool.h"
#include "core/text.h"
}

namespace
{

struct Closing {
    void operator()(sl_dicom_file *file) const { sl_dicom_file_close(&file); }
};

struct Pixels {
    const char *name;
    DcmDataset *dataset;
    sl_dicom_file *file;
    const sl_dicom_facts *facts;
    const sl_boxes *boxes;
    int threads;
    DcmPixelSequence *sequence = nullptr; /* owned until it is in the data set */
    DcmPixelItem *table = nullptr;        /* owned by the sequence */
    DcmOffsetList offsets = DcmOffsetList();

    ~Pixels() { delete sequence; }
};

sl_status out_of_memory(const char *name, sl_error *error)
{
    return sl_fail(error, SL_MEMORY, "Memory ran out while masking %s. Close other programs and try again.", name);
}

sl_status begin(Pixels &pixels, sl_error *error)
{
    pixels.sequence = new DcmPixelSequence(DcmTag(DCM_PixelData, EVR_OB));
    pixels.table = new DcmPixelItem(DcmTag(DCM_Item, EVR_OB));
    if (pixels.sequence->insert(pixels.table).good())
        return SL_OK;
    delete pixels.table;
    return out_of_memory(pixels.name, error);
}

sl_status add_frame(Pixels &pixels, const uint8_t *bytes, size_t length, sl_error *error)
{
    OFCondition done = pixels.sequence->storeCompressedFrame(
        pixels.offsets, const_cast<Uint8 *>(bytes), static_cast<Uint32>(length), 0);
    return done.good() ? SL_OK : out_of_memory(pixels.name, error);
}

sl_status finish(Pixels &pixels, E_TransferSyntax syntax, sl_error *error)
{
    if (pixels.table->createOffsetTable(pixels.offsets).bad())
        return out_of_memory(pixels.name, error);
    DcmPixelData *data = new DcmPixelData(DcmTag(DCM_PixelData, EVR_OB));
    data->putOriginalRepresentation(syntax, nullptr, pixels.sequence);
    pixels.sequence = nullptr;
    if (pixels.dataset->insert(data, OFTrue).good())
        return SL_OK;
    delete data;
    return out_of_memory(pixels.name, error);
}

/* Uncompressed: the boxes in memory. */
sl_status mask_native(Pixels &pixels, sl_error *error)
{
    DcmElement *element = nullptr;
    if (!pixels.boxes->count)
        return SL_OK;
    if (pixels.dataset->findAndGetElement(DCM_PixelData, element).bad() || !element)
        return out_of_memory(pixels.name, error);
    Uint8 *bytes = nullptr;
    Uint16 *words = nullptr;
    bool wide = element->getTag().getEVR() == EVR_OW || element->ident() == EVR_OW;
    if (element->getUint8Array(bytes).bad() || !bytes) {
        if (element->getUint16Array(words).bad() || !words)
            return out_of_memory(pixels.name, error);
        bytes = reinterpret_cast<Uint8 *>(words);
    }
    (void)wide;
    size_t frame = sl_dicom_file_frame_size(pixels.file);
    for (int i = 0; i < pixels.facts->frames && (static_cast<size_t>(i) + 1) * frame <= element->getLength(); i++)
        for (int k = 0; k < pixels.boxes->count; k++)
            sl_samples_blacken(pixels.facts, pixels.facts->photometric, &pixels.boxes->box[k],
                               bytes + static_cast<size_t>(i) * frame);
    return SL_OK;
}

/* Some coded pictures at a time, so that every thread has its share and memory stays bounded. */
struct Masked {
    std::vector<uint8_t> in;
    uint8_t *out = nullptr; /* free */
    size_t length = 0;
    sl_status status = SL_OK;
};
const int most_at_once = 32;

struct MaskBatch {
    const Pixels *pixels;
    bool says_rgb;
    Masked item[most_at_once];
    ~MaskBatch()
    {
        for (Masked &one : item)
            free(one.out);
    }
};

void mask_one(void *context, int item, int)
{
    MaskBatch *batch = static_cast<MaskBatch *>(context);
    Masked &one = batch->item[item];
    one.status = sl_jpeg_mask(one.in.data(), one.in.size(), batch->pixels->boxes, batch->says_rgb, &one.out, &one.length);
}

sl_status mask_coded(Pixels &pixels, bool says_rgb, sl_error *error)
{
    sl_status status = SL_OK;
    for (int first = 0; first < pixels.facts->frames && !status; first += most_at_once) {
        MaskBatch batch{&pixels, says_rgb, {}};
        const int count = std::min(most_at_once, pixels.facts->frames - first);
        for (int i = 0; i < count && !status; i++) {
            const uint8_t *bytes;
            size_t length;
            status = sl_dicom_file_coded(pixels.file, first + i, &bytes, &length, error);
            if (!status)
                batch.item[i].in.assign(bytes, bytes + length);
        }
        if (!status)
            sl_pool_run(pixels.threads, count, mask_one, &batch);
        for (int i = 0; i < count && !status; i++)
            status = batch.item[i].status ? batch.item[i].status : add_frame(pixels, batch.item[i].out, batch.item[i].length, error);
    }
    return status;
}

/* Coded pictures that stay as they are but for comments, or, JPEG, for the blocks under the boxes. SL_UNSUPPORTED where that
 * cannot be done. */
sl_status keep_coding(Pixels &pixels, E_TransferSyntax syntax, sl_error *error)
{
    bool says_rgb = !strcmp(pixels.facts->photometric, "RGB");
    std::vector<uint8_t> stripped;
    sl_status status = begin(pixels, error);
    if (!status && pixels.boxes->count)
        status = mask_coded(pixels, says_rgb, error);
    for (int i = 0; i < pixels.facts->frames && !pixels.boxes->count && !status; i++) {
        const uint8_t *bytes;
        size_t length;
        status = sl_dicom_file_coded(pixels.file, i, &bytes, &length, error);
        if (status)
            break;
        stripped.resize(length);
        length = sl_jpeg_strip(bytes, length, stripped.data());
        status = length ? add_frame(pixels, stripped.data(), length, error) : SL_UNSUPPORTED;
    }
    return status ? status : finish(pixels, syntax, error);
}

sl_status one_frame(Pixels &pixels, int frame, std::vector<uint8_t> &samples, char photometric[17], sl_error *error)
{
    return sl_dicom_frame_samples(pixels.file, frame, samples.data(), samples.size(), photometric, error);
}

/* Decoded, masked, coded again without loss. */
sl_status recode(Pixels &pixels, sl_error *error)
{
    std::vector<uint8_t> samples(sl_dicom_file_frame_size(pixels.file)), coded(sl_rle_room(pixels.facts));
    sl_dicom_facts facts = *pixels.facts;
    char photometric[17] = "";
    sl_status status = begin(pixels, error);
    for (int i = 0; i < facts.frames && !status; i++) {
        status = one_frame(pixels, i, samples, photometric, error);
        if (!status && strstr(photometric, "_42"))
            status = sl_fail(error, SL_UNSUPPORTED, "%s has pictures with halved colour that cannot be masked; it was not "
                                                    "exported.",
                             pixels.name);
        for (int k = 0; !status && k < pixels.boxes->count; k++)
            sl_samples_blacken(&facts, photometric, &pixels.boxes->box[k], samples.data());
        if (!status)
            status = add_frame(pixels, coded.data(), sl_rle_frame(&facts, samples.data(), coded.data()), error);
    }
    if (!status)
        status = finish(pixels, EXS_RLELossless, error);
    if (!status) {
        pixels.dataset->putAndInsertString(DCM_PhotometricInterpretation, photometric);
        if (facts.samples == 3)
            pixels.dataset->putAndInsertUint16(DCM_PlanarConfiguration, 0);
    }
    return status;
}

/* Method and ratio of a loss of detail, after those that are there already (PS3.3 C.7.6.1.1.5). */
void add_loss(DcmDataset *dataset, const char *before, const char *now, double ratio)
{
    OFString methods, ratios;
    char text[24];
    dataset->findAndGetOFStringArray(DCM_LossyImageCompressionMethod, methods);
    dataset->findAndGetOFStringArray(DCM_LossyImageCompressionRatio, ratios);
    if (methods.empty()) {
        methods = before;
        ratios = "1";
    }
    snprintf(text, sizeof text, "%.4g", ratio);
    dataset->putAndInsertString(DCM_LossyImageCompression, "01");
    dataset->putAndInsertOFStringArray(DCM_LossyImageCompressionMethod, methods + "\\" + now);
    dataset->putAndInsertOFStringArray(DCM_LossyImageCompressionRatio, ratios + "\\" + text);
}

struct Video {
    Pixels *pixels;
    double bytes;
};

sl_status take_frame(void *context, const uint8_t *jpeg, size_t length, sl_error *error)
{
    Video *video = static_cast<Video *>(context);
    video->bytes += static_cast<double>(length);
    return add_frame(*video->pixels, jpeg, length, error);
}

/* A video stream: frames as JPEG, what describes them changed to match. */
sl_status recode_video(Pixels &pixels, const char *path, const sl_deid_found *found, sl_error *error)
{
    Video video{&pixels, 0};
    int frames;
    double rate_hz;
    sl_status status = begin(pixels, error);
    if (!status)
        status = sl_deid_video_frames(path, found, {take_frame, &video}, &frames, &rate_hz, error);
    if (!status && !frames)
        status = sl_fail(error, SL_UNREADABLE, "%s holds no picture. It was not exported.", pixels.name);
    if (!status)
        status = finish(pixels, EXS_JPEGProcess1, error);
    if (status)
        return status;
    DcmDataset *dataset = pixels.dataset;
    /* 1.2.840.10008.1.2.4.100, .101: MPEG-2; .102 to .106: H.264; .107, .108: HEVC (PS3.6 table A-1) */
    const char *kind = strstr(pixels.facts->syntax, ".1.2.4.10");
    int last = kind ? kind[9] - '0' : 0;
    char text[24];
    snprintf(text, sizeof text, "%d", frames);
    dataset->putAndInsertString(DCM_NumberOfFrames, text);
    dataset->putAndInsertUint16(DCM_SamplesPerPixel, found->coloured ? 3 : 1);
    dataset->putAndInsertString(DCM_PhotometricInterpretation, found->coloured ? "YBR_FULL_422" : "MONOCHROME2");
    if (found->coloured)
        dataset->putAndInsertUint16(DCM_PlanarConfiguration, 0);
    else
        dataset->findAndDeleteElement(DCM_PlanarConfiguration);
    if (!dataset->tagExists(DCM_FrameTime) && !dataset->tagExists(DCM_FrameTimeVector) && std::isfinite(rate_hz)) {
        snprintf(text, sizeof text, "%.6g", 1000 / rate_hz);
        dataset->putAndInsertString(DCM_FrameTime, text);
        dataset->putAndInsertTagKey(DCM_FrameIncrementPointer, DCM_FrameTime);
    }
    double raw = static_cast<double>(frames) * pixels.facts->width * pixels.facts->height * (found->coloured ? 3 : 1);
    add_loss(dataset, last <= 1 ? "ISO_13818_1" : last <= 6 ? "ISO_14496_10" : "ISO_23008_2", "ISO_10918_1", raw / video.bytes);
    return SL_OK;
}

} /* namespace */

sl_status sl_deid_pixels(DcmDataset *dataset, const char *path, const sl_deid_found *found, int threads, E_TransferSyntax *syntax,
                         sl_deid_notes *notes, sl_error *error)
{
    sl_dicom_file *opened = nullptr;
    sl_status status = sl_dicom_file_open(path, &opened, error);
    if (status)
        return status;
    std::unique_ptr<sl_dicom_file, Closing> closing(opened);
    const sl_dicom_facts *facts = sl_dicom_file_facts(opened);
    const sl_boxes *boxes = &found->boxes;
    Pixels pixels{sl_path_name(path), dataset, opened, facts, boxes, threads};
    *syntax = dataset->getOriginalXfer();
    if (facts->coding == SL_DICOM_VIDEO) {
        *syntax = EXS_JPEGProcess1;
        sl_deid_note_add(notes, "video stream, with what it carries beside its pictures", "pictures coded anew as JPEG");
        return recode_video(pixels, path, found, error);
    }
    if (facts->coding == SL_DICOM_NATIVE)
        return mask_native(pixels, error);
    bool rle = *syntax == EXS_RLELossless, is_jpeg = facts->coding == SL_DICOM_JPEG;
    if (rle && !boxes->count)
        return SL_OK;
    status = SL_UNSUPPORTED;
    bool unknown = strcmp(facts->syntax, DcmXfer(*syntax).getXferID()) != 0; /* the toolkit cannot name it in what it writes */
    if (!rle && !unknown && (is_jpeg || !boxes->count))
        status = keep_coding(pixels, is_jpeg && boxes->count && *syntax != EXS_JPEGProcess2_4 ? EXS_JPEGProcess1 : *syntax, error);
    if (!status) {
        sl_deid_note_add(notes, "comments inside coded pictures", "removed");
        if (is_jpeg && boxes->count && *syntax != EXS_JPEGProcess2_4)
            *syntax = EXS_JPEGProcess1;
        return SL_OK;
    }
    if (status != SL_UNSUPPORTED)
        return status;
    delete pixels.sequence;
    pixels.sequence = nullptr;
    pixels.offsets.clear();
    *syntax = EXS_RLELossless;
    return recode(pixels, error);
}

bool sl_deid_same_pixels(const char *in, const char *out)
{
    sl_dicom_file *opened = nullptr;
    if (sl_dicom_file_open(in, &opened, nullptr))
        return false;
    std::unique_ptr<sl_dicom_file, Closing> first(opened);
    if (sl_dicom_file_open(out, &opened, nullptr))
        return false;
    std::unique_ptr<sl_dicom_file, Closing> second(opened);
    const sl_dicom_facts *a = sl_dicom_file_facts(first.get()), *b = sl_dicom_file_facts(second.get());
    bool same = a->coding == b->coding && !strcmp(a->syntax, b->syntax) && !strcmp(a->photometric, b->photometric) &&
                a->width == b->width && a->height == b->height && a->frames == b->frames && a->samples == b->samples &&
                a->by_plane == b->by_plane && a->bits_allocated == b->bits_allocated && a->bits_stored == b->bits_stored &&
                a->high_bit == b->high_bit && a->is_signed == b->is_signed && a->coding != SL_DICOM_VIDEO &&
                !a->palette.entries && !b->palette.entries && memcmp(&a->slope, &b->slope, sizeof a->slope) == 0 &&
                memcmp(&a->intercept, &b->intercept, sizeof a->intercept) == 0 &&
                (a->window_center == b->window_center || (std::isnan(a->window_center) && std::isnan(b->window_center))) &&
                (a->window_width == b->window_width || (std::isnan(a->window_width) && std::isnan(b->window_width)));
    std::vector<uint8_t> one(a->coding == SL_DICOM_NATIVE ? sl_dicom_file_frame_size(first.get()) : 0), two(one.size());
    for (int i = 0; i < a->frames && same; i++) {
        if (a->coding == SL_DICOM_NATIVE) {
            char photometric[17];
            same = !sl_dicom_file_samples(first.get(), i, one.data(), one.size(), photometric, nullptr) &&
                   !sl_dicom_file_samples(second.get(), i, two.data(), two.size(), photometric, nullptr) && one == two;
            continue;
        }
        const uint8_t *bytes;
        size_t length;
        if (sl_dicom_file_coded(first.get(), i, &bytes, &length, nullptr))
            return false;
        one.resize(length);
        size_t stripped = sl_jpeg_strip(bytes, length, one.data());
        if (!stripped) /* RLE has no comments */
            one.assign(bytes, bytes + length);
        else
            one.resize(stripped);
        one.resize((one.size() + 1) / 2 * 2);
        if (sl_dicom_file_coded(second.get(), i, &bytes, &length, nullptr))
            return false;
        same = length == one.size() && !memcmp(bytes, one.data(), length);
    }
    return same;
}
