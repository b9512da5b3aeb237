#include "dicom/jpeg_mask.h"

#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

#include <jerror.h>

typedef struct failing {
    struct jpeg_error_mgr manager; /* first, so that the library's pointer is ours */
    jmp_buf back;
    bool memory;
} failing;

static void fail(j_common_ptr info)
{
    failing *own = (failing *)(void *)info->err;
    own->memory = own->manager.msg_code == JERR_OUT_OF_MEMORY;
    longjmp(own->back, 1);
}

static void say_nothing(j_common_ptr info)
{
    (void)info;
}

/* Blocks of one component under one box: the mean of a black block, no detail. */
static void blacken_blocks(struct jpeg_decompress_struct *in, jvirt_barray_ptr blocks, int component, const sl_box *box,
                           bool rgb)
{
    const jpeg_component_info *own = &in->comp_info[component];
    JDIMENSION scale_x = (JDIMENSION)(8 * in->max_h_samp_factor), scale_y = (JDIMENSION)(8 * in->max_v_samp_factor);
    JDIMENSION x0 = (JDIMENSION)box->x0 * (JDIMENSION)own->h_samp_factor / scale_x,
               x1 = (JDIMENSION)box->x1 * (JDIMENSION)own->h_samp_factor / scale_x,
               y0 = (JDIMENSION)box->y0 * (JDIMENSION)own->v_samp_factor / scale_y,
               y1 = (JDIMENSION)box->y1 * (JDIMENSION)own->v_samp_factor / scale_y;
    int step = own->quant_table ? own->quant_table->quantval[0] : 1;
    bool grey = component > 0 && !rgb;
    JCOEF black = (JCOEF)(grey ? 0 : -((1024 + step - 1) / (step ? step : 1))); /* DC / 8 + 128 = level, T.81 A.3.1, A.3.3 */
    for (JDIMENSION y = y0; y <= y1 && y < own->height_in_blocks; y++) {
        JBLOCKARRAY row = in->mem->access_virt_barray((j_common_ptr)in, blocks, y, 1, TRUE);
        for (JDIMENSION x = x0; x <= x1 && x < own->width_in_blocks; x++) {
            memset(row[0][x], 0, sizeof row[0][x]);
            row[0][x][0] = black;
        }
    }
}

static void transcode(struct jpeg_decompress_struct *in, struct jpeg_compress_struct *to, const uint8_t *bytes,
                      size_t length, const sl_boxes *boxes, bool says_rgb, uint8_t **out, unsigned long *out_length)
{
    jpeg_mem_src(in, bytes, (unsigned long)length);
    jpeg_read_header(in, TRUE);
    bool marked = in->saw_JFIF_marker || in->saw_Adobe_marker;
    bool rgb = in->jpeg_color_space == JCS_RGB || (says_rgb && !marked);
    jvirt_barray_ptr *blocks = jpeg_read_coefficients(in);
    for (int c = 0; c < in->num_components; c++)
        for (int i = 0; i < boxes->count; i++)
            blacken_blocks(in, blocks[c], c, &boxes->box[i], rgb);
    jpeg_mem_dest(to, out, out_length);
    jpeg_copy_critical_parameters(in, to);
    to->write_JFIF_header = in->saw_JFIF_marker;
    to->write_Adobe_marker = in->saw_Adobe_marker;
    jpeg_write_coefficients(to, blocks);
    jpeg_finish_compress(to);
    jpeg_finish_decompress(in);
}

sl_status sl_jpeg_mask(const uint8_t *bytes, size_t length, const sl_boxes *boxes, bool says_rgb, uint8_t **out,
                       size_t *out_length)
{
    struct jpeg_decompress_struct in;
    struct jpeg_compress_struct to;
    failing trouble = {.memory = false};
    unsigned char *volatile made = NULL;
    unsigned char *target = NULL;
    unsigned long size = 0;
    in.err = to.err = jpeg_std_error(&trouble.manager);
    trouble.manager.error_exit = fail;
    trouble.manager.output_message = say_nothing;
    jpeg_create_decompress(&in);
    jpeg_create_compress(&to);
    sl_status status = SL_OK;
    if (setjmp(trouble.back))
        status = trouble.memory ? SL_MEMORY : SL_UNSUPPORTED;
    else
        transcode(&in, &to, bytes, length, boxes, says_rgb, &target, &size);
    made = target;
    jpeg_destroy_compress(&to);
    jpeg_destroy_decompress(&in);
    if (status) {
        free(made);
        return status;
    }
    *out = made;
    *out_length = size;
    return SL_OK;
}

static bool keeps(const uint8_t *segment, size_t size)
{
    uint8_t kind = segment[1];
    if (kind == 0xfe || kind == 0x64)
        return false; /* comments of JPEG and of JPEG 2000 */
    if (kind < 0xe0 || kind > 0xef)
        return true;
    return (kind == 0xe0 && size >= 16 && !memcmp(segment + 4, "JFIF", 4)) ||
           (kind == 0xee && size >= 9 && !memcmp(segment + 4, "Adobe", 5));
}

/* The end of the picture: behind the last end marker, so that nothing can hide after it. */
static size_t end_of(const uint8_t *bytes, size_t length)
{
    for (size_t at = length; at >= 2; at--)
        if (bytes[at - 2] == 0xff && bytes[at - 1] == 0xd9)
            return at;
    return length;
}

size_t sl_jpeg_strip(const uint8_t *bytes, size_t length, uint8_t *out)
{
    if (length < 4 || bytes[0] != 0xff || (bytes[1] != 0xd8 && bytes[1] != 0x4f))
        return 0;
    bool is_2000 = bytes[1] == 0x4f;
    size_t at = 2, to = 2;
    memcpy(out, bytes, 2);
    while (at + 4 <= length && bytes[at] == 0xff) {
        uint8_t kind = bytes[at + 1];
        size_t size = 2 + ((size_t)bytes[at + 2] << 8 | bytes[at + 3]);
        if (kind == 0xff) { /* fill */
            at++;
            continue;
        }
        if (kind == (is_2000 ? 0x90 : 0xda) || size < 4 || size > length - at)
            break;
        if (keeps(bytes + at, size)) {
            bool thumbnail = !is_2000 && kind == 0xe0 && size > 18;
            size_t kept = thumbnail ? 18 : size;
            memcpy(out + to, bytes + at, kept);
            if (thumbnail) {
                out[to + 2] = 0;
                out[to + 3] = 16;
                out[to + 16] = out[to + 17] = 0;
            }
            to += kept;
        }
        at += size;
    }
    size_t end = end_of(bytes, length);
    if (end > at) {
        memcpy(out + to, bytes + at, end - at);
        to += end - at;
    }
    return to;
}
