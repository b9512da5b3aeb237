#include "reading/flow_colour.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/flow_table.h"

#include <math.h>
#include <string.h>

static double passes(double value, double middle, double step)
{
    return sl_known(value) ? 1 / (1 + exp(-(value - middle) / step)) : 0;
}

static double grey_of(const sl_colour_cells *cells, int c)
{
    return cells->bare[c] >= FLOW_BARE_LEAST * cells->frames ? (double)cells->grey[c] / cells->bare[c] : SL_UNKNOWN;
}

/* What tissue in the picture is bright as. */
static double tissue_grey(const sl_colour_cells *cells, const uint8_t *mask, double *room)
{
    int n = 0;
    for (int c = 0; c < SL_CELLS; c++) {
        double grey = mask[c] ? grey_of(cells, c) : SL_UNKNOWN;
        if (sl_known(grey))
            room[n++] = grey;
    }
    return n ? sl_quantile(room, n, FLOW_GREY_QUANTILE) : SL_UNKNOWN;
}

static int touching(const uint8_t *there, uint8_t *taken, int *member, int start)
{
    int count = 0;
    member[count++] = start;
    taken[start] = 1;
    for (int at = 0; at < count; at++) {
        int i = member[at] / SL_BEAMS, j = member[at] % SL_BEAMS;
        for (int di = -1; di <= 1; di++)
            for (int dj = -1; dj <= 1; dj++) {
                int ii = i + di, jj = j + dj, c = ii * SL_BEAMS + jj;
                if (ii < 0 || ii >= SL_DEPTHS || jj < 0 || jj >= SL_BEAMS || taken[c] || !there[c])
                    continue;
                taken[c] = 1;
                member[count++] = c;
            }
    }
    return count;
}

/* The grey of the cells about a place that belong to none. */
static double ring_grey(const sl_colour_cells *cells, const uint8_t *mask, const uint8_t *there, const int *member, int count, uint8_t *near,
                        double *room)
{
    memset(near, 0, SL_CELLS);
    for (int m = 0; m < count; m++) {
        int i = member[m] / SL_BEAMS, j = member[m] % SL_BEAMS;
        for (int di = -FLOW_RING_TO; di <= FLOW_RING_TO; di++)
            for (int dj = -FLOW_RING_TO; dj <= FLOW_RING_TO; dj++) {
                int ii = i + di, jj = j + dj;
                if (ii < 0 || ii >= SL_DEPTHS || jj < 0 || jj >= SL_BEAMS)
                    continue;
                bool edge = di > -FLOW_RING_FROM && di < FLOW_RING_FROM && dj > -FLOW_RING_FROM && dj < FLOW_RING_FROM;
                uint8_t *to = &near[ii * SL_BEAMS + jj];
                *to = edge ? 2 : *to ? *to : 1;
            }
    }
    int n = 0;
    for (int c = 0; c < SL_CELLS; c++) {
        double grey = near[c] == 1 && mask[c] && !there[c] ? grey_of(cells, c) : SL_UNKNOWN;
        if (sl_known(grey))
            room[n++] = grey;
    }
    return n ? sl_quantile(room, n, FLOW_RING_QUANTILE) : SL_UNKNOWN;
}

static void judge(const sl_flow *flow, const sl_view *view, sl_flow_place *p)
{
    double narrow = sl_known(view->mm_per_px) ? p->across_px * view->mm_per_px / FLOW_NARROW_MM
                                              : p->across_px / sl_view_depth_px(view) / FLOW_NARROW_SHARE;
    double dark = passes(-p->own, -FLOW_DARK, FLOW_DARK_STEP), turns = passes(-p->steady, -FLOW_TURNS, FLOW_TURNS_STEP);
    double one = passes(flow->together, FLOW_TOGETHER, FLOW_TOGETHER_STEP), wide = passes(p->spread, FLOW_SPREAD, FLOW_SPREAD_STEP);
    /* Where it is not dark, fluid with echoes and tissue that moves look alike: never more than open. */
    p->fluid = fmin(turns, fmin(one, wide)) * (0.5 + 0.5 * dark);
    double tissue = passes(p->ring, FLOW_TISSUE, FLOW_TISSUE_STEP), steady = passes(p->steady, FLOW_TURNS, FLOW_TURNS_STEP);
    p->vessel = fmin(fmin(tissue, steady), passes(-narrow, -1, FLOW_NARROW_STEP));
}

static void measure_place(const sl_colour_cells *cells, const sl_flow *flow, const int *member, int count, double tissue, double *room,
                          sl_flow_place *p)
{
    double net = 0, all = 0, across = 0;
    int bare = 0;
    *p = (sl_flow_place){.cells = count, .first_beam = 1, .first_depth = 1};
    for (int m = 0; m < count; m++) {
        int c = member[m];
        double warm = cells->warm[c], cold = cells->cold[c], grey = grey_of(cells, c);
        net += fabs(warm - cold);
        all += warm + cold;
        across += (double)cells->across_px[c];
        if (sl_known(grey))
            room[bare++] = grey;
        double beam = (c % SL_BEAMS + 0.5) / SL_BEAMS, depth = (c / SL_BEAMS + 0.5) / SL_DEPTHS;
        p->first_beam = fmin(p->first_beam, beam);
        p->last_beam = fmax(p->last_beam, beam);
        p->first_depth = fmin(p->first_depth, depth);
        p->last_depth = fmax(p->last_depth, depth);
    }
    p->steady = net / all;
    p->across_px = across / all;
    p->own = bare * 4 >= count ? sl_quantile(room, bare, 0.5) / tissue : SL_UNKNOWN;
    p->spread = (p->last_beam - p->first_beam) / fmax(flow->beam[1] - flow->beam[0], 1.0 / SL_BEAMS);
}

/* The box in beam coordinates: the file's region, else the range that holds nearly all colour. */
static bool find_box(const sl_colour_seen *seen, const sl_view *view, const sl_clip_info *info, sl_flow *flow)
{
    enum { COLOUR_FLOW = 2, TWO_D = 1 };
    for (int i = 0; info && i < info->regions && i < SL_CLIP_MOST_REGIONS; i++) {
        const sl_clip_region *r = &info->region[i];
        if (r->data_type != COLOUR_FLOW || r->spatial_format != TWO_D)
            continue;
        double low[2] = {1, 1}, high[2] = {0, 0};
        enum { STEPS = 8 };
        for (int k = 0; k < 4 * STEPS; k++) {
            double t = (double)(k % STEPS) / STEPS, x = k / STEPS % 2 ? (k / STEPS / 2 ? r->x0 : r->x1) : r->x0 + t * (r->x1 - r->x0);
            double y = k / STEPS % 2 ? r->y0 + t * (r->y1 - r->y0) : (k / STEPS / 2 ? r->y0 : r->y1), at[2];
            sl_view_from_pixel(view, x, y, &at[0], &at[1]);
            for (int a = 0; a < 2; a++) {
                low[a] = fmin(low[a], fmax(at[a], 0));
                high[a] = fmax(high[a], fmin(at[a], 1));
            }
        }
        if (!(high[0] > low[0]) || !(high[1] > low[1]))
            continue;
        flow->beam[0] = low[0];
        flow->beam[1] = high[0];
        flow->depth[0] = low[1];
        flow->depth[1] = high[1];
        return true;
    }
    return sl_colour_box(seen, flow->beam, flow->depth);
}

static void count_frames(const sl_colour_cells *cells, bool cold_toward, sl_flow *flow)
{
    double warm = 0, cold = 0, prevails = 0, most[2] = {-1, -1};
    for (int t = 0; t < cells->frames; t++) {
        double w = (double)cells->frame_warm[t], c = (double)cells->frame_cold[t], toward = cold_toward ? c : w, away = cold_toward ? w : c;
        warm += w;
        cold += c;
        prevails += fabs(w - c);
        if (toward > most[0]) {
            most[0] = toward;
            flow->most_toward = cells->source[t];
            flow->most_toward_s = cells->time_s[t];
        }
        if (away > most[1]) {
            most[1] = away;
            flow->most_away = cells->source[t];
            flow->most_away_s = cells->time_s[t];
        }
    }
    flow->frames = cells->frames;
    flow->toward = (cold_toward ? cold : warm) / cells->frames;
    flow->away = (cold_toward ? warm : cold) / cells->frames;
    flow->together = warm + cold > 0 ? prevails / (warm + cold) : SL_UNKNOWN;
    flow->seconds = cells->time_s[cells->frames - 1] - cells->time_s[0];
}

sl_status sl_flow_measure(const sl_colour_seen *seen, const sl_view *view, const sl_clip_info *info, const uint8_t *mask, sl_arena *arena,
                          sl_flow *flow, sl_error *error)
{
    const sl_colour_cells *cells = seen->cells;
    memset(flow, 0, sizeof *flow);
    flow->turned_over = flow->together = flow->seconds = SL_UNKNOWN;
    if (!cells || cells->frames < 1 || !find_box(seen, view, info, flow))
        return SL_OK;
    uint8_t *there = SL_NEW(arena, SL_CELLS, uint8_t), *taken = SL_NEW(arena, SL_CELLS, uint8_t), *near = SL_NEW(arena, SL_CELLS, uint8_t);
    int *member = SL_NEW(arena, SL_CELLS, int);
    double *room = SL_NEW(arena, SL_CELLS, double);
    if (!there || !taken || !near || !member || !room)
        return sl_fail(error, SL_MEMORY, "Memory ran out while colour was read.");
    sl_colour_bar bar = sl_colour_bar_of(seen);
    flow->bar_read = bar != SL_BAR_UNREAD;
    count_frames(cells, bar == SL_BAR_COLD_TOWARD, flow);
    flow->turned_over = sl_colour_turned_over(cells);
    for (int c = 0; c < SL_CELLS; c++) {
        double beam = (c % SL_BEAMS + 0.5) / SL_BEAMS, depth = (c / SL_BEAMS + 0.5) / SL_DEPTHS;
        bool in = mask[c] && beam >= flow->beam[0] && beam <= flow->beam[1] && depth >= flow->depth[0] && depth <= flow->depth[1];
        flow->box_cells += in;
        there[c] = in && cells->warm[c] + cells->cold[c] >= FLOW_LEAST_SHARE * cells->frames && cells->warm[c] + cells->cold[c] > 1;
    }
    double tissue = tissue_grey(cells, mask, room);
    if (cells->frames < FLOW_LEAST_FRAMES || !(tissue > 0))
        return SL_OK;
    for (int c = 0; c < SL_CELLS; c++) {
        if (!there[c] || taken[c])
            continue;
        int count = touching(there, taken, member, c);
        if (count < FLOW_LEAST_CELLS)
            continue;
        sl_flow_place p;
        measure_place(cells, flow, member, count, tissue, room, &p);
        p.ring = ring_grey(cells, mask, there, member, count, near, room) / tissue;
        judge(flow, view, &p);
        flow->fluid = !flow->places || p.fluid > flow->fluid.fluid ? p : flow->fluid;
        flow->vessel = !flow->places || p.vessel > flow->vessel.vessel ? p : flow->vessel;
        flow->places++;
    }
    return SL_OK;
}

static sl_evidence *box_of(sl_arena *arena, const sl_flow *f, const sl_flow_place *p, int frame, double time_s, const char *label)
{
    sl_evidence *e = SL_NEW(arena, 1, sl_evidence);
    if (e)
        *e = (sl_evidence){.first_frame = frame, .last_frame = frame, .first_time_s = time_s, .last_time_s = time_s,
                           .first_beam = p ? p->first_beam : f->beam[0], .last_beam = p ? p->last_beam : f->beam[1],
                           .first_depth = p ? p->first_depth : f->depth[0], .last_depth = p ? p->last_depth : f->depth[1], .label = label};
    return e;
}

static void state_share(const sl_flow *f, sl_code code, double cells, int frame, double time_s, sl_arena *arena, sl_reading *reading)
{
    sl_finding *finding = sl_reading_put(reading, code);
    finding->known = f->box_cells > 0;
    finding->reason = finding->known ? f->bar_read ? "" : "no colour bar was read: red is taken as towards the probe" : "too little colour to measure";
    if (!finding->known)
        return;
    finding->value = fmin(cells / f->box_cells, 1);
    finding->evidence = box_of(arena, f, NULL, frame, time_s, "colour box");
    finding->evidences = finding->evidence ? 1 : 0;
}

static void state_place(const sl_flow *f, const sl_flow_place *p, double index, sl_code code, sl_arena *arena, sl_reading *reading)
{
    bool fluid = code == SL_FLUID_COLOUR;
    sl_finding *finding = sl_reading_put(reading, code);
    if (!f->places) {
        finding->reason = "too little colour to measure";
        return;
    }
    finding->known = true;
    finding->value = index;
    finding->answer = index >= FLOW_PRESENT ? SL_PRESENT : index <= FLOW_ABSENT ? SL_ABSENT : SL_UNCERTAIN;
    finding->reason = finding->answer == SL_PRESENT ? fluid ? "colour fills an echo-free layer and changes its direction as one"
                                                            : "a narrow coloured tube in tissue keeps its direction"
                      : finding->answer == SL_ABSENT ? fluid ? "no colour fills an echo-free layer and changes its direction as one"
                                                             : "no narrow coloured tube in tissue keeps its direction"
                      : fluid && p->own > FLOW_DARK     ? "colour goes to and fro as one, but not in an echo-free layer: fluid with echoes, or tissue that moves"
                                                     : "the signs of fluid that moves and of a vessel are not clear";
    if (!(f->seconds >= FLOW_LEAST_S)) {
        finding->answer = SL_UNCERTAIN;
        finding->reason = "the clip is too short, or has no times, to see whether colour changes its direction";
    }
    if (finding->answer == SL_PRESENT) {
        finding->evidence = box_of(arena, f, p, f->most_toward, f->most_toward_s, fluid ? "moving fluid" : "vessel");
        finding->evidences = finding->evidence ? 1 : 0;
    }
}

void sl_flow_state(const sl_flow *f, const sl_flow_scale *scale, sl_arena *arena, sl_reading *reading)
{
    state_share(f, SL_COLOUR_TOWARD, f->toward, f->most_toward, f->most_toward_s, arena, reading);
    state_share(f, SL_COLOUR_AWAY, f->away, f->most_away, f->most_away_s, arena, reading);
    sl_finding *speed = sl_reading_put(reading, SL_COLOUR_SCALE);
    speed->known = sl_known(scale->cm_s);
    speed->value = scale->cm_s;
    speed->reason = speed->known ? scale->from_file ? "as the file says" : "as read beside the colour bar" : scale->reason;
    sl_finding *over = sl_reading_put(reading, SL_COLOUR_ALIASING);
    over->known = true;
    over->value = sl_known(f->turned_over) ? f->turned_over : 0;
    over->answer = over->value >= FLOW_TURNED_OVER ? SL_PRESENT : over->value <= FLOW_NOT_TURNED ? SL_ABSENT : SL_UNCERTAIN;
    over->reason = over->answer == SL_PRESENT ? "both colours meet at their brightest: faster than the colour bar's end, the direction shown there is wrong"
                                              : "";
    state_place(f, &f->fluid, f->fluid.fluid, SL_FLUID_COLOUR, arena, reading);
    state_place(f, &f->vessel, f->vessel.vessel, SL_VESSEL_COLOUR, arena, reading);
}
