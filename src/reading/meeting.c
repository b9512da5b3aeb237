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
                     const float *restrict own_a, const float *restrict own_b, float weight, float *restrict alike,
                     float *restrict power)
{
    float product[MEETING_WIDE] = {0};
    for (int i = 0; i < STRIP_LUNG_ROWS; i++)
        for (int u = 0; u < MEETING_WIDE; u++)
            product[u] += a[i * MEETING_WIDE + u] * b[i * MEETING_WIDE + u];
    for (int u = 0; u < MEETING_WIDE; u++) {
        float both = weight * open_a[u] * open_b[u];
        alike[u] += both * product[u];
        power[u] += both * 0.5f * (own_a[u] + own_b[u]);
    }
}

static void sum_pairs(const sl_positions *p, const sl_meeting_work *w, bool from_low, sums *s)
{
    memset(s->alike[0], 0, sizeof s->alike[0]);
    memset(s->power[0], 0, sizeof s->power[0]);
    for (int m = 0; m < p->count; m++) {
        int a = from_low ? m : p->count - 1 - m;
        memcpy(s->alike[m + 1], s->alike[m], sizeof s->alike[m]);
        memcpy(s->power[m + 1], s->power[m], sizeof s->power[m]);
        for (int k = 0; k < m; k++) {
            int b = from_low ? k : p->count - 1 - k;
            double apart = fabs(p->x[a] - p->x[b]);
            if (apart >= MEETING_APART_LEAST && apart <= MEETING_APART_MOST)
                add_pair(w->carried[a], w->carried[b], w->open[a], w->open[b], w->own[a], w->own[b],
                         (float)(p->weight[a] * p->weight[b]), s->alike[m + 1], s->power[m + 1]);
        }
    }
}

void sl_meeting_prepare(const sl_positions *positions, const float *open, sl_meeting_work *work)
{
    for (int by = 0; by < 2; by++) {
        carry(positions, open, by, work);
        sum_pairs(positions, work, true, &work->low[by]);
        sum_pairs(positions, work, false, &work->high[by]);
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

/* What the edge explains beyond one side only; 0 where it is too near an end. */
static double gain_of(const sl_positions *p, const sl_meeting_work *w, double edge, double slope, int first, int last, bool lung_left,
                      sides *s)
{
    double one_side, power = whole_power(p, w, first, last, &one_side);
    if (!(power > 0))
        return 0;
    take(p, w, edge, slope, first, last, s);
    int lung = lung_left ? 0 : 1, air = 1 - lung;
    double still = s->alike[air][0] - MEETING_CHANCE * s->power[air][0], moves = s->alike[lung][1] - MEETING_CHANCE * s->power[lung][1];
    return (still + moves - one_side) / power;
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
            for (int left = 0; left < 2; left++) {
                sides s;
                double gain = gain_of(positions, work, edge, slope, one, other, left, &s);
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
    double still = 0;
    for (int edge = from + MEETING_SIDE; meeting->found && edge <= to - MEETING_SIDE; edge++) {
        sides s;
        still = fmax(still, gain_of(positions, work, edge, 0, from, to, meeting->lung_left, &s));
    }
    meeting->travel_gain = meeting->gain - still;
}
