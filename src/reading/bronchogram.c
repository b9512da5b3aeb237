#include "reading/bronchogram.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/bronchogram_drift.h"
#include "reading/bronchogram_points.h"
#include "reading/bronchogram_table.h"
#include "reading/filters.h"
#include "reading/solid_table.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, BLOCKS_MOST = 400 };

static double rate_hz(const sl_stack *stack)
{
    return stack->times_known && stack->frame_s > 0 ? 1 / stack->frame_s : SL_UNKNOWN;
}

/* A step of the patch about a point, cells. */
typedef struct patch_step {
    int track, id, from, to;
    float row, down, right, peak;
} patch_step;

typedef struct looker {
    const sl_stack *stack;
    sl_solid_region region;
    sl_drift drift;
    sl_point_tracks *tracks, *tubes;
    patch_step *step;
    int steps, blocks, per;
    double block_s;                 /* NAN when times are not known */
    uint8_t *on;
    int *label;
    float *mean, *smooth, *room;
} looker;

static bool begin(looker *l, const sl_stack *stack, sl_arena *arena)
{
    double rate = rate_hz(stack);
    l->stack = stack;
    l->per = rate > 0 ? (int)(BRONCHI_BLOCK_S * rate + 0.5) : 3;
    l->per = l->per < 1 ? 1 : l->per;
    if (stack->frames / l->per > BLOCKS_MOST)
        l->per = stack->frames / BLOCKS_MOST + 1;
    l->blocks = stack->frames / l->per;
    l->blocks = l->blocks < 1 ? 1 : l->blocks;
    l->block_s = rate > 0 ? l->per / rate : SL_UNKNOWN;
    l->mean = SL_NEW(arena, SL_CELLS, float);
    l->smooth = SL_NEW(arena, SL_CELLS, float);
    l->room = SL_NEW(arena, 2 * SL_CELLS, float);
    l->on = SL_NEW(arena, SL_CELLS, uint8_t);
    l->label = SL_NEW(arena, SL_CELLS, int);
    l->tubes = SL_NEW(arena, 1, sl_point_tracks);
    l->tracks = SL_NEW(arena, 1, sl_point_tracks);
    l->step = SL_NEW(arena, 2 * SL_POINTS_MOST * l->blocks, patch_step);
    if (!l->mean || !l->smooth || !l->room || !l->on || !l->label || !l->tubes || !l->tracks || !l->step)
        return false;
    memset(l->smooth, 0, SL_CELLS * sizeof *l->smooth);
    l->tracks->tracks = l->tracks->ids = l->tubes->tracks = l->tubes->ids = 0;
    return sl_drift_begin(&l->region, l->blocks, arena, &l->drift);
}

/* Where each point that is seen in both blocks went. */
static void follow_points(looker *l, int block, int lag)
{
    for (int t = 0; t < l->tracks->tracks; t++) {
        const sl_point_track *k = &l->tracks->track[t];
        float down, right;
        if (k->last != block || k->first > block - lag || !(k->at[block - lag].sure > 0) ||
            !sl_drift_step(&l->drift, (double)k->at[block - lag].row, block, lag, &down, &right))
            continue;
        float peak = sl_drift_patch(&l->drift, &l->region, &k->at[block - lag], block, lag, &down, &right);
        if (peak > PATCH_PEAK_LEAST)
            l->step[l->steps++] = (patch_step){t, k->id, block - lag, block, k->at[block - lag].row, down, right, peak};
    }
}

static bool look(looker *l, sl_arena *arena)
{
    sl_filter gauss;
    sl_filter_gauss(BRONCHI_SMOOTH, &gauss);
    const int from = l->region.first * BEAMS, rows = l->region.last - l->region.first;
    for (int b = 0; b < l->blocks; b++) {
        sl_point point[SL_POINTS_MOST], tube[SL_POINTS_MOST];
        sl_blob box[SL_POINTS_MOST];
        int last = (b + 1) * l->per;
        sl_stack_mean(l->stack, b * l->per, last < l->stack->frames ? last : l->stack->frames, l->mean);
        sl_filter_rows(&gauss, l->mean + from, rows, l->room);
        sl_filter_beams(&gauss, l->room, rows, l->smooth + from);
        int points = sl_points_find(l->smooth, &l->region, l->room, point);
        int tubes = sl_tubes_find(l->smooth, &l->region, l->room, l->on, l->label, tube, box);
        if (!sl_points_join(point, points, b, l->blocks, &l->region, arena, l->tracks) ||
            !sl_points_join(tube, tubes, b, l->blocks, &l->region, arena, l->tubes))
            return false;
        sl_drift_add(l->mean, &l->region, point, points, b, l->room, &l->drift);
        for (int lag = 1; lag <= b && lag <= SL_DRIFT_LAG; lag += SL_DRIFT_LAG - 1)
            follow_points(l, b, lag);
    }
    return sl_drift_end(arena, &l->drift);
}

static bool lasts(const looker *l, const sl_point_track *k)
{
    int span = k->last - k->first + 1;
    double block_s = sl_known(l->block_s) ? l->block_s : BRONCHI_BLOCK_S; /* as a usual rate has it */
    return span * block_s >= BRONCHI_LEAST_S && k->seen >= BRONCHI_KEPT * span;
}

/* How many of them a block shows, in the mean. */
static double lasting(const looker *l, const sl_point_tracks *tracks)
{
    int seen = 0;
    for (int t = 0; t < tracks->tracks; t++)
        seen += lasts(l, &tracks->track[t]) ? tracks->track[t].seen : 0;
    return (double)seen / l->blocks;
}

/* The tissue's own way with the breath: of all bands and both axes the one that goes farthest, and its quarter of a turn later, for air need
 * not move in step with it. Both about their means, [blocks] each; returns how far it goes, mm. */
static double find_breath(const looker *l, double *along, double *later)
{
    double most = 0;
    for (int k = 0; k < l->drift.bands; k++) {
        const double *path[2] = {l->drift.row[k], l->drift.beam[k]};
        const double mm[2] = {l->region.row_mm, (double)l->region.beam_mm[l->drift.first[k]]};
        for (int axis = 0; axis < 2; axis++) {
            double low = INFINITY, high = -INFINITY, mean = 0;
            for (int b = 0; b < l->blocks; b++) {
                low = fmin(low, path[axis][b]);
                high = fmax(high, path[axis][b]);
                mean += path[axis][b] / l->blocks;
            }
            if ((high - low) * mm[axis] <= most)
                continue;
            most = (high - low) * mm[axis];
            for (int b = 0; b < l->blocks; b++)
                along[b] = (path[axis][b] - mean) * mm[axis];
        }
    }
    /* The derivative of a rhythm is a quarter of a turn ahead; over two blocks each way, for one alone is mostly noise. */
    double own = 1e-12, other = 1e-12;
    for (int b = 0; b < l->blocks; b++) {
        int from = b < 2 ? 0 : b - 2, to = b + 2 < l->blocks ? b + 2 : l->blocks - 1;
        later[b] = to > from ? (along[to] - along[from]) / (to - from) : 0;
        own += along[b] * along[b];
        other += later[b] * later[b];
    }
    for (int b = 0; b < l->blocks; b++)
        later[b] *= sqrt(own / other);
    return most;
}

/* A step of a point against the tissue, mm; false where the point did not last. */
static bool step_mm(const looker *l, const patch_step *s, double *mm)
{
    if (l->tracks->track[s->track].id != s->id || !lasts(l, &l->tracks->track[s->track]))
        return false;
    const double *tissue = l->drift.row[sl_drift_band(&l->drift, (double)s->row)];
    *mm = ((double)s->down - (tissue[s->to] - tissue[s->from])) * l->region.row_mm;
    return true;
}

static double swing(double *path, int count) /* sorts it */
{
    double high = sl_quantile_nearest(path, count, 1 - MOVING_ENDS);
    return high - path[(int)(MOVING_ENDS * (count - 1) + 0.5)];
}

/* What of the steps goes with the breath, by least squares, then again and again with large misfits weighted down (Cauchy). */
static double with_breath(const looker *l, const double *along, const double *later, double *path)
{
    enum { ROUNDS = 8 };
    double a = 0, b = 0, mm;
    for (int round = 0; round < ROUNDS; round++) {
        double aa = 1e-9, bb = 1e-9, ab = 0, ad = 0, bd = 0;
        for (int k = 0; k < l->steps; k++) {
            const patch_step *s = &l->step[k];
            if (!step_mm(l, s, &mm))
                continue;
            double da = along[s->to] - along[s->from], db = later[s->to] - later[s->from], w = (double)(s->peak * s->peak);
            double off = (mm - a * da - b * db) / PATCH_MISFIT_MM;
            w /= round ? 1 + off * off : 1;
            aa += w * da * da;
            bb += w * db * db;
            ab += w * da * db;
            ad += w * da * mm;
            bd += w * db * mm;
        }
        double det = aa * bb - ab * ab;
        a = (ad * bb - bd * ab) / det;
        b = (bd * aa - ad * ab) / det;
    }
    for (int k = 0; k < l->blocks; k++)
        path[k] = a * along[k] + b * later[k];
    return swing(path, l->blocks);
}

/* One path through the steps, whatever the breath does. */
static bool freely(const looker *l, sl_arena *arena, double *path, double *mm)
{
    sl_step *step = SL_NEW(arena, l->steps + 1, sl_step);
    int n = 0, first = l->blocks, last = 0;
    double misfit;
    if (!step)
        return false;
    for (int k = 0; k < l->steps; k++) {
        const patch_step *s = &l->step[k];
        if (!step_mm(l, s, &misfit))
            continue;
        step[n++] = (sl_step){s->from, s->to, (float)(misfit / PATCH_UNIT_MM), s->peak * s->peak};
        first = s->from < first ? s->from : first;
        last = s->to > last ? s->to : last;
    }
    *mm = SL_UNKNOWN;
    if (n < MOVING_STEPS_LEAST)
        return true;
    if (!sl_track_path(step, n, l->blocks, arena, path, &misfit))
        return false;
    *mm = swing(path + first, last - first + 1) * PATCH_UNIT_MM;
    return true;
}

static bool measure_travel(looker *l, sl_arena *arena, sl_bronchi *bronchi)
{
    if (!(l->region.row_mm > 0) || !sl_known(l->block_s)) {
        bronchi->still_reason = l->region.row_mm > 0 ? "frame times are not known" : "the picture's scale is not known";
        return true;
    }
    if (1 / l->block_s < BRONCHI_RATE_LEAST) {
        bronchi->still_reason = "too few frames a second to follow it";
        return true;
    }
    double *along = SL_NEW(arena, l->blocks, double), *later = SL_NEW(arena, l->blocks, double), *path = SL_NEW(arena, l->blocks, double);
    if (!along || !later || !path)
        return false;
    bronchi->tissue = find_breath(l, along, later);
    if (bronchi->tissue < STILL_TISSUE_MM) {
        bronchi->still_reason = "the lung itself does not move in this clip: a held breath?";
        return true;
    }
    /* Two ways that err differently: a free path adds up its errors, one tied to the breath takes for it what slips with the lung. */
    double free_mm;
    if (!freely(l, arena, path, &free_mm))
        return false;
    bronchi->still_reason = sl_known(free_mm) ? "" : "its points cannot be followed for long enough";
    if (!sl_known(free_mm))
        return true;
    double tied_mm = with_breath(l, along, later, path);
    bronchi->travel = 0.5 * (free_mm + tied_mm);
    bronchi->travel_sd = sqrt(MOVING_SD_MM * MOVING_SD_MM + pow(MOVING_SD_SHARE * bronchi->travel, 2) + 0.25 * pow(free_mm - tied_mm, 2));
    return true;
}

/* The points and tubes of the block in which most that last are seen. */
static int best_block(const looker *l, const sl_point_tracks *tracks)
{
    int best = 0, most = -1;
    for (int b = 0; b < l->blocks; b++) {
        int here = 0;
        for (int t = 0; t < tracks->tracks; t++)
            here += lasts(l, &tracks->track[t]) && tracks->track[t].at[b].sure > 0;
        if (here > most) {
            most = here;
            best = b;
        }
    }
    return best;
}

static void keep_shown(const looker *l, sl_bronchi *bronchi)
{
    int block = best_block(l, l->tracks);
    for (int t = 0; t < l->tracks->tracks && bronchi->shown < SL_BRONCHI_SHOWN; t++) {
        const sl_point *p = &l->tracks->track[t].at[block];
        if (!lasts(l, &l->tracks->track[t]) || !(p->sure > 0))
            continue;
        bronchi->beam[bronchi->shown] = ((double)p->beam + 0.5) / BEAMS;
        bronchi->depth[bronchi->shown++] = ((double)p->row + 0.5) / ROWS;
    }
    block = best_block(l, l->tubes);
    for (int t = 0; t < l->tubes->tracks && bronchi->tubes_shown < SL_BRONCHI_SHOWN; t++) {
        const sl_point *p = &l->tubes->track[t].at[block];
        if (!lasts(l, &l->tubes->track[t]) || !(p->sure > 0))
            continue;
        int n = bronchi->tubes_shown++;
        double side = 0.5 * sl_solid_region_beams(&l->region, (int)p->row, TUBE_THICK_MM, BRONCHI_RING_BEAMS) / BEAMS;
        double up = 0.5 * sl_solid_region_rows(&l->region, TUBE_THICK_MM, BRONCHI_RING_ROWS) / ROWS;
        bronchi->tube_first_beam[n] = fmax(0, ((double)p->beam + 0.5) / BEAMS - side);
        bronchi->tube_last_beam[n] = fmin(1, ((double)p->beam + 0.5) / BEAMS + side);
        bronchi->tube_first_depth[n] = fmax(0, ((double)p->row + 0.5) / ROWS - up);
        bronchi->tube_last_depth[n] = fmin(1, ((double)p->row + 0.5) / ROWS + up);
    }
}

/* A line above the rows where the ribs' shadows begin is a layer of the wall: lung begins some 5 mm below the ribs' surface. */
static bool below_shadow_tops(const sl_stack *stack, sl_pleura *pleura)
{
    float top[BEAMS];
    sl_beams_shadow_tops(pleura->mean, stack->mask, pleura->line, &pleura->beams, top);
    double mm = stack->view ? sl_view_depth_mm(stack->view) : SL_UNKNOWN;
    float below = (float)(mm > 0 ? BRONCHI_BELOW_RIB_MM / mm * ROWS : BRONCHI_BELOW_RIB_ROWS);
    if (isnan(top[0]))
        return false;
    for (int j = 0; j < BEAMS; j++)
        pleura->line[j] = isnan(pleura->line[j]) ? NAN : fmaxf(pleura->line[j], top[j] + below);
    return true;
}

sl_status sl_bronchi_measure(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *fluid, const sl_solid *solid,
                             sl_arena *arena, sl_bronchi *bronchi, sl_error *error)
{
    memset(bronchi, 0, sizeof *bronchi);
    bronchi->reason = bronchi->still_reason = "";
    bronchi->travel = bronchi->travel_sd = bronchi->tissue = SL_UNKNOWN;
    double index = sl_solid_index(solid);
    if (!(index > solid_rule.absent_below)) {
        bronchi->reason = "no lung without air is seen";
        return SL_OK;
    }
    sl_solid_region region;
    sl_pleura lower = *pleura;
    sl_solid_extent extent = solid->extent;
    if (below_shadow_tops(stack, &lower)) {
        double mm = stack->view ? sl_view_depth_mm(stack->view) : SL_UNKNOWN;
        sl_status status = sl_solid_extent_find(stack, &lower, fluid, mm > 0 ? mm / ROWS : 0, arena, &extent, error);
        if (status != SL_OK)
            return status;
    }
    if (!sl_solid_region_find(stack, &lower, fluid, &extent, arena, &region))
        goto memory;
    if (region.cells < BRONCHI_CELLS_LEAST || stack->frames < 2) {
        bronchi->reason = stack->frames < 2 ? "one picture cannot tell what lasts" : "too little of the lung without air is seen";
        return SL_OK;
    }
    looker l = {.region = region};
    if (!begin(&l, stack, arena) || !look(&l, arena))
        goto memory;
    bronchi->blocks = l.blocks;
    bronchi->points_block = lasting(&l, l.tracks);
    bronchi->tubes = lasting(&l, l.tubes);
    if (!measure_travel(&l, arena, bronchi))
        goto memory;
    keep_shown(&l, bronchi);
    bronchi->first_source = stack->source[0];
    bronchi->last_source = stack->source[stack->frames - 1];
    bronchi->first_time_s = stack->times_known ? stack->time_s[0] : SL_UNKNOWN;
    bronchi->last_time_s = stack->times_known ? stack->time_s[stack->frames - 1] : SL_UNKNOWN;
    return SL_OK;
memory:
    return sl_fail(error, SL_MEMORY, "Memory ran out while bronchi were looked for; close other programs and read the clip again.");
}

void sl_bronchi_merge(sl_bronchi *into, const sl_bronchi *more)
{
    if (!more->blocks || (into->blocks && into->points_block * into->blocks >= more->points_block * more->blocks &&
                          into->tubes * into->blocks >= more->tubes * more->blocks))
        return;
    *into = *more;
}
