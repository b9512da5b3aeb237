#include <dcmtk/config/osconfig.h>

#include "dicom/object_parts.h"
#include "dicom/rle.h"
#include "dicom/write.h"

#include <dcmtk/dcmdata/dcpixel.h>
#include <dcmtk/dcmdata/dcpixseq.h>
#include <dcmtk/dcmdata/dcpxitem.h>

#include <cmath>
#include <cstring>
#include <new>
#include <string>
#include <vector>

extern "C" {
#include "core/text.h"
}

struct sl_dicom_clip_writer {
    std::string path;
    const sl_dicom_subject *subject;
    sl_dicom_image *image;
    sl_dicom_facts facts = {};
    std::vector<uint8_t> samples, coded;
    DcmPixelSequence *sequence = nullptr; /* owned until written */
    DcmPixelItem *table = nullptr;        /* owned by the sequence */
    DcmOffsetList offsets = DcmOffsetList();
    int frames = 0;

    ~sl_dicom_clip_writer() { delete sequence; }
};

namespace
{

sl_status out_of_memory(const char *path, sl_error *error)
{
    return sl_fail(error, SL_MEMORY, "Memory ran out while writing %s. Close other programs and try again.", sl_path_name(path));
}

void put_number(DcmItem *item, const DcmTagKey &tag, double value, const char *format)
{
    char text[32];
    snprintf(text, sizeof text, format, value);
    item->putAndInsertString(tag, text);
}

/* PS3.3 C.8.5.5. */
void put_regions(DcmDataset *dataset, const sl_dicom_image *image)
{
    for (int i = 0; i < image->regions; i++) {
        const sl_clip_region *region = &image->region[i];
        DcmItem *item = nullptr;
        if (dataset->findOrCreateSequenceItem(DCM_SequenceOfUltrasoundRegions, item, -2).bad())
            return;
        item->putAndInsertUint16(DCM_RegionSpatialFormat, static_cast<Uint16>(region->spatial_format));
        item->putAndInsertUint16(DCM_RegionDataType, static_cast<Uint16>(region->data_type));
        item->putAndInsertUint32(DCM_RegionFlags, 0);
        item->putAndInsertUint32(DCM_RegionLocationMinX0, static_cast<Uint32>(region->x0));
        item->putAndInsertUint32(DCM_RegionLocationMinY0, static_cast<Uint32>(region->y0));
        item->putAndInsertUint32(DCM_RegionLocationMaxX1, static_cast<Uint32>(region->x1));
        item->putAndInsertUint32(DCM_RegionLocationMaxY1, static_cast<Uint32>(region->y1));
        item->putAndInsertSint32(DCM_ReferencePixelX0, region->ref_x);
        item->putAndInsertSint32(DCM_ReferencePixelY0, region->ref_y);
        item->putAndInsertUint16(DCM_PhysicalUnitsXDirection, static_cast<Uint16>(region->unit_x));
        item->putAndInsertUint16(DCM_PhysicalUnitsYDirection, static_cast<Uint16>(region->unit_y));
        item->putAndInsertFloat64(DCM_ReferencePixelPhysicalValueX, 0);
        item->putAndInsertFloat64(DCM_ReferencePixelPhysicalValueY, 0);
        item->putAndInsertFloat64(DCM_PhysicalDeltaX, region->delta_x);
        item->putAndInsertFloat64(DCM_PhysicalDeltaY, region->delta_y);
        if (std::isfinite(image->freq_mhz))
            item->putAndInsertUint32(DCM_TransducerFrequency, static_cast<Uint32>(std::lround(image->freq_mhz * 1000)));
    }
}

/* What it was drawn on (PS3.3 C.7.6.1.1.4). */
void put_source(DcmDataset *dataset, const sl_dicom_instance *source)
{
    DcmItem *item = nullptr;
    dataset->putAndInsertString(DCM_DerivationDescription, "The program's findings are drawn on each frame, with the caution below it");
    if (dataset->findOrCreateSequenceItem(DCM_SourceImageSequence, item, -2).bad())
        return;
    item->putAndInsertString(DCM_ReferencedSOPClassUID, source->class_uid);
    item->putAndInsertString(DCM_ReferencedSOPInstanceUID, source->uid);
}

void put_image(DcmDataset *dataset, const sl_dicom_clip_writer *writer)
{
    const sl_dicom_image *image = writer->image;
    const sl_dicom_subject *subject = writer->subject;
    dataset->putAndInsertString(DCM_InstanceNumber, std::to_string(image->number).c_str());
    dataset->putAndInsertString(DCM_ContentDate, *image->content_date ? image->content_date : subject->study_date);
    dataset->putAndInsertString(DCM_ContentTime, *subject->study_time ? subject->study_time : "000000");
    dataset->putAndInsertString(DCM_ImageType, image->drawn_on ? "DERIVED\\SECONDARY\\CHEST\\0001" : "DERIVED\\PRIMARY\\CHEST\\0001"); /* C.8.5.6.1.1: 2D */
    if (image->drawn_on)
        put_source(dataset, image->drawn_on);
    dataset->putAndInsertString(DCM_PatientOrientation, "");
    dataset->putAndInsertString(DCM_Laterality, "");
    dataset->putAndInsertString(DCM_LossyImageCompression, image->lossy ? "01" : "00");
    dataset->putAndInsertUint16(DCM_SamplesPerPixel, image->drawn_on ? 3 : 1);
    dataset->putAndInsertString(DCM_PhotometricInterpretation, image->drawn_on ? "RGB" : "MONOCHROME2");
    if (image->drawn_on)
        dataset->putAndInsertUint16(DCM_PlanarConfiguration, 0);
    dataset->putAndInsertString(DCM_NumberOfFrames, std::to_string(writer->frames).c_str());
    dataset->putAndInsertUint16(DCM_Rows, static_cast<Uint16>(image->height));
    dataset->putAndInsertUint16(DCM_Columns, static_cast<Uint16>(image->width));
    dataset->putAndInsertUint16(DCM_BitsAllocated, 8);
    dataset->putAndInsertUint16(DCM_BitsStored, 8);
    dataset->putAndInsertUint16(DCM_HighBit, 7);
    dataset->putAndInsertUint16(DCM_PixelRepresentation, 0);
    dataset->putAndInsertUint16(DCM_UltrasoundColorDataPresent, 0);
    dataset->putAndInsertTagKey(DCM_FrameIncrementPointer, DCM_FrameTime);
    put_number(dataset, DCM_FrameTime, std::isfinite(image->frame_time_s) ? image->frame_time_s * 1000 : 0, "%.6g");
    if (*image->transducer)
        dataset->putAndInsertString(DCM_TransducerType, image->transducer);
    if (std::isfinite(image->depth_mm))
        put_number(dataset, DCM_DepthOfScanField, std::round(image->depth_mm), "%.0f");
    put_regions(dataset, image);
}

} /* namespace */

extern "C" sl_status sl_dicom_clip_open(const char *path, const sl_dicom_subject *subject, sl_dicom_image *image,
                                        sl_dicom_clip_writer **result, sl_error *error)
{
    *result = nullptr;
    if (image->width < 1 || image->height < 1 || image->width > SL_CLIP_MOST_SIDE || image->height > SL_CLIP_MOST_SIDE)
        return sl_fail(error, SL_LIMIT, "%s cannot be written: %d x %d pixels are outside 1 to %d a side.",
                       sl_path_name(path), image->width, image->height, SL_CLIP_MOST_SIDE);
    try {
        sl_dicom_clip_writer *writer = new sl_dicom_clip_writer;
        *result = writer;
        writer->path = path;
        writer->subject = subject;
        writer->image = image;
        writer->facts.width = image->width;
        writer->facts.height = image->height;
        writer->facts.samples = image->drawn_on ? 3 : 1;
        writer->facts.bits_allocated = 8;
        writer->samples.resize(static_cast<size_t>(image->width) * static_cast<size_t>(image->height) * static_cast<size_t>(writer->facts.samples));
        writer->coded.resize(sl_rle_room(&writer->facts));
        writer->sequence = new DcmPixelSequence(DcmTag(DCM_PixelData, EVR_OB));
        writer->table = new DcmPixelItem(DcmTag(DCM_Item, EVR_OB));
        writer->sequence->insert(writer->table);
        return SL_OK;
    } catch (const std::exception &) {
        sl_error ignored;
        sl_dicom_clip_close(result, false, &ignored);
        return out_of_memory(path, error);
    }
}

static sl_status add_frame(sl_dicom_clip_writer *writer, sl_error *error)
{
    size_t length = sl_rle_frame(&writer->facts, writer->samples.data(), writer->coded.data());
    OFCondition done = writer->sequence->storeCompressedFrame(writer->offsets, writer->coded.data(),
                                                              static_cast<Uint32>(length), 0);
    writer->frames += done.good();
    return done.good() ? SL_OK : out_of_memory(writer->path.c_str(), error);
}

extern "C" sl_status sl_dicom_clip_gray(sl_dicom_clip_writer *writer, sl_gray frame, sl_error *error)
{
    if (frame.width != writer->image->width || frame.height != writer->image->height)
        return sl_fail(error, SL_USAGE, "%s: a frame of %d x %d does not fit a clip of %d x %d.",
                       sl_path_name(writer->path.c_str()), frame.width, frame.height, writer->image->width,
                       writer->image->height);
    for (int y = 0; y < frame.height; y++)
        memcpy(writer->samples.data() + static_cast<size_t>(y) * static_cast<size_t>(frame.width),
               frame.pixel + static_cast<long>(y) * frame.stride, static_cast<size_t>(frame.width));
    return add_frame(writer, error);
}

extern "C" sl_status sl_dicom_clip_rgb(sl_dicom_clip_writer *writer, const uint8_t *rgb, sl_error *error)
{
    memcpy(writer->samples.data(), rgb, writer->samples.size());
    return add_frame(writer, error);
}

static sl_status write_clip(sl_dicom_clip_writer *writer, sl_error *error)
{
    sl_dicom_image *image = writer->image;
    if (!writer->frames)
        return sl_fail(error, SL_USAGE, "%s was not written: no frame was given.", sl_path_name(writer->path.c_str()));
    snprintf(image->instance.class_uid, SL_DICOM_UID, "%s", UID_UltrasoundMultiframeImageStorage);
    snprintf(image->instance.study_uid, SL_DICOM_UID, "%s", writer->subject->study_uid);
    image->instance.frames = writer->frames;
    if (writer->table->createOffsetTable(writer->offsets).bad())
        return out_of_memory(writer->path.c_str(), error);
    DcmDataset *dataset = new DcmDataset;
    sl_dicom_common(dataset, writer->subject, image->instance.class_uid, image->instance.uid, image->instance.series_uid,
                    "US", image->description, 1);
    put_image(dataset, writer);
    DcmPixelData *pixels = new DcmPixelData(DcmTag(DCM_PixelData, EVR_OB));
    pixels->putOriginalRepresentation(EXS_RLELossless, nullptr, writer->sequence);
    writer->sequence = nullptr;
    dataset->insert(pixels, OFTrue);
    return sl_dicom_write(dataset, writer->path.c_str(), EXS_RLELossless, error);
}

extern "C" sl_status sl_dicom_clip_close(sl_dicom_clip_writer **writer, bool write, sl_error *error)
{
    sl_status status = SL_OK;
    if (!writer || !*writer)
        return status;
    try {
        if (write)
            status = write_clip(*writer, error);
    } catch (const std::exception &) {
        status = out_of_memory((*writer)->path.c_str(), error);
    }
    delete *writer;
    *writer = nullptr;
    return status;
}

/* PS3.3 A.45.1, C.24.2. */
extern "C" sl_status sl_dicom_pdf(const char *path, const sl_dicom_subject *subject, const char *title, const void *pdf,
                                  size_t length, const sl_secret *secret, sl_error *error)
{
    try {
        char uid[SL_DICOM_UID], series[SL_DICOM_UID];
        std::string content(static_cast<const char *>(pdf), length);
        std::string named = subject->study_uid; /* all of it, written in letters: a zero byte would end what the identifier is made of */
        for (const unsigned char byte : content) {
            named += static_cast<char>('a' + (byte >> 4));
            named += static_cast<char>('a' + (byte & 15));
        }
        sl_dicom_uid_for(secret, "pdf", named.c_str(), uid);
        sl_dicom_uid_for(secret, "pdf series", subject->study_uid, series);
        DcmDataset *dataset = new DcmDataset;
        sl_dicom_common(dataset, subject, UID_EncapsulatedPDFStorage, uid, series, "DOC", title, 901);
        dataset->putAndInsertString(DCM_ConversionType, "WSD");
        dataset->putAndInsertString(DCM_InstanceNumber, "1");
        dataset->putAndInsertString(DCM_ContentDate, subject->study_date);
        dataset->putAndInsertString(DCM_ContentTime, subject->study_time);
        dataset->putAndInsertString(DCM_AcquisitionDateTime, "");
        dataset->putAndInsertString(DCM_BurnedInAnnotation, "YES");
        dataset->putAndInsertString(DCM_DocumentTitle, title);
        dataset->putAndInsertString(DCM_MIMETypeOfEncapsulatedDocument, "application/pdf");
        DcmItem *concept = nullptr;
        if (dataset->findOrCreateSequenceItem(DCM_ConceptNameCodeSequence, concept, -2).good())
            sl_dicom_put_code(concept, "18748-4", "LN", "Diagnostic imaging study");
        dataset->putAndInsertUint32(DCM_EncapsulatedDocumentLength, static_cast<Uint32>(length));
        content.resize(length + (length & 1), '\0');
        dataset->putAndInsertUint8Array(DCM_EncapsulatedDocument, reinterpret_cast<const Uint8 *>(content.data()),
                                        content.size());
        return sl_dicom_write(dataset, path, EXS_LittleEndianExplicit, error);
    } catch (const std::exception &) {
        return out_of_memory(path, error);
    }
}
