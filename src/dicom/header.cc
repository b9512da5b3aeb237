#include <dcmtk/config/osconfig.h>

#include "dicom/header.h"
#include "dicom/load.h"

#include <cmath>
#include <cstring>

namespace
{

/* Rates outside this are mistakes of the file, as for videos (clip/video.c). */
const double least_rate_hz = 0.5, most_rate_hz = 1000;

double number(DcmItem *item, const DcmTagKey &tag, double otherwise)
{
    Float64 value;
    Sint32 whole;
    if (item->findAndGetFloat64(tag, value).good())
        return std::isfinite(value) ? value : otherwise;
    return item->findAndGetSint32(tag, whole).good() ? whole : otherwise; /* IS */
}

/* Binary integers of any kind. */
long integer(DcmItem *item, const DcmTagKey &tag, long otherwise)
{
    Uint16 small;
    Uint32 large;
    Sint32 with_sign;
    if (item->findAndGetUint16(tag, small).good())
        return small;
    if (item->findAndGetUint32(tag, large).good())
        return static_cast<long>(large);
    if (item->findAndGetSint32(tag, with_sign).good())
        return with_sign;
    return otherwise;
}

/* Text without outer blanks, backslashes of several values shown as commas. */
void text(DcmItem *item, const DcmTagKey &tag, char *to, size_t room)
{
    OFString value;
    if (item->findAndGetOFStringArray(tag, value).bad())
        return;
    size_t at = 0;
    for (size_t i = 0; i < value.length() && at + 1 < room; i++) {
        unsigned char letter = static_cast<unsigned char>(value[i]);
        if (letter < 32 || (at == 0 && letter == ' '))
            continue;
        to[at++] = letter == '\\' ? ',' : static_cast<char>(letter);
    }
    while (at > 0 && to[at - 1] == ' ')
        at--;
    to[at] = 0;
}

/* Meaning of the first code of a sequence, where the plain attribute is silent. */
void code_meaning(DcmItem *item, const DcmTagKey &sequence, char *to, size_t room)
{
    DcmItem *code = nullptr;
    if (!*to && item->findAndGetSequenceItem(sequence, code, 0).good() && code)
        text(code, DCM_CodeMeaning, to, room);
}

sl_dicom_coding coding_of(E_TransferSyntax syntax, bool *known)
{
    *known = true;
    switch (syntax) {
    case EXS_LittleEndianImplicit:
    case EXS_LittleEndianExplicit:
    case EXS_BigEndianImplicit:
    case EXS_BigEndianExplicit:
    case EXS_DeflatedLittleEndianExplicit:
        return SL_DICOM_NATIVE;
    case EXS_JPEGProcess1:
    case EXS_JPEGProcess2_4:
    case EXS_JPEGProcess6_8:
    case EXS_JPEGProcess10_12:
        return SL_DICOM_JPEG;
    case EXS_JPEGProcess14:
    case EXS_JPEGProcess14SV1:
    case EXS_JPEGLSLossless:
    case EXS_JPEGLSLossy:
    case EXS_RLELossless:
        return SL_DICOM_TOOLKIT;
    case EXS_JPEG2000LosslessOnly:
    case EXS_JPEG2000:
        return SL_DICOM_JPEG2000;
    case EXS_MPEG2MainProfileAtMainLevel:
    case EXS_MPEG2MainProfileAtHighLevel:
    case EXS_MPEG4HighProfileLevel4_1:
    case EXS_MPEG4BDcompatibleHighProfileLevel4_1:
    case EXS_MPEG4HighProfileLevel4_2_For2DVideo:
    case EXS_MPEG4HighProfileLevel4_2_For3DVideo:
    case EXS_MPEG4StereoHighProfileLevel4_2:
    case EXS_HEVCMainProfileLevel5_1:
    case EXS_HEVCMain10ProfileLevel5_1:
        return SL_DICOM_VIDEO;
    default:
        *known = false;
        return SL_DICOM_NATIVE;
    }
}

void read_palette(DcmItem *item, sl_dicom_palette *to, sl_dicom_store *store)
{
    sl_dicom_palette read = {}, *palette = &read; /* taken over only when all three channels are there */
    static const DcmTagKey shape[3] = {DCM_RedPaletteColorLookupTableDescriptor,
                                       DCM_GreenPaletteColorLookupTableDescriptor,
                                       DCM_BluePaletteColorLookupTableDescriptor};
    static const DcmTagKey data[3] = {DCM_RedPaletteColorLookupTableData, DCM_GreenPaletteColorLookupTableData,
                                      DCM_BluePaletteColorLookupTableData};
    for (int i = 0; i < 3; i++) {
        Uint16 entries, first, bits;
        const Uint16 *words = nullptr;
        unsigned long count = 0;
        if (item->findAndGetUint16(shape[i], entries, 0).bad() || item->findAndGetUint16(shape[i], first, 1).bad() ||
            item->findAndGetUint16(shape[i], bits, 2).bad() || bits < 8 || bits > 16 ||
            item->findAndGetUint16Array(data[i], words, &count).bad() || !words)
            return;
        unsigned long wanted = entries ? entries : 65536; /* PS3.3 C.7.6.3.1.5 */
        bool bytes = count < wanted && 2 * count >= wanted; /* 8-bit entries, two a word */
        store->palette[i].resize(wanted, 0);
        for (unsigned long k = 0; k < wanted && (bytes ? k / 2 : k) < count; k++)
            store->palette[i][k] = bytes ? (k & 1 ? words[k / 2] >> 8 : words[k / 2] & 0xff) : words[k];
        palette->channel[i] = store->palette[i].data();
        palette->entries = i && palette->entries < static_cast<int>(wanted) ? palette->entries : static_cast<int>(wanted);
        palette->first = first;
        palette->bits = bytes ? 8 : bits;
    }
    /* 8 bits written as 16 that hold 8: seen where entries never pass 255 */
    bool small = palette->bits == 16;
    for (int i = 0; small && i < 3; i++)
        for (uint16_t entry : store->palette[i])
            small = small && entry < 256;
    if (small)
        palette->bits = 8;
    *to = read;
}

/* PS3.3 C.7.6.5: the pointer says which attribute rules; without one, whichever is there. */
void read_times(DcmItem *item, sl_dicom_facts *facts, sl_dicom_store *store)
{
    for (int i = 0; i < facts->frames; i++) {
        Float64 ms;
        if (item->findAndGetFloat64(DCM_FrameTimeVector, ms, static_cast<unsigned long>(i)).bad() || !(ms >= 0))
            break;
        store->increment_s.push_back(i ? ms / 1000 : 0);
    }
    double sum = 0;
    for (double increment : store->increment_s)
        sum += increment;
    if (store->increment_s.size() == static_cast<size_t>(facts->frames) && facts->frames > 1 && sum > 0) {
        facts->increment_s = store->increment_s.data();
        facts->frame_time_s = sum / (facts->frames - 1);
    }
    double ms = number(item, DCM_FrameTime, NAN);
    if (std::isnan(facts->frame_time_s) && ms > 0)
        facts->frame_time_s = ms / 1000;
    static const DcmTagKey rates[] = {DCM_CineRate, DCM_RecommendedDisplayFrameRate};
    for (const DcmTagKey &tag : rates) {
        double hz = number(item, tag, NAN);
        if (std::isnan(facts->frame_time_s) && hz > 0)
            facts->frame_time_s = 1 / hz;
    }
    if (!(facts->frame_time_s >= 1 / most_rate_hz && facts->frame_time_s <= 1 / least_rate_hz)) {
        facts->frame_time_s = NAN;
        facts->increment_s = nullptr;
    }
    facts->acquisition.frame_rate_hz = 1 / facts->frame_time_s;
}

void read_regions(DcmItem *item, sl_dicom_facts *facts)
{
    DcmItem *entry = nullptr;
    for (long i = 0; facts->regions < SL_CLIP_MOST_REGIONS &&
                     item->findAndGetSequenceItem(DCM_SequenceOfUltrasoundRegions, entry, i).good() && entry;
         i++) {
        sl_clip_region *region = &facts->region[facts->regions];
        region->x0 = static_cast<int>(integer(entry, DCM_RegionLocationMinX0, -1));
        region->y0 = static_cast<int>(integer(entry, DCM_RegionLocationMinY0, -1));
        region->x1 = static_cast<int>(integer(entry, DCM_RegionLocationMaxX1, -1));
        region->y1 = static_cast<int>(integer(entry, DCM_RegionLocationMaxY1, -1));
        region->spatial_format = static_cast<int>(integer(entry, DCM_RegionSpatialFormat, 0));
        region->data_type = static_cast<int>(integer(entry, DCM_RegionDataType, 0));
        region->unit_x = static_cast<int>(integer(entry, DCM_PhysicalUnitsXDirection, 0));
        region->unit_y = static_cast<int>(integer(entry, DCM_PhysicalUnitsYDirection, 0));
        region->delta_x = number(entry, DCM_PhysicalDeltaX, NAN);
        region->delta_y = number(entry, DCM_PhysicalDeltaY, NAN);
        region->ref_x = static_cast<int>(integer(entry, DCM_ReferencePixelX0, 0));
        region->ref_y = static_cast<int>(integer(entry, DCM_ReferencePixelY0, 0));
        double khz = number(entry, DCM_TransducerFrequency, NAN);
        if (std::isnan(khz))
            khz = static_cast<double>(integer(entry, DCM_TransducerFrequency, 0));
        if (std::isnan(facts->acquisition.freq_mhz) && khz > 0)
            facts->acquisition.freq_mhz = khz / 1000;
        bool inside = region->x0 >= 0 && region->y0 >= 0 && region->x1 > region->x0 && region->y1 > region->y0 &&
                      region->x1 <= facts->width && region->y1 <= facts->height;
        if (!inside)
            continue; /* a region outside the picture tells nothing */
        region->x1 = region->x1 < facts->width ? region->x1 : facts->width - 1; /* some count to one behind */
        region->y1 = region->y1 < facts->height ? region->y1 : facts->height - 1;
        facts->regions++;
    }
}

void read_acquisition(DcmItem *item, sl_dicom_facts *facts)
{
    sl_acquisition *how = &facts->acquisition;
    how->depth_mm = number(item, DCM_DepthOfScanField, NAN);
    how->focus_mm = number(item, DCM_FocusDepth, NAN);
    how->mechanical_index = number(item, DCM_MechanicalIndex, NAN);
    static const DcmTagKey thermal[] = {DCM_SoftTissueThermalIndex, DCM_BoneThermalIndex, DCM_CranialThermalIndex};
    for (const DcmTagKey &tag : thermal)
        if (std::isnan(how->thermal_index))
            how->thermal_index = number(item, tag, NAN);
    if (!(how->depth_mm > 0))
        how->depth_mm = NAN;
    if (!(how->focus_mm > 0))
        how->focus_mm = NAN;
    text(item, DCM_TransducerData, how->transducer, sizeof how->transducer);
    if (!*how->transducer)
        text(item, DCM_TransducerType, how->transducer, sizeof how->transducer);
    text(item, DCM_BodyPartExamined, how->body_part, sizeof how->body_part);
    code_meaning(item, DCM_AnatomicRegionSequence, how->body_part, sizeof how->body_part);
    text(item, DCM_ImageLaterality, how->laterality, sizeof how->laterality);
    if (!*how->laterality)
        text(item, DCM_Laterality, how->laterality, sizeof how->laterality);
    text(item, DCM_ProcessingFunction, how->processing, sizeof how->processing);
    text(item, DCM_ViewName, how->view_name, sizeof how->view_name);
    code_meaning(item, DCM_ViewCodeSequence, how->view_name, sizeof how->view_name);
}

void everything_unknown(sl_dicom_facts *facts)
{
    sl_acquisition *how = &facts->acquisition;
    how->depth_mm = how->focus_mm = how->freq_mhz = how->mechanical_index = how->thermal_index = how->gain_db =
        how->frame_rate_hz = facts->frame_time_s = facts->window_center = facts->window_width = NAN;
}

sl_status check_shape(const sl_dicom_facts *facts, const char *name, sl_error *error)
{
    if (facts->width < 1 || facts->height < 1 || facts->frames < 1)
        return sl_fail(error, SL_FORMAT, "%s is a DICOM object without pictures. Name the files with the clips.", name);
    if (facts->width > SL_CLIP_MOST_SIDE || facts->height > SL_CLIP_MOST_SIDE)
        return sl_fail(error, SL_LIMIT,
                       "%s has pictures of %d x %d pixels; more than %d a side are not read. Export it at a smaller size.",
                       name, facts->width, facts->height, SL_CLIP_MOST_SIDE);
    bool bits = (facts->bits_allocated == 8 || facts->bits_allocated == 16) && facts->bits_stored >= 1 &&
                facts->bits_stored <= facts->bits_allocated && facts->high_bit < facts->bits_allocated &&
                facts->high_bit + 1 >= facts->bits_stored;
    if (!bits || (facts->samples != 1 && facts->samples != 3))
        return sl_fail(error, SL_UNSUPPORTED,
                       "%s stores pixels of %d samples of %d in %d bits, which are not read. Export it as plain ultrasound.",
                       name, facts->samples, facts->bits_stored, facts->bits_allocated);
    return SL_OK;
}

} /* namespace */

sl_status sl_dicom_read_header(DcmFileFormat &format, const char *name, sl_dicom_facts *facts, sl_dicom_store *store,
                               sl_error *error)
{
    DcmDataset *item = format.getDataset();
    DcmXfer syntax(item->getOriginalXfer());
    bool known;
    everything_unknown(facts);
    OFString own = sl_dicom_own_syntax(format);
    snprintf(facts->syntax, sizeof facts->syntax, "%s", !own.empty() ? own.c_str() : syntax.getXferID() ? syntax.getXferID() : "");
    facts->coding = coding_of(item->getOriginalXfer(), &known);
    if (!known)
        return sl_fail(error, SL_UNSUPPORTED, "%s is coded as %s, which is not read. Export it uncompressed or as JPEG.",
                       name, syntax.getXferName());
    facts->width = static_cast<int>(integer(item, DCM_Columns, 0));
    facts->height = static_cast<int>(integer(item, DCM_Rows, 0));
    double frames = number(item, DCM_NumberOfFrames, 1);
    facts->frames = frames < 1 ? 1 : frames > SL_CLIP_MOST_FRAMES ? SL_CLIP_MOST_FRAMES : static_cast<int>(frames);
    facts->samples = static_cast<int>(integer(item, DCM_SamplesPerPixel, 1));
    facts->by_plane = integer(item, DCM_PlanarConfiguration, 0) == 1 && facts->coding != SL_DICOM_JPEG2000;
    facts->bits_allocated = static_cast<int>(integer(item, DCM_BitsAllocated, 8));
    facts->bits_stored = static_cast<int>(integer(item, DCM_BitsStored, facts->bits_allocated));
    facts->high_bit = static_cast<int>(integer(item, DCM_HighBit, facts->bits_stored - 1));
    facts->is_signed = integer(item, DCM_PixelRepresentation, 0) == 1;
    text(item, DCM_PhotometricInterpretation, facts->photometric, sizeof facts->photometric);
    facts->slope = number(item, DCM_RescaleSlope, 1);
    facts->intercept = number(item, DCM_RescaleIntercept, 0);
    facts->window_center = number(item, DCM_WindowCenter, NAN);
    facts->window_width = number(item, DCM_WindowWidth, NAN);
    Sint32 tall, wide; /* "height\width" of a pixel, PS3.3 C.7.6.3.1.7 */
    facts->pixel_aspect = 1;
    if (item->findAndGetSint32(DCM_PixelAspectRatio, tall, 0).good() &&
        item->findAndGetSint32(DCM_PixelAspectRatio, wide, 1).good() && tall > 0 && wide > 0)
        facts->pixel_aspect = static_cast<double>(wide) / tall;
    sl_status status = check_shape(facts, name, error);
    if (status)
        return status;
    if (!strcmp(facts->photometric, "PALETTE COLOR"))
        read_palette(item, &facts->palette, store);
    read_acquisition(item, facts);
    read_regions(item, facts);
    read_times(item, facts, store);
    return SL_OK;
}
