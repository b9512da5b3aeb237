/* Following speckle along the beams: normalised cross-correlation of two strips, summed over windows of beams, its peak
 * found between beams; then one path through the shifts of many pairs of frames.
 *
 * A strip is [rows][SL_BEAMS] of values with zero mean along the beams (strips.h); `use` is 1 where a beam may be looked
 * at. For a window of beams W and a shift s,
 *     ncc(s) = sum_W a(b) c(b + s) / sqrt(sum_W a(b)^2 sum_W c(b + s)^2)
 * over rows and those b of W for which b and b + s may both be looked at. The peak between beams is the vertex of the
 * parabola through the largest value and its two neighbours. */
#ifndef SL_READING_TRACK_H
#define SL_READING_TRACK_H

#include "core/arena.h"
#include "reading/beams.h"
#include "reading/motion_table.h"

typedef struct sl_match {
    float shift;  /* beams by which `to` lies further right than `from`; NAN where nothing could be compared */
    float peak;   /* ncc there, 0..1 */
    float still;  /* ncc at the shift that was expected */
    bool edge;    /* the peak lies at the end of the range: the true shift may be larger */
} sl_match;

/* The shift of each window. `expect` (beams) is where `still` is taken, `reach` (<= TRACK_SHIFT_MOST) how far is looked. */
void sl_track_windows(const float *from, const float *to, int rows, const float *use, int reach, float expect,
                      const sl_beam_range *window, int windows, sl_match *match);

/* A pair of frames and how far the second lies from the first. */
typedef struct sl_step {
    int from, to; /* frames, from < to, at most SL_STEP_REACH apart */
    float shift, weight;
} sl_step;

enum { SL_STEP_REACH = 16 };

/* The path x[frames] (x[0] = 0) that fits the steps best: least squares, then again and again with large misfits
 * weighted down (Cauchy). Returns the weighted rms of the misfit in beams, NAN where no step was given. Frames that no step reaches carry
 * on from their neighbours. False when memory is out. */
bool sl_track_path(const sl_step *step, int steps, int frames, sl_arena *arena, double *x, double *misfit);

/* How far from the middle one of three values the vertex of the parabola through them lies, within half a step; 0 where it is no peak. */
static inline float sl_peak_off(float before, float here, float after)
{
    float bend = before - 2 * here + after;
    float off = bend < 0 ? 0.5f * (before - after) / bend : 0;
    return off > 0.5f ? 0.5f : off < -0.5f ? -0.5f : off;
}

#endif
