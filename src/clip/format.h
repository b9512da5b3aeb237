/* What a file format gives to become a clip. clip/ knows only the formats that FFmpeg reads; others (DICOM) join this
 * list from above, called by the program at its start, so that clip/ includes nothing of theirs. */
#ifndef SL_CLIP_FORMAT_H
#define SL_CLIP_FORMAT_H

#include "clip/clip.h"

#include <stddef.h>

enum { SL_CLIP_HEAD = 512, SL_CLIP_MOST_FORMATS = 8 };

typedef struct sl_clip_format {
    const char *name;
    /* By content, never by name: the first `length` <= SL_CLIP_HEAD bytes of the file. */
    bool (*detects)(const uint8_t *head, size_t length);
    /* `*state` is the format's own; on success the clip owns it and frees it with `close`, on failure it must be left
     * NULL. `info` arrives with everything unknown, stays at its address as long as the clip, and may be filled further
     * while frames are decoded. */
    sl_status (*open)(const char *path, int threads, sl_clip_info *info, void **state, sl_error *error);
    sl_status (*next)(void *state, sl_frame *frame, bool *got, sl_error *error);
    sl_status (*rewind)(void *state, sl_error *error);
    const char *(*damage)(void *state);
    void (*close)(void *state);
} sl_clip_format;

/* Adds a format (kept by pointer) that is asked before FFmpeg. Before any thread opens clips; adding one twice is
 * harmless. */
void sl_clip_add_format(const sl_clip_format *format);

/* FFmpeg's formats: everything that no other format detects. */
extern const sl_clip_format sl_clip_video;

#endif
