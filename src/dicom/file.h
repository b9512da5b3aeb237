/* The shim over the DICOM toolkit: one file, its facts in plain C, its frames as stored. Nothing of the toolkit shows
 * through. A file is used by one thread at a time. */
#ifndef SL_DICOM_FILE_H
#define SL_DICOM_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#ifdef __cplusplus
extern "C" {
#endif

#include "clip/clip.h" /* C: it does not know of C++ */

typedef struct sl_dicom_file sl_dicom_file;

/* How the pixels are packed in the file. */
typedef enum sl_dicom_coding {
    SL_DICOM_NATIVE,  /* as samples, any byte order, deflated or not */
    SL_DICOM_JPEG,    /* JPEG baseline or extended, lossy */
    SL_DICOM_TOOLKIT, /* what the toolkit decodes: RLE, JPEG lossless, JPEG-LS */
    SL_DICOM_JPEG2000,
    SL_DICOM_VIDEO    /* MPEG-2, H.264, HEVC: one stream for all frames */
} sl_dicom_coding;

typedef struct sl_dicom_palette {
    int entries, first, bits;   /* entries 0 = no palette */
    const uint16_t *channel[3]; /* red, green, blue; owned by the file */
} sl_dicom_palette;

typedef struct sl_dicom_facts {
    int width, height, frames;
    int samples;        /* a pixel: 1 or 3 */
    bool by_plane;      /* all red, then all green ... within a frame (Planar Configuration) */
    int bits_allocated, bits_stored, high_bit;
    bool is_signed;
    char photometric[17];
    char syntax[65];    /* transfer syntax UID */
    sl_dicom_coding coding;
    double slope, intercept;      /* Modality LUT; 1 and 0 where absent */
    double window_center, window_width; /* VOI; NAN where absent */
    sl_dicom_palette palette;
    double pixel_aspect; /* width over height; 1 where absent */
    double frame_time_s; /* from frame to frame; NAN = unknown */
    const double *increment_s; /* before each frame, `frames` of them, or NULL; owned by the file */
    int regions;
    sl_clip_region region[SL_CLIP_MOST_REGIONS];
    sl_acquisition acquisition;
} sl_dicom_facts;

/* Reads the header; pixel data stay in the file until asked for. Errors: SL_IO, SL_FORMAT, SL_UNSUPPORTED, SL_LIMIT,
 * SL_MEMORY. `*file` is the caller's (sl_dicom_file_close). */
sl_status sl_dicom_file_open(const char *path, sl_dicom_file **file, sl_error *error);

/* Owned by the file. */
const sl_dicom_facts *sl_dicom_file_facts(const sl_dicom_file *file);

/* Frames that the header promises; whether the pixel data end before. */
int sl_dicom_file_stated(const sl_dicom_file *file);
bool sl_dicom_file_broke_off(const sl_dicom_file *file);

/* Bytes of one frame of samples, as sl_dicom_file_samples gives it. */
size_t sl_dicom_file_frame_size(const sl_dicom_file *file);

/* The samples of one frame, in this machine's byte order, for SL_DICOM_NATIVE, SL_DICOM_TOOLKIT and, slowly,
 * SL_DICOM_JPEG. `photometric` receives how the samples are to be read: decoding may change it, e.g. to RGB. */
sl_status sl_dicom_file_samples(sl_dicom_file *file, int frame, uint8_t *samples, size_t size, char photometric[17],
                                sl_error *error);

/* The coded bytes of one frame of an encapsulated file, its fragments joined. `*bytes` is owned by the file and valid
 * until the next call. */
sl_status sl_dicom_file_coded(sl_dicom_file *file, int frame, const uint8_t **bytes, size_t *length, sl_error *error);

/* Writes the bit stream of an SL_DICOM_VIDEO file, its fragments joined, to `to` and rewinds it. */
sl_status sl_dicom_file_stream(sl_dicom_file *file, FILE *to, sl_error *error);

/* Frees; sets `*file` to NULL. NULL is fine. */
void sl_dicom_file_close(sl_dicom_file **file);

#ifdef __cplusplus
}
#endif

#endif
