#include "dicom/deid_video.h"

#include "clip/canvas.h"
#include "core/text.h"

#include <turbojpeg.h>

enum { QUALITY = 95 }; /* libjpeg's scale; measured: 1.8 grey levels in the mean on moving speckle, the test's worst case */

static sl_status put(tjhandle coder, const sl_canvas *canvas, unsigned char **jpeg, const sl_deid_sink *sink, const char *name,
                     sl_error *error)
{
    unsigned long length = tjBufSize(canvas->width, canvas->height, TJSAMP_422);
    int failed = canvas->coloured ? tjCompress2(coder, canvas->rgb, canvas->width, 0, canvas->height, TJPF_RGB, jpeg, &length,
                                                TJSAMP_422, QUALITY, TJFLAG_NOREALLOC)
                                  : tjCompress2(coder, canvas->gray, canvas->width, 0, canvas->height, TJPF_GRAY, jpeg, &length,
                                                TJSAMP_GRAY, QUALITY, TJFLAG_NOREALLOC);
    if (failed)
        return sl_fail(error, SL_UNSUPPORTED, "A picture of %s could not be coded as JPEG. It was not exported.", name);
    return sink->take(sink->context, *jpeg, length, error);
}

sl_status sl_deid_video_frames(const char *path, const sl_deid_found *found, sl_deid_sink sink, int *frames, double *rate_hz,
                               sl_error *error)
{
    sl_clip *clip = NULL;
    sl_status status = sl_clip_open(path, 1, &clip, error);
    if (status)
        return status;
    const sl_clip_info *info = sl_clip_get_info(clip);
    sl_canvas canvas;
    tjhandle coder = tjInitCompress();
    unsigned char *jpeg = tjAlloc((int)tjBufSize(info->width, info->height, TJSAMP_422));
    if (!sl_canvas_make(info->width, info->height, found->coloured, &canvas) || !coder || !jpeg)
        status = sl_fail(error, SL_MEMORY, "Memory ran out while writing %s. Close other programs and try again.", sl_path_name(path));
    sl_frame frame;
    bool got = false;
    for (*frames = 0; !status && !(status = sl_clip_next(clip, &frame, &got, error)) && got; ++*frames) {
        sl_canvas_paint(&canvas, &frame, &found->boxes);
        status = put(coder, &canvas, &jpeg, &sink, sl_path_name(path), error);
    }
    *rate_hz = info->frame_rate_hz;
    if (!status && *sl_clip_damage(clip))
        status = sl_fail(error, SL_UNREADABLE, "%s is damaged. %s It was not exported.", sl_path_name(path), sl_clip_damage(clip));
    sl_canvas_free(&canvas);
    tjFree(jpeg);
    if (coder)
        tjDestroy(coder);
    sl_clip_close(&clip);
    return status;
}
