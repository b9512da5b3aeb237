/* A clip: frames in order, their times, their scale and how they were acquired, whatever file they came in.
 *
 * Opening looks at the header and the first frame; frames are decoded one at a time to 8-bit grey and handed out as
 * views that stay valid until the next call. Grey is the luma of the source stretched to the full range 0..255: 16..235
 * becomes 0..255 where the file says or its format implies limited range, and RGB is weighted by BT.601 (0.299, 0.587,
 * 0.114), on black where it is transparent. Pictures are turned upright where the file says how they were held.
 * Videos, GIF and stills come through FFmpeg; other formats join through format.h. Everything unknown is NAN or 0 as
 * said beside it. A clip is used by one thread at a time; several clips may be open at once. */
#ifndef SL_CLIP_CLIP_H
#define SL_CLIP_CLIP_H

#include "core/error.h"
#include "core/image.h"

#include <stdbool.h>
#include <stdint.h>

enum {
    SL_CLIP_MOST_REGIONS = 8,
    SL_CLIP_MOST_SIDE = 8192,       /* pixels; larger is refused with SL_LIMIT */
    SL_CLIP_MOST_FRAMES = 1000000
};

/* A calibrated region of the picture, as DICOM PS3.3 C.8.5.5 (US Region Calibration) gives it. */
typedef struct sl_clip_region {
    int x0, y0, x1, y1;          /* pixels, inclusive */
    int spatial_format;          /* 1 = 2D, 2 = M-mode, 3 = spectral ... */
    int data_type;               /* 1 = tissue, 2 = colour flow ... */
    int unit_x, unit_y;          /* 3 = cm, 4 = s ... */
    double delta_x, delta_y;     /* physical units per pixel */
    int ref_x, ref_y;            /* relative to x0, y0 */
} sl_clip_region;

/* How it was acquired, where the file says so. NAN or "" where it does not. */
typedef struct sl_acquisition {
    double depth_mm, focus_mm, freq_mhz, mechanical_index, thermal_index, gain_db, frame_rate_hz;
    char transducer[64], body_part[64], laterality[16], view_name[64];
    char burned_label[64];       /* words in the picture that name its place, looked for where nothing else does (exam/burned_label.h) */
    char processing[64];         /* Processing Function (0018,5020): what the scanner did to the picture, in its words */
} sl_acquisition;

typedef struct sl_clip_info {
    int width, height;
    int frames_stated;           /* what the header says; 0 = unknown. Count the frames for the truth. */
    double frame_rate_hz;        /* stated or mean; NAN = unknown */
    bool times_known;            /* false: a still, a GIF with a nonsensical rate, DICOM without any time */
    bool is_still;               /* one picture by its format */
    bool has_colour;             /* any pixel of the frames seen so far differs visibly from grey */
    double pixel_aspect;         /* width of a pixel over its height; 1 = square, or the file does not say */
    char format[32];             /* "mp4", "mov", "avi", "mpeg", "gif", "png", "jpeg", "dicom" ... */
    int regions;
    sl_clip_region region[SL_CLIP_MOST_REGIONS];
    sl_acquisition acquisition;
} sl_clip_info;

typedef struct sl_frame {
    int index;                   /* 0, 1, ... in the file */
    double time_s;               /* from the file, first frame = 0; NAN when times are not known */
    sl_gray gray;                /* valid until the next call on this clip */
    /* Chroma as the source has it (8 bit, 128 = grey, range not stretched), subsampled by the shifts; NULL for a frame
     * without visible colour. */
    const uint8_t *cb, *cr;
    int chroma_stride, chroma_shift_x, chroma_shift_y;
} sl_frame;

typedef struct sl_clip sl_clip;

/* Opens a file. On success `*clip` is owned by the caller (sl_clip_close). `threads` is how many decoding threads it
 * may use (1 or 2). Errors: SL_IO, SL_FORMAT (not a clip), SL_UNSUPPORTED, SL_LIMIT, SL_MEMORY. */
sl_status sl_clip_open(const char *path, int threads, sl_clip **clip, sl_error *error);

/* 64-bit content hash of a file (MurmurHash3): to know a clip again, not against forgery. Reads the whole file and
 * needs no open clip. */
sl_status sl_clip_hash(const char *path, uint64_t *hash, sl_error *error);

/* What is known so far; `has_colour`, times may become known while frames are decoded. Owned by the clip. */
const sl_clip_info *sl_clip_get_info(const sl_clip *clip);

/* Next frame. SL_OK with `*got` false at the end. A frame damaged beyond decoding is skipped; a file that breaks off
 * ends there and sl_clip_damage() says so. */
sl_status sl_clip_next(sl_clip *clip, sl_frame *frame, bool *got, sl_error *error);

/* Back to the first frame, for the parts that need pixels again. */
sl_status sl_clip_rewind(sl_clip *clip, sl_error *error);

/* A sentence about damage met while decoding ("ends early after 37 frames: ..."), or "" . */
const char *sl_clip_damage(const sl_clip *clip);

/* Frees; sets `*clip` to NULL. NULL is fine. */
void sl_clip_close(sl_clip **clip);

#endif
