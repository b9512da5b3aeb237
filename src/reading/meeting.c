#include "reading/meeting.h"

#include "core/clones.h"

#include <math.h>
#include <string.h>

/* Sums over the pairs among the first (or last) m positions, place by place. */
typedef struct sums {
    float alike[MEETING_BINS + 1][MEETING_WIDE], power[MEETING_BINS + 1][MEETING_WIDE];
} sums;

/* [0] places that stand with the wall, [1] that move with the lung; from the low end of x and from the high. */
struct sl_meeting_work {
    sums low[2], high[2];
    float carried[MEETING_BINS][STRIP_LUNG_ROWS * MEETING_WIDE], open[MEETING_BINS][MEETING_WIDE], own[MEETING_BINS][MEETING_WIDE];
};

size_t sl_meeting_work_size(void)
{
    return sizeof(sl_meeting_work);
}

/* Each position's strip, its places moved by `by` x. */
static void carry(const sl_positions *p, const float *open, double by, sl_meeting_work *w)
{
    for (int q = 0; q < p->count; q++) {
        memset(w->carried[q], 0, sizeof w->carried[q]);
        memset(w->own[q], 0, sizeof w->own[q]);
        for (int u = 0; u < MEETING_WIDE; u++) {
            float at = (float)(u - MEETING_PAD + by * p->x[q]);
            int whole = (int)floorf(at);
            float part = at - (float)whole;
            bool in = whole >= 0 && whole + 1 < SL_BEAMS;
            w->open[q][u] = in && open[whole] > 0 && (part < 1e-3f || open[whole + 1] > 0);
            if (!(w->open[q][u] > 0))
                continue;
            for (int i = 0; i < STRIP_LUNG_ROWS; i++) {
                const float *row = p->mean[q] + i * SL_BEAMS + whole;
                float v = row[0] + part * (row[1] - row[0]);
                w->carried[q][i * MEETING_WIDE + u] = v;
                w->own[q][u] += v * v;
            }
        }
    }
}

SL_CLONES
static void add_pair(const float *restrict a, const float *restrict b, const float *restrict open_a, const float *restrict open_b,
                     const float *restrict own_a, const float *restrict own_b, float weight, float *restrict low_alike,
                     float *restrict low_power, float *restrict high_alike, float *restrict high_power)
{
    float product[MEETING_WIDE] = {0};
    for (int i = 0; i < STRIP_LUNG_ROWS; i++)
        for (int u = 0; u < MEETING_WIDE; u++)
            product[u] += a[i * MEETING_WIDE + u] * b[i * MEETING_WIDE + u];
    for (int u = 0; u < MEETING_WIDE; u++) {
        float both = weight * open_a[u] * open_b[u], alike = both * product[u], power = both * 0.5f * (own_a[u] + own_b[u]);
        low_alike[u] += alike;
        low_power[u] += power;
        high_alike[u] += alike;
        high_power[u] += power;
    }
}

static void run_up(int count, float (*sum)[MEETING_WIDE])
{
    for (int m = 1; m <= count; m++)
        for (int u = 0; u < MEETING_WIDE; u++)
            sum[m][u] += sum[m - 1][u];
}

/* A pair is among the first m positions when its higher one is, among the last m when its lower one is: each pair is worked out once
 * and entered where it joins, then the sums are run up. */
static void sum_pairs(const sl_positions *p, const sl_meeting_work *w, sums *low, sums *high)
{
    memset(low, 0, sizeof *low);
    memset(high, 0, sizeof *high);
    for (int b = 1; b < p->count; b++)
        for (int a = 0; a < b; a++) {
            double apart = fabs(p->x[a] - p->x[b]);
            int from_top = p->count - a;
            if (apart >= MEETING_APART_LEAST && apart <= MEETING_APART_MOST)
                add_pair(w->carried[a], w->carried[b], w->open[a], w->open[b], w->own[a], w->own[b],
                         (float)(p->weight[a] * p->weight[b]), low->alike[b + 1], low->power[b + 1], high->alike[from_top],
                         high->power[from_top]);
        }
    run_up(p->count, low->alike);
    run_up(p->count, low->power);
    run_up(p->count, high->alike);
    run_up(p->count, high->power);
}

void sl_meeting_prepare(const sl_positions *positions, const float *open, sl_meeting_work *work)
{
    for (int by = 0; by < 2; by++) {
        carry(positions, open, by, work);
        sum_pairs(positions, work, &work->low[by], &work->high[by]);
    }
}

typedef struct sides { /* [0] left, [1] right of the edge; [0] likeness where the wall is, [1] where the lung went */
    double alike[2][2], power[2][2];
} sides;

/* Sums of places first .. last-1 (beams) at either side of the edge. A place that stands is left of it at the positions
 * where place < edge + slope x, one that moves where place + x < edge + slope x. */
static void take(const sl_positions *p, const sl_meeting_work *w, double edge, double slope, int first, int last, sides *s)
{
    memset(s, 0, sizeof *s);
    for (int by = 0; by < 2; by++) {
        double tilt = slope - by; /* left where place - edge < tilt x */
        bool low = tilt < 0;      /* those positions are the ones of low x */
        int left = low ? p->count : tilt > 0 ? p->count : 0;
        for (int place = first; place < last; place++) {
            int u = place + MEETING_PAD;
            if (fabs(tilt) < 1e-9)
                left = (double)place < edge ? p->count : 0;
            else
                while (left > 0) { /* rising places are left of the edge at fewer positions */
                    double x = low ? p->x[left - 1] : p->x[p->count - left];
                    if ((double)place - edge < tilt * x)
                        break;
                    left--;
                }
            int right = p->count - left;
            const sums *of_left = low ? &w->low[by] : &w->high[by], *of_right = low ? &w->high[by] : &w->low[by];
            s->alike[0][by] += (double)of_left->alike[left][u];
            s->power[0][by] += (double)of_left->power[left][u];
            s->alike[1][by] += (double)of_right->alike[right][u];
            s->power[1][by] += (double)of_right->power[right][u];
        }
    }
}

/* The power of all pairs, and what one side only would explain: all still, or all moving. */
static double whole_power(const sl_positions *p, const sl_meeting_work *w, int first, int last, double *one_side)
{
    double power[2] = {0}, alike[2] = {0};
    for (int by = 0; by < 2; by++)
        for (int u = first + MEETING_PAD; u < last + MEETING_PAD; u++) {
            power[by] += (double)w->low[by].power[p->count][u];
            alike[by] += (double)w->low[by].alike[p->count][u];
        }
    *one_side = fmax(alike[0] - MEETING_CHANCE * power[0], alike[1] - MEETING_CHANCE * power[1]);
    return power[0];
}

static double share(double alike, double power)
{
    return power > 0 ? alike / power : 0;
}

/* What the two sides explain beyond one side only, with the lung on the left or on the right of the edge. */
static double gain_of(const sides *s, double power, double one_side, bool lung_left)
{
    int lung = lung_left ? 0 : 1, air = 1 - lung;
    double still = s->alike[air][0] - MEETING_CHANCE * s->power[air][0], moves = s->alike[lung][1] - MEETING_CHANCE * s->power[lung][1];
    return power > 0 ? (still + moves - one_side) / power : 0;
}

void sl_meeting_find(const sl_positions *positions, const sl_meeting_work *work, int first, int last, sl_meeting *meeting)
{
    *meeting = (sl_meeting){0};
    double low = positions->x[0], high = positions->x[positions->count - 1];
    int from = 0, to = 0;
    for (int k = -MEETING_SLOPES; k <= MEETING_SLOPES; k++) {
        double slope = k * MEETING_SLOPE, a = fmin(slope * low, slope * high), b = fmax(slope * low, slope * high);
        if (b - a > MEETING_TRAVEL_MOST)
            continue;
        for (int edge = first; edge <= last; edge++) {
            int nearest = (int)ceil(edge + a), furthest = (int)floor(edge + b); /* the range the edge passes over */
            if (nearest - first < MEETING_SIDE || last - furthest < MEETING_SIDE)
                continue;
            int one = edge - MEETING_REACH > first ? edge - MEETING_REACH : first;
            int other = edge + MEETING_REACH < last + 1 ? edge + MEETING_REACH : last + 1;
            if (nearest - one < MEETING_SIDE || other - furthest < MEETING_SIDE)
                continue;
            sides s;
            double one_side, power = whole_power(positions, work, one, other, &one_side);
            take(positions, work, edge, slope, one, other, &s);
            for (int left = 0; left < 2; left++) {
                double gain = gain_of(&s, power, one_side, left);
                if (!(gain > meeting->gain))
                    continue;
                int lung = left ? 0 : 1, air = 1 - lung;
                *meeting = (sl_meeting){.found = true, .lung_left = left, .edge = edge, .slope = slope, .gain = gain,
                                        .air_still = share(s.alike[air][0], s.power[air][0]),
                                        .air_moves = share(s.alike[air][1], s.power[air][1]),
                                        .lung_still = share(s.alike[lung][0], s.power[lung][0]),
                                        .lung_moves = share(s.alike[lung][1], s.power[lung][1]), .travel = b - a};
                from = one;
                to = other;
            }
        }
    }
    double still = 0, one_side, power = whole_power(positions, work, from, to, &one_side);
    for (int edge = from + MEETING_SIDE; meeting->found && edge <= to - MEETING_SIDE; edge++) {
        sides s;
        take(positions, work, edge, 0, from, to, &s);
        still = fmax(still, gain_of(&s, power, one_side, meeting->lung_left));
    }
    meeting->travel_gain = meeting->gain - still;
}
