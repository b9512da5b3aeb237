/* One clip from file to reading: decode, find the view, straighten, read; one pass where the clip's pictures fit the
 * budget, two otherwise. Only small per-frame results and a few pictures are kept. */
#ifndef SL_READING_READ_CLIP_H
#define SL_READING_READ_CLIP_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/borders.h"
#include "reading/quality.h"
#include "reading/reading.h"
#include "reading/signs.h"
#include "reading/trace.h"
#include "view/motion_trace.h"
#include "view/stack.h"
#include "view/view.h"

typedef enum sl_clip_state { SL_CLIP_READ, SL_CLIP_UNREADABLE, SL_CLIP_FAILED } sl_clip_state;

typedef struct sl_read_options {
    double stated_depth_cm;      /* 0 = not stated */
    int decode_threads;          /* 1 or 2 */
    const sl_view *borrow;       /* a view to use when none can be found (same size), or NULL */
    void (*progress)(void *context, int frames); /* may be NULL */
    void *progress_context;
} sl_read_options;

/* A frame kept for the evidence: the original picture and its straightened form. */
typedef struct sl_kept_frame {
    int source;          /* index in the file */
    double time_s;
    sl_gray picture;     /* arena */
    const uint8_t *cell; /* SL_CELLS, arena */
} sl_kept_frame;

enum { SL_KEPT_MIDDLE, SL_KEPT_BEST, SL_KEPT_FRAMES };

typedef struct sl_clip_result {
    const char *path, *name;
    sl_clip_state state;
    const char *reason;   /* a sentence; "" when read without remark */
    sl_clip_info info;
    sl_view view;
    int frames;           /* decoded */
    double duration_s;    /* NAN when times are not known */
    sl_reading *reading;  /* NULL unless read */
    sl_kept_frame kept[SL_KEPT_FRAMES]; /* middle frame; the frame that shows the most (B-lines, else A-lines) */
    int pleura_points;    /* the pleural line in the middle frame, pixels of the original picture */
    const double *pleura_x, *pleura_y;
    double *frame_coverage; /* per decoded kept frame: share of the space taken by B-lines, for the tide line */
    double *frame_time_s;
    int frame_values;
    sl_motion_trace trace; /* along one line over the clip; no columns for a still */
    const sl_texture_beams *texture; /* what a motion trace's texture rests on, beam by beam; NULL: not known */
    sl_border_path border[SL_BORDER_KINDS]; /* the diaphragm's borders over time, by kind; no frames for a still */
    sl_signs signs;       /* the numbers the answers rest on */
    sl_quality quality;   /* of the picture and how the probe was held: for the audit */
    double seconds;       /* time to read, decoding included */
} sl_clip_result;

/* Never fails as a whole: what goes wrong is in state and reason. All memory is from `arena`. */
void sl_read_clip(const char *path, const sl_read_options *options, sl_arena *arena, sl_clip_result *result);

#endif
