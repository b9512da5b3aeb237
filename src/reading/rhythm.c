#include "reading/rhythm.h"

#include "core/units.h"
#include "reading/motion_table.h"

#include <math.h>
#include <string.h>

enum { TERMS = 2 + 2 * SL_HARMONICS };

/* Solves the small symmetric system in place by Cholesky; directions without weight get 0. */
static void solve_small(double a[TERMS][TERMS], double b[TERMS])
{
    for (int i = 0; i < TERMS; i++)
        for (int j = 0; j <= i; j++) {
            double sum = a[i][j];
            for (int k = 0; k < j; k++)
                sum -= a[i][k] * a[j][k];
            a[i][j] = i == j ? sqrt(sum > 1e-9 ? sum : 1e-9) : sum / a[j][j];
        }
    for (int i = 0; i < TERMS; i++) {
        for (int k = 0; k < i; k++)
            b[i] -= a[i][k] * b[k];
        b[i] /= a[i][i];
    }
    for (int i = TERMS - 1; i >= 0; i--) {
        for (int k = i + 1; k < TERMS; k++)
            b[i] -= a[k][i] * b[k];
        b[i] /= a[i][i];
    }
}

/* 1, t, then cosine and sine of each harmonic, those by adding angles. */
static void basis(double time_s, double middle_s, double hz, double out[TERMS])
{
    double angle = 2 * SL_PI * hz * time_s, c = cos(angle), s = sin(angle), ck = 1, sk = 0;
    out[0] = 1;
    out[1] = time_s - middle_s;
    for (int k = 0; k < SL_HARMONICS; k++) {
        double next = ck * c - sk * s;
        sk = sk * c + ck * s;
        ck = next;
        out[2 + 2 * k] = ck;
        out[3 + 2 * k] = sk;
    }
}

/* Sum of squares left, and the fit. */
static double fit(const double *time_s, const double *x, int n, double hz, double term[TERMS])
{
    double a[TERMS][TERMS] = {{0}}, b[TERMS] = {0}, squares = 0, middle = 0.5 * (time_s[0] + time_s[n - 1]);
    for (int i = 0; i < n; i++) {
        double f[TERMS];
        basis(time_s[i], middle, hz, f);
        for (int j = 0; j < TERMS; j++) {
            b[j] += f[j] * x[i];
            for (int k = 0; k <= j; k++)
                a[j][k] += f[j] * f[k];
        }
        squares += x[i] * x[i];
    }
    double right[TERMS];
    memcpy(right, b, sizeof right);
    for (int j = 0; j < TERMS; j++) /* a ridge against harmonics that a short clip cannot tell from its straight line */
        a[j][j] += RHYTHM_RIDGE * n;
    solve_small(a, b);
    for (int j = 0; j < TERMS; j++)
        squares -= b[j] * right[j];
    memcpy(term, b, sizeof right);
    return squares > 0 ? squares : 0;
}

/* The straight line through a path; sums of products about the means. */
typedef struct straight {
    double t, x, slope; /* it goes through the means t, x */
    double xx, tx;
} straight;

static straight straight_of(const double *time_s, const double *x, int n)
{
    double st = 0, sx = 0, stt = 0, stx = 0, sxx = 0, middle = 0.5 * (time_s[0] + time_s[n - 1]);
    for (int i = 0; i < n; i++) {
        double t = time_s[i] - middle;
        st += t;
        sx += x[i];
        stt += t * t;
        stx += t * x[i];
        sxx += x[i] * x[i];
    }
    double mt = st / n, mx = sx / n, vt = stt - n * mt * mt, tx = stx - n * mt * mx;
    return (straight){middle + mt, mx, vt > 0 ? tx / vt : 0, sxx - n * mx * mx, tx};
}

/* What the line leaves: sum of squares. */
static double about_line(const double *time_s, const double *x, int n)
{
    straight s = straight_of(time_s, x, n);
    double left = s.xx - s.slope * s.tx;
    return left > 0 ? left : 0;
}

bool sl_rhythm_find(const double *time_s, const double *x, int n, double hz_least, double hz_most, double fundamental,
                    sl_arena *arena, sl_rhythm *rhythm, double *periodic)
{
    *rhythm = (sl_rhythm){SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN, 0, 0, 0};
    if (periodic)
        memset(periodic, 0, (size_t)n * sizeof *periodic);
    double seconds = n > 1 ? time_s[n - 1] - time_s[0] : 0;
    hz_least = fmax(hz_least, RHYTHM_CYCLES_LEAST / fmax(seconds, 1e-6));
    double line = n > TERMS ? about_line(time_s, x, n) : 0;
    if (n <= 2 * TERMS || hz_least >= hz_most || !(line > 1e-12))
        return true;
    double step = fmax(RHYTHM_STEP_CYCLES / seconds, 1e-4);
    int count = (int)((hz_most - hz_least) / step) + 1;
    double *left = SL_NEW(arena, count, double), term[TERMS];
    if (!left)
        return false;
    double least = INFINITY;
    for (int i = 0; i < count; i++) {
        left[i] = fit(time_s, x, n, hz_least + i * step, term);
        double power = 0;
        for (int j = 2; j < TERMS; j++)
            power += term[j] * term[j];
        if (!(term[2] * term[2] + term[3] * term[3] > fundamental * power))
            left[i] = line;
        least = fmin(least, left[i]);
    }
    /* The fastest local best that explains nearly as much as the best of all. */
    int best = -1;
    for (int i = count - 1; i >= 0 && best < 0; i--)
        if ((i == 0 || left[i] <= left[i - 1]) && (i == count - 1 || left[i] <= left[i + 1]) &&
            left[i] <= least + RHYTHM_NEARLY * line)
            best = i;
    if (best < 0 || !(left[best] < 0.999 * line))
        return true;
    double hz = hz_least + best * step;
    if (best > 0 && best < count - 1) {
        double bend = left[best - 1] - 2 * left[best] + left[best + 1];
        if (bend > 0)
            hz += step * 0.5 * (left[best - 1] - left[best + 1]) / bend;
    }
    double rest = fit(time_s, x, n, hz, term);
    rhythm->hz = hz;
    rhythm->explained = 1 - rest / line;
    rhythm->cycles = seconds * hz;
    /* Rates whose misfit is larger by no more than chance: neighbouring values are not independent, so the number of
     * values is that of independent ones (one every RHYTHM_INDEPENDENT_S). */
    double values = fmax(seconds / RHYTHM_INDEPENDENT_S - TERMS, 2), limit = left[best] * (1 + 3.84 / values) + 1e-3 * line;
    int low = best, high = best;
    while (low > 0 && left[low - 1] <= limit)
        low--;
    while (high < count - 1 && left[high + 1] <= limit)
        high++;
    rhythm->hz_low = hz_least + (low - 0.5) * step;
    rhythm->hz_high = hz_least + (high + 0.5) * step;
    double top = -INFINITY, bottom = INFINITY, middle = 0.5 * (time_s[0] + time_s[n - 1]);
    for (int i = 0; i < n; i++) {
        double f[TERMS], value = 0;
        basis(time_s[i], middle, hz, f);
        for (int j = 2; j < TERMS; j++)
            value += f[j] * term[j];
        top = fmax(top, value);
        bottom = fmin(bottom, value);
        if (periodic)
            periodic[i] = value;
    }
    rhythm->swing = top - bottom;
    return true;
}

/* Angle and swing of the first harmonic, the share explained, and the angle's variance: independent values (one every RHYTHM_INDEPENDENT_S) of
 * variance v leave 2 v / (n a^2) of a sine of amplitude a (Rife and Boorstyn 1974, IEEE Trans Inf Theory 20:591, at a known rate). */
static double angle_of(const double *time_s, const double *x, int n, double hz, double *explained, double *swing, double *variance)
{
    double term[TERMS], line = n > TERMS ? about_line(time_s, x, n) : 0, left = line > 0 ? fit(time_s, x, n, hz, term) : 0;
    *explained = *swing = 0;
    *variance = INFINITY;
    if (!(line > 0))
        return 0;
    double square = term[2] * term[2] + term[3] * term[3], values = fmax((time_s[n - 1] - time_s[0]) / RHYTHM_INDEPENDENT_S - TERMS, 2);
    *explained = 1 - left / line;
    *swing = 2 * sqrt(square);
    *variance = square > 0 ? 2 * left / n / (values * square) : INFINITY;
    return atan2(term[3], term[2]);
}

sl_phase sl_rhythm_phase(const double *time_s, const double *x, const double *other, int n, double hz)
{
    sl_phase p;
    double own, its;
    double later = angle_of(time_s, x, n, hz, &p.explained, &p.swing, &own) - angle_of(time_s, other, n, hz, &p.other_explained, &p.other_swing, &its);
    p.degrees = remainder(later, 2 * SL_PI) * 180 / SL_PI;
    p.error = sqrt(own + its) * 180 / SL_PI;
    return p;
}

void sl_rhythm_quick(const double *time_s, const double *x, int n, double seconds, double *quick)
{
    int first = 0, last = 0;
    double sum = 0;
    for (int i = 0; i < n; i++) {
        while (last < n && time_s[last] <= time_s[i] + 0.5 * seconds)
            sum += x[last++];
        while (time_s[first] < time_s[i] - 0.5 * seconds)
            sum -= x[first++];
        quick[i] = x[i] - sum / (last - first);
    }
}

/* Correlation of x with itself `lag` seconds later, between samples by straight lines. */
static double like_later(const double *time_s, const double *x, int n, double lag)
{
    double sa = 0, sb = 0, saa = 0, sbb = 0, sab = 0;
    int pairs = 0;
    for (int i = 0, k = 0; i < n; i++) {
        double later = time_s[i] + lag;
        while (k + 2 < n && time_s[k + 1] < later)
            k++;
        if (later > time_s[n - 1])
            break;
        double step = time_s[k + 1] - time_s[k], share = step > 0 ? (later - time_s[k]) / step : 0;
        double a = x[i], b = x[k] + share * (x[k + 1] - x[k]);
        sa += a;
        sb += b;
        saa += a * a;
        sbb += b * b;
        sab += a * b;
        pairs++;
    }
    double va = pairs ? saa - sa * sa / pairs : 0, vb = pairs ? sbb - sb * sb / pairs : 0;
    return va > 0 && vb > 0 ? (sab - sa * sb / pairs) / sqrt(va * vb) : -1;
}

/* Share of the variance of x, whose mean is 0, that one sine explains. */
static double like_sine(const double *time_s, const double *x, int n, double hz)
{
    double cc = 0, ss = 0, cs = 0, xc = 0, xs = 0, xx = 0, mc = 0, ms = 0;
    for (int i = 0; i < n; i++) {
        double angle = 2 * SL_PI * hz * (time_s[i] - time_s[0]), c = cos(angle), s = sin(angle);
        cc += c * c;
        ss += s * s;
        cs += c * s;
        xc += x[i] * c;
        xs += x[i] * s;
        xx += x[i] * x[i];
        mc += c;
        ms += s;
    }
    cc -= mc * mc / n;
    ss -= ms * ms / n;
    cs -= mc * ms / n;
    double det = cc * ss - cs * cs;
    return det > 0 && xx > 0 ? (xc * xc * ss - 2 * xc * xs * cs + xs * xs * cc) / (det * xx) : 0;
}

sl_repeat sl_rhythm_repeats(const double *time_s, const double *x, int n, double hz_most, double *scratch)
{
    sl_repeat r = {-1, SL_UNKNOWN, 0, 0};
    double seconds = n > 2 ? time_s[n - 1] - time_s[0] : 0, longest = seconds / RHYTHM_REPEAT_CYCLES;
    if (!(longest * hz_most > 1))
        return r;
    double *quick = scratch, *path = scratch + n, low = INFINITY, high = -INFINITY;
    sl_rhythm_quick(time_s, x, n, RHYTHM_SMOOTH_S, quick);
    for (int i = 0; i < n; i++)
        path[i] = x[i] - quick[i];
    straight s = straight_of(time_s, path, n);
    for (int i = 0; i < n; i++) {
        path[i] -= s.x + s.slope * (time_s[i] - s.t);
        low = fmin(low, path[i]);
        high = fmax(high, path[i]);
    }
    r.swing = high - low;
    for (double lag = 1 / hz_most; lag <= longest; lag *= 1 + RHYTHM_REPEAT_STEP) {
        double like = 0.5 * (like_later(time_s, path, n, lag) + like_sine(time_s, path, n, 1 / lag));
        if (like > r.likeness && like_later(time_s, path, n, lag / 2) < RHYTHM_REPEAT_BETWEEN &&
            like_later(time_s, path, n, lag / 3) < RHYTHM_REPEAT_BETWEEN) {
            r.likeness = like;
            r.hz = 1 / lag;
        }
    }
    r.cycles = sl_known(r.hz) ? seconds * r.hz : 0;
    return r;
}
