/* Flow in colour: how much goes towards the probe and away, whether it is fluid that moves or a vessel in lung without air.
 *
 * Physics: fluid between the pleurae is echo-free, is driven to and fro by breath and heart, and moves as one over the layer ("fluid
 * colour": Wu et al., J Ultrasound Med 1995;14:767, from memory). A vessel is a narrow tube in tissue whose direction stays. Colour of
 * moving tissue (flash) is neither: not echo-free, and broad or without a steady direction. */
#ifndef SL_READING_FLOW_COLOUR_H
#define SL_READING_FLOW_COLOUR_H

#include "core/arena.h"
#include "reading/flow_scale.h"
#include "reading/reading.h"
#include "view/colour.h"

/* A coloured place and how it passes for fluid and for a vessel (0..1, the least of its signs). */
typedef struct sl_flow_place {
    int cells;
    double own, ring;       /* grey over that of tissue: where it lies, and around it; NAN when never bare */
    double steady;          /* |towards - away| over both, cell by cell: 1 = the direction never changes */
    double across_px;       /* width of the tube or layer, pixel widths */
    double spread;          /* share of the colour's width that it spans */
    double fluid, vessel;
    double first_beam, last_beam, first_depth, last_depth;
} sl_flow_place;

typedef struct sl_flow {
    double frames, box_cells, toward, away; /* mean cells a frame */
    double together;        /* share by which one direction prevails in a frame, mean */
    double turned_over;     /* see sl_colour_turned_over */
    double seconds;
    bool bar_read;
    double beam[2], depth[2]; /* the box */
    int most_toward, most_away; /* frames of the file */
    double most_toward_s, most_away_s;
    int places;
    sl_flow_place fluid, vessel; /* those that pass best */
} sl_flow;

/* `info` may hold the box as a calibrated region (PS3.3 C.8.5.5, Region Data Type 0002H, colour flow); else it is where colour lies. */
sl_status sl_flow_measure(const sl_colour_seen *seen, const sl_view *view, const sl_clip_info *info, const uint8_t *mask, sl_arena *arena,
                          sl_flow *flow, sl_error *error);

void sl_flow_state(const sl_flow *flow, const sl_flow_scale *scale, sl_arena *arena, sl_reading *reading);

#endif
