#include "clip/clip.h"

#include "clip/format.h"
#include "core/text.h"

#include <errno.h>
#include <fcntl.h>
#include <libavutil/intreadwrite.h>
#include <libavutil/mem.h>
#include <libavutil/murmur3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct sl_clip {
    const sl_clip_format *format;
    void *state; /* owned, the format's own */
    char *path;  /* owned */
    sl_clip_info info;
};

static const sl_clip_format *formats[SL_CLIP_MOST_FORMATS];
static int format_count;

void sl_clip_add_format(const sl_clip_format *format)
{
    for (int i = 0; i < format_count; i++)
        if (formats[i] == format)
            return;
    if (format_count < SL_CLIP_MOST_FORMATS)
        formats[format_count++] = format;
}

/* Opens for reading without waiting (a pipe without a writer would block for ever) and refuses what is no file. */
static sl_status open_file(const char *path, int *file, sl_error *error)
{
    const char *name = sl_path_name(path);
    *file = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (*file < 0) {
        int cause = errno;
        const char *remedy = cause == EACCES || cause == EPERM ? "Ask for permission to read it"
                             : cause == ENOENT || cause == ENOTDIR
                                 ? "Check the name and that its disk or folder is connected"
                                 : "Try again, or copy it to this computer first";
        return sl_fail(error, SL_IO, "%s could not be opened: %s. %s.", name, strerror(cause), remedy);
    }
    struct stat facts;
    const char *wrong = NULL;
    if (fstat(*file, &facts))
        wrong = "could not be examined. Copy it to this computer first and try again";
    else if (S_ISDIR(facts.st_mode))
        wrong = "is a folder, not a clip. Name the files in it, or read the folder as an examination";
    else if (!S_ISREG(facts.st_mode))
        wrong = "is a device or pipe, not a file. Save the clip to a file first";
    else if (!facts.st_size)
        wrong = "is empty. Export or copy it again from where it came";
    if (!wrong)
        return SL_OK;
    close(*file);
    return sl_fail(error, S_ISREG(facts.st_mode) ? SL_FORMAT : SL_IO, "%s %s.", name, wrong);
}

static sl_status choose_format(sl_clip *clip, sl_error *error)
{
    uint8_t head[SL_CLIP_HEAD];
    int file;
    sl_status status = open_file(clip->path, &file, error);
    if (status)
        return status;
    size_t length = 0;
    for (ssize_t got; length < sizeof head && (got = read(file, head + length, sizeof head - length)) > 0;)
        length += (size_t)got;
    close(file);
    clip->format = &sl_clip_video;
    for (int i = format_count - 1; i >= 0; i--)
        if (formats[i]->detects(head, length))
            clip->format = formats[i];
    return SL_OK;
}

static void everything_unknown(sl_clip_info *info)
{
    sl_acquisition *how = &info->acquisition;
    how->depth_mm = how->focus_mm = how->freq_mhz = how->mechanical_index = how->thermal_index = how->gain_db =
        how->frame_rate_hz = info->frame_rate_hz = NAN;
    info->pixel_aspect = 1;
}

sl_status sl_clip_open(const char *path, int threads, sl_clip **result, sl_error *error)
{
    *result = NULL;
    if (!path || !*path)
        return sl_fail(error, SL_USAGE, "No file was named. Name a clip to open.");
    sl_clip *clip = calloc(1, sizeof *clip);
    char *kept = strdup(path);
    if (!clip || !kept) {
        free(clip);
        free(kept);
        return sl_fail(error, SL_MEMORY, "Memory ran out while opening %s. Close other programs and try again.",
                       sl_path_name(path));
    }
    clip->path = kept;
    everything_unknown(&clip->info);
    sl_status status = choose_format(clip, error);
    if (!status)
        status = clip->format->open(clip->path, threads < 2 ? 1 : 2, &clip->info, &clip->state, error);
    if (status)
        sl_clip_close(&clip);
    *result = clip;
    return status;
}

sl_status sl_clip_hash(const char *path, uint64_t *hash, sl_error *error)
{
    int file;
    sl_status status = open_file(path, &file, error);
    if (status)
        return status;
    enum { PIECE = 1 << 16 };
    struct AVMurMur3 *state = av_murmur3_alloc();
    uint8_t *piece = malloc(PIECE), sum[16];
    ssize_t got = 0;
    if (state && piece) {
        av_murmur3_init(state);
        while ((got = read(file, piece, PIECE)) > 0)
            av_murmur3_update(state, piece, (size_t)got);
        av_murmur3_final(state, sum);
        *hash = AV_RL64(sum);
    }
    const char *name = sl_path_name(path);
    if (!state || !piece)
        status = sl_fail(error, SL_MEMORY, "Memory ran out while reading %s. Close other programs and try again.", name);
    else if (got < 0)
        status = sl_fail(error, SL_IO, "%s could not be read to its end. Copy it to this computer and try again.", name);
    av_free(state);
    free(piece);
    close(file);
    return status;
}

const sl_clip_info *sl_clip_get_info(const sl_clip *clip)
{
    return &clip->info;
}

sl_status sl_clip_next(sl_clip *clip, sl_frame *frame, bool *got, sl_error *error)
{
    *got = false;
    return clip->format->next(clip->state, frame, got, error);
}

sl_status sl_clip_rewind(sl_clip *clip, sl_error *error)
{
    return clip->format->rewind(clip->state, error);
}

const char *sl_clip_damage(const sl_clip *clip)
{
    return clip->format->damage(clip->state);
}

void sl_clip_close(sl_clip **clip)
{
    if (!clip || !*clip)
        return;
    if ((*clip)->state)
        (*clip)->format->close((*clip)->state);
    free((*clip)->path);
    free(*clip);
    *clip = NULL;
}
