#include "reading/pleura_cells.h"

#include "core/clones.h"
#include "reading/pleura_table.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, PAD = 16 };

bool sl_pleura_cells_new(sl_arena *arena, sl_pleura_cells *cells)
{
    memset(cells, 0, sizeof *cells);
    float **const plane[] = {&cells->grey,       &cells->sum_grey,    &cells->sum_texture,
                             &cells->sum_change, &cells->sum_pattern, &cells->sum_pattern2,
                             &cells->ridge,      &cells->rival_up,    &cells->rival_down};
    for (size_t k = 0; k < sizeof plane / sizeof *plane; k++)
        if (!(*plane[k] = SL_NEW(arena, SL_CELLS + BEAMS, float)))
            return false;
    return true;
}

/* log2 within 2.2e-5 (least squares on 1..2, exact at both ends), as plain arithmetic so that loops vectorise
 */
static inline float log2_of(float x)
{
    union {
        float value;
        uint32_t bits;
    } u = {x};
    float power = (float)((int32_t)(u.bits >> 23) - 127);
    u.bits = (u.bits & 0x7fffffu) | 0x3f800000u;
    float m = u.value;
    return power + (m - 1.0f) * (2.79617847f + m * (-2.27943461f +
                                                    m * (1.24732959f + m * (-0.36633785f + m * 0.0440047f))));
}

static inline float log_of(float x)
{
    return 0.69314718f * log2_of(x);
}

float sl_pleura_level(const float *mean, const uint8_t *mask)
{
    int last = (int)(PLEURA_DEEPEST * ROWS), count[1024] = {0}, n = 0;
    for (int k = 0; k < last * BEAMS; k++)
        if (mask[k]) {
            count[(int)(mean[k] * 4.0f) & 1023]++;
            n++;
        }
    int at = 0;
    for (int seen = 0; at < 1023; at++) {
        seen += count[at];
        if (seen >= PLEURA_LEVEL_SHARE * n)
            break;
    }
    return n ? ((float)at + 0.5f) * 0.25f : 0;
}

/* in[-PAD .. BEAMS + PAD - 1] with the ends carried on */
static void padded(const float *restrict row, float *restrict out)
{
    for (int j = 0; j < PAD; j++) {
        out[j] = row[0];
        out[PAD + BEAMS + j] = row[BEAMS - 1];
    }
    memcpy(out + PAD, row, BEAMS * sizeof *row);
}

/* mean of 2 half + 1 neighbours */
static void across(const float *restrict in, int half, float *restrict out)
{
    float scale = 1.0f / (float)(2 * half + 1);
    for (int j = 0; j < BEAMS; j++)
        out[j] = 0;
    for (int k = -half; k <= half; k++)
        for (int j = 0; j < BEAMS; j++)
            out[j] += in[PAD + j + k];
    for (int j = 0; j < BEAMS; j++)
        out[j] *= scale;
}

void sl_pleura_cells_change(sl_pleura_cells *cells, const float *change, float level)
{
    cells->level = level;
    cells->moving = change != NULL;
    float *sum = cells->sum_change;
    memset(sum, 0, BEAMS * sizeof *sum);
    if (!change)
        return;
    float in[BEAMS + 2 * PAD], out[BEAMS], unit = 1.0f / level;
    for (int i = 0; i < ROWS; i++) {
        padded(change + i * BEAMS, in);
        across(in, 2, out);
        for (int j = 0; j < BEAMS; j++)
            sum[(i + 1) * BEAMS + j] = sum[i * BEAMS + j] + unit * out[j];
    }
}

/* mean over rows first..last-1 of a running sum, cut off at the picture's ends */
static void band(const float *restrict sum, int first, int last, float *restrict out)
{
    first = first < 0 ? 0 : first > ROWS - 1 ? ROWS - 1 : first;
    last = last < first + 1 ? first + 1 : last > ROWS ? ROWS : last;
    const float *restrict a = sum + first * BEAMS, *restrict b = sum + last * BEAMS;
    float scale = 1.0f / (float)(last - first);
    for (int j = 0; j < BEAMS; j++)
        out[j] = (b[j] - a[j]) * scale;
}

static const float *row_at(const float *plane, int row)
{
    return plane + (row < 0 ? 0 : row >= ROWS ? ROWS - 1 : row) * BEAMS;
}

SL_CLONES static void add_texture(sl_pleura_cells *cells, const float *near3)
{
    /* how far a cell stands out along its beam: three rows' weighted mean against nine rows */
    float *sum = cells->sum_texture;
    memset(sum, 0, BEAMS * sizeof *sum);
    for (int i = 0; i < ROWS; i++) {
        float wide[BEAMS] = {0};
        for (int k = -4; k <= 4; k++) {
            const float *restrict r = row_at(near3, i + k);
            for (int j = 0; j < BEAMS; j++)
                wide[j] += r[j];
        }
        const float *restrict a = row_at(near3, i - 1), *restrict b = row_at(near3, i),
                              *restrict c = row_at(near3, i + 1);
        for (int j = 0; j < BEAMS; j++)
            sum[(i + 1) * BEAMS + j] =
                sum[i * BEAMS + j] + fabsf(0.25f * (a[j] + c[j]) + 0.5f * b[j] - wide[j] * (1.0f / 9.0f));
    }
}

/* Rows looked at above or below `row`: the chest wall's layers and copies scale with its thickness, so does
 * the reach. */
static int reach(int row, int least, float share)
{
    int rows = (int)(share * (float)row);
    return rows > least ? rows : least;
}

SL_CLONES static void find_rivals(sl_pleura_cells *cells)
{
    float on[BEAMS], above[BEAMS], below[BEAMS];
    for (int i = 0; i < ROWS; i++) {
        band(cells->sum_grey, i - 1, i + 2, on);
        band(cells->sum_grey, i - 9, i - 3, above);
        band(cells->sum_grey, i + 4, i + 10, below);
        float *restrict ridge = cells->ridge + i * BEAMS;
        for (int j = 0; j < BEAMS; j++) {
            float r = on[j] - 0.5f * (above[j] + below[j]);
            ridge[j] = r > 0 ? r : 0;
        }
    }
    /* the strongest from the near edge to six rows above */
    float *restrict up = cells->rival_up;
    memset(up, 0, 6 * BEAMS * sizeof *up);
    for (int i = 6; i < ROWS; i++)
        for (int j = 0; j < BEAMS; j++) {
            float r = cells->ridge[(i - 6) * BEAMS + j], before = up[(i - 1) * BEAMS + j];
            up[i * BEAMS + j] = r > before ? r : before;
        }
    /* the strongest below, up to the row's reach: windows of 1, 2, 4 ... 32 rows, then as many of 32 as it
     * takes */
    float *restrict down = cells->rival_down;
    memcpy(down, cells->ridge, SL_CELLS * sizeof *down);
    for (int step = 1; step < 32; step *= 2)
        for (int i = 0; i + step < ROWS; i++)
            for (int j = 0; j < BEAMS; j++) {
                float a = down[i * BEAMS + j], b = down[(i + step) * BEAMS + j];
                down[i * BEAMS + j] = a > b ? a : b;
            }
    for (int i = 0; i < ROWS; i++) {
        float most[BEAMS] = {0};
        int end = i + reach(i, PLEURA_REACH_RIVAL, PLEURA_SHARE_BELOW) - 32; /* the last window begins here */
        for (int k = i + 7; k < ROWS; k = k + 32 < end ? k + 32 : end) {
            const float *restrict r = down + k * BEAMS;
            for (int j = 0; j < BEAMS; j++)
                most[j] = r[j] > most[j] ? r[j] : most[j];
            if (k >= end)
                break;
        }
        memcpy(down + i * BEAMS, most, sizeof most);
    }
}

SL_CLONES void sl_pleura_cells_fill(sl_pleura_cells *cells, const float *mean)
{
    float in[BEAMS + 2 * PAD], five[BEAMS], wide[BEAMS], unit = 1.0f / cells->level;
    float *near3 = cells->rival_up; /* scratch until the rivals are found */
    float *grey = cells->grey, *sg = cells->sum_grey, *sp = cells->sum_pattern, *sq = cells->sum_pattern2;
    memset(sg, 0, BEAMS * sizeof *sg);
    memset(sp, 0, BEAMS * sizeof *sp);
    memset(sq, 0, BEAMS * sizeof *sq);
    memset(cells->most, 0, sizeof cells->most);
    int first = (int)(PLEURA_NEAREST * ROWS), last = (int)(PLEURA_DEEPEST * ROWS);
    for (int i = 0; i < ROWS; i++) {
        padded(mean + i * BEAMS, in);
        across(in, 1, near3 + i * BEAMS);
        across(in, 2, five);
        across(in, 9, wide);
        for (int j = 0; j < BEAMS; j++) {
            float g = five[j] * unit, w = wide[j] * unit, e = (g - w) / (w + PLEURA_FLOOR);
            near3[i * BEAMS + j] *= unit;
            grey[i * BEAMS + j] = g;
            sg[(i + 1) * BEAMS + j] = sg[i * BEAMS + j] + g;
            sp[(i + 1) * BEAMS + j] = sp[i * BEAMS + j] + e;
            sq[(i + 1) * BEAMS + j] = sq[i * BEAMS + j] + e * e;
        }
        if (i >= first && i <= last)
            for (int j = 0; j < BEAMS; j++)
                cells->most[j] = grey[i * BEAMS + j] > cells->most[j] ? grey[i * BEAMS + j] : cells->most[j];
    }
    add_texture(cells, near3);
    find_rivals(cells);
}

/* share of the pattern's power across beams that does not change over rows first..last-1, over nine beams */
SL_CLONES static void columns(const sl_pleura_cells *cells, int first, int last, float *restrict out)
{
    float s[BEAMS], q[BEAMS], in[BEAMS + 2 * PAD], power[BEAMS];
    band(cells->sum_pattern, first, last, s);
    band(cells->sum_pattern2, first, last, q);
    for (int j = 0; j < BEAMS; j++)
        s[j] *= s[j];
    padded(s, in);
    across(in, 4, out);
    padded(q, in);
    across(in, 4, power);
    for (int j = 0; j < BEAMS; j++)
        out[j] /= power[j] + 1e-3f;
}

SL_CLONES void sl_pleura_signs(const sl_pleura_cells *cells, int row, float sign[PLEURA_SIGNS][SL_BEAMS])
{
    float on[BEAMS], up[BEAMS], below[BEAMS], tex_up[BEAMS], tex_below[BEAMS], low[BEAMS], high[BEAMS];
    band(cells->sum_grey, row - 1, row + 2, on);
    int above = reach(row, PLEURA_REACH_UP, PLEURA_SHARE_UP),
        under = reach(row, PLEURA_REACH_BELOW, PLEURA_SHARE_BELOW);
    band(cells->sum_grey, row - above, row - 3, up);
    band(cells->sum_grey, row + 4, row + under, below);
    band(cells->sum_texture, row - above - 4, row - 4, tex_up);
    band(cells->sum_texture, row + 5, row + under, tex_below);
    band(cells->sum_grey, row, row + 3, high);
    band(cells->sum_grey, row - 4, row - 1, low);
    const float *restrict ridge = cells->ridge + row * BEAMS,
                          *restrict rival_up = cells->rival_up + row * BEAMS,
                          *restrict rival_down = cells->rival_down + row * BEAMS;
    float depth = ((float)row + 0.5f) / ROWS;
    const float f = PLEURA_FLOOR, ft = PLEURA_FLOOR_TEXTURE, fr = PLEURA_FLOOR_RIDGE;
    for (int j = 0; j < BEAMS; j++) {
        float level = log_of((up[j] + f) / (below[j] + f)),
              texture = log_of((tex_below[j] + ft) / (below[j] + f));
        sign[PLEURA_LEVEL][j] = level;
        sign[PLEURA_TEXTURE][j] = texture;
        sign[PLEURA_LAYERS][j] = log_of((tex_up[j] + ft) / (up[j] + f)) - texture;
        sign[PLEURA_SHARE][j] = on[j] / (cells->most[j] + f);
        sign[PLEURA_RIVAL_UP][j] = log_of((rival_up[j] + fr) / (ridge[j] + fr));
        sign[PLEURA_RIVAL_DOWN][j] = log_of((rival_down[j] + fr) / (ridge[j] + fr));
        sign[PLEURA_DEPTH][j] = depth;
        sign[PLEURA_DEPTH_SQUARED][j] = depth * depth;
        sign[PLEURA_ONSET][j] = (high[j] - low[j]) / (on[j] + up[j] + f);
    }
    columns(cells, row + 6, row + reach(row, PLEURA_REACH_RIVAL, PLEURA_SHARE_BELOW), sign[PLEURA_COLUMNS]);
    columns(cells, row - above - 4, row - 4, sign[PLEURA_COLUMNS_UP]);
    if (!cells->moving) {
        for (int j = 0; j < BEAMS; j++)
            sign[PLEURA_CHANGE][j] = PLEURA_CHANGE_STILL;
        return;
    }
    float change_up[BEAMS], change_below[BEAMS];
    band(cells->sum_change, row - above, row - 3, change_up);
    band(cells->sum_change, row + 4, row + under, change_below);
    for (int j = 0; j < BEAMS; j++)
        sign[PLEURA_CHANGE][j] =
            log_of((change_up[j] + PLEURA_FLOOR_CHANGE) / (change_below[j] + PLEURA_FLOOR_CHANGE)) -
            sign[PLEURA_LEVEL][j];
}
