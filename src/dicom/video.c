#include "dicom/video.h"

#include "clip/format.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

struct sl_dicom_video {
    FILE *stream;       /* owned: the bit stream, without a name */
    sl_clip_info info;  /* of the stream */
    void *state;        /* owned, FFmpeg's side */
    const char *name;
};

static sl_status open_stream(sl_dicom_video *video, int threads, sl_error *error)
{
    char path[64];
    sl_error why;
    snprintf(path, sizeof path, "/proc/self/fd/%d", fileno(video->stream));
    sl_status status = sl_clip_video.open(path, threads, &video->info, &video->state, &why);
    if (status)
        return sl_fail(error, status, status == SL_MEMORY
                                          ? "Memory ran out while opening %s. Close other programs and try again."
                                          : "%s is a DICOM file whose video stream cannot be read. Send or export it again.",
                       video->name);
    return SL_OK;
}

sl_status sl_dicom_video_open(sl_dicom_file *file, const char *name, int threads, sl_dicom_video **result, sl_error *error)
{
    *result = NULL;
    sl_dicom_video *video = calloc(1, sizeof *video);
    if (!video)
        return sl_fail(error, SL_MEMORY, "Memory ran out while opening %s. Close other programs and try again.", name);
    video->name = name;
    video->info.frame_rate_hz = NAN;
    video->info.pixel_aspect = 1;
    video->stream = tmpfile();
    sl_status status = SL_OK;
    if (!video->stream)
        status = sl_fail(error, SL_IO, "There is no place for temporary files, which %s needs. Free some space.", name);
    if (!status)
        status = sl_dicom_file_stream(file, video->stream, error);
    if (!status)
        status = open_stream(video, threads, error);
    const sl_dicom_facts *facts = sl_dicom_file_facts(file);
    if (!status && (video->info.width != facts->width || video->info.height != facts->height))
        status = sl_fail(error, SL_FORMAT, "%s says its pictures are %d x %d pixels, but its video stream has %d x %d. Send or "
                                           "export it again.",
                         name, facts->width, facts->height, video->info.width, video->info.height);
    if (status)
        sl_dicom_video_close(video);
    else
        *result = video;
    return status;
}

sl_status sl_dicom_video_next(sl_dicom_video *video, sl_frame *frame, bool *got, sl_error *error)
{
    return sl_clip_video.next(video->state, frame, got, error);
}

sl_status sl_dicom_video_rewind(sl_dicom_video *video, sl_error *error)
{
    return sl_clip_video.rewind(video->state, error);
}

const char *sl_dicom_video_damage(sl_dicom_video *video)
{
    return sl_clip_video.damage(video->state);
}

const sl_clip_info *sl_dicom_video_info(const sl_dicom_video *video)
{
    return &video->info;
}

void sl_dicom_video_close(sl_dicom_video *video)
{
    if (!video)
        return;
    if (video->state)
        sl_clip_video.close(video->state);
    if (video->stream)
        fclose(video->stream);
    free(video);
}
