#define _GNU_SOURCE /* memmem */
#include "dicom/jpeg2000.h"

#include <openjpeg.h>
#include <string.h>

typedef struct memory {
    const uint8_t *bytes;
    size_t length, at;
} memory;

static OPJ_SIZE_T read_memory(void *to, OPJ_SIZE_T room, void *opaque)
{
    memory *from = opaque;
    size_t left = from->length - from->at, count = room < left ? room : left;
    if (!count)
        return (OPJ_SIZE_T)-1;
    memcpy(to, from->bytes + from->at, count);
    from->at += count;
    return count;
}

static OPJ_OFF_T skip_memory(OPJ_OFF_T count, void *opaque)
{
    memory *from = opaque;
    if (count < 0 || (size_t)count > from->length - from->at)
        return -1;
    from->at += (size_t)count;
    return count;
}

static OPJ_BOOL seek_memory(OPJ_OFF_T to, void *opaque)
{
    memory *from = opaque;
    if (to < 0 || (size_t)to > from->length)
        return OPJ_FALSE;
    from->at = (size_t)to;
    return OPJ_TRUE;
}

static void say_nothing(const char *message, void *opaque)
{
    (void)message;
    (void)opaque;
}

/* Checked before decoding, so that a lying header asks for no more memory than the file's own. */
static sl_status check_shape(const sl_dicom_facts *facts, const opj_image_t *image)
{
    if ((int)image->numcomps < facts->samples || image->x1 - image->x0 != (OPJ_UINT32)facts->width ||
        image->y1 - image->y0 != (OPJ_UINT32)facts->height)
        return SL_FORMAT;
    for (int c = 0; c < facts->samples; c++)
        if (image->comps[c].dx != 1 || image->comps[c].dy != 1 || image->comps[c].prec > (OPJ_UINT32)facts->bits_allocated)
            return SL_UNSUPPORTED;
    return SL_OK;
}

enum { MOST_PRECINCTS = 1 << 20, MOST_PACKETS = 1 << 25, MOST_LOST = 64 /* times longer than what is left of it */ };

static size_t word(const uint8_t *bytes)
{
    return (size_t)bytes[0] << 8 | bytes[1];
}

/* Smallest exponent of the precinct sizes from `at` on, two a byte (ITU-T T.800 table A.21). */
static int least_exponent(const uint8_t *at, const uint8_t *end, int least)
{
    for (; at < end; at++) {
        int wide = *at & 15, high = *at >> 4;
        least = wide < least ? wide : least;
        least = high < least ? high : least;
    }
    return least;
}

/* The decoder keeps a note for each packet (layers x precincts) before it reads any, so a file of a few kB could ask for
 * gigabytes. Here the coding styles of the main and the tile-part headers are looked at first (T.800 A.4 to A.6). */
static bool affordable(const sl_dicom_facts *facts, const uint8_t *bytes, size_t length)
{
    static const uint8_t start[4] = {0xff, 0x4f, 0xff, 0x51};
    const uint8_t *begin = memmem(bytes, length, start, sizeof start), *end = bytes + length;
    size_t layers = 1, levels = 0;
    int least = 15;
    for (const uint8_t *at = begin ? begin + 2 : end, *part = NULL, *part_end = end; end - at >= 4;) {
        size_t marker = word(at), size = word(at + 2);
        if (marker == 0xff93) { /* the packets of a tile part */
            if (!part || part_end <= at)
                break;
            at = part_end;
            continue;
        }
        if (marker < 0xff00 || size < 2 || size + 2 > (size_t)(end - at))
            break;
        if (marker == 0xff90 && size >= 10) { /* SOT */
            size_t whole = word(at + 6) << 16 | word(at + 8);
            if (whole / MOST_LOST > length) /* the decoder takes as much memory as a tile part says it is long */
                return false;
            part = at;
            part_end = whole && whole < (size_t)(end - at) ? at + whole : end;
        }
        bool all = marker == 0xff52 && size >= 12, one = marker == 0xff53 && size >= 9; /* COD, COC */
        if (all && word(at + 6) > layers)
            layers = word(at + 6);
        if (all || one) {
            size_t own = at[all ? 9 : 6];
            levels = own > levels ? own : levels;
            if (at[all ? 4 : 5] & 1)
                least = least_exponent(at + (all ? 14 : 11), at + 2 + size, least);
        }
        at += 2 + size;
    }
    size_t precincts = (((size_t)facts->width >> least) + 1) * (((size_t)facts->height >> least) + 1) *
                       (size_t)facts->samples * (levels + 1);
    return precincts <= MOST_PRECINCTS && layers * precincts <= MOST_PACKETS;
}

static sl_status copy_samples(const sl_dicom_facts *facts, const opj_image_t *image, uint8_t *samples)
{
    size_t count = (size_t)facts->width * (size_t)facts->height, step = (size_t)facts->samples;
    uint16_t *words = (uint16_t *)(void *)samples;
    for (size_t c = 0; c < step; c++) {
        const OPJ_INT32 *in = image->comps[c].data;
        if (!in || image->comps[c].w != (OPJ_UINT32)facts->width || image->comps[c].h != (OPJ_UINT32)facts->height)
            return SL_FORMAT;
        if (facts->bits_allocated == 8)
            for (size_t i = 0; i < count; i++)
                samples[i * step + c] = (uint8_t)in[i];
        else
            for (size_t i = 0; i < count; i++)
                words[i * step + c] = (uint16_t)in[i];
    }
    return SL_OK;
}

static sl_status decode(opj_codec_t *codec, opj_stream_t *stream, const sl_dicom_facts *facts, bool strict,
                        uint8_t *samples)
{
    opj_dparameters_t parameters;
    opj_image_t *image = NULL;
    opj_set_default_decoder_parameters(&parameters);
    opj_set_error_handler(codec, say_nothing, NULL);
    opj_set_warning_handler(codec, say_nothing, NULL);
    opj_set_info_handler(codec, say_nothing, NULL);
    if (!opj_setup_decoder(codec, &parameters) || !opj_decoder_set_strict_mode(codec, strict) || !opj_read_header(stream, codec, &image))
        return SL_FORMAT;
    sl_status status = check_shape(facts, image);
    if (!status && !opj_decode(codec, stream, image))
        status = SL_FORMAT;
    if (!status)
        status = copy_samples(facts, image, samples);
    opj_image_destroy(image);
    return status;
}

static sl_status read_picture(const sl_dicom_facts *facts, const uint8_t *bytes, size_t length, bool strict,
                              uint8_t *samples)
{
    /* A bare codestream as PS3.5 A.4.4 wants it, or, as some write, a JP2 file. */
    bool bare = length >= 2 && bytes[0] == 0xff && bytes[1] == 0x4f;
    memory from = {bytes, length, 0};
    opj_codec_t *codec = opj_create_decompress(bare ? OPJ_CODEC_J2K : OPJ_CODEC_JP2);
    opj_stream_t *stream = opj_stream_create(1 << 16, OPJ_TRUE);
    sl_status status = SL_MEMORY;
    if (codec && stream) {
        opj_stream_set_user_data(stream, &from, NULL);
        opj_stream_set_user_data_length(stream, length);
        opj_stream_set_read_function(stream, read_memory);
        opj_stream_set_skip_function(stream, skip_memory);
        opj_stream_set_seek_function(stream, seek_memory);
        status = decode(codec, stream, facts, strict, samples);
    }
    if (stream)
        opj_stream_destroy(stream);
    if (codec)
        opj_destroy_codec(codec);
    return status;
}

sl_status sl_jpeg2000_samples(const sl_dicom_facts *facts, const uint8_t *bytes, size_t length, uint8_t *samples,
                              bool *patched)
{
    *patched = false;
    if (!affordable(facts, bytes, length))
        return SL_FORMAT;
    sl_status status = read_picture(facts, bytes, length, true, samples);
    if (status != SL_FORMAT)
        return status;
    *patched = true;
    return read_picture(facts, bytes, length, false, samples);
}
