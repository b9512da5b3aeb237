#include "clip/save.h"

#include "clip/clip.h"
#include "clip/palette.h"
#include "clip/quiet.h"
#include "core/text.h"

#include <errno.h>
#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/imgutils.h>
#include <libavutil/opt.h>
#include <libswscale/swscale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

enum {
    CODING_THREADS = 2, /* fixed: the bytes of H.264 depend on it, and must not depend on the machine */
    GIF_MOST_HZ = 50    /* viewers show shorter delays at rates of their own */
};

/* Constant-rate factors of x264 for quality 0 and 1; 16 is commonly called visually lossless. Quantisers of MPEG-4
 * likewise. Common practice, no source. */
static const double worst_crf = 34, best_crf = 16, worst_quantiser = 20, best_quantiser = 2;

struct sl_clip_writer {
    char *path, *part; /* owned; written to `part`, renamed to `path` */
    int width, height; /* as given; the coded size may be one more */
    int64_t frames;
    AVFormatContext *muxer;
    AVCodecContext *encoder;
    AVStream *stream; /* owned by the muxer */
    AVFrame *frame;
    AVPacket *packet;
    struct SwsContext *scaler;
    bool is_gif, failed;
};

static sl_status fail(sl_clip_writer *writer, int code, sl_error *error)
{
    writer->failed = true;
    char cause[AV_ERROR_MAX_STRING_SIZE] = "";
    av_strerror(code, cause, sizeof cause);
    const char *name = sl_path_name(writer->path);
    if (code == AVERROR(ENOMEM))
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing %s. Close other programs and try again.", name);
    return sl_fail(error, SL_IO, "%s could not be written: %s.%s", name, cause,
                   code == AVERROR(ENOSPC)                               ? " Free some space and try again."
                   : code == AVERROR(EACCES) || code == AVERROR(EROFS) ? " Ask for permission to that place or choose another."
                                                                         : " Choose another place.");
}

static void release(sl_clip_writer *writer)
{
    if (writer->muxer && writer->muxer->pb)
        avio_closep(&writer->muxer->pb);
    avformat_free_context(writer->muxer);
    avcodec_free_context(&writer->encoder);
    av_frame_free(&writer->frame);
    av_packet_free(&writer->packet);
    sws_freeContext(writer->scaler);
    free(writer->path);
    free(writer->part);
    free(writer);
}

static const char *container_of(const char *path)
{
    static const char *const known[] = {"mp4", "mov", "avi", "gif"};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (!strcasecmp(sl_path_extension(path), known[i]))
            return known[i];
    return NULL;
}

static int open_encoder(sl_clip_writer *writer, double rate_hz, double quality)
{
    sl_ffmpeg_quiet();
    const AVCodec *codec = writer->is_gif ? avcodec_find_encoder(AV_CODEC_ID_GIF) : avcodec_find_encoder_by_name("libx264");
    if (!codec)
        codec = avcodec_find_encoder(AV_CODEC_ID_MPEG4);
    AVCodecContext *encoder = writer->encoder = codec ? avcodec_alloc_context3(codec) : NULL;
    if (!encoder)
        return codec ? AVERROR(ENOMEM) : AVERROR_ENCODER_NOT_FOUND;
    encoder->width = writer->is_gif ? writer->width : (writer->width + 1) & ~1;
    encoder->height = writer->is_gif ? writer->height : (writer->height + 1) & ~1;
    encoder->pix_fmt = writer->is_gif ? AV_PIX_FMT_PAL8 : AV_PIX_FMT_YUV420P;
    encoder->framerate = av_d2q(rate_hz, 1001000);
    encoder->time_base = writer->is_gif ? (AVRational){1, 100} : av_inv_q(encoder->framerate);
    encoder->sample_aspect_ratio = (AVRational){1, 1};
    encoder->thread_count = CODING_THREADS;
    encoder->flags |= AV_CODEC_FLAG_BITEXACT;
    if (writer->muxer->oformat->flags & AVFMT_GLOBALHEADER)
        encoder->flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
    if (!writer->is_gif) {
        encoder->color_range = AVCOL_RANGE_MPEG; /* what every player takes for granted */
        encoder->colorspace = AVCOL_SPC_SMPTE170M;
    }
    if (codec->id == AV_CODEC_ID_H264) {
        char factor[16];
        snprintf(factor, sizeof factor, "%.2f", worst_crf + quality * (best_crf - worst_crf));
        av_opt_set(encoder->priv_data, "crf", factor, 0);
        av_opt_set(encoder->priv_data, "preset", "veryfast", 0);
        if (!strcmp(writer->muxer->oformat->name, "avi"))
            encoder->max_b_frames = 0; /* AVI keeps no order of display */
    } else if (codec->id == AV_CODEC_ID_MPEG4) {
        encoder->flags |= AV_CODEC_FLAG_QSCALE;
        encoder->global_quality = (int)lround(FF_QP2LAMBDA * (worst_quantiser + quality * (best_quantiser - worst_quantiser)));
    }
    return avcodec_open2(encoder, codec, NULL);
}

static int open_all(sl_clip_writer *writer, const char *container, double rate_hz, double quality)
{
    int result = avformat_alloc_output_context2(&writer->muxer, NULL, container, writer->part);
    if (result < 0)
        return result;
    writer->muxer->flags |= AVFMT_FLAG_BITEXACT;
    if ((result = open_encoder(writer, rate_hz, quality)) < 0)
        return result;
    AVCodecContext *encoder = writer->encoder;
    writer->stream = avformat_new_stream(writer->muxer, NULL);
    writer->frame = av_frame_alloc();
    writer->packet = av_packet_alloc();
    if (!writer->stream || !writer->frame || !writer->packet)
        return AVERROR(ENOMEM);
    writer->stream->time_base = encoder->time_base;
    writer->stream->avg_frame_rate = encoder->framerate;
    if ((result = avcodec_parameters_from_context(writer->stream->codecpar, encoder)) < 0)
        return result;
    writer->frame->format = encoder->pix_fmt;
    writer->frame->width = encoder->width;
    writer->frame->height = encoder->height;
    if ((result = av_frame_get_buffer(writer->frame, 0)) < 0)
        return result;
    char url[4200];
    snprintf(url, sizeof url, "file:%s", writer->part);
    if ((result = avio_open(&writer->muxer->pb, url, AVIO_FLAG_WRITE)) < 0)
        return result;
    AVDictionary *options = NULL;
    if (!strcmp(container, "mp4") || !strcmp(container, "mov"))
        av_dict_set(&options, "movflags", "+faststart", 0);
    result = avformat_write_header(writer->muxer, &options);
    av_dict_free(&options);
    return result;
}

sl_status sl_clip_writer_open(const char *path, int width, int height, double frame_rate_hz, double quality,
                              sl_clip_writer **result, sl_error *error)
{
    *result = NULL;
    const char *name = sl_path_name(path), *container = container_of(path);
    if (!container)
        return sl_fail(error, SL_USAGE, "%s cannot be written: name it .mp4, .mov, .avi or .gif.", name);
    if (width < 1 || height < 1 || width > SL_CLIP_MOST_SIDE || height > SL_CLIP_MOST_SIDE)
        return sl_fail(error, SL_LIMIT, "%s cannot be written: %d x %d pixels are outside 1 to %d a side.", name, width,
                       height, SL_CLIP_MOST_SIDE);
    bool is_gif = !strcmp(container, "gif");
    if (!(frame_rate_hz > 0) || frame_rate_hz > (is_gif ? GIF_MOST_HZ : 1000))
        return sl_fail(error, SL_USAGE, "%s cannot be written: the rate must lie between 0 and %d frames/s.%s", name,
                       is_gif ? GIF_MOST_HZ : 1000, is_gif ? " Save it as .mp4 for more." : "");
    if (strlen(path) > 4000)
        return sl_fail(error, SL_USAGE, "The path of %.200s is too long. Choose a shorter one.", name);
    sl_clip_writer *writer = calloc(1, sizeof *writer);
    if (writer) {
        writer->path = strdup(path);
        size_t room = strlen(path) + sizeof ".part";
        writer->part = malloc(room);
        if (writer->part)
            snprintf(writer->part, room, "%s.part", path);
    }
    if (!writer || !writer->path || !writer->part) {
        if (writer)
            release(writer);
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing %s. Close other programs and try again.", name);
    }
    writer->width = width;
    writer->height = height;
    writer->is_gif = is_gif;
    int code = open_all(writer, container, frame_rate_hz, quality < 0 ? 0 : quality > 1 ? 1 : quality);
    if (code < 0) {
        sl_status status = fail(writer, code, error);
        bool made_file = writer->muxer && writer->muxer->pb;
        if (made_file)
            unlink(writer->part);
        release(writer);
        return status;
    }
    *result = writer;
    return SL_OK;
}

/* Sends a frame (NULL = the end) and writes what comes out. */
static sl_status encode(sl_clip_writer *writer, AVFrame *frame, sl_error *error)
{
    int code = avcodec_send_frame(writer->encoder, frame);
    while (code >= 0 && (code = avcodec_receive_packet(writer->encoder, writer->packet)) >= 0) {
        writer->packet->stream_index = writer->stream->index;
        if (!writer->packet->duration)
            writer->packet->duration = av_rescale_q(1, av_inv_q(writer->encoder->framerate), writer->encoder->time_base);
        av_packet_rescale_ts(writer->packet, writer->encoder->time_base, writer->stream->time_base);
        code = av_interleaved_write_frame(writer->muxer, writer->packet);
    }
    return code == AVERROR(EAGAIN) || code == AVERROR_EOF ? SL_OK : fail(writer, code, error);
}

/* A frame of our own that the encoder no longer needs, with its time set. */
static sl_status next_frame(sl_clip_writer *writer, sl_error *error)
{
    if (writer->failed)
        return sl_fail(error, SL_IO, "%s could not be written.", sl_path_name(writer->path));
    int code = av_frame_make_writable(writer->frame);
    if (code < 0)
        return fail(writer, code, error);
    writer->frame->pts = av_rescale_q(writer->frames++, av_inv_q(writer->encoder->framerate), writer->encoder->time_base);
    return SL_OK;
}

static void repeat_edges(uint8_t *plane, int stride, int width, int height, int coded_width, int coded_height)
{
    for (int y = 0; y < height; y++)
        for (int x = width; x < coded_width; x++)
            plane[(long)y * stride + x] = plane[(long)y * stride + width - 1];
    for (int y = height; y < coded_height; y++)
        memcpy(plane + (long)y * stride, plane + (long)(height - 1) * stride, (size_t)coded_width);
}

sl_status sl_clip_writer_gray(sl_clip_writer *writer, sl_gray picture, sl_error *error)
{
    if (picture.width != writer->width || picture.height != writer->height)
        return sl_fail(error, SL_USAGE, "%s: a frame of %d x %d does not fit a clip of %d x %d.",
                       sl_path_name(writer->path), picture.width, picture.height, writer->width, writer->height);
    sl_status status = next_frame(writer, error);
    if (status)
        return status;
    AVFrame *frame = writer->frame;
    if (writer->is_gif) {
        av_image_copy_plane(frame->data[0], frame->linesize[0], picture.pixel, picture.stride, writer->width,
                            writer->height);
        sl_palette_gray((uint32_t *)(void *)frame->data[1]);
        return encode(writer, frame, error);
    }
    for (int y = 0; y < picture.height; y++) {
        const uint8_t *restrict in = picture.pixel + (long)y * picture.stride;
        uint8_t *restrict out = frame->data[0] + (long)y * frame->linesize[0];
        for (int x = 0; x < picture.width; x++)
            out[x] = (uint8_t)(16 + (in[x] * 219 + 127) / 255);
    }
    repeat_edges(frame->data[0], frame->linesize[0], writer->width, writer->height, frame->width, frame->height);
    for (int i = 1; i <= 2; i++)
        memset(frame->data[i], 128, (size_t)frame->linesize[i] * (size_t)(frame->height / 2));
    return encode(writer, frame, error);
}

sl_status sl_clip_writer_rgb(sl_clip_writer *writer, const uint8_t *rgb, int stride, sl_error *error)
{
    sl_status status = next_frame(writer, error);
    if (status)
        return status;
    AVFrame *frame = writer->frame;
    if (writer->is_gif) {
        for (int y = 0; y < writer->height; y++)
            sl_palette_mixed_map(rgb + (long)y * stride, frame->data[0] + (long)y * frame->linesize[0], writer->width);
        sl_palette_mixed((uint32_t *)(void *)frame->data[1]);
        return encode(writer, frame, error);
    }
    writer->scaler = sws_getCachedContext(writer->scaler, writer->width, writer->height, AV_PIX_FMT_RGB24, writer->width,
                                          writer->height, AV_PIX_FMT_YUV420P, SWS_BILINEAR | SWS_ACCURATE_RND | SWS_BITEXACT,
                                          NULL, NULL, NULL);
    if (!writer->scaler)
        return fail(writer, AVERROR(ENOMEM), error);
    sws_scale(writer->scaler, &rgb, &stride, 0, writer->height, frame->data, frame->linesize);
    repeat_edges(frame->data[0], frame->linesize[0], writer->width, writer->height, frame->width, frame->height);
    return encode(writer, frame, error);
}

sl_status sl_clip_writer_close(sl_clip_writer **writer_at, sl_error *error)
{
    if (!writer_at || !*writer_at)
        return SL_OK;
    sl_clip_writer *writer = *writer_at;
    *writer_at = NULL;
    sl_status status = SL_OK;
    if (writer->failed)
        status = sl_fail(error, SL_IO, "%s could not be written.", sl_path_name(writer->path));
    else if (!writer->frames)
        status = sl_fail(error, SL_USAGE, "%s was not written: no frame was given.", sl_path_name(writer->path));
    else
        status = encode(writer, NULL, error);
    int code = status ? 0 : av_write_trailer(writer->muxer);
    int flushed = avio_closep(&writer->muxer->pb);
    if (!status && (code < 0 || flushed < 0))
        status = fail(writer, code < 0 ? code : flushed, error);
    if (!status && rename(writer->part, writer->path))
        status = fail(writer, AVERROR(errno), error);
    if (status)
        unlink(writer->part);
    release(writer);
    return status;
}
