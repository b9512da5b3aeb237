#include "reading/organ.h"

#include "core/units.h"
#include "reading/doubts.h"
#include "reading/filters.h"
#include "reading/organ_table.h"
#include "reading/pleura_cells.h"

#include <math.h>
#include <string.h>

enum { W = ORGAN_WINDOW_BEAMS, H = ORGAN_WINDOW_ROWS, PLACES = (SL_BEAMS - W) / ORGAN_STEP_BEAMS + 1 };

/* ln grey of a frame, smoothed to the size of speckle. */
static void smooth_frame(const uint8_t *cell, float level, const sl_filter *down, const sl_filter *across, float *work, float *out)
{
    float table[256];
    for (int v = 0; v < 256; v++)
        table[v] = logf((float)v / level + ORGAN_FLOOR);
    for (int c = 0; c < SL_CELLS; c++)
        out[c] = table[cell[c]];
    sl_filter_rows(down, out, SL_DEPTHS, work);
    sl_filter_beams(across, work, SL_DEPTHS, out);
}

/* What row means and column means of the window leave over. */
static void left_over(const float *plane, int row, int beam, float rest[H][W])
{
    float rows[H] = {0}, columns[W] = {0}, all = 0;
    for (int i = 0; i < H; i++)
        for (int j = 0; j < W; j++) {
            float v = plane[(row + i) * SL_BEAMS + beam + j];
            rest[i][j] = v;
            rows[i] += v / W;
            columns[j] += v / H;
        }
    for (int i = 0; i < H; i++)
        all += rows[i] / H;
    for (int i = 0; i < H; i++)
        for (int j = 0; j < W; j++)
            rest[i][j] -= rows[i] + columns[j] - all;
}

static double together(float a[H][W], float b[H][W])
{
    double sum = 0;
    for (int i = 0; i < H; i++)
        for (int j = 0; j < W; j++)
            sum += (double)(a[i][j] * b[i][j]);
    return sum / (H * W);
}

typedef struct window {
    int row, beam;
    double patchy, grey;
    bool used, tissue;
} window;

typedef window windows[ORGAN_STACK]; /* one below the other */

/* First row below the line over the window's beams; from 15 % of the depth on where no line was found. */
static int first_row(const sl_pleura *pleura, int beam)
{
    double sum = 0;
    int seen = 0;
    for (int j = beam; j < beam + W; j++)
        if (isfinite(pleura->line[j])) {
            sum += (double)pleura->line[j];
            seen++;
        }
    return (int)((pleura->seen && seen ? sum / seen : 0.15 * SL_DEPTHS) + 0.5) + ORGAN_BELOW;
}

static void place_windows(const sl_stack *stack, const sl_pleura *pleura, float level, windows *at)
{
    for (int p = 0; p < PLACES; p++)
        for (int k = 0, row = first_row(pleura, p * ORGAN_STEP_BEAMS); k < ORGAN_STACK; k++, row += ORGAN_STEP_ROWS) {
            window *w = &at[p][k];
            *w = (window){.row = row, .beam = p * ORGAN_STEP_BEAMS};
            if (row + H > ORGAN_DEEPEST)
                continue;
            int inside = 0;
            for (int i = row; i < row + H; i++)
                for (int j = w->beam; j < w->beam + W; j++) {
                    inside += stack->mask[i * SL_BEAMS + j];
                    w->grey += (double)pleura->mean[i * SL_BEAMS + j];
                }
            w->grey /= (double)level * H * W;
            w->used = inside > ORGAN_INSIDE * H * W;
        }
}

/* How surely: by the number of places across the picture with two windows of tissue below each other, the upper one not the first, where the
 * near artifacts of air and small consolidations lie. */
static void judge_tissue(windows *at, sl_organ *organ)
{
    int places = 0, first_row = SL_DEPTHS, last_row = 0, first = SL_BEAMS, last = 0;
    for (int p = 0; p < PLACES; p++) {
        bool any = false;
        for (int k = 1; k + 1 < ORGAN_STACK; k++) {
            if (!at[p][k].tissue || !at[p][k + 1].tissue)
                continue;
            any = true;
            int top = at[p][k - 1].tissue ? at[p][k - 1].row : at[p][k].row;
            first_row = top < first_row ? top : first_row;
            last_row = at[p][k + 1].row + H > last_row ? at[p][k + 1].row + H : last_row;
        }
        places += any;
        if (any) {
            first = p * ORGAN_STEP_BEAMS < first ? p * ORGAN_STEP_BEAMS : first;
            last = p * ORGAN_STEP_BEAMS + W;
        }
    }
    organ->tissue = 1 / (1 + exp(-(ORGAN_TISSUE_INTERCEPT + ORGAN_TISSUE_PLACE * places)));
    organ->first_beam = (double)first / SL_BEAMS;
    organ->last_beam = (double)last / SL_BEAMS;
    organ->first_depth = (double)first_row / SL_DEPTHS;
    organ->last_depth = (double)last_row / SL_DEPTHS;
}

static sl_status measure_tissue(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_organ *organ, sl_error *error)
{
    float level = pleura->mean ? sl_pleura_level(pleura->mean, stack->mask) : 0;
    if (!(level > 0))
        return SL_OK;
    float *plane[2], *work = SL_NEW(arena, SL_CELLS, float);
    windows *at = SL_NEW(arena, PLACES, windows);
    for (int k = 0; k < 2; k++)
        plane[k] = SL_NEW(arena, SL_CELLS, float);
    if (!work || !at || !plane[0] || !plane[1])
        return sl_fail(error, SL_MEMORY, "Memory ran out while organs were looked for.");
    place_windows(stack, pleura, level, at);
    sl_filter down, across;
    sl_filter_gauss(ORGAN_SMOOTH_ROWS, &down);
    sl_filter_gauss(ORGAN_SMOOTH_BEAMS, &across);
    int apart = stack->frame_s > 0 ? (int)(ORGAN_PAIR_S / stack->frame_s + 0.5) : 2;
    apart = apart < 1 ? 1 : apart;
    int room = stack->frames - 1 - apart, pairs = room < 0 ? 0 : room < ORGAN_PAIRS ? room + 1 : ORGAN_PAIRS;
    for (int n = 0; n < pairs; n++) {
        int t = pairs > 1 ? room * n / (pairs - 1) : 0;
        for (int k = 0; k < 2; k++)
            smooth_frame(sl_stack_frame(stack, t + k * apart), level, &down, &across, work, plane[k]);
        for (int p = 0; p < PLACES; p++)
            for (int k = 0; k < ORGAN_STACK; k++) {
                window *w = &at[p][k];
                if (!w->used)
                    continue;
                float a[H][W], b[H][W];
                left_over(plane[0], w->row, w->beam, a);
                left_over(plane[1], w->row, w->beam, b);
                w->patchy += together(a, b) / pairs;
            }
    }
    for (int p = 0; p < PLACES; p++)
        for (int k = 0; k < ORGAN_STACK; k++)
            at[p][k].tissue = at[p][k].used && pairs > 0 && at[p][k].patchy > ORGAN_PATCHY_LEAST && at[p][k].patchy < ORGAN_PATCHY_MOST &&
                              at[p][k].grey > ORGAN_GREY_LEAST && at[p][k].grey < ORGAN_GREY_MOST;
    judge_tissue(at, organ);
    organ->frames = pairs > 0 ? stack->frames : 0;
    return SL_OK;
}

sl_status sl_organ_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_organ *organ, sl_error *error)
{
    *organ = (sl_organ){.heart = {.reason = "", .period_s = SL_UNKNOWN}, .first_time_s = SL_UNKNOWN, .last_time_s = SL_UNKNOWN};
    if (stack->frames < 1)
        return SL_OK;
    organ->first_source = stack->source[0];
    organ->last_source = stack->source[stack->frames - 1];
    if (stack->times_known) {
        organ->first_time_s = stack->time_s[0];
        organ->last_time_s = stack->time_s[stack->frames - 1];
    }
    int top = pleura->seen && sl_known(pleura->depth) ? (int)(pleura->depth * SL_DEPTHS) : (int)(0.15 * SL_DEPTHS);
    if (!sl_heart_look(stack, top, arena, &organ->heart))
        return sl_fail(error, SL_MEMORY, "Memory ran out while the heart was looked for.");
    return measure_tissue(stack, pleura, arena, organ, error);
}

void sl_organ_merge(sl_organ *into, const sl_organ *more)
{
    sl_heart heart = !into->heart.judged || (more->heart.judged && more->heart.undone > into->heart.undone) ? more->heart : into->heart;
    if (!(into->frames > 0) || (more->frames > 0 && more->tissue > into->tissue))
        *into = *more;
    into->heart = heart;
}

/* ---- what is stated ---- */

static void show(const sl_organ *o, bool heart, sl_arena *arena, sl_finding *finding)
{
    sl_evidence *e = SL_NEW(arena, 1, sl_evidence);
    if (!e)
        return;
    *e = (sl_evidence){.first_frame = o->first_source, .last_frame = o->last_source, .first_time_s = o->first_time_s,
                       .last_time_s = o->last_time_s, .label = heart ? "moves with the heart" : "tissue of an organ, or lung without air"};
    e->first_beam = heart ? o->heart.first_beam : o->first_beam;
    e->last_beam = heart ? o->heart.last_beam : o->last_beam;
    e->first_depth = heart ? o->heart.first_depth : o->first_depth;
    e->last_depth = heart ? o->heart.last_depth : o->last_depth;
    finding->evidence = e;
    finding->evidences = 1;
}

static void state_rate(const sl_organ *o, bool heart, sl_reading *reading)
{
    sl_finding *rate = sl_reading_put(reading, SL_HEART_RATE);
    rate->reason = heart ? "" : o->heart.judged ? "no heart is seen moving" : o->heart.reason ? o->heart.reason : "nothing could be measured";
    if (!heart)
        return;
    rate->known = true;
    rate->value = 60 / o->heart.period_s;
    double off = 0.5 / (HEART_RATE_HZ); /* the beat is told to a step of the frames looked at */
    rate->low = 60 / (o->heart.period_s + off);
    rate->high = 60 / (o->heart.period_s - off);
}

void sl_organ_state(const sl_organ *o, const sl_dome *dome, const sl_curtain *curtain, sl_arena *arena, sl_reading *reading)
{
    sl_finding *f = sl_reading_put(reading, SL_ORGAN);
    double beat = o->heart.judged ? o->heart.undone : 0, edge = curtain->frames > 0 ? curtain->index : 0;
    double moves = fmax(dome->frames > 0 ? dome->index : 0, edge);
    bool heart = beat > HEART_PRESENT, dome_moves = dome->frames > 0 && dome->index >= DOME_PRESENT;
    state_rate(o, heart, reading);
    if (!(o->frames > 0)) {
        f->reason = "a single picture: an organ is told by how it moves";
        return;
    }
    /* One scale for both: 0.5 of the heart's number and 0.7 of the organ's are where each is stated. */
    double of_heart = beat < HEART_PRESENT ? beat * ORGAN_PRESENT / HEART_PRESENT
                                           : ORGAN_PRESENT + (beat - HEART_PRESENT) * (1 - ORGAN_PRESENT) / (1 - HEART_PRESENT);
    f->known = true;
    f->value = fmax(fmax(of_heart, ORGAN_MOVES_ALONE * moves), o->tissue * (ORGAN_STILL + (1 - ORGAN_STILL) * moves));
    f->confidence = fmax(f->value, 1 - f->value);
    bool organ = f->value > ORGAN_PRESENT && !heart;
    f->answer = f->value > ORGAN_PRESENT ? SL_PRESENT
                : f->value < ORGAN_ABSENT && o->tissue < ORGAN_ABSENT_TISSUE && !(o->heart.judged && beat > HEART_ABSENT) ? SL_ABSENT
                                                                                                                         : SL_UNCERTAIN;
    if (heart)
        f->reason = sl_arena_printf(arena, "the heart, or what it moves: %.0f beats a minute", 60 / o->heart.period_s);
    else if (organ)
        f->reason = dome_moves ? "liver, spleen or kidney: tissue that moves with a diaphragm behind it"
                               : "liver, spleen or kidney: tissue that lung comes over with breathing";
    else if (f->answer == SL_UNCERTAIN)
        f->reason = o->tissue >= ORGAN_TISSUE_LIKELY ? "an organ or lung without air: tissue of great extent, and no diaphragm or lung's edge is seen moving"
                    : edge > ORGAN_EDGE      ? "lung comes over something with breathing, of which too little is seen to tell an organ"
                    : moves > ORGAN_EDGE     ? "something moves like a diaphragm, but too little tissue is seen before it to tell an organ"
                    : beat > HEART_ABSENT            ? "something moves at a heart's rate, but little"
                                                     : "some tissue is seen, too little to tell an organ from lung";
    if (f->answer != SL_ABSENT)
        show(o, heart || (o->tissue < ORGAN_TISSUE_LIKELY && beat > HEART_ABSENT), arena, f);
    /* What an organ explains as well is not stated as lung. */
    if (heart)
        sl_doubt(SL_CAUSE_HEART, 0, reading);
    else if (organ)
        sl_doubt(SL_CAUSE_ORGAN, 0, reading);
    else if (f->value > ORGAN_DOUBT && moves > ORGAN_EDGE)
        sl_doubt(SL_CAUSE_ORGAN_MOVES, 0, reading);
}

void sl_organ_seen(double sure, const char *reason, const sl_evidence *before, bool instead, sl_reading *reading)
{
    for (int i = 0; i < reading->findings; i++) {
        sl_finding *f = &reading->finding[i];
        if (f->code != SL_ORGAN || (f->known && f->answer == SL_PRESENT))
            continue;
        f->known = true;
        f->answer = SL_PRESENT;
        f->value = f->confidence = ORGAN_PRESENT + (1 - ORGAN_PRESENT) * sure;
        f->reason = reason;
        f->evidence = before;
        f->evidences = before != NULL;
    }
    if (instead)
        sl_doubt(SL_CAUSE_ORGAN, 0, reading);
}
