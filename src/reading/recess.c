#include "reading/recess.h"

#include "core/order.h"
#include "core/units.h"
#include "reading/organ.h"
#include "reading/pleura_cells.h"
#include "reading/run_sum.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { C = RECESS_COLUMNS, R = SL_DEPTHS, WIDE = SL_BEAMS / RECESS_COLUMNS };

/* The border in a moment. Grey is in ln against the level. */
typedef struct recess_shape {
    bool right;          /* the organ lies to the right in the picture */
    int edge;            /* column where the dome leaves the wall, counted from the fluid's side */
    double score;        /* below 0: none */
    double fluid, dome;  /* mean fall of grey at the rim and at the dome */
    double fluids;       /* columns of the rim */
    double rim, slope;   /* row of the rim at the edge, rows a column */
    double rise, down;   /* rows the dome goes down, share of its steps that do or stay */
    double tissue, even; /* of what lies before the dome: mean, standard deviation */
    double dark, beyond; /* of what lies below the rim and beyond the dome */
} recess_shape;

/* A moment: ln grey by column, running sums of it, how much a border lies at each place, and the path. */
typedef struct moment {
    float grey[C][R], smooth[C][R], sum[C][R + 1], value[C][R];
    bool use[C];
    int last[C]; /* row inside the picture */
    int path[C];
    float drop[C];
} moment;

/* Below a rib's cap it is dark down to the end of the picture, but for the blur of a spine; below fluid something shows again. */
static bool shadow(const moment *m, int c)
{
    int dark = 0, lit = 0, most = 0;
    for (int r = RECESS_FIRST; r + RECESS_BEFORE < m->last[c]; r++) {
        float grey = sl_mean_of(m->sum[c], r, r + RECESS_BEFORE - 1);
        dark += grey < RECESS_BLACK;
        lit = dark > RECESS_BEFORE && grey > RECESS_LIT ? lit + 1 : 0;
        most = lit > most ? lit : most;
    }
    return most < RECESS_LIT_RUN && dark > RECESS_SHADOW * m->last[c];
}

static void look(const sl_stack *stack, const float *mean, float level, moment *m)
{
    for (int c = 0; c < C; c++) {
        int first = (c - RECESS_HALF) * WIDE, end = (c + RECESS_HALF + 1) * WIDE;
        first = first < 0 ? 0 : first;
        end = end > SL_BEAMS ? SL_BEAMS : end;
        m->last[c] = -1;
        for (int r = 0; r < R; r++) {
            float grey = 0;
            for (int j = first; j < end; j++)
                grey += mean[r * SL_BEAMS + j];
            m->grey[c][r] = logf(grey / (float)(end - first) / level + RECESS_FLOOR);
            if (stack->mask[r * SL_BEAMS + c * WIDE])
                m->last[c] = r;
        }
        sl_add_up(m->grey[c], m->sum[c]);
        for (int r = 0; r < R; r++)
            m->smooth[c][r] = sl_mean_of(m->sum[c], r - RECESS_SMOOTH, r + RECESS_SMOOTH);
        m->use[c] = m->last[c] > R / 2 && !shadow(m, c);
    }
}

/* Tissue that runs on to a place and dark beyond it. */
static void score(moment *m)
{
    for (int c = 0; c < C; c++)
        for (int r = 0; r < R; r++) {
            m->value[c][r] = 0;
            if (!m->use[c])
                continue;
            m->value[c][r] = -RECESS_DROP_LEAST;
            if (r < RECESS_FIRST || r + RECESS_BEYOND > m->last[c])
                continue;
            float before = sl_mean_of(m->sum[c], r - RECESS_BEFORE, r - RECESS_OFF), beyond = sl_mean_of(m->sum[c], r + RECESS_OFF, r + RECESS_BEYOND);
            float near = sl_mean_of(m->sum[c], r + RECESS_OFF, r + RECESS_BEYOND / 2), drop = before - (near > beyond ? near : beyond);
            if (drop < RECESS_DROP_LEAST)
                continue;
            drop = drop > RECESS_DROP_MOST ? RECESS_DROP_MOST : drop;
            float dark = 0;
            float least = before - RECESS_DARK < RECESS_DARK_GREY ? before - RECESS_DARK : RECESS_DARK_GREY;
            for (int q = r - RECESS_DARK_BACK < RECESS_FIRST ? RECESS_FIRST : r - RECESS_DARK_BACK; q < r - RECESS_OFF; q++)
                dark += m->smooth[c][q] < least ? RECESS_DARK_COST : 0;
            m->value[c][r] = drop - RECESS_DROP_LEAST - (dark > RECESS_DARK_MOST ? RECESS_DARK_MOST : dark) - RECESS_DEPTH_COST * (float)r;
        }
}

/* The path of most value; a step costs with its length, but no more than a jump. */
static void follow(moment *m, int16_t (*from)[R])
{
    float best[R], now[R];
    for (int r = 0; r < R; r++)
        best[r] = m->value[0][r];
    for (int c = 1; c < C; c++) {
        int top = 0, by[R];
        for (int r = 1; r < R; r++)
            top = best[r] > best[top] ? r : top;
        float run[R];
        memcpy(run, best, sizeof run);
        for (int r = 0; r < R; r++)
            by[r] = r;
        for (int r = 1; r < R; r++)
            if (run[r - 1] - RECESS_STEP_COST > run[r]) {
                run[r] = run[r - 1] - RECESS_STEP_COST;
                by[r] = by[r - 1];
            }
        for (int r = R - 2; r >= 0; r--)
            if (run[r + 1] - RECESS_STEP_COST > run[r]) {
                run[r] = run[r + 1] - RECESS_STEP_COST;
                by[r] = by[r + 1];
            }
        for (int r = 0; r < R; r++) {
            bool jump = best[top] - RECESS_STEP_MOST > run[r];
            now[r] = (jump ? best[top] - RECESS_STEP_MOST : run[r]) + m->value[c][r];
            from[c][r] = (int16_t)(jump ? top : by[r]);
        }
        memcpy(best, now, sizeof best);
    }
    int at = 0;
    for (int r = 1; r < R; r++)
        at = best[r] > best[at] ? r : at;
    for (int c = C - 1; c >= 0; c--) {
        m->path[c] = at;
        m->drop[c] = m->use[c] ? m->value[c][at] : 0;
        at = c ? from[c][at] : at;
    }
}

/* Columns are counted from the fluid's side: 0 is the far end of it. */
static int column(bool right, int i)
{
    return right ? i : C - 1 - i;
}

static double middle(double *v, int n)
{
    qsort(v, (size_t)n, sizeof *v, sl_by_double);
    return n ? v[n / 2] : SL_UNKNOWN;
}

/* The rim as a straight line through the borders of the columns before `e` that are nearest: the slope as the median of those between
 * them, so that a wrong column says nothing. */
static bool rim_of(const moment *m, bool right, int e, double *at, double *slope)
{
    double x[RECESS_RIM], y[RECESS_RIM], v[RECESS_RIM * RECESS_RIM];
    int n = 0, k = 0;
    for (int i = e - 1; i >= 0 && n < RECESS_RIM; i--) {
        int c = column(right, i);
        if (m->use[c] && m->drop[c] > 0) {
            x[n] = i;
            y[n++] = m->path[c];
        }
    }
    if (n < RECESS_RIM_LEAST)
        return false;
    for (int i = 0; i < n; i++)
        for (int j = 0; j < i; j++)
            v[k++] = (y[i] - y[j]) / (x[i] - x[j]);
    *slope = fmin(fmax(middle(v, k), -RECESS_SLOPE), RECESS_SLOPE);
    for (int i = 0; i < n; i++)
        v[i] = y[i] - *slope * (x[i] - e);
    *at = middle(v, n);
    return true;
}

/* The dome from column `e` on. */
static void weigh(const moment *m, bool right, int e, recess_shape *s)
{
    double fluid = 0, dome = 0, down = 0, steps = 0, at, slope;
    int fluids = 0, domes = 0, before = -1;
    *s = (recess_shape){.right = right, .edge = e, .score = -1};
    if (!rim_of(m, right, e, &at, &slope))
        return;
    for (int i = e - 1; i >= 0 && e - i <= RECESS_SIDE; i--) {
        int c = column(right, i);
        if (!m->use[c])
            continue;
        bool on = fabs(m->path[c] - at - slope * (i - e)) < RECESS_OFF_RIM;
        fluid += on ? (double)m->drop[c] : -RECESS_ELSE;
        fluids += on;
    }
    for (int i = e; i < C && i - e < RECESS_SIDE; i++) {
        int c = column(right, i);
        if (!m->use[c] || m->path[c] + RECESS_BEYOND + RECESS_ROOM > m->last[c])
            continue;
        double below = m->path[c] - at - slope * fmin(i - e, RECESS_RIM);
        bool on = below >= RECESS_DEPART && (before < 0 || m->path[c] >= before - RECESS_STEP_BACK);
        if (before >= 0) {
            down += m->path[c] >= before - RECESS_STEP_BACK;
            steps++;
        }
        before = m->path[c];
        dome += on ? (double)m->drop[c] : -RECESS_ELSE;
        domes += on;
        s->rise = on && below > s->rise ? below : s->rise;
    }
    if (fluids < RECESS_RIM_LEAST || domes < RECESS_DOME_LEAST || !(fluid > 0) || !(dome > 0))
        return;
    s->rim = at;
    s->slope = slope;
    s->fluid = fluid / fluids;
    s->dome = dome / domes;
    s->fluids = fluids;
    s->down = steps > 0 ? down / steps : 0;
    s->score = fluid + dome;
}

static void tissue(const moment *m, recess_shape *s)
{
    double sum = 0, square = 0, n = 0, dark = 0, k = 0, beyond = 0, b = 0;
    for (int i = 0; i < C; i++) {
        int c = column(s->right, i);
        if (!m->use[c])
            continue;
        if (i < s->edge) {
            for (int r = m->path[c] + RECESS_CLEAR; r < m->path[c] + RECESS_FLUID_ROWS && r < R; r++, k++)
                dark += (double)m->grey[c][r];
            continue;
        }
        for (int r = (int)s->rim + RECESS_UNDER_RIM; r < m->path[c] - RECESS_CLEAR; r++, n++) {
            sum += (double)m->grey[c][r];
            square += (double)(m->grey[c][r] * m->grey[c][r]);
        }
        if (m->path[c] + RECESS_BEYOND_LAST + 2 < m->last[c])
            for (int r = m->path[c] + RECESS_BEYOND_FIRST; r < m->path[c] + RECESS_BEYOND_LAST; r++, b++)
                beyond += (double)m->grey[c][r];
    }
    s->tissue = n > 0 ? sum / n : SL_UNKNOWN;
    s->even = n > 0 ? sqrt(fmax(square / n - s->tissue * s->tissue, 0)) : SL_UNKNOWN;
    s->dark = k > 0 ? dark / k : SL_UNKNOWN;
    s->beyond = b > 0 ? beyond / b : SL_UNKNOWN;
}

static void judge(moment *m, recess_shape *best)
{
    *best = (recess_shape){.score = -1};
    for (int side = 0; side < 2; side++) {
        bool right = side == 0;
        for (int e = RECESS_RIM_LEAST; e + RECESS_DOME_LEAST <= C; e++) {
            recess_shape s;
            weigh(m, right, e, &s);
            if (s.score <= best->score || s.rise < RECESS_RISE_LEAST || s.down < RECESS_DOWN)
                continue;
            *best = s;
        }
    }
    if (best->score > 0)
        tissue(m, best);
}

/* One moment shows it: fluid, tissue of an organ before the dome, dark beyond. */
static bool shows(const recess_shape *s)
{
    return s->score > 0 && s->fluid >= RECESS_FLUID && s->dome >= RECESS_DOME && s->rise >= RECESS_RISE_SEEN && s->rim >= RECESS_RIM_ROW &&
           s->fluids >= RECESS_FLUIDS && s->tissue > RECESS_TISSUE && s->even < RECESS_EVEN && s->tissue - s->beyond > RECESS_BEYOND_FALL &&
           s->tissue - s->dark > RECESS_FLUID_FALL;
}

/* Enough moments that show it on the same side; the edge is the middle one of theirs. */
static void pool(const sl_stack *stack, const recess_shape *shape, sl_recess *recess)
{
    double edge[2][RECESS_MOMENTS], rim[2][RECESS_MOMENTS], rise[2][RECESS_MOMENTS];
    int n[2] = {0};
    for (int t = 0; t < recess->moments; t++)
        if (shows(&shape[t])) {
            int side = shape[t].right, k = n[side]++;
            edge[side][k] = shape[t].edge;
            rim[side][k] = shape[t].rim;
            rise[side][k] = shape[t].rise;
        }
    int side = n[1] >= n[0], k = n[side];
    recess->share = recess->moments ? (double)k / recess->moments : 0;
    recess->seen = k >= RECESS_SEEN_LEAST && recess->share >= RECESS_SEEN_SHARE;
    recess->right = side;
    if (!recess->seen)
        return;
    double at = middle(edge[side], k) / C, top = middle(rim[side], k), down = middle(rise[side], k), last = at + (double)RECESS_SIDE / C;
    recess->steady = edge[side][(int)(0.9 * (k - 1))] - edge[side][(int)(0.1 * (k - 1))] <= RECESS_STEADY; /* sorted by now */
    recess->edge_beam = side ? at : 1 - at;
    recess->first_beam = side ? at : fmax(1 - last, 0);
    recess->last_beam = side ? fmin(last, 1) : 1 - at;
    recess->first_depth = (top + 0.5) / R;
    recess->last_depth = fmin((top + down + 0.5) / R, 1);
    recess->first_source = stack->source[0];
    recess->last_source = stack->source[stack->frames - 1];
    recess->first_time_s = stack->times_known ? stack->time_s[0] : SL_UNKNOWN;
    recess->last_time_s = stack->times_known ? stack->time_s[stack->frames - 1] : SL_UNKNOWN;
}

sl_status sl_recess_measure(const sl_stack *stack, const sl_pleura *pleura, sl_arena *arena, sl_recess *recess, sl_error *error)
{
    memset(recess, 0, sizeof *recess);
    float level = pleura->mean ? sl_pleura_level(pleura->mean, stack->mask) : 0;
    if (stack->frames < 2 || !(level > 0))
        return SL_OK;
    recess_shape shape[RECESS_MOMENTS];
    moment *m = SL_NEW(arena, 1, moment);
    float *mean = SL_NEW(arena, SL_CELLS, float);
    int16_t(*from)[R] = (int16_t(*)[R])sl_arena_alloc(arena, C, sizeof *from);
    if (!m || !mean || !from)
        return sl_fail(error, SL_MEMORY, "Memory ran out while fluid beside an organ was looked for.");
    int length = stack->frame_s > 0 ? (int)(RECESS_MOMENT_S / stack->frame_s + 0.5) : 2;
    length = length < 1 ? 1 : length > stack->frames ? stack->frames : length;
    int room = stack->frames - length, moments = room + 1 < RECESS_MOMENTS ? room + 1 : RECESS_MOMENTS;
    for (int t = 0; t < moments; t++) {
        int first = moments > 1 ? room * t / (moments - 1) : 0;
        sl_stack_mean(stack, first, first + length, mean);
        look(stack, mean, level, m);
        score(m);
        follow(m, from);
        judge(m, &shape[t]);
    }
    recess->moments = moments;
    recess->frames = stack->frames;
    pool(stack, shape, recess);
    return SL_OK;
}

void sl_recess_merge(sl_recess *into, const sl_recess *more)
{
    if (!(into->frames > 0) || more->share > into->share)
        *into = *more;
}

/* The other answers are put in order before: organ, consolidation, mirror image. */
void sl_recess_state(const sl_recess *recess, sl_arena *arena, sl_reading *reading)
{
    const sl_finding *rate = sl_reading_get(reading, SL_HEART_RATE);
    if (!recess->seen || (rate && rate->known)) /* a heart's chambers are dark, too */
        return;
    sl_evidence *e = SL_NEW(arena, 1, sl_evidence);
    if (e)
        *e = (sl_evidence){.first_frame = recess->first_source, .last_frame = recess->last_source, .first_time_s = recess->first_time_s,
                           .last_time_s = recess->last_time_s, .first_beam = recess->first_beam, .last_beam = recess->last_beam,
                           .first_depth = recess->first_depth, .last_depth = recess->last_depth, .label = "an organ below the diaphragm"};
    const sl_finding *solid = sl_reading_get(reading, SL_CONSOLIDATION);
    bool same = !solid || !solid->evidence || !solid->evidences ||
                (0.5 * (solid->evidence->first_beam + solid->evidence->last_beam) > recess->edge_beam) == recess->right;
    sl_organ_seen(recess->share, "liver, spleen or kidney: tissue from the chest wall on, and dark as fluid beside it and beyond its border, which comes "
                                   "down from the wall as the diaphragm does", e, same, reading);
    for (int i = 0; i < reading->findings; i++) {
        sl_finding *f = &reading->finding[i];
        if (f->code == SL_MIRROR_IMAGE && (!f->known || f->answer == SL_UNCERTAIN) && recess->share >= RECESS_SURE) {
            f->known = true;
            f->answer = SL_ABSENT;
            f->value = RECESS_MIRROR * (1 - recess->share);
            f->confidence = 1 - f->value;
            f->reason = "dark beyond the diaphragm, as fluid is";
        } else if (f->code == SL_EFFUSION && f->known && f->answer == SL_UNCERTAIN && recess->share >= RECESS_SURE) {
            f->answer = SL_PRESENT;
            f->value = f->confidence = RECESS_FLUID_INDEX + (1 - RECESS_FLUID_INDEX) * (recess->share - RECESS_SURE);
            f->reason = "dark beside an organ and beyond its diaphragm";
            f->evidence = e;
            f->evidences = e != NULL;
        } else if (f->code == SL_EFFUSION_DEPTH && !f->known && recess->share >= RECESS_SURE) {
            f->reason = "its borders are not followed by the program; measure it by hand";
        }
    }
}
