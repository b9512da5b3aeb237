#include "view/screen.h"

#include "core/quantile.h"
#include "view/view_table.h"

#include <math.h>
#include <string.h>

enum { TICKS_MOST = 400 };

static bool inside_view(const sl_view *view, double x, double y)
{
    double beam, depth;
    sl_view_from_pixel(view, x, y, &beam, &depth);
    return beam > -0.02 && beam < 1.02 && depth > -0.02 && depth < 1.02;
}

uint8_t *sl_marks_find(const uint8_t *hi, const uint8_t *lo, const sl_view *view, bool still, sl_arena *arena)
{
    int w = view->width, h = view->height;
    uint8_t *mark = SL_NEW(arena, (size_t)w * h, uint8_t);
    if (!mark)
        return NULL;
    /* The surround: the most frequent level outside the view, on every fourth pixel of every fourth row. */
    long histogram[256] = {0};
    int base = 0;
    for (int y = 0; y < h; y += 4)
        for (int x = 0; x < w; x += 4)
            if (!inside_view(view, x, y))
                histogram[hi[(size_t)y * w + x]]++;
    for (int v = 1; v < 256; v++)
        if (histogram[v] > histogram[base])
            base = v;
    for (int y = 0; y < h; y++) {
        for (int x = 0; x < w; x++) {
            size_t at = (size_t)y * w + x;
            if (!still && hi[at] - lo[at] > SL_MARK_RANGE)
                mark[at] = SL_MARK_HIDDEN;
            else if (hi[at] >= base + SL_TICK_STEP)
                mark[at] = inside_view(view, x, y) ? SL_MARK_HIDDEN : SL_MARK_DRAWN;
        }
    }
    return mark;
}

/* Middles of the short vertical runs of marks in a column; 0 when a run is too tall for ticks (a bar, a
 * frame). */
static int runs_of(const uint8_t *mark, int w, int h, int x, double *middle)
{
    int count = 0, tallest = h / SL_TICK_THICK > 3 ? h / SL_TICK_THICK : 3;
    for (int y = 0; y < h;) {
        if (mark[(size_t)y * w + x] != SL_MARK_DRAWN) {
            y++;
            continue;
        }
        int begin = y;
        while (y < h && mark[(size_t)y * w + x] == SL_MARK_DRAWN)
            y++;
        if (y - begin <= tallest && count < TICKS_MOST)
            middle[count++] = 0.5 * (begin + y - 1);
    }
    return count;
}

static double median_gap(const double *middle, int count)
{
    double gap[TICKS_MOST];
    for (int i = 1; i < count; i++)
        gap[i - 1] = middle[i] - middle[i - 1];
    return sl_quantile(gap, count - 1, 0.5);
}

typedef struct tick_row {
    int ticks, first, last; /* on the grid; number of the first and last run */
    double spacing, offset, rms;
} tick_row;

/* Fits middle = offset + k spacing to the runs, leaving out those off the grid (a longer mark's text, a focus
 * mark). */
static bool fit_row(const uint8_t *mark, int w, int x, const double *middle, int count, tick_row *row)
{
    double spacing = median_gap(middle, count), offset = middle[count / 2];
    if (spacing < SL_TICK_LEAST_PX)
        return false;
    int on = 0;
    for (int round = 0; round < 4; round++) {
        double n = 0, sk = 0, skk = 0, sy = 0, sky = 0, square = 0;
        on = 0;
        row->first = -1;
        for (int i = 0; i < count; i++) {
            double k = nearbyint((middle[i] - offset) / spacing), off = middle[i] - offset - k * spacing;
            if (fabs(off) > SL_TICK_OFF_PX)
                continue;
            on++;
            row->first = row->first < 0 ? i : row->first;
            row->last = i;
            n++;
            sk += k;
            skk += k * k;
            sy += middle[i];
            sky += k * middle[i];
            square += off * off;
        }
        double spread = n * skk - sk * sk;
        if (n < SL_TICKS_LEAST || spread <= 0)
            return false;
        spacing = (n * sky - sk * sy) / spread;
        offset = (sy - spacing * sk) / n;
        row->rms = sqrt(square / n);
    }
    row->ticks = on;
    row->spacing = spacing;
    row->offset = offset;
    int slots = 0;
    for (double y = middle[row->first]; y <= middle[row->last] + 0.5; y += spacing)
        slots += mark[(size_t)(y + 0.5) * w + x] != SL_MARK_HIDDEN;
    /* Nearly every place on the grid must be taken, and nearly every run between must be on it. */
    return on >= SL_TICKS_FULL * slots && on >= SL_TICKS_FULL * (row->last - row->first + 1);
}

static int length_of(const uint8_t *mark, int w, int h, int x, double middle)
{
    int longest = 0;
    for (int y = (int)floor(middle); y <= (int)ceil(middle) && y < h; y++) {
        int a = x, b = x;
        while (a > 0 && mark[(size_t)y * w + a - 1] == SL_MARK_DRAWN)
            a--;
        while (b + 1 < w && mark[(size_t)y * w + b + 1] == SL_MARK_DRAWN)
            b++;
        if (mark[(size_t)y * w + x] == SL_MARK_DRAWN && b - a + 1 > longest)
            longest = b - a + 1;
    }
    return longest;
}

/* Every how many ticks is one longer? The period with the fewest ticks of the wrong length; a few are hidden
 * or run into the picture. */
static int longer_period(const uint8_t *mark, int w, int h, int x, const double *middle, int count,
                         const tick_row *row)
{
    int length[TICKS_MOST], slot[TICKS_MOST], n = 0;
    for (int i = row->first; i <= row->last && i < count; i++) {
        double k = nearbyint((middle[i] - row->offset) / row->spacing);
        if (fabs(middle[i] - row->offset - k * row->spacing) > SL_TICK_OFF_PX)
            continue;
        length[n] = length_of(mark, w, h, x, middle[i]);
        slot[n] = (int)k;
        n++;
    }
    /* The usual short length: most ticks are short, a few are hidden in part, so the smallest is no measure.
     */
    int shorter = 0, usual = 0;
    while (usual < w && 4 * shorter <= n) {
        usual++;
        shorter = 0;
        for (int i = 0; i < n; i++)
            shorter += length[i] <= usual;
    }
    static const int periods[] = {2, 5, 10};
    int best = 0, fewest = (int)ceil(SL_TICKS_WRONG * n) + 1;
    for (size_t p = 0; p < sizeof periods / sizeof periods[0]; p++) {
        for (int phase = 0; phase < periods[p]; phase++) {
            int wrong = 0, longer = 0;
            for (int i = 0; i < n; i++) {
                bool is_long = length[i] >= SL_TICK_LONGER * usual + 1;
                bool due = ((slot[i] - phase) % periods[p] + periods[p]) % periods[p] == 0;
                wrong += is_long != due;
                longer += is_long && due;
            }
            if (longer >= 2 && wrong < fewest) {
                fewest = wrong;
                best = periods[p];
            }
        }
    }
    return best;
}

void sl_ruler_find(const uint8_t *mark, int w, int h, sl_arena *arena, sl_ruler *ruler)
{
    *ruler = (sl_ruler){0};
    double *middle = SL_NEW(arena, TICKS_MOST, double);
    if (!middle)
        return;
    double best_span = 0;
    for (int x = 0; x < w; x++) {
        int count = runs_of(mark, w, h, x, middle);
        tick_row row = {0};
        if (count < SL_TICKS_LEAST || !fit_row(mark, w, x, middle, count, &row))
            continue;
        double span = middle[row.last] - middle[row.first];
        if (span < SL_RULER_LEAST * h || row.rms > SL_TICK_RMS_PX || span + row.ticks <= best_span)
            continue;
        best_span = span + row.ticks;
        ruler->ticks = row.ticks;
        ruler->spacing_px = row.spacing;
        /* Ticks are drawn on whole pixels: 0.3 px each (uniform rounding), spread over the span. */
        ruler->spacing_sd = 0.3 * sqrt(12.0 / row.ticks) / (row.ticks - 1);
        ruler->longer_every = longer_period(mark, w, h, x, middle, count, &row);
    }
}

double sl_ruler_cm(const sl_ruler *ruler, sl_shape shape, double depth_ticks)
{
    static const struct {
        int longer_every;
        double cm[3];
    } known[] = {{0, {1, 0.5, 0}}, {2, {0.5, 1, 0}}, {5, {1, 0.2, 0.1}}, {10, {0.1, 1, 0}}};
    double least = shape == SL_SHAPE_LINEAR ? SL_DEPTH_LEAST_LINEAR_CM : SL_DEPTH_LEAST_CM;
    double most = shape == SL_SHAPE_LINEAR ? SL_DEPTH_MOST_LINEAR_CM : SL_DEPTH_MOST_CM, answer = 0;
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        if (known[i].longer_every != ruler->longer_every)
            continue;
        for (int k = 0; k < 3 && known[i].cm[k] > 0; k++) {
            double depth = depth_ticks * known[i].cm[k];
            if (depth < least || depth > most)
                continue;
            if (answer > 0)
                return 0;
            answer = known[i].cm[k];
        }
    }
    return answer;
}

/* One compact mark about x, y, in columns `from` to `to`, and nothing else. */
static bool compact_mark(const uint8_t *mark, int w, int h, double from, double to, double y, double reach)
{
    int x0 = w, y0 = h, x1 = -1, y1 = -1, count = 0, hidden = 0;
    for (int row = (int)fmax(y - reach, 0); row < h && row <= y + reach; row++) {
        for (int column = (int)fmax(from, 0); column < w && column <= to; column++) {
            if (mark[(size_t)row * w + column] != SL_MARK_DRAWN)
                continue;
            count++;
            x0 = column < x0 ? column : x0;
            x1 = column > x1 ? column : x1;
            y0 = row < y0 ? row : y0;
            y1 = row > y1 ? row : y1;
        }
    }
    int across = x1 - x0 + 1, down = y1 - y0 + 1, longer = across > down ? across : down;
    /* It stands free: bright grains at the picture's own edge do not. */
    for (int row = y0 > 2 ? y0 - 2 : 0; row <= y1 + 2 && row < h; row++)
        for (int column = x0 > 2 ? x0 - 2 : 0; column <= x1 + 2 && column < w; column++)
            hidden += mark[(size_t)row * w + column] == SL_MARK_HIDDEN;
    return !hidden && count >= SL_ORIENT_LEAST_PX && longer <= SL_ORIENT_MOST * w && 2 * across >= down &&
           2 * down >= across && count >= SL_ORIENT_FILL * across * down;
}

bool sl_mark_on_right(const uint8_t *mark, const sl_view *view)
{
    double x0, x1, y0, y1, reach = SL_ORIENT_REACH * view->width;
    sl_view_to_pixel(view, 0, 0, &x0, &y0);
    sl_view_to_pixel(view, 1, 0, &x1, &y1);
    double axis = 0.5 * (x0 + x1), y = y0 < 0 ? 0 : y0;
    bool left = compact_mark(mark, view->width, view->height, x0 - reach, fmin(x0 + reach, axis), y, reach);
    bool right = compact_mark(mark, view->width, view->height, fmax(x1 - reach, axis), x1 + reach, y, reach);
    return right && !left;
}
