#include "clip/save.h"

#include "clip/quiet.h"
#include "core/file.h"
#include "core/text.h"

#include <libavcodec/avcodec.h>

typedef struct pixels {
    enum AVPixelFormat format;
    int width, height, stride;
    const uint8_t *bytes;
} pixels;

static AVCodecContext *open_encoder(const pixels *picture)
{
    sl_ffmpeg_quiet();
    const AVCodec *codec = avcodec_find_encoder(AV_CODEC_ID_PNG);
    AVCodecContext *encoder = codec ? avcodec_alloc_context3(codec) : NULL;
    if (!encoder)
        return NULL;
    encoder->width = picture->width;
    encoder->height = picture->height;
    encoder->pix_fmt = picture->format;
    encoder->time_base = (AVRational){1, 25};
    encoder->flags |= AV_CODEC_FLAG_BITEXACT;
    encoder->thread_count = 1;
    if (avcodec_open2(encoder, codec, NULL) < 0)
        avcodec_free_context(&encoder);
    return encoder;
}

static AVFrame *wrap(const pixels *picture)
{
    AVFrame *frame = av_frame_alloc();
    if (!frame)
        return NULL;
    frame->format = picture->format;
    frame->width = picture->width;
    frame->height = picture->height;
    frame->data[0] = (uint8_t *)(uintptr_t)picture->bytes; /* the encoder only reads */
    frame->linesize[0] = picture->stride;
    return frame;
}

static sl_status save(const char *path, const pixels *picture, sl_error *error)
{
    const char *name = sl_path_name(path);
    if (picture->width < 1 || picture->height < 1 || !picture->bytes)
        return sl_fail(error, SL_USAGE, "%s cannot be written: the picture is empty.", name);
    AVCodecContext *encoder = open_encoder(picture);
    AVFrame *frame = wrap(picture);
    AVPacket *packet = av_packet_alloc();
    sl_status status;
    if (encoder && frame && packet && avcodec_send_frame(encoder, frame) >= 0 &&
        avcodec_receive_packet(encoder, packet) >= 0)
        status = sl_file_write(path, packet->data, (size_t)packet->size, error);
    else
        status = sl_fail(error, SL_MEMORY, "%s cannot be written: the picture of %d x %d could not be coded.", name,
                         picture->width, picture->height);
    av_packet_free(&packet);
    av_frame_free(&frame);
    avcodec_free_context(&encoder);
    return status;
}

sl_status sl_save_png_gray(const char *path, sl_gray picture, sl_error *error)
{
    pixels own = {AV_PIX_FMT_GRAY8, picture.width, picture.height, picture.stride, picture.pixel};
    return save(path, &own, error);
}

sl_status sl_save_png_rgb(const char *path, const uint8_t *rgb, int width, int height, sl_error *error)
{
    pixels own = {AV_PIX_FMT_RGB24, width, height, 3 * width, rgb};
    return save(path, &own, error);
}
