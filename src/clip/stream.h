/* One FFmpeg demuxer and decoder over one file: frames in order as FFmpeg gives them, with what went wrong counted. */
#ifndef SL_CLIP_STREAM_H
#define SL_CLIP_STREAM_H

#include "core/error.h"

#include <libavcodec/avcodec.h>
#include <libavformat/avformat.h>
#include <stdbool.h>

typedef struct sl_stream {
    const char *name; /* for sentences; owned by the caller */
    int file;         /* descriptor, owned; -1 when closed */
    int64_t size;     /* bytes */
    AVIOContext *io;
    AVFormatContext *demuxer;
    AVCodecContext *decoder;
    AVStream *video; /* owned by the demuxer */
    AVPacket *packet;
    AVFrame *frame;   /* the frame of the last sl_stream_next */
    int64_t packets;  /* read from the video stream */
    int64_t promised; /* packets the container's index lists, 0 = unknown */
    int lost;         /* packets or frames that could not be decoded */
    int patched;      /* frames that the decoder had to patch up */
    bool flushed, broke_off;
} sl_stream;

/* Opens `path` with `threads` decoding threads. On failure everything is closed. */
sl_status sl_stream_open(sl_stream *stream, const char *path, int threads, sl_error *error);

/* Next frame in stream->frame; `*got` false at the end. Damage is counted, not returned: only lack of memory fails. */
sl_status sl_stream_next(sl_stream *stream, bool *got, sl_error *error);

/* Frees; a zeroed or closed stream is fine when its file is -1. */
void sl_stream_close(sl_stream *stream);

#endif
