/* The diaphragm's borders over time as the reading found them, and as they stand after a hand moved them: one line for the dome
 * (excursion), two for the muscle on the wall (thickness). The figures of both come from one code: breaths.h, diaphragm.h, muscle.h.
 *
 * By hand a border is a few placed points (frame, depth). At a placed point the border runs through it. Between two of them the found
 * path is kept and shifted: the shift is a cubic through the shifts at the placed points whose slope is the harmonic mean of its
 * neighbours', 0 where they differ in sign (Fritsch & Butland, SIAM J Sci Stat Comput 1984;5:300, doi 10.1137/0905021), so that it
 * stays between them and does not swing over. Before the first and after the last point their shift holds, so one point alone moves
 * the whole line by as much, and a point set on the line as it is pins it there: what lies between two pinned points on one side does
 * not change. Where nothing was found, or a hand sets the whole line anew, the same cubic runs through the points themselves, from the
 * first to the last.
 *
 * Turning points (end of expiration, end of inspiration), where given, are the breaths: each end of inspiration with the end of
 * expiration before it; else they are found in the path as the reading does.
 *
 * Uncertainty: each figure's own as the reading states it, and what placing by hand adds: every placed point is off by BORDER_HAND_PX
 * pixels of the picture (standard deviation, independent), carried on by moving one after the other (JCGM 100:2008, 5.1.3, note 2) with the
 * turning points held; the choice of the turning points is not in it. */
#ifndef SL_READING_BORDERS_H
#define SL_READING_BORDERS_H

#include "core/arena.h"
#include "core/error.h"
#include "reading/breaths.h"
#include "reading/reading.h"
#include "view/view.h"

#include <jansson.h>

typedef enum sl_border_kind { SL_BORDER_DOME, SL_BORDER_MUSCLE, SL_BORDER_KINDS } sl_border_kind;
enum { SL_BORDER_LINES = 2, SL_BORDER_POINTS_MOST = 64, SL_BORDER_TURNS_MOST = 2 * BREATHS_MOST };

/* "dome" (one line), "muscle" (upper and lower line). */
const char *sl_border_key(sl_border_kind kind);
bool sl_border_by_key(const char *key, sl_border_kind *kind);
int sl_border_lines(sl_border_kind kind);
/* The findings that borders of a kind give: `count` codes. */
const sl_code *sl_border_codes(sl_border_kind kind, int *count);

/* Borders of one kind over the frames that were read. */
typedef struct sl_border_path {
    int frames;             /* 0: nothing is known of the clip's frames */
    const int *source;      /* [frames] of the file, rising */
    const double *time_s;   /* [frames], NAN where not known */
    bool found;             /* by the reading, surely enough to be shown as evidence */
    double index;           /* 0..1 of the reading */
    double beam;            /* along which it runs, beam coordinates */
    const double *depth[SL_BORDER_LINES]; /* [frames] share of the imaged depth; NAN where there is none; NULL: no such line */
} sl_border_path;

typedef struct sl_border_point {
    int line, frame;        /* 0 dome or upper, 1 lower; frame of the file */
    double depth;           /* share of the imaged depth */
} sl_border_point;

typedef struct sl_border_turn {
    int frame;
    bool inspired;          /* end of inspiration, else of expiration */
} sl_border_turn;

typedef struct sl_border_hand {
    double beam;            /* along which the points were set; NAN: the path's */
    bool anew;              /* what the reading found is left aside */
    int points, turns;
    sl_border_point point[SL_BORDER_POINTS_MOST]; /* of each line by rising frame */
    sl_border_turn turn[SL_BORDER_TURNS_MOST];    /* by rising frame, the one kind after the other */
} sl_border_hand;

typedef struct sl_border_figures {
    sl_border_path path;    /* as it stands */
    sl_breaths breaths;     /* rows of SL_DEPTHS: towards the probe (dome), thickness (muscle); frames of the file filled in */
    double hand_sd[BREATHS_MOST]; /* of way (dome, rows) or thickening (muscle, percent) by placing; 0 without points */
    double row_mm;          /* NAN without scale */
    sl_reading *reading;    /* by a person: excursion and speed, or both thicknesses and thickening, known or with why not */
} sl_border_figures;

/* From path and hand (NULL: as found) to figures; memory from `arena`. SL_USAGE with a sentence where the points cannot be meant:
 * outside the clip, twice in one frame, not in order, lines that cross. */
sl_status sl_borders_measure(sl_border_kind kind, const sl_border_path *found, const sl_border_hand *hand, const sl_view *view,
                             sl_arena *arena, sl_border_figures *figures, sl_error *error);

/* ---- as JSON (borders_json.c) ---- */
json_t *sl_border_path_to_json(const sl_border_path *path);
/* False when it is none; then `path` is empty. */
bool sl_border_path_from_json(const json_t *json, sl_arena *arena, sl_border_path *path);
/* {"points": [{"line", "frame", "depth"}], "turns": [{"frame", "end": "expiration" or "inspiration"}], "beam", "anew"}; SL_USAGE with a sentence. */
sl_status sl_border_hand_from_json(const json_t *json, sl_border_kind kind, sl_border_hand *hand, sl_error *error);
/* As it is taken: "beam" null where none is named. */
json_t *sl_border_hand_to_json(const sl_border_hand *hand);
/* {"breaths": [...], "findings": [...], "path": {...}}: as served (serve/borders.h). */
json_t *sl_border_figures_to_json(sl_border_kind kind, const sl_border_figures *figures);

#endif
