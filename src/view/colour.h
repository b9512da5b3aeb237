/* Colour laid over a grey picture (flow maps, drawn marks): where it lies, and the grey under it for the detectors.
 *
 * A picture tinted as a whole is no such colour: a tint is one colour a grey level, so that what counts is how far a pixel's
 * chroma lies from what its grey level usually has in the same frame. The luma of colour tells about flow and not about
 * tissue; the cells under it are filled along their depth row from the grey cells on both sides, each frame on its own, so
 * that nothing is frozen that moves. What a detector then sees there is smooth: it is no measurement of that place. */
#ifndef SL_VIEW_COLOUR_H
#define SL_VIEW_COLOUR_H

#include "clip/clip.h"
#include "view/stack.h"

enum { SL_MARK_COLD = 64, SL_MARK_WARM = 255 }; /* blue to green; red to yellow */

/* Marks the coloured pixels of `frame` in `mark` (width x height bytes, stride = width): 0 or one of the two above. False,
 * and nothing is written, when there are none. */
bool sl_colour_mark(const sl_frame *frame, uint8_t *mark);

/* Colour cell by cell over a clip, for telling what flows. Room for it is the caller's; without it only shares are counted. */
enum { SL_COLOUR_FRAMES_MOST = 4096 }; /* later frames of a longer clip are not counted here */
typedef struct sl_colour_cells {
    int frames;
    uint16_t warm[SL_CELLS], cold[SL_CELLS]; /* frames in which the cell was wholly the one or the other */
    float across_px[SL_CELLS];   /* summed over these frames: the shorter of the coloured runs through it along beam and row, pixel widths */
    float grey[SL_CELLS];        /* summed over the frames in which no colour lay on it: */
    uint16_t bare[SL_CELLS];
    float frame_warm[SL_COLOUR_FRAMES_MOST], frame_cold[SL_COLOUR_FRAMES_MOST]; /* cells in a frame */
    double time_s[SL_COLOUR_FRAMES_MOST];
    int source[SL_COLOUR_FRAMES_MOST];
    uint32_t luma[2][256], meet[2][256]; /* of warm and cold cells: of all, and where one meets the other without a gap */
} sl_colour_cells;

/* What lay over the cells inside the view so far. */
typedef struct sl_colour_seen {
    int frames;         /* looked at */
    double sum_share;   /* of the coloured share of the cells, over frames */
    double most_share;  /* in one frame */
    double warm, cold;  /* cells wholly one or the other, over frames */
    uint32_t beam[SL_BEAMS], depth[SL_DEPTHS]; /* coloured cells, over frames */
    double bar_warm_up, bar_warm_down; /* columns of a colour bar beside the view that have warm above cold, and below */
    int bar_x0, bar_x1, bar_y0, bar_y1; /* its pixels, where there is one */
    sl_colour_cells *cells;        /* NULL: not kept */
} sl_colour_seen;

/* Fills the cells under colour in the frame added last, and counts. `mark` NULL: the frame has none. */
void sl_colour_fill(sl_stack *stack, const sl_straightener *straightener, const uint8_t *mark, sl_colour_seen *seen);

/* Looks beside the view for the bar that says what the colours mean: a tall narrow strip, one kind of colour above the other. */
void sl_colour_find_bar(const sl_view *view, const uint8_t *mark, sl_colour_seen *seen);

/* Whether so much colour lay over the view that it is to be said. */
bool sl_colour_noticed(const sl_colour_seen *seen);

/* The range of beams and depths 0..1 that holds nearly all of it; false when there is none. */
bool sl_colour_box(const sl_colour_seen *seen, double beam[2], double depth[2]);

/* What the bar says: the colour above its middle is flow towards the probe (common practice, no source; turned over when
 * the bar is turned). */
typedef enum sl_colour_bar { SL_BAR_UNREAD, SL_BAR_WARM_TOWARD, SL_BAR_COLD_TOWARD } sl_colour_bar;
sl_colour_bar sl_colour_bar_of(const sl_colour_seen *seen);

/* Whether warm and cold meet at their brightest instead of through dark: speeds beyond the bar's ends turn over (aliasing).
 * A real change of direction passes through no speed, which a bar shows dark. NAN when they hardly meet; else the share, 0 to
 * 1, of the meeting cells that are brighter than their colour's median, over both colours the lesser. */
double sl_colour_turned_over(const sl_colour_cells *cells);

/* Counts over the lit pixels of a whole picture, for where no view is found. */
void sl_colour_count(sl_gray gray, const uint8_t *mark, sl_colour_seen *seen);

/* SL_OK, with clauses for people, joined by "; ", in `text` ("" when next to no colour was seen); SL_UNREADABLE with the reason when so
 * much is covered that what is left is no grey picture. */
sl_status sl_colour_judge(const sl_colour_seen *seen, char *text, size_t room, sl_error *error);

#endif
