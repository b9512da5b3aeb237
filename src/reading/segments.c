#include "reading/segments.h"

#include "core/units.h"
#include "reading/a_lines.h"
#include "reading/b_lines.h"
#include "reading/behind.h"
#include "reading/bronchogram.h"
#include "reading/consolidation.h"
#include "reading/curtain.h"
#include "reading/decay.h"
#include "reading/diaphragm.h"
#include "reading/doubts.h"
#include "reading/effusion.h"
#include "reading/lung_point.h"
#include "reading/motion.h"
#include "reading/organ.h"
#include "reading/muscle.h"
#include "reading/pleura.h"
#include "reading/pleura_shape.h"
#include "reading/recess.h"
#include "reading/sliding.h"
#include "reading/trace.h"
#include "reading/white_lung.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    LINES_MOST = 1024,    /* pleural lines kept */
    FRAMES_MOST = 1 << 15, /* values of the coverage kept */
    DEPTHS_MOST = 2048    /* segments: beyond a million frames the rest adds nothing to the median */
};

typedef struct kept_line {
    int frame; /* in the file, the middle of its block */
    float row[SL_BEAMS];
} kept_line;

typedef struct kept_value {
    int frame;
    double time_s, coverage;
} kept_value;

typedef struct kept_depth {
    double depth, low, high, frames;
} kept_depth;

/* The motion trace of the clip so far, and how much its line has to show: a segment that shows more sets the line from there on. */
typedef struct kept_trace {
    int columns, pieces;
    double rank; /* 0: none yet */
    long frames, step; /* frames that were offered; each step-th is kept */
    double beam;
    double time_s[SL_TRACE_COLUMNS_MOST];
    int source[SL_TRACE_COLUMNS_MOST];
    sl_trace_piece piece[SL_TRACE_COLUMNS_MOST + 1];
    uint8_t grey[SL_TRACE_COLUMNS_MOST * SL_TRACE_ROWS];
} kept_trace;

/* Borders of the diaphragm of one kind, of the segment that shows them most surely. */
typedef struct kept_border {
    int frames;
    bool found;
    double index, beam;
    double depth[SL_BORDER_LINES][SL_STACK_MOST], time_s[SL_STACK_MOST];
    int source[SL_STACK_MOST];
} kept_border;

struct sl_segments {
    sl_arena scratch;
    kept_line *line;
    int lines, line_step, line_skip;
    kept_trace *trace;
    kept_border *border; /* [SL_BORDER_KINDS] */
    kept_value *value;
    int values, value_step, value_skip;
    kept_depth *depth;
    int depths;
    double frames, right_sum, seen_frames, hidden_frames, shadow_sum, decay_sum, decay_frames;
    double first_time_s, last_time_s;
    bool times_known, has_a;
    int segments;
    sl_quality quality; /* of which the half on how the probe was held is filled here */
    sl_a_measure a;
    sl_b_measure b;
    sl_fluid effusion;
    sl_pleura_shape shape;
    sl_texture texture;
    sl_solid solid;
    sl_bronchi bronchi;
    sl_sliding sliding;
    sl_lung_point lung_point;
    sl_dome dome;
    sl_curtain curtain;
    sl_organ organ;
    sl_behind behind;
    sl_recess recess;
    sl_muscle muscle;
    sl_pleura pleura; /* of the first segment that saw it, for the state functions; its arrays are gone */
};

sl_segments *sl_segments_new(void)
{
    sl_segments *s = calloc(1, sizeof *s);
    if (!s)
        return NULL;
    s->line = calloc(LINES_MOST, sizeof *s->line);
    s->value = calloc(FRAMES_MOST, sizeof *s->value);
    s->depth = calloc(DEPTHS_MOST, sizeof *s->depth);
    s->trace = calloc(1, sizeof *s->trace);
    s->border = calloc(SL_BORDER_KINDS, sizeof *s->border);
    s->line_step = s->value_step = 1;
    s->times_known = true;
    s->b.best_source = -1;
    s->texture.granular = SL_UNKNOWN;
    sl_quality_clear(&s->quality);
    if (!s->line || !s->value || !s->depth || !s->trace || !s->border)
        sl_segments_free(&s);
    return s;
}

void sl_segments_free(sl_segments **segments)
{
    sl_segments *s = *segments;
    if (!s)
        return;
    sl_arena_free(&s->scratch);
    free(s->line);
    free(s->value);
    free(s->depth);
    free(s->trace);
    free(s->border);
    free(s);
    *segments = NULL;
}

/* Keeps every line_step-th line; when full, every second one goes and the step doubles. */
static void add_line(sl_segments *s, int frame, const float *row)
{
    if (s->line_skip++ % s->line_step)
        return;
    if (s->lines == LINES_MOST) {
        for (int i = 0; i < LINES_MOST / 2; i++)
            s->line[i] = s->line[2 * i];
        s->lines = LINES_MOST / 2;
        s->line_step *= 2;
    }
    s->line[s->lines].frame = frame;
    memcpy(s->line[s->lines++].row, row, sizeof s->line->row);
}

/* The same for the coverage, of which the most of the frames left out is kept. */
static void add_value(sl_segments *s, int frame, double time_s, double coverage)
{
    if (s->value_skip++ % s->value_step) {
        kept_value *last = &s->value[s->values - 1];
        last->coverage = coverage > last->coverage ? coverage : last->coverage;
        return;
    }
    if (s->values == FRAMES_MOST) {
        for (int i = 0; i < FRAMES_MOST / 2; i++) {
            s->value[i] = s->value[2 * i];
            if (s->value[2 * i + 1].coverage > s->value[i].coverage)
                s->value[i].coverage = s->value[2 * i + 1].coverage;
        }
        s->values = FRAMES_MOST / 2;
        s->value_step *= 2;
    }
    s->value[s->values++] = (kept_value){frame, time_s, coverage};
}

static void add_pleura(sl_segments *s, const sl_stack *stack, const sl_pleura *pleura)
{
    double frames = stack->frames;
    int used = pleura->beams.space_beams + pleura->beams.shadow_beams;
    s->right_sum += pleura->right * frames;
    s->shadow_sum += frames * (used ? (double)pleura->beams.shadow_beams / used : 0);
    s->hidden_frames += pleura->out_of_view ? frames : 0;
    if (!pleura->seen)
        return;
    if (!(s->seen_frames > 0))
        s->pleura = *pleura;
    s->seen_frames += frames;
    if (sl_known(pleura->depth) && s->depths < DEPTHS_MOST)
        s->depth[s->depths++] = (kept_depth){pleura->depth, pleura->depth_low, pleura->depth_high, frames};
    for (int b = 0; b < pleura->blocks; b++) {
        int middle = b * pleura->block_frames + pleura->block_frames / 2;
        middle = middle < stack->frames ? middle : stack->frames - 1;
        add_line(s, stack->source[middle], pleura->row + (size_t)b * SL_BEAMS);
    }
}

/* Every second column goes; a piece that none is left of goes, too. */
static void thin_trace(kept_trace *k)
{
    int columns = (k->columns + 1) / 2, pieces = 0;
    for (int i = 1; i < columns; i++) {
        k->time_s[i] = k->time_s[2 * i];
        k->source[i] = k->source[2 * i];
        memcpy(k->grey + (size_t)i * SL_TRACE_ROWS, k->grey + (size_t)(2 * i) * SL_TRACE_ROWS, SL_TRACE_ROWS);
    }
    for (int i = 0; i < k->pieces; i++) {
        sl_trace_piece piece = k->piece[i];
        piece.first = (piece.first + 1) / 2;
        if (pieces && k->piece[pieces - 1].first == piece.first)
            pieces--;
        k->piece[pieces++] = piece;
    }
    k->columns = columns;
    k->pieces = pieces;
    k->step *= 2;
}

static void add_column(kept_trace *k, const sl_stack *stack, int t, const sl_trace_line *line)
{
    if (k->columns == SL_TRACE_COLUMNS_MOST && k->frames % k->step == 0)
        thin_trace(k);
    if (k->frames++ % k->step)
        return;
    k->time_s[k->columns] = stack->times_known ? stack->time_s[t] : SL_UNKNOWN;
    k->source[k->columns] = stack->source[t];
    sl_trace_column(sl_stack_frame(stack, t), line, k->grey + (size_t)k->columns++ * SL_TRACE_ROWS);
}

static void keep_trace(sl_segments *s, const sl_stack *stack, const sl_pleura *pleura, const sl_dome *dome, const sl_muscle *muscle)
{
    const sl_beam_range *space = pleura->seen && pleura->beams.widest >= 0 ? &pleura->beams.space[pleura->beams.widest] : NULL;
    kept_trace *k = s->trace;
    bool dome_seen = dome->frames > 0 && dome->index > DOME_PRESENT, muscle_seen = muscle->frames > 0 && muscle->index > MUSCLE_SURE;
    /* of what was measured the surest, whose breaths are marked on it */
    double rank = dome_seen ? 4 + dome->index : muscle_seen ? 3 + muscle->index : space ? 2 : 1;
    if (stack->frames < 2 && !(k->rank > 0))
        return;
    double at = k->beam;
    if (rank > k->rank)
        at = dome_seen     ? dome->beam
             : muscle_seen ? 0.5 * (muscle->first_beam + muscle->last_beam)
             : space       ? (0.5 * (space->first + space->last) + 0.5) / SL_BEAMS
                           : 0.5;
    const double beam[2] = {at, at}, depth[2] = {0, 1};
    sl_trace_line line;
    if (!sl_trace_line_set(&line, stack->view, beam, depth, 2, SL_TRACE_ROWS))
        return;
    k->rank = rank > k->rank ? rank : k->rank;
    k->beam = at;
    k->step = k->step ? k->step : 1;
    if (k->pieces && k->piece[k->pieces - 1].first == k->columns) /* of the one before no frame was kept */
        k->pieces--;
    k->piece[k->pieces++] = (sl_trace_piece){k->columns, 0, at};
    for (int t = 0; t < stack->frames; t++)
        add_column(k, stack, t, &line);
}

/* What would be shown as evidence is found; else the frames alone are kept, for a hand to set borders in. */
static void keep_border(kept_border *k, const sl_stack *stack, double index, bool found, double beam, const double *first, const double *second)
{
    if (stack->frames < 2 || (k->frames && !(found && (!k->found || index > k->index))))
        return;
    const double *depth[SL_BORDER_LINES] = {first, second};
    k->frames = stack->frames;
    k->found = found;
    k->index = index;
    k->beam = beam;
    for (int t = 0; t < stack->frames; t++) {
        k->time_s[t] = stack->times_known ? stack->time_s[t] : SL_UNKNOWN;
        k->source[t] = stack->source[t];
        for (int line = 0; line < SL_BORDER_LINES; line++)
            k->depth[line][t] = found && depth[line] ? depth[line][t] : SL_UNKNOWN;
    }
}

static void keep_borders(sl_segments *s, const sl_stack *stack, const sl_dome *dome, const sl_muscle *muscle)
{
    bool dome_found = dome->frames > 0 && dome->path && dome->index >= DOME_ABSENT, muscle_found = muscle->frames > 0 && muscle->upper && muscle->index > MUSCLE_SURE;
    keep_border(&s->border[SL_BORDER_DOME], stack, dome->index, dome_found, dome_found ? dome->beam : 0.5, dome->path, NULL);
    keep_border(&s->border[SL_BORDER_MUSCLE], stack, muscle->index, muscle_found,
                muscle_found ? ((int)(0.5 * (muscle->first_beam + muscle->last_beam) * SL_BEAMS) + 0.5) / SL_BEAMS : 0.5, muscle->upper, muscle->lower);
}

sl_status sl_segments_read(sl_segments *s, const sl_stack *stack, sl_error *error)
{
    if (stack->frames < 1)
        return SL_OK;
    sl_pleura pleura, parietal; /* where artifacts begin; the chest wall's inner border: they part where there is fluid */
    sl_fluid_layer fluid;
    sl_a_measure a;
    sl_b_measure b;
    sl_fluid effusion;
    sl_solid solid;
    sl_bronchi bronchi;
    sl_pleura_shape shape;
    sl_texture texture;
    sl_stack held = *stack; /* while the probe touches */
    sl_movement movement;
    sl_sliding sliding;
    sl_lung_point lung_point;
    sl_dome dome;
    sl_curtain curtain;
    sl_organ organ;
    sl_behind behind;
    sl_recess recess;
    sl_muscle muscle;
    double *coverage = SL_NEW(&s->scratch, stack->frames, double);
    sl_status status = coverage ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out while a clip was read.");
    if (status == SL_OK)
        status = sl_pleura_find(stack, &s->scratch, &pleura, error);
    if (status == SL_OK)
        status = sl_effusion_find(stack, &pleura, &s->scratch, &fluid, &parietal, error);
    if (status == SL_OK)
        status = sl_effusion_measure(stack, &parietal, &fluid, &s->scratch, &effusion, error);
    if (status == SL_OK)
        status = sl_solid_measure(stack, &pleura, &fluid, &s->scratch, &solid, error);
    if (status == SL_OK)
        status = sl_bronchi_measure(stack, &pleura, &fluid, &solid, &s->scratch, &bronchi, error);
    if (status == SL_OK)
        status = sl_solid_pleura(&solid, &s->scratch, &parietal, error);
    if (status == SL_OK)
        status = sl_b_lines_measure(stack, &pleura, &s->scratch, &b, coverage, error);
    if (status == SL_OK)
        status = sl_a_lines_measure(stack, &pleura, &s->scratch, &a, error);
    if (status == SL_OK)
        status = sl_pleura_shape_measure(stack, &pleura, &s->scratch, &shape, error);
    if (status == SL_OK)
        held = sl_motion_in_contact(stack, &pleura);
    if (status == SL_OK)
        status = sl_motion_follow(&held, &pleura, &s->scratch, &movement, error);
    if (status == SL_OK)
        status = sl_sliding_measure(&held, &movement, &s->scratch, &sliding, error);
    if (status == SL_OK)
        status = sl_quality_add_hold(stack, &pleura, &s->scratch, &s->quality.hold, error);
    if (status == SL_OK)
        status = sl_lung_point_measure(&movement, &sliding, &s->scratch, &lung_point, error);
    if (status == SL_OK)
        status = sl_dome_measure(&held, &pleura, &s->scratch, &dome, error);
    if (status == SL_OK)
        status = sl_curtain_measure(&held, &pleura, &s->scratch, &curtain, error);
    if (status == SL_OK)
        status = sl_muscle_measure(&held, &pleura, &s->scratch, &muscle, error);
    if (status == SL_OK)
        status = sl_organ_measure(&held, &pleura, &s->scratch, &organ, error);
    if (status == SL_OK)
        status = sl_behind_measure(stack, &pleura, organ.frames > 0 ? organ.tissue : SL_UNKNOWN, &s->scratch, &behind, error);
    if (status == SL_OK)
        status = sl_recess_measure(&held, &pleura, &s->scratch, &recess, error);
    if (status == SL_OK) {
        double decay = sl_decay_ratio(stack, &pleura);
        if (sl_known(decay)) {
            s->decay_sum += decay * stack->frames;
            s->decay_frames += stack->frames;
        }
        add_pleura(s, stack, &parietal);
        sl_solid_merge(&s->solid, &solid);
        sl_pleura_shape_merge(&s->shape, &shape);
        sl_texture_measure(&held, &pleura, &texture);
        sl_texture_merge(&s->texture, &texture);
        sl_dome_merge(&s->dome, &dome);
        sl_curtain_merge(&s->curtain, &curtain);
        keep_trace(s, stack, &pleura, &dome, &muscle);
        keep_borders(s, &held, &dome, &muscle);
        sl_organ_merge(&s->organ, &organ);
        sl_behind_merge(&s->behind, &behind);
        sl_recess_merge(&s->recess, &recess);
        sl_muscle_merge(&s->muscle, &muscle);
        if (!s->segments++) {
            s->first_time_s = stack->time_s[0];
            s->bronchi = bronchi;
            s->a = a;
            s->b = b;
            s->sliding = sliding;
            s->lung_point = lung_point;
            s->effusion = effusion;
        } else {
            sl_bronchi_merge(&s->bronchi, &bronchi);
            sl_a_lines_merge(&s->a, &a);
            sl_b_lines_merge(&s->b, &b);
            sl_sliding_merge(&s->sliding, &sliding);
            sl_lung_point_merge(&s->lung_point, &lung_point);
            sl_effusion_merge(&s->effusion, &effusion);
        }
        s->last_time_s = stack->time_s[stack->frames - 1];
        s->times_known = s->times_known && stack->times_known;
        s->frames += stack->frames;
        for (int t = 0; t < stack->frames; t++)
            add_value(s, stack->source[t], stack->time_s[t], coverage[t]);
    }
    sl_arena_free(&s->scratch);
    return status;
}

static int by_depth(const void *a, const void *b)
{
    double x = ((const kept_depth *)a)->depth, y = ((const kept_depth *)b)->depth;
    return (x > y) - (x < y);
}

/* The middle segment by depth, weighted by frames. */
static kept_depth median_depth(const sl_segments *s)
{
    kept_depth none = {SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, 0};
    double all = 0, sum = 0;
    for (int i = 0; i < s->depths; i++)
        all += s->depth[i].frames;
    qsort(s->depth, (size_t)s->depths, sizeof *s->depth, by_depth);
    for (int i = 0; i < s->depths; i++)
        if ((sum += s->depth[i].frames) >= all / 2)
            return s->depth[i];
    return none;
}

/* Most of the clip shows no pleura. */
static bool hidden(const sl_segments *s)
{
    return !(s->seen_frames > 0) && s->hidden_frames > 0.5 * s->frames;
}

static const char *why_no_line(const sl_segments *s)
{
    return sl_pleura_unseen(s->seen_frames > 0, hidden(s));
}

static void state_pleura(const sl_segments *s, const sl_view *view, sl_reading *reading)
{
    kept_depth depth = median_depth(s);
    double right = s->frames > 0 ? s->right_sum / s->frames : 0, mm = sl_view_depth_mm(view);
    sl_finding *share = sl_reading_put(reading, SL_PLEURA_DEPTH);
    sl_finding *length = sl_reading_put(reading, SL_PLEURA_DEPTH_MM);
    share->confidence = right;
    if (!sl_known(depth.depth)) {
        share->reason = length->reason = why_no_line(s);
    } else {
        share->known = true;
        share->value = depth.depth;
        share->low = depth.low;
        share->high = depth.high;
        length->reason = "the picture's scale is not known";
        if (sl_known(mm)) {
            length->reason = "";
            length->known = true;
            length->value = depth.depth * mm;
            length->low = depth.low * mm;
            length->high = depth.high * mm;
            length->confidence = right;
        }
    }
    sl_finding *ribs = sl_reading_put(reading, SL_RIB_SHARE);
    ribs->known = s->frames > 0;
    ribs->value = ribs->known ? s->shadow_sum / s->frames : SL_UNKNOWN;
}

sl_signs sl_segments_signs(const sl_segments *s)
{
    bool read = s->frames > 0;
    return (sl_signs){
        .flicker = sl_flicker_index(&s->b.levels),
        .coherence = read ? s->a.coherence : SL_UNKNOWN,
        .repetition = read ? s->a.repetition : SL_UNKNOWN,
        .decay = s->decay_frames > 0 ? s->decay_sum / s->decay_frames : SL_UNKNOWN,
        .sway = s->b.pairs > 0 ? s->b.sway_sum / s->b.pairs : SL_UNKNOWN,
    };
}

sl_hold_quality sl_segments_hold(const sl_segments *s)
{
    return s->quality.hold;
}

sl_reading *sl_segments_state(const sl_segments *s, const char *clip, const sl_view *view, sl_arena *arena)
{
    sl_reading *reading = sl_reading_new(arena, SL_BY_PROGRAM, "strandline " SL_VERSION, clip);
    if (!reading)
        return NULL;
    reading->method = "pleural line by dynamic programming, A-lines by agreement and repetition below it, B-lines by "
                      "coherent flicker, movement by following speckle along the beams against the chest wall";
    const char *no_line = why_no_line(s);
    state_pleura(s, view, reading);
    sl_signs signs = sl_segments_signs(s);
    sl_a_lines_state(&s->a, &s->pleura, view, &signs, no_line, arena, reading);
    sl_b_lines_state(&s->b, &signs, hidden(s) ? no_line : "", arena, reading); /* verticals are told without a line, too */
    sl_white_lung_state(&signs, no_line, reading);
    sl_effusion_state(&s->effusion, view, no_line, arena, reading);
    sl_solid_state(&s->solid, view, no_line, arena, reading);
    sl_pleura_shape_state(&s->shape, view, no_line, arena, reading);
    sl_score_state(&signs, no_line, reading);
    sl_texture_state(&s->texture, s->pleura.depth, no_line, arena, reading);
    sl_sliding_state(&s->sliding, s->texture.granular, no_line, arena, reading);
    sl_curtain_state(&s->curtain, no_line, arena, reading);
    sl_lung_point_state(&s->lung_point, &s->sliding, no_line, arena, reading);
    sl_dome_state(&s->dome, arena, reading);
    sl_organ_state(&s->organ, &s->dome, &s->curtain, arena, reading);
    sl_behind_state(&s->behind, arena, reading);
    sl_recess_state(&s->recess, arena, reading);
    sl_bronchi_state(&s->bronchi, sl_sliding_whole_breath(&s->sliding, s->sliding.chest_moves ? s->sliding.chest_cycles : 0), no_line, arena,
                     reading);
    sl_muscle_state(&s->muscle, arena, reading);
    bool base = s->recess.seen && s->recess.steady;
    sl_effusion_base_state(&s->effusion, base ? s->recess.first_beam : 0, base ? s->recess.last_beam : 0, view, arena, reading);
    sl_doubts_last((int)s->frames, reading);
    return reading;
}

int sl_segments_nearest_frame(const sl_segments *s, int frame)
{
    int best = -1;
    for (int i = 0; i < s->values; i++)
        if (best < 0 || abs(s->value[i].frame - frame) < abs(best - frame))
            best = s->value[i].frame;
    return best;
}

int sl_segments_best_frame(const sl_segments *s)
{
    return s->b.best_source;
}

const float *sl_segments_line(const sl_segments *s, int frame)
{
    const kept_line *best = NULL;
    for (int i = 0; i < s->lines; i++)
        if (!best || abs(s->line[i].frame - frame) < abs(best->frame - frame))
            best = &s->line[i];
    return best ? best->row : NULL;
}

void sl_segments_coverage(const sl_segments *s, sl_arena *arena, double **coverage, double **time_s, int *values)
{
    *coverage = SL_NEW(arena, s->values + 1, double);
    *time_s = SL_NEW(arena, s->values + 1, double);
    *values = *coverage && *time_s ? s->values : 0;
    for (int i = 0; i < *values; i++) {
        (*coverage)[i] = s->value[i].coverage;
        (*time_s)[i] = s->value[i].time_s;
    }
}

void sl_segments_trace(const sl_segments *s, sl_arena *arena, sl_motion_trace *trace)
{
    const kept_trace *k = s->trace;
    memset(trace, 0, sizeof *trace);
    size_t n = (size_t)k->columns;
    uint8_t *grey = SL_NEW(arena, n * SL_TRACE_ROWS + 1, uint8_t);
    double *time_s = SL_NEW(arena, n + 1, double), *line = SL_NEW(arena, 4, double);
    int *source = SL_NEW(arena, n + 1, int), pieces = k->pieces - (k->pieces > 0 && k->piece[k->pieces - 1].first >= k->columns);
    sl_trace_piece *piece = SL_NEW(arena, k->pieces + 1, sl_trace_piece);
    if (!n || !grey || !time_s || !line || !source || !piece)
        return;
    memcpy(piece, k->piece, (size_t)pieces * sizeof *piece);
    memcpy(grey, k->grey, n * SL_TRACE_ROWS);
    memcpy(time_s, k->time_s, n * sizeof *time_s);
    memcpy(source, k->source, n * sizeof *source);
    line[0] = line[1] = k->beam;
    line[3] = 1;
    *trace = (sl_motion_trace){.columns = k->columns, .rows = SL_TRACE_ROWS, .grey = grey, .time_s = time_s, .source = source, .points = 2, .beam = line,
                               .depth = line + 2, .pieces = pieces, .piece = piece};
}

const sl_texture_beams *sl_segments_texture(const sl_segments *s, sl_arena *arena)
{
    sl_texture_beams *copy = sl_known(s->texture.granular) ? SL_NEW(arena, 1, sl_texture_beams) : NULL;
    if (copy)
        *copy = s->texture.beams;
    return copy;
}

double sl_segments_duration(const sl_segments *s)
{
    return s->segments && s->times_known ? s->last_time_s - s->first_time_s : SL_UNKNOWN;
}

void sl_segments_borders(const sl_segments *s, sl_arena *arena, sl_border_path border[SL_BORDER_KINDS])
{
    for (int kind = 0; kind < SL_BORDER_KINDS; kind++) {
        const kept_border *k = &s->border[kind];
        size_t n = (size_t)k->frames;
        double *time_s = SL_NEW(arena, n + 1, double), *depth[SL_BORDER_LINES] = {0};
        int *source = SL_NEW(arena, n + 1, int);
        bool room = time_s && source;
        for (int line = 0; line < sl_border_lines((sl_border_kind)kind) && k->found && room; line++) {
            depth[line] = SL_NEW(arena, n + 1, double);
            room = depth[line] != NULL;
            if (room)
                memcpy(depth[line], k->depth[line], n * sizeof **depth);
        }
        border[kind] = (sl_border_path){.index = SL_UNKNOWN, .beam = SL_UNKNOWN};
        if (!n || !room)
            continue;
        memcpy(time_s, k->time_s, n * sizeof *time_s);
        memcpy(source, k->source, n * sizeof *source);
        border[kind] = (sl_border_path){.frames = k->frames, .source = source, .time_s = time_s, .found = k->found, .index = k->found ? k->index : SL_UNKNOWN,
                                        .beam = k->beam, .depth = {depth[0], depth[1]}};
    }
}
