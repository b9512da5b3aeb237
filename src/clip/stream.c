#include "clip/stream.h"

#include "clip/clip.h"
#include "clip/quiet.h"
#include "core/text.h"

#include <errno.h>
#include <fcntl.h>
#include <libavutil/intreadwrite.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum {
    IO_BYTES = 1 << 16,
    MOST_BAD_IN_A_ROW = 5000 /* then the rest is given up, so that a file of noise ends */
};

/* Containers a clip may come in. Playlists and lists of files are not among them: a clip is one file. */
static const char containers[] = "mov,avi,mpeg,mpegvideo,mpegts,matroska,asf,gif,apng,png_pipe,jpeg_pipe,bmp_pipe,"
                                 "tiff_pipe,webp_pipe,jpegls_pipe,j2k_pipe,h264,hevc,m4v,mjpeg";

static int read_bytes(void *opaque, uint8_t *bytes, int room)
{
    sl_stream *stream = opaque;
    ssize_t got;
    do
        got = read(stream->file, bytes, (size_t)room);
    while (got < 0 && errno == EINTR);
    if (got < 0)
        return AVERROR(errno);
    return got ? (int)got : AVERROR_EOF;
}

static int64_t seek_bytes(void *opaque, int64_t offset, int whence)
{
    sl_stream *stream = opaque;
    if (whence & AVSEEK_SIZE)
        return stream->size;
    whence &= ~AVSEEK_FORCE;
    if (whence == SEEK_SET && offset > stream->size) {
        stream->broke_off = true; /* the container points behind the end of the file */
        return AVERROR(EINVAL);
    }
    off_t at = lseek(stream->file, offset, whence);
    return at < 0 ? AVERROR(errno) : at;
}

/* A clip never opens another file (external references of MOV, playlists). */
static int refuse_other_files(AVFormatContext *demuxer, AVIOContext **io, const char *url, int flags,
                              AVDictionary **options)
{
    (void)demuxer;
    (void)io;
    (void)url;
    (void)flags;
    (void)options;
    return AVERROR(EACCES);
}

static sl_status no_memory(const sl_stream *stream, sl_error *error)
{
    return sl_fail(error, SL_MEMORY, "Memory ran out while opening %s. Close other programs and try again.", stream->name);
}

static sl_status open_file(sl_stream *stream, const char *path, sl_error *error)
{
    struct stat facts;
    stream->file = open(path, O_RDONLY | O_CLOEXEC);
    if (stream->file < 0 || fstat(stream->file, &facts))
        return sl_fail(error, SL_IO, "%s could not be opened: %s. Copy it to this computer first and try again.",
                       stream->name, strerror(errno));
    stream->size = facts.st_size;
    return SL_OK;
}

static sl_status not_a_clip(const sl_stream *stream, sl_error *error)
{
    uint8_t head[32] = {0};
    if (pread(stream->file, head, sizeof head, 0) > 12 &&
        (!memcmp(head + 4, "ftyp", 4) || !memcmp(head + 4, "moov", 4) || !memcmp(head + 4, "mdat", 4)))
        return sl_fail(error, SL_FORMAT,
                       "%s is a video whose index is missing or damaged: the recording or the copy broke off. Copy or "
                       "export it again.",
                       stream->name);
    return sl_fail(error, SL_FORMAT,
                   "%s is not a video, picture or DICOM file that can be read. Check that it is the clip you meant, or "
                   "export it again as MP4.",
                   stream->name);
}

static sl_status open_demuxer(sl_stream *stream, sl_error *error)
{
    uint8_t *buffer = av_malloc(IO_BYTES);
    stream->io = buffer ? avio_alloc_context(buffer, IO_BYTES, 0, stream, read_bytes, NULL, seek_bytes) : NULL;
    if (!stream->io) {
        av_free(buffer);
        return no_memory(stream, error);
    }
    stream->demuxer = avformat_alloc_context();
    if (!stream->demuxer)
        return no_memory(stream, error);
    stream->demuxer->pb = stream->io;
    stream->demuxer->flags |= AVFMT_FLAG_CUSTOM_IO;
    stream->demuxer->io_open = refuse_other_files;
    stream->demuxer->protocol_whitelist = av_strdup("file");
    stream->demuxer->format_whitelist = av_strdup(containers);
    if (!stream->demuxer->protocol_whitelist || !stream->demuxer->format_whitelist)
        return no_memory(stream, error);
    AVDictionary *options = NULL;
    av_dict_set(&options, "min_delay", "0", 0); /* GIF: the delays as they stand, to see the nonsensical ones */
    av_dict_set(&options, "default_delay", "0", 0);
    int result = avformat_open_input(&stream->demuxer, NULL, NULL, &options);
    av_dict_free(&options);
    if (result == AVERROR(ENOMEM))
        return no_memory(stream, error);
    return result < 0 ? not_a_clip(stream, error) : SL_OK;
}

/* Pictures are refused by their size before a decoder asks for memory. */
static int probe_streams(AVFormatContext *demuxer)
{
    unsigned count = demuxer->nb_streams;
    AVDictionary **options = count ? av_calloc(count, sizeof *options) : NULL;
    if (count && !options)
        return AVERROR(ENOMEM);
    for (unsigned i = 0; i < count; i++)
        av_dict_set_int(&options[i], "max_pixels", (int64_t)SL_CLIP_MOST_SIDE * SL_CLIP_MOST_SIDE, 0);
    int result = avformat_find_stream_info(demuxer, options);
    for (unsigned i = 0; i < count; i++)
        av_dict_free(&options[i]);
    av_free(options);
    return result;
}

static sl_status too_large(const sl_stream *stream, int width, int height, sl_error *error)
{
    return sl_fail(error, SL_LIMIT,
                   "%s has pictures of %d x %d pixels; more than %d a side are not read. Export it at a smaller size.",
                   stream->name, width, height, SL_CLIP_MOST_SIDE);
}

static sl_status check_png_size(const sl_stream *stream, sl_error *error)
{
    uint8_t head[24] = {0};
    if (pread(stream->file, head, sizeof head, 0) != sizeof head || memcmp(head, "\x89PNG\r\n\x1a\n", 8))
        return SL_OK;
    uint32_t width = AV_RB32(head + 16), height = AV_RB32(head + 20);
    return width > SL_CLIP_MOST_SIDE || height > SL_CLIP_MOST_SIDE
               ? too_large(stream, (int)(width & 0x7fffffff), (int)(height & 0x7fffffff), error)
               : SL_OK;
}

static sl_status choose_stream(sl_stream *stream, sl_error *error)
{
    AVFormatContext *demuxer = stream->demuxer;
    int index = av_find_best_stream(demuxer, AVMEDIA_TYPE_VIDEO, -1, -1, NULL, 0);
    bool sound = av_find_best_stream(demuxer, AVMEDIA_TYPE_AUDIO, -1, -1, NULL, 0) >= 0;
    if (index < 0 || demuxer->streams[index]->disposition & AV_DISPOSITION_ATTACHED_PIC)
        return sl_fail(error, SL_FORMAT,
                       sound ? "%s holds sound but no moving pictures. Check that it is the clip you meant."
                             : "%s holds no pictures. Check that it is the clip you meant, or export it again.",
                       stream->name);
    stream->video = demuxer->streams[index];
    for (unsigned i = 0; i < demuxer->nb_streams; i++)
        if ((int)i != index)
            demuxer->streams[i]->discard = AVDISCARD_ALL;
    const AVCodecParameters *shape = stream->video->codecpar;
    if (shape->width > SL_CLIP_MOST_SIDE || shape->height > SL_CLIP_MOST_SIDE)
        return too_large(stream, shape->width, shape->height, error);
    if (!strncmp(demuxer->iformat->name, "mov", 3))
        stream->promised = avformat_index_get_entries_count(stream->video);
    return SL_OK;
}

static sl_status open_decoder(sl_stream *stream, int threads, sl_error *error)
{
    const AVCodecParameters *shape = stream->video->codecpar;
    const AVCodec *codec = avcodec_find_decoder(shape->codec_id);
    if (!codec)
        return sl_fail(error, SL_UNSUPPORTED, "%s is coded as %s, which is not read. Export it as MP4 (H.264).",
                       stream->name, avcodec_get_name(shape->codec_id));
    stream->decoder = avcodec_alloc_context3(codec);
    if (!stream->decoder || avcodec_parameters_to_context(stream->decoder, shape) < 0)
        return no_memory(stream, error);
    stream->decoder->thread_count = threads;
    stream->decoder->pkt_timebase = stream->video->time_base;
    stream->decoder->max_pixels = (int64_t)SL_CLIP_MOST_SIDE * SL_CLIP_MOST_SIDE;
    if (avcodec_open2(stream->decoder, codec, NULL) < 0)
        return sl_fail(error, SL_FORMAT, "%s says it is coded as %s but its header is damaged. Export it again.",
                       stream->name, avcodec_get_name(shape->codec_id));
    return SL_OK;
}

sl_status sl_stream_open(sl_stream *stream, const char *path, int threads, sl_error *error)
{
    sl_ffmpeg_quiet();
    *stream = (sl_stream){.name = sl_path_name(path), .file = -1};
    sl_status status = open_file(stream, path, error);
    if (!status)
        status = open_demuxer(stream, error);
    if (!status)
        status = check_png_size(stream, error);
    if (!status && probe_streams(stream->demuxer) < 0)
        status = not_a_clip(stream, error);
    if (!status)
        status = choose_stream(stream, error);
    if (!status)
        status = open_decoder(stream, threads, error);
    if (!status) {
        stream->packet = av_packet_alloc();
        stream->frame = av_frame_alloc();
        if (!stream->packet || !stream->frame)
            status = no_memory(stream, error);
    }
    if (status)
        sl_stream_close(stream);
    return status;
}

/* Gives the decoder one more packet of the video, or the sign that there are none. */
static int feed(sl_stream *stream)
{
    int result;
    while ((result = av_read_frame(stream->demuxer, stream->packet)) >= 0 &&
           stream->packet->stream_index != stream->video->index)
        av_packet_unref(stream->packet);
    if (result == AVERROR(ENOMEM))
        return result;
    if (result < 0) {
        stream->broke_off = stream->broke_off || result != AVERROR_EOF || stream->packets < stream->promised;
        stream->flushed = true;
        return avcodec_send_packet(stream->decoder, NULL);
    }
    stream->packets++;
    if (stream->packet->flags & AV_PKT_FLAG_CORRUPT)
        stream->broke_off = stream->broke_off || stream->packets == stream->promised ||
                            avio_feof(stream->io);
    result = avcodec_send_packet(stream->decoder, stream->packet);
    av_packet_unref(stream->packet);
    return result;
}

sl_status sl_stream_next(sl_stream *stream, bool *got, sl_error *error)
{
    *got = false;
    for (int bad = 0; bad < MOST_BAD_IN_A_ROW;) {
        int result = avcodec_receive_frame(stream->decoder, stream->frame);
        if (result >= 0) {
            if (stream->frame->decode_error_flags || stream->frame->flags & AV_FRAME_FLAG_CORRUPT)
                stream->patched++;
            *got = true;
            return SL_OK;
        }
        if (result == AVERROR_EOF)
            return SL_OK;
        if (result == AVERROR(EAGAIN) && !stream->flushed)
            result = feed(stream);
        if (result == AVERROR(ENOMEM))
            return sl_fail(error, SL_MEMORY, "Memory ran out while decoding %s. Close other programs and try again.",
                           stream->name);
        if (result < 0) {
            stream->lost++;
            bad++;
        }
    }
    stream->broke_off = true;
    return SL_OK;
}

void sl_stream_close(sl_stream *stream)
{
    av_packet_free(&stream->packet);
    av_frame_free(&stream->frame);
    avcodec_free_context(&stream->decoder);
    avformat_close_input(&stream->demuxer);
    if (stream->io)
        av_freep(&stream->io->buffer);
    avio_context_free(&stream->io);
    if (stream->file >= 0)
        close(stream->file);
    stream->file = -1;
}
