/* Videos, GIF and stills as clips. */
#include "clip/format.h"
#include "clip/luma.h"
#include "clip/stream.h"
#include "core/text.h"

#include <libavutil/display.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Rates outside this are mistakes of the file, not of the probe. Lung clips run at 10 to 100 frames/s; filmed screens and
 * teaching GIFs go down to a few. Common practice, no source. */
static const double least_rate_hz = 0.5, most_rate_hz = 1000;
/* Viewers play GIF frames with a delay below 2/100 s at rates of their own (commonly 10 frames/s), so that such a delay
 * tells nothing. From memory. */
static const int least_gif_delay_cs = 2, most_gif_delay_cs = 100;

typedef struct video_state {
    char *path; /* owned */
    int threads;
    sl_clip_info *info; /* the clip's */
    sl_stream stream;
    sl_luma *luma; /* owned */
    bool holds_first; /* stream.frame is the first frame, not handed out yet */
    int width, height; /* of the first frame as coded: others must have them */
    int64_t first_pts;
    int index, other_sizes;
    double last_time_s;
    bool cut; /* the end mark of a still or GIF is missing */
    char damage[512];
} video_state;

/* The demuxer's name and brand to the name people use. */
static void name_format(const AVFormatContext *demuxer, char format[32])
{
    const char *name = demuxer->iformat->name;
    const AVDictionaryEntry *brand = av_dict_get(demuxer->metadata, "major_brand", NULL, 0);
    if (!strncmp(name, "mov,", 4))
        name = brand && strncmp(brand->value, "qt", 2) ? "mp4" : "mov";
    snprintf(format, 32, "%s", !strcmp(name, "mpegvideo") ? "mpeg" : name);
    format[strcspn(format, ",_")] = 0;
}

static bool is_still_format(const AVFormatContext *demuxer)
{
    return strstr(demuxer->iformat->name, "_pipe") != NULL;
}

/* GIF keeps its delays frame by frame: look at all of them (no decoding) before any time is believed. */
static sl_status look_through_gif(video_state *video, sl_error *error)
{
    sl_stream scan;
    sl_status status = sl_stream_open(&scan, video->path, 1, error);
    if (status)
        return status;
    int frames = 0;
    bool sensible = true;
    double delay_cs = 0, until_last_cs = 0;
    while (av_read_frame(scan.demuxer, scan.packet) >= 0) {
        until_last_cs += delay_cs;
        delay_cs = (double)scan.packet->duration * av_q2d(scan.video->time_base) * 100;
        sensible = sensible && delay_cs >= least_gif_delay_cs - 0.5 && delay_cs <= most_gif_delay_cs + 0.5;
        frames++;
        av_packet_unref(scan.packet);
    }
    sl_stream_close(&scan);
    video->info->frames_stated = frames;
    video->info->is_still = frames == 1;
    video->info->times_known = sensible && frames > 1;
    video->info->frame_rate_hz = video->info->times_known ? (frames - 1) * 100 / until_last_cs : NAN;
    return SL_OK;
}

/* Stills and GIF end with a mark; a copy that broke off lacks it. */
static bool lacks_end_mark(const video_state *video)
{
    static const struct {
        const char *format, *mark;
        int length;
    } ends[] = {{"jpeg", "\xff\xd9", 2}, {"png", "IEND", 4}, {"apng", "IEND", 4}};
    char tail[1024];
    off_t size = video->stream.size, from = size > (off_t)sizeof tail ? size - (off_t)sizeof tail : 0;
    ssize_t length = pread(video->stream.file, tail, sizeof tail, from);
    if (!strcmp(video->info->format, "gif")) { /* one byte: it has to be the last, but for padding */
        while (length > 0 && (!tail[length - 1] || tail[length - 1] == '\n' || tail[length - 1] == '\r'))
            length--;
        return length < 1 || tail[length - 1] != 0x3b;
    }
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        if (strcmp(ends[i].format, video->info->format))
            continue;
        for (ssize_t at = length - ends[i].length; at >= 0; at--)
            if (!memcmp(tail + at, ends[i].mark, (size_t)ends[i].length))
                return false;
        return true;
    }
    return false;
}

static double sane_rate(AVRational rate)
{
    double hz = rate.num > 0 && rate.den > 0 ? av_q2d(rate) : NAN;
    return hz >= least_rate_hz && hz <= most_rate_hz ? hz : NAN;
}

static void learn_facts(video_state *video)
{
    sl_clip_info *info = video->info;
    const AVStream *stream = video->stream.video;
    const AVFrame *first = video->stream.frame;
    name_format(video->stream.demuxer, info->format);
    video->cut = lacks_end_mark(video);
    info->is_still = is_still_format(video->stream.demuxer);
    info->frames_stated = info->is_still ? 1 : (int)(stream->nb_frames > 0 && stream->nb_frames < SL_CLIP_MOST_FRAMES
                                                          ? stream->nb_frames
                                                          : 0);
    info->frame_rate_hz = info->is_still ? NAN : sane_rate(stream->avg_frame_rate);
    if (!info->is_still && isnan(info->frame_rate_hz))
        info->frame_rate_hz = sane_rate(stream->r_frame_rate);
    info->times_known = !info->is_still && (first->best_effort_timestamp != AV_NOPTS_VALUE ||
                                             !isnan(info->frame_rate_hz));
    AVRational aspect = first->sample_aspect_ratio.num ? first->sample_aspect_ratio : stream->sample_aspect_ratio;
    double ratio = aspect.num > 0 && aspect.den > 0 ? av_q2d(aspect) : 1;
    info->pixel_aspect = ratio >= 0.1 && ratio <= 10 ? ratio : 1;
}

/* Sets how the picture has to be turned and the size that follows. */
static void learn_turn(video_state *video)
{
    const int32_t *matrix = (const int32_t *)(void *)av_stream_get_side_data(video->stream.video,
                                                                             AV_PKT_DATA_DISPLAYMATRIX, NULL);
    const AVFrameSideData *held = av_frame_get_side_data(video->stream.frame, AV_FRAME_DATA_DISPLAYMATRIX);
    if (!matrix && held)
        matrix = (const int32_t *)(const void *)held->data;
    sl_luma_set_turn(video->luma, matrix);
    bool lies = matrix && !matrix[0] && !matrix[4] && matrix[1] && matrix[3];
    video->width = video->stream.frame->width;
    video->height = video->stream.frame->height;
    video->info->width = lies ? video->height : video->width;
    video->info->height = lies ? video->width : video->height;
    if (lies)
        video->info->pixel_aspect = 1 / video->info->pixel_aspect;
}

/* Opens the stream and decodes to the first frame. */
static sl_status begin(video_state *video, sl_error *error)
{
    sl_status status = sl_stream_open(&video->stream, video->path, video->threads, error);
    if (status)
        return status;
    bool got;
    status = sl_stream_next(&video->stream, &got, error);
    if (!status && !got)
        status = sl_fail(error, SL_FORMAT,
                         "%s holds no frame that can be decoded; it is damaged, or larger than %d pixels a side. Copy or "
                         "export it again.",
                         video->stream.name, SL_CLIP_MOST_SIDE);
    if (status) {
        sl_stream_close(&video->stream);
        return status;
    }
    video->first_pts = video->stream.frame->best_effort_timestamp;
    video->holds_first = true;
    video->index = video->other_sizes = 0;
    video->last_time_s = 0;
    return SL_OK;
}

static void video_close(void *state)
{
    video_state *video = state;
    sl_stream_close(&video->stream);
    sl_luma_free(video->luma);
    free(video->path);
    free(video);
}

static sl_status video_open(const char *path, int threads, sl_clip_info *info, void **state, sl_error *error)
{
    video_state *made = calloc(1, sizeof *made);
    if (made) {
        made->stream.file = -1;
        made->path = strdup(path);
        made->luma = sl_luma_new();
    }
    if (!made || !made->path || !made->luma) {
        if (made)
            video_close(made);
        return sl_fail(error, SL_MEMORY, "Memory ran out while opening %s. Close other programs and try again.",
                       sl_path_name(path));
    }
    made->threads = threads;
    made->info = info;
    sl_status status = begin(made, error);
    if (!status) {
        learn_facts(made);
        learn_turn(made);
        if (!strcmp(info->format, "gif"))
            status = look_through_gif(made, error);
    }
    if (status)
        video_close(made);
    else
        *state = made;
    return status;
}

/* Time of the frame in hand: its stamp, else one frame after the last. Never backwards. */
static double frame_time(const video_state *video)
{
    if (!video->info->times_known)
        return NAN;
    if (!video->index)
        return 0;
    double step = isnan(video->info->frame_rate_hz) ? 0 : 1 / video->info->frame_rate_hz;
    int64_t pts = video->stream.frame->best_effort_timestamp;
    if (pts == AV_NOPTS_VALUE || video->first_pts == AV_NOPTS_VALUE)
        return video->last_time_s + step;
    double time_s = (double)(pts - video->first_pts) * av_q2d(video->stream.video->time_base);
    return time_s > video->last_time_s ? time_s : video->last_time_s + step;
}

static sl_status video_next(void *state, sl_frame *frame, bool *got, sl_error *error)
{
    video_state *video = state;
    const AVFrame *held = video->stream.frame;
    if (!video->holds_first) {
        do {
            if (video->index >= SL_CLIP_MOST_FRAMES)
                return SL_OK;
            sl_status status = sl_stream_next(&video->stream, got, error);
            if (status || !*got)
                return status;
            video->other_sizes += held->width != video->width || held->height != video->height;
        } while (held->width != video->width || held->height != video->height);
    }
    video->holds_first = false;
    sl_status status = sl_luma_picture(video->luma, held, video->stream.name, frame, error);
    if (status)
        return status;
    frame->time_s = frame_time(video);
    frame->index = video->index++;
    if (frame->index && video->info->times_known)
        video->last_time_s = frame->time_s;
    video->info->has_colour = video->info->has_colour || frame->cb;
    *got = true;
    return SL_OK;
}

static sl_status video_rewind(void *state, sl_error *error)
{
    video_state *video = state;
    if (video->holds_first)
        return SL_OK;
    /* Opening again costs a few ms and, unlike seeking, gives the same frames in every container. */
    sl_stream_close(&video->stream);
    return begin(video, error);
}

static const char *video_damage(void *state)
{
    video_state *video = state;
    const sl_stream *stream = &video->stream;
    char *at = video->damage;
    size_t room = sizeof video->damage;
    int length = 0;
    *at = 0;
    if (stream->broke_off || video->cut)
        length += snprintf(at, room, "The file ends early, after %d frames; copy or export it again to have them all. ",
                           video->index);
    if (stream->lost)
        length += snprintf(at + length, room - (size_t)length,
                           "%d frames are damaged beyond decoding and were left out. ", stream->lost);
    if (stream->patched)
        length += snprintf(at + length, room - (size_t)length,
                           "%d frames are damaged and were patched up by the decoder. ", stream->patched);
    if (video->other_sizes)
        length += snprintf(at + length, room - (size_t)length,
                           "%d frames have another size than the first and were left out. ", video->other_sizes);
    if (video->index >= SL_CLIP_MOST_FRAMES)
        length += snprintf(at + length, room - (size_t)length, "Only the first %d frames are read. ", SL_CLIP_MOST_FRAMES);
    if (length)
        at[length - 1] = 0;
    return video->damage;
}

static bool detects_anything(const uint8_t *head, size_t length)
{
    (void)head;
    return length > 0;
}

const sl_clip_format sl_clip_video = {.name = "video",
                                      .detects = detects_anything,
                                      .open = video_open,
                                      .next = video_next,
                                      .rewind = video_rewind,
                                      .damage = video_damage,
                                      .close = video_close};
