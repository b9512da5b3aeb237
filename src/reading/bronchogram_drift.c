#include "reading/bronchogram_drift.h"

#include "core/clones.h"
#include "reading/bronchogram_table.h"
#include "reading/filters.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, RINGS = SL_DRIFT_LAG + 1 };

typedef struct sl_window {
    int top, bottom, left, right; /* cells, first and one past the last */
    const float *from, *to;
    float floor; /* what is darker is tissue, which does not go where the point goes */
} sl_window;

int sl_drift_band(const sl_drift *drift, double row)
{
    int band = 0;
    while (band + 1 < drift->bands && row >= drift->first[band + 1])
        band++;
    return band;
}

bool sl_drift_begin(const sl_solid_region *region, int blocks, sl_arena *arena, sl_drift *drift)
{
    memset(drift, 0, sizeof *drift);
    int rows = region->last - region->first;
    drift->bands = rows / DRIFT_BAND_ROWS < 1 ? 1 : rows / DRIFT_BAND_ROWS > SL_DRIFT_BANDS ? SL_DRIFT_BANDS : rows / DRIFT_BAND_ROWS;
    drift->blocks = blocks;
    drift->in = region->in;
    for (int k = 0; k <= drift->bands; k++)
        drift->first[k] = region->first + rows * k / drift->bands;
    bool good = true;
    for (int k = 0; k < RINGS; k++) {
        drift->all[k] = SL_NEW(arena, SL_CELLS, float);
        drift->plane[k] = SL_NEW(arena, SL_CELLS, float);
        drift->square[k] = SL_NEW(arena, SL_CELLS, float);
        drift->use[k] = SL_NEW(arena, SL_CELLS, float);
        if (!drift->all[k] || !drift->plane[k] || !drift->square[k] || !drift->use[k])
            return false;
        memset(drift->all[k], 0, SL_CELLS * sizeof(float));
        memset(drift->plane[k], 0, SL_CELLS * sizeof(float));
        memset(drift->square[k], 0, SL_CELLS * sizeof(float));
        memset(drift->use[k], 0, SL_CELLS * sizeof(float));
    }
    for (int k = 0; k < drift->bands; k++) {
        drift->row[k] = SL_NEW(arena, blocks, double);
        drift->beam[k] = SL_NEW(arena, blocks, double);
        drift->row_step[k] = SL_NEW(arena, 2 * blocks, sl_step);
        drift->beam_step[k] = SL_NEW(arena, 2 * blocks, sl_step);
        good = good && drift->row[k] && drift->beam[k] && drift->row_step[k] && drift->beam_step[k];
    }
    return good;
}

/* Correlation of the band's cells with those `down` rows deeper and `right` beams further in the later block. Sums run along the rows, a beam
 * each, so that they are the same however many beams the machine adds at once. */
SL_CLONES static float ncc(const sl_drift *drift, int from, int to, int first, int last, int down, int right)
{
    float products[BEAMS] = {0}, first_power[BEAMS] = {0}, second_power[BEAMS] = {0};
    int begin = right < 0 ? -right : 0, count = BEAMS - (right < 0 ? -right : right);
    for (int i = first; i < last; i++) {
        if (i + down < 0 || i + down >= ROWS)
            continue;
        int at = i * BEAMS + begin, other = (i + down) * BEAMS + begin + right;
        const float *restrict a = drift->plane[from] + at, *restrict aa = drift->square[from] + at, *restrict ua = drift->use[from] + at;
        const float *restrict b = drift->plane[to] + other, *restrict bb = drift->square[to] + other, *restrict ub = drift->use[to] + other;
        for (int j = 0; j < count; j++) {
            products[j] += a[j] * b[j];
            first_power[j] += aa[j] * ub[j];
            second_power[j] += ua[j] * bb[j];
        }
    }
    float sum[3] = {0};
    for (int j = 0; j < count; j++) {
        sum[0] += products[j];
        sum[1] += first_power[j];
        sum[2] += second_power[j];
    }
    float power = sum[1] * sum[2];
    return power > 0 ? sum[0] / sqrtf(power) : 0;
}

/* The best shift along one axis, the other held; its neighbours tell it between cells. */
static float search(const sl_drift *drift, int from, int to, int first, int last, int axis, int held, int middle, int reach, float *peak)
{
    enum { MOST = 2 * DRIFT_REACH + 1 };
    float value[MOST];
    int best = 0;
    for (int k = 0; k <= 2 * reach; k++) {
        int shift = middle + k - reach;
        value[k] = axis ? ncc(drift, from, to, first, last, held, shift) : ncc(drift, from, to, first, last, shift, held);
        if (value[k] > value[best])
            best = k;
    }
    *peak = value[best];
    if (best == 0 || best == 2 * reach)
        return (float)(middle + best - reach);
    return (float)(middle + best - reach) + sl_peak_off(value[best - 1], value[best], value[best + 1]);
}

static int whole(float x)
{
    return (int)floorf(x + 0.5f);
}

static void match(sl_drift *drift, int band, int block, int lag)
{
    int from = (block - lag) % RINGS, to = block % RINGS, first = drift->first[band], last = drift->first[band + 1];
    float down = lag == 1 ? drift->last_row[band] : 0, right = lag == 1 ? drift->last_beam[band] : 0, peak = 0;
    if (lag > 1) /* begin where the single steps lead */
        for (int k = 1; k <= lag && k <= drift->steps[band]; k++) {
            const sl_step *r = drift->row_step[band], *b = drift->beam_step[band];
            for (int s = drift->steps[band] - 1; s >= 0 && s >= drift->steps[band] - 2 * lag; s--)
                if (r[s].to == block - k + 1 && r[s].to - r[s].from == 1) {
                    down += r[s].shift;
                    right += b[s].shift;
                    break;
                }
        }
    int reach = lag == 1 ? DRIFT_REACH : 2;
    right = search(drift, from, to, first, last, 1, whole(down), whole(right), reach, &peak);
    down = search(drift, from, to, first, last, 0, whole(right), whole(down), reach, &peak);
    right = search(drift, from, to, first, last, 1, whole(down), whole(right), 2, &peak);
    if (!(peak > DRIFT_PEAK_LEAST))
        return;
    int n = drift->steps[band]++;
    drift->row_step[band][n] = (sl_step){block - lag, block, down, peak * peak};
    drift->beam_step[band][n] = (sl_step){block - lag, block, right, peak * peak};
    if (lag == 1) {
        drift->last_row[band] = 0.5f * down;
        drift->last_beam[band] = 0.5f * right;
    }
}

void sl_drift_add(const float *grey, const sl_solid_region *region, const sl_point *point, int points, int block, float *room, sl_drift *drift)
{
    int now = block % RINGS;
    float *restrict plane = drift->plane[now], *restrict square = drift->square[now], *restrict use = drift->use[now], *work = room + SL_CELLS;
    sl_filter down, across;
    /* Without what is slow, which hangs on the picture (shadows, focus) and not on the tissue. */
    sl_filter_band(DRIFT_NARROW, DRIFT_WIDE, &down);
    sl_filter_gauss(DRIFT_NARROW, &across);
    const int from = region->first * BEAMS, rows = region->last - region->first, cells = rows * BEAMS; /* outside, planes stay 0 */
    sl_filter_rows(&down, grey + from, rows, work);
    sl_filter_beams(&across, work, rows, plane + from);
    memcpy(drift->all[now] + from, plane + from, (size_t)cells * sizeof *plane);
    for (int c = from; c < from + cells; c++)
        use[c] = (float)region->in[c];
    int up = sl_solid_region_rows(region, BRONCHI_MARGIN_MM, BRONCHI_MARGIN_ROWS);
    for (int p = 0; p < points; p++) {
        int row = whole(point[p].row), beam = whole(point[p].beam);
        int side = sl_solid_region_beams(region, row, BRONCHI_MARGIN_MM, BRONCHI_MARGIN_ROWS / 2);
        for (int i = row - up < 0 ? 0 : row - up; i <= row + up && i < ROWS; i++)
            for (int j = beam - side < 0 ? 0 : beam - side; j <= beam + side && j < BEAMS; j++)
                use[i * BEAMS + j] = 0;
    }
    for (int c = from; c < from + cells; c++) {
        plane[c] *= use[c];
        square[c] = plane[c] * plane[c];
    }
    for (int band = 0; band < drift->bands; band++) {
        if (block >= 1)
            match(drift, band, block, 1);
        if (block >= SL_DRIFT_LAG)
            match(drift, band, block, SL_DRIFT_LAG);
    }
}

bool sl_drift_step(const sl_drift *drift, double row, int block, int lag, float *down, float *right)
{
    int band = sl_drift_band(drift, row);
    for (int k = drift->steps[band] - 1; k >= 0 && drift->row_step[band][k].to == block; k--)
        if (block - drift->row_step[band][k].from == lag) {
            *down = drift->row_step[band][k].shift;
            *right = drift->beam_step[band][k].shift;
            return true;
        }
    return false;
}

/* Correlation of a patch of the earlier block with the place `down` rows deeper and `right` beams further in the later one. */
static float patch_ncc(const sl_drift *drift, const sl_window *w, int down, int right)
{
    float products = 0, first = 0, second = 0;
    for (int i = w->top; i < w->bottom; i++)
        for (int j = w->left; j < w->right; j++) {
            int a = i * BEAMS + j, r = i + down, b = j + right;
            if (r < 0 || r >= ROWS || b < 0 || b >= BEAMS || !drift->in[a] || !drift->in[r * BEAMS + b])
                continue;
            float x = w->from[a] - w->floor, y = w->to[r * BEAMS + b] - w->floor;
            x = x > 0 ? x : 0;
            y = y > 0 ? y : 0;
            products += x * y;
            first += x * x;
            second += y * y;
        }
    float power = first * second;
    return power > 0 ? products / sqrtf(power) : 0;
}

static bool inside(const sl_solid_region *region, int row, int beam)
{
    return row >= 0 && row < ROWS && beam >= 0 && beam < BEAMS && region->in[row * BEAMS + beam];
}

float sl_drift_patch(const sl_drift *drift, const sl_solid_region *region, const sl_point *point, int block, int lag, float *down, float *right)
{
    enum { SIDE = 2 * PATCH_REACH + 1 };
    float value[SIDE][SIDE] = {{0}};
    int row = whole(point->row), beam = whole(point->beam), up = sl_solid_region_rows(region, PATCH_MM, BRONCHI_RING_ROWS);
    int side = sl_solid_region_beams(region, row, PATCH_MM, BRONCHI_RING_BEAMS);
    sl_window w = {.top = row - up < 0 ? 0 : row - up, .bottom = row + up + 1 > ROWS ? ROWS : row + up + 1, .left = beam - side < 0 ? 0 : beam - side,
                   .right = beam + side + 1 > BEAMS ? BEAMS : beam + side + 1, .from = drift->all[(block - lag) % RINGS], .to = drift->all[block % RINGS]};
    int clear = sl_solid_region_beams(region, row, PATCH_CLEAR_MM, BRONCHI_RING_BEAMS / 2);
    if (!inside(region, row, beam - clear) || !inside(region, row, beam + clear) || !inside(region, row + whole(*down), beam + whole(*right) - clear) ||
        !inside(region, row + whole(*down), beam + whole(*right) + clear))
        return 0;
    float top = 0;
    for (int i = row - 1; i <= row + 1; i++)
        for (int j = beam - 1; j <= beam + 1; j++)
            if (i >= 0 && i < ROWS && j >= 0 && j < BEAMS && w.from[i * BEAMS + j] > top)
                top = w.from[i * BEAMS + j];
    w.floor = PATCH_FLOOR * top;
    int middle_row = whole(*down), middle_beam = whole(*right), reach = PATCH_REACH, a = reach, b = reach;
    for (int i = 0; i <= 2 * reach; i++)
        for (int j = 0; j <= 2 * reach; j++) {
            value[i][j] = patch_ncc(drift, &w, middle_row + i - reach, middle_beam + j - reach);
            if (value[i][j] > value[a][b]) {
                a = i;
                b = j;
            }
        }
    if (a == 0 || a == 2 * reach || b == 0 || b == 2 * reach)
        return 0;
    *down = (float)(middle_row + a - reach) + sl_peak_off(value[a - 1][b], value[a][b], value[a + 1][b]);
    *right = (float)(middle_beam + b - reach) + sl_peak_off(value[a][b - 1], value[a][b], value[a][b + 1]);
    return value[a][b];
}

bool sl_drift_end(sl_arena *arena, sl_drift *drift)
{
    double misfit;
    for (int k = 0; k < drift->bands; k++) {
        if (!sl_track_path(drift->row_step[k], drift->steps[k], drift->blocks, arena, drift->row[k], &misfit) ||
            !sl_track_path(drift->beam_step[k], drift->steps[k], drift->blocks, arena, drift->beam[k], &misfit))
            return false;
    }
    return true;
}
