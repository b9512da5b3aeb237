/* Grey levels and grain of a clip; quality_hold.c has how the probe was held. */
#include "reading/quality.h"

#include "core/order.h"
#include "core/units.h"
#include "reading/grain.h"
#include "reading/quality_table.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BANDS = SL_QUALITY_BANDS, BAND_ROWS = SL_DEPTHS / SL_QUALITY_BANDS, MOST_WINDOWS = 4096 };

void sl_quality_clear(sl_quality *quality)
{
    sl_grey_quality *g = &quality->grey;
    sl_hold_quality *h = &quality->hold;
    memset(quality, 0, sizeof *quality);
    g->top = g->grain_lower = g->grain_upper = g->step_one = g->step_two = SL_UNKNOWN;
    for (int b = 0; b < BANDS; b++)
        g->mean[b] = g->strong[b] = g->black[b] = g->white[b] = g->lateral[b] = g->grain_rows[b] = g->grain_beams[b] = SL_UNKNOWN;
    h->found = h->clear = h->space = h->rib = h->dark = h->dark_first = h->dark_last = h->widest = h->central = h->caps =
        h->tilt_deg = h->tilt_widest_deg = h->tilt_rms = h->echo = h->wall_shift = h->wall_kept = SL_UNKNOWN;
}

/* ---- levels ---- */

typedef struct levels {
    uint32_t count[BANDS][256];
    uint32_t beam_sum[BANDS][SL_BEAMS];
    int frames;
} levels;

static void add_levels(const uint8_t *cell, const uint8_t *mask, levels *all)
{
    for (int b = 0; b < BANDS; b++)
        for (int row = b * BAND_ROWS; row < (b + 1) * BAND_ROWS; row++) {
            const uint8_t *c = cell + row * SL_BEAMS, *m = mask + row * SL_BEAMS;
            for (int j = 0; j < SL_BEAMS; j++) {
                all->count[b][c[j]] += m[j];
                all->beam_sum[b][j] += c[j]; /* 0 outside */
            }
        }
    all->frames++;
}

static double top_of(const levels *all)
{
    double cells = 0, above = 0;
    for (int b = 0; b < BANDS; b++)
        for (int v = 0; v < 256; v++)
            cells += all->count[b][v];
    for (int v = 255; v > 0; v--) {
        for (int b = 0; b < BANDS; b++)
            above += all->count[b][v];
        if (above >= Q_TOP_SHARE * cells)
            return v;
    }
    return 0;
}

static void state_levels(const levels *all, const uint8_t *mask, sl_grey_quality *g)
{
    g->top = top_of(all);
    for (int b = 0; b < BANDS; b++) {
        double cells = 0, sum = 0, black = 0, white = 0, beam[SL_BEAMS];
        int beams = 0;
        for (int v = 0; v < 256; v++) {
            double n = all->count[b][v];
            cells += n;
            sum += n * v;
            black += v <= Q_FLOOR ? n : 0;
            white += v >= g->top - Q_CEILING ? n : 0;
        }
        if (!(cells > 0))
            continue;
        g->mean[b] = sum / cells;
        g->black[b] = black / cells;
        g->white[b] = white / cells;
        for (int j = 0; j < SL_BEAMS; j++) {
            int inside = 0;
            for (int row = b * BAND_ROWS; row < (b + 1) * BAND_ROWS; row++)
                inside += mask[row * SL_BEAMS + j];
            if (2 * inside > BAND_ROWS)
                beam[beams++] = (double)all->beam_sum[b][j] / inside / all->frames;
        }
        if (!beams)
            continue;
        qsort(beam, (size_t)beams, sizeof *beam, sl_by_double);
        g->strong[b] = beam[(int)(Q_STRONG * (beams - 1) + 0.5)];
    }
}

/* ---- grain ---- */

typedef struct window {
    float lower, upper, lateral; /* median to 25th percentile, 90th to median: grey levels */
    int band;
} window;

/* Grey of a place about a plane in depth and beam, so that shading is no grain. By quantiles: a floor or a ceiling that cuts
 * off the tails does not matter as long as it stays off the quarter. False where it does, or at the picture's edge. */
static bool measure_window(const uint8_t *cell, const uint8_t *mask, int row, int beam, double top, window *w)
{
    enum { R = Q_WINDOW_ROWS, B = Q_WINDOW_BEAMS, N = R * B, MIDDLE = 512, BINS = 1024 };
    float v[R][B];
    int sum = 0, inside = 0, black = 0, white = 0;
    for (int i = 0; i < R; i++)
        for (int j = 0; j < B; j++) {
            int at = (row + i) * SL_BEAMS + beam + j;
            inside += mask[at];
            black += cell[at] <= Q_FLOOR;
            white += cell[at] >= top - Q_CEILING;
            sum += cell[at];
            v[i][j] = cell[at];
        }
    float mean = (float)sum / N;
    if (inside < N || black > Q_CUT_SHARE * N || white > Q_CUT_SHARE * N / 4 || mean < Q_GREY_LEAST || mean > (float)top - Q_GREY_BELOW_TOP)
        return false;
    float down = 0, across = 0;
    for (int i = 0; i < R; i++)
        for (int j = 0; j < B; j++) {
            down += v[i][j] * ((float)i - (R - 1) / 2.0f);
            across += v[i][j] * ((float)j - (B - 1) / 2.0f);
        }
    down /= N * (R * R - 1) / 12.0f;
    across /= N * (B * B - 1) / 12.0f;
    int count[BINS] = {0}, low = BINS, high = 0;
    float square = 0, apart = 0;
    for (int i = 0; i < R; i++)
        for (int j = 0; j < B; j++) {
            v[i][j] -= mean + down * ((float)i - (R - 1) / 2.0f) + across * ((float)j - (B - 1) / 2.0f);
            int bin = (int)(v[i][j] + MIDDLE + 0.5f);
            bin = bin < 0 ? 0 : bin >= BINS ? BINS - 1 : bin;
            count[bin]++;
            low = bin < low ? bin : low;
            high = bin > high ? bin : high;
        }
    for (int i = 0; i < R; i++)
        for (int j = 0; j < B; j++) {
            square += v[i][j] * v[i][j];
            apart += j + 2 < B ? v[i][j] * v[i][j + 2] : 0;
        }
    if (!(square > 0))
        return false;
    float quantile[3];
    const int wanted[3] = {N / 4, N / 2, N * 9 / 10};
    for (int q = 0; q < 3; q++) { /* within the bin in proportion */
        int before = 0, bin = low;
        while (bin < high && before + count[bin] < wanted[q])
            before += count[bin++];
        quantile[q] = (float)bin - 0.5f + (float)(wanted[q] - before) / (float)(count[bin] ? count[bin] : 1);
    }
    *w = (window){quantile[1] - quantile[0], quantile[2] - quantile[1], apart / square * B / (B - 2), row / BAND_ROWS};
    return true;
}

static int by_spread(const void *a, const void *b)
{
    const window *p = a, *q = b;
    float x = p->lower + p->upper, y = q->lower + q->upper;
    return (x > y) - (x < y);
}

static void state_grain(window *all, int count, sl_grey_quality *g)
{
    double lateral[BANDS] = {0};
    int windows[BANDS] = {0};
    for (int i = 0; i < count; i++) {
        lateral[all[i].band] += (double)all[i].lateral;
        windows[all[i].band]++;
    }
    for (int b = 0; b < BANDS; b++)
        if (windows[b] >= Q_WINDOWS_LEAST)
            g->lateral[b] = lateral[b] / windows[b];
    g->grain_windows = count;
    if (count < Q_WINDOWS_LEAST)
        return;
    qsort(all, (size_t)count, sizeof *all, by_spread);
    int even = (int)(Q_EVEN_SHARE * count);
    even = even < Q_WINDOWS_LEAST ? Q_WINDOWS_LEAST : even;
    double lower = 0, upper = 0;
    for (int i = 0; i < even; i++) {
        lower += (double)all[i].lower;
        upper += (double)all[i].upper;
    }
    g->grain_lower = lower / even;
    g->grain_upper = upper / even;
}

/* ---- noise from frame to frame ---- */

typedef struct steps {
    double square, one, two, cells;
} steps;

static void add_steps(const uint8_t *a, const uint8_t *b, const uint8_t *c, const uint8_t *d, int count, steps *s)
{
    int64_t square = 0, one = 0, two = 0;
    int cells = 0;
    for (int k = 0; k < count; k++) {
        bool dim = a[k] > Q_FLOOR && b[k] > Q_FLOOR && c[k] > Q_FLOOR && d[k] > Q_FLOOR;
        int x = dim ? b[k] - a[k] : 0, y = dim ? c[k] - b[k] : 0, z = dim ? d[k] - c[k] : 0;
        square += x * x + y * y + z * z;
        one += x * y + y * z;
        two += x * z;
        cells += dim;
    }
    s->square += (double)square / 3;
    s->one += (double)one / 2;
    s->two += (double)two;
    s->cells += cells;
}

/* The band where the change comes most as noise does: the least correlation of successive changes. */
static void state_steps(const steps *band, sl_grey_quality *g)
{
    for (int b = 0; b < BANDS; b++) {
        if (band[b].cells < 2000 || !(band[b].square > 0.5 * band[b].cells))
            continue;
        double one = band[b].one / band[b].square, two = band[b].two / band[b].square;
        if (!sl_known(g->step_one) || one + two < g->step_one + g->step_two) {
            g->step_one = one;
            g->step_two = two;
        }
    }
}

/* ---- pooling ---- */

static void pool(double *into, double weight, double more, double weight_more)
{
    if (!sl_known(more))
        return;
    *into = sl_known(*into) ? (*into * weight + more * weight_more) / (weight + weight_more) : more;
}

static void merge(sl_grey_quality *into, const sl_grey_quality *more)
{
    if (!(into->frames > 0)) {
        *into = *more;
        return;
    }
    double a = into->frames, b = more->frames;
    for (int k = 0; k < BANDS; k++) {
        pool(&into->mean[k], a, more->mean[k], b);
        pool(&into->strong[k], a, more->strong[k], b);
        pool(&into->black[k], a, more->black[k], b);
        pool(&into->white[k], a, more->white[k], b);
        pool(&into->lateral[k], a, more->lateral[k], b);
        pool(&into->grain_rows[k], a, more->grain_rows[k], b);
        pool(&into->grain_beams[k], a, more->grain_beams[k], b);
    }
    into->top = fmax(into->top, more->top);
    pool(&into->grain_lower, a, more->grain_lower, b);
    pool(&into->grain_upper, a, more->grain_upper, b);
    pool(&into->step_one, a, more->step_one, b);
    pool(&into->step_two, a, more->step_two, b);
    into->grain_windows += more->grain_windows;
    into->frames += more->frames;
}

sl_status sl_quality_add_grey(const sl_stack *stack, sl_arena *scratch, sl_grey_quality *into, sl_error *error)
{
    if (stack->frames < 1)
        return SL_OK;
    sl_quality made;
    sl_quality_clear(&made);
    levels *all = SL_NEW(scratch, 1, levels);
    window *windows = SL_NEW(scratch, MOST_WINDOWS, window);
    if (!all || !windows)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the grey levels were looked at.");
    int looked = stack->frames < Q_FRAMES ? stack->frames : Q_FRAMES, count = 0;
    for (int k = 0; k < looked; k++)
        add_levels(sl_stack_frame(stack, (int)((int64_t)k * stack->frames / looked)), stack->mask, all);
    state_levels(all, stack->mask, &made.grey);
    int grained = stack->frames < Q_GRAIN_FRAMES ? stack->frames : Q_GRAIN_FRAMES;
    for (int k = 0; k < grained; k++) {
        const uint8_t *cell = sl_stack_frame(stack, (int)((int64_t)k * stack->frames / grained));
        for (int row = 0; row + Q_WINDOW_ROWS <= SL_DEPTHS; row += Q_WINDOW_ROWS)
            for (int beam = 0; beam + Q_WINDOW_BEAMS <= SL_BEAMS && count < MOST_WINDOWS; beam += Q_WINDOW_BEAMS)
                count += measure_window(cell, stack->mask, row, beam, made.grey.top, &windows[count]);
    }
    state_grain(windows, count, &made.grey);
    static_assert((int)SL_GRAIN_BANDS == (int)SL_QUALITY_BANDS, "the same bands");
    sl_grain_widths widths;
    if (!sl_grain_measure(stack, made.grey.top, scratch, &widths))
        return sl_fail(error, SL_MEMORY, "Memory ran out while the grey levels were looked at.");
    memcpy(made.grey.grain_rows, widths.along, sizeof widths.along);
    memcpy(made.grey.grain_beams, widths.across, sizeof widths.across);
    steps band[BANDS] = {0};
    int runs = stack->frames - 3;
    for (int k = 0; k < (runs < Q_STEPS ? runs : Q_STEPS); k++) {
        int t = (int)((int64_t)k * runs / (runs < Q_STEPS ? runs : Q_STEPS));
        for (int b = 0; b < BANDS; b++) {
            int at = b * BAND_ROWS * SL_BEAMS;
            add_steps(sl_stack_frame(stack, t) + at, sl_stack_frame(stack, t + 1) + at, sl_stack_frame(stack, t + 2) + at,
                      sl_stack_frame(stack, t + 3) + at, BAND_ROWS * SL_BEAMS, &band[b]);
        }
    }
    state_steps(band, &made.grey);
    made.grey.frames = stack->frames;
    merge(into, &made.grey);
    return SL_OK;
}
