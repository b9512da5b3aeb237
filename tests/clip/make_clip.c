#include "make_clip.h"

#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <libavutil/display.h>
#include <libavutil/opt.h>
#include <libavutil/pixdesc.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

/* The patch's colour, as RGB. */
enum { PATCH_R = 220, PATCH_G = 40, PATCH_B = 60 };

static int upright_width(const clip_recipe *recipe)
{
    return recipe->quarter_turns & 1 ? recipe->height : recipe->width;
}

static int upright_height(const clip_recipe *recipe)
{
    return recipe->quarter_turns & 1 ? recipe->width : recipe->height;
}

bool in_patch(const clip_recipe *recipe, int x, int y)
{
    /* Multiples of 4, so that shared chroma samples never straddle the edge. */
    return recipe->coloured && x < (upright_width(recipe) / 8 & ~3) && y < (upright_height(recipe) / 8 & ~3);
}

int pattern_gray(const clip_recipe *recipe, int frame, int x, int y)
{
    if (in_patch(recipe, x, y))
        return (int)lround(0.299 * PATCH_R + 0.587 * PATCH_G + 0.114 * PATCH_B);
    double across = x / (double)upright_width(recipe), down = y / (double)upright_height(recipe);
    double value = 127.5 + 140 * sin(3 * across + 0.2 * frame) * cos(2.5 * down - 0.1 * frame);
    return value < 0 ? 0 : value > 255 ? 255 : (int)lround(value);
}

double pattern_time(const clip_recipe *recipe, int frame)
{
    double even = (double)frame * recipe->rate_den / recipe->rate;
    return recipe->uneven ? (double)(frame + (frame + 1) / 3) * recipe->rate_den / recipe->rate : even;
}

/* Where the coded pixel stands upright, by clockwise quarter turns. */
static void turned(const clip_recipe *recipe, int x, int y, int *up_x, int *up_y)
{
    int last_x = recipe->width - 1, last_y = recipe->height - 1;
    switch (recipe->quarter_turns) {
    case 1:
        *up_x = last_y - y;
        *up_y = x;
        break;
    case 2:
        *up_x = last_x - x;
        *up_y = last_y - y;
        break;
    case 3:
        *up_x = y;
        *up_y = last_x - x;
        break;
    default:
        *up_x = x;
        *up_y = y;
    }
}

static void put(AVFrame *frame, const AVPixFmtDescriptor *shape, int component, int x, int y, double share)
{
    const AVComponentDescriptor *how = &shape->comp[component];
    uint8_t *at = frame->data[how->plane] + (long)y * frame->linesize[how->plane] + (long)x * how->step + how->offset;
    unsigned code = (unsigned)lround(share);
    if (how->depth <= 8)
        *at = (uint8_t)code;
    else if (shape->flags & AV_PIX_FMT_FLAG_BE)
        at[0] = (uint8_t)(code >> 8), at[1] = (uint8_t)code;
    else
        at[0] = (uint8_t)code, at[1] = (uint8_t)(code >> 8);
}

static void put_yuv(AVFrame *frame, const AVPixFmtDescriptor *shape, bool full, int x, int y, int gray, bool patch)
{
    double unit = 1 << (shape->comp[0].depth - 8), most = (1 << shape->comp[0].depth) - 1;
    put(frame, shape, 0, x, y, full ? gray / 255.0 * most : (16 + gray / 255.0 * 219) * unit);
    if (shape->nb_components < 3)
        return;
    /* BT.601-7, 2.5.2 */
    double luma = (0.299 * PATCH_R + 0.587 * PATCH_G + 0.114 * PATCH_B) / 255;
    double cb = patch ? (PATCH_B / 255.0 - luma) / 1.772 : 0, cr = patch ? (PATCH_R / 255.0 - luma) / 1.402 : 0;
    double reach = full ? 255 : 224;
    put(frame, shape, 1, x >> shape->log2_chroma_w, y >> shape->log2_chroma_h, (128 + reach * cb) * unit);
    put(frame, shape, 2, x >> shape->log2_chroma_w, y >> shape->log2_chroma_h, (128 + reach * cr) * unit);
}

static void draw(const clip_recipe *recipe, int index, AVFrame *frame)
{
    const AVPixFmtDescriptor *shape = av_pix_fmt_desc_get(recipe->format);
    bool full = recipe->range == AVCOL_RANGE_JPEG || shape->nb_components < 3;
    int unit = shape->comp[0].depth > 8 ? 257 : 1;
    for (int y = 0; y < recipe->height; y++)
        for (int x = 0; x < recipe->width; x++) {
            int up_x, up_y;
            turned(recipe, x, y, &up_x, &up_y);
            int gray = pattern_gray(recipe, index, up_x, up_y);
            bool patch = in_patch(recipe, up_x, up_y);
            if (shape->nb_components == 2) {
                put(frame, shape, 0, x, y, gray);
                put(frame, shape, 1, x, y, 255);
            } else if (shape->flags & AV_PIX_FMT_FLAG_RGB) {
                put(frame, shape, 0, x, y, (patch ? PATCH_R : gray) * unit);
                put(frame, shape, 1, x, y, (patch ? PATCH_G : gray) * unit);
                put(frame, shape, 2, x, y, (patch ? PATCH_B : gray) * unit);
                if (shape->flags & AV_PIX_FMT_FLAG_ALPHA)
                    put(frame, shape, 3, x, y, 255);
            } else {
                put_yuv(frame, shape, full, x, y, gray, patch);
            }
        }
}

static bool drain(AVFormatContext *muxer, AVCodecContext *encoder, AVPacket *packet)
{
    int code;
    while ((code = avcodec_receive_packet(encoder, packet)) >= 0) {
        if (!packet->duration)
            packet->duration = 1;
        av_packet_rescale_ts(packet, encoder->time_base, muxer->streams[0]->time_base);
        packet->stream_index = 0;
        if (av_interleaved_write_frame(muxer, packet) < 0)
            return false;
    }
    return code == AVERROR(EAGAIN) || code == AVERROR_EOF;
}

static AVCodecContext *open_encoder(const clip_recipe *recipe, const AVFormatContext *muxer)
{
    const AVCodec *codec = avcodec_find_encoder_by_name(recipe->codec);
    AVCodecContext *encoder = codec ? avcodec_alloc_context3(codec) : NULL;
    if (!encoder)
        return NULL;
    encoder->width = recipe->width;
    encoder->height = recipe->height;
    encoder->pix_fmt = recipe->format;
    encoder->color_range = recipe->range;
    encoder->framerate = (AVRational){recipe->rate, recipe->rate_den};
    encoder->time_base = av_inv_q(encoder->framerate);
    encoder->sample_aspect_ratio = (AVRational){recipe->aspect_num, recipe->aspect_num ? recipe->aspect_den : 1};
    encoder->thread_count = 1;
    encoder->flags |= AV_CODEC_FLAG_BITEXACT | AV_CODEC_FLAG_QSCALE;
    encoder->global_quality = FF_QP2LAMBDA;
    if (muxer->oformat->flags & AVFMT_GLOBALHEADER)
        encoder->flags |= AV_CODEC_FLAG_GLOBAL_HEADER;
    AVDictionary *options = NULL;
    if (recipe->options)
        av_dict_parse_string(&options, recipe->options, "=", ":", 0);
    if (avcodec_open2(encoder, codec, &options) < 0)
        avcodec_free_context(&encoder);
    av_dict_free(&options);
    return encoder;
}

static void write_turn(AVStream *stream, int quarter_turns)
{
    int32_t *matrix = (int32_t *)(void *)av_stream_new_side_data(stream, AV_PKT_DATA_DISPLAYMATRIX, 9 * sizeof *matrix);
    if (matrix)
        av_display_rotation_set(matrix, 90.0 * quarter_turns);
}

bool make_clip(const clip_recipe *recipe, const char *path)
{
    AVFormatContext *muxer = NULL;
    if (avformat_alloc_output_context2(&muxer, NULL, recipe->muxer, path) < 0)
        return false;
    muxer->flags |= AVFMT_FLAG_BITEXACT;
    AVCodecContext *encoder = open_encoder(recipe, muxer);
    AVStream *stream = avformat_new_stream(muxer, NULL);
    AVFrame *frame = av_frame_alloc();
    AVPacket *packet = av_packet_alloc();
    bool good = encoder && stream && frame && packet && avcodec_parameters_from_context(stream->codecpar, encoder) >= 0;
    if (good) {
        stream->time_base = encoder->time_base;
        stream->avg_frame_rate = encoder->framerate;
        stream->sample_aspect_ratio = encoder->sample_aspect_ratio;
        if (recipe->quarter_turns)
            write_turn(stream, recipe->quarter_turns);
        frame->format = recipe->format;
        frame->width = recipe->width;
        frame->height = recipe->height;
        frame->color_range = recipe->range;
        AVDictionary *options = NULL;
        if (!strcmp(recipe->muxer, "image2"))
            av_dict_set(&options, "update", "1", 0);
        good = (muxer->oformat->flags & AVFMT_NOFILE || avio_open(&muxer->pb, path, AVIO_FLAG_WRITE) >= 0) &&
               avformat_write_header(muxer, &options) >= 0 && av_frame_get_buffer(frame, 0) >= 0;
        av_dict_free(&options);
    }
    for (int i = 0; good && i < recipe->frames; i++) {
        good = av_frame_make_writable(frame) >= 0;
        draw(recipe, i, frame);
        frame->pts = lround(pattern_time(recipe, i) * recipe->rate / recipe->rate_den);
        good = good && avcodec_send_frame(encoder, frame) >= 0 && drain(muxer, encoder, packet);
    }
    good = good && avcodec_send_frame(encoder, NULL) >= 0 && drain(muxer, encoder, packet) && av_write_trailer(muxer) >= 0;
    av_frame_free(&frame);
    av_packet_free(&packet);
    avcodec_free_context(&encoder);
    if (!(muxer->oformat->flags & AVFMT_NOFILE))
        avio_closep(&muxer->pb);
    avformat_free_context(muxer);
    return good;
}
