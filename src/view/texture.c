#include "view/texture.h"

#include "core/clones.h"
#include "view/view_table.h"

#include <math.h>

void sl_texture_add(const uint8_t *pixel, int w, int h, int side, sl_tensor *block)
{
    int across = w / side, down = h / side;
    for (int y = 1; y < h - 1 && y < down * side; y++) {
        const uint8_t *restrict a = pixel + (size_t)(y - 1) * w, *restrict b = a + w, *restrict c = b + w;
        sl_tensor *row = block + (size_t)(y / side) * across;
        for (int k = 0; k < across; k++) {
            int begin = k * side < 1 ? 1 : k * side, end = (k + 1) * side < w - 1 ? (k + 1) * side : w - 1;
            int32_t xx = 0, xy = 0, yy = 0; /* a block is at most 4096 wide: 512 levels squared fit */
            for (int x = begin; x < end; x++) {
                int32_t gx = ((a[x + 1] - a[x - 1]) + 2 * (b[x + 1] - b[x - 1]) + (c[x + 1] - c[x - 1])) >> 2;
                int32_t gy = ((c[x - 1] - a[x - 1]) + 2 * (c[x] - a[x]) + (c[x + 1] - a[x + 1])) >> 2;
                xx += gx * gx;
                xy += gx * gy;
                yy += gy * gy;
            }
            row[k].xx += xx;
            row[k].xy += xy;
            row[k].yy += yy;
        }
    }
}

void sl_texture_votes(const sl_tensor *block, int side, double aspect, const sl_lit *lit, sl_votes *votes)
{
    int across = lit->w / side, down = (int)lrint(lit->h / aspect) / side;
    votes->count = 0;
    votes->total = 0;
    for (int j = 0; j < down; j++) {
        for (int i = 0; i < across; i++) {
            int top = (int)(j * side * aspect), end = (int)((j + 1) * side * aspect);
            long lit_in = 0, dark_in = 0;
            for (int y = top; y < end && y < lit->h; y++)
                sl_lit_count(lit, y, i * side, (i + 1) * side - 1, &lit_in, &dark_in);
            const sl_tensor *t = &block[(size_t)j * across + i];
            double xx = (double)t->xx, xy = (double)t->xy / aspect, yy = (double)t->yy / (aspect * aspect);
            double all = xx + yy;
            if ((double)lit_in < (1 - SL_VOTE_DARK) * side * (end - top) || all <= 0)
                continue;
            double coherence = hypot(xx - yy, 2 * xy) / all, angle = 0.5 * atan2(2 * xy, xx - yy);
            double down_y = sin(angle), right_x = cos(angle);
            if (down_y < 0) {
                down_y = -down_y;
                right_x = -right_x;
            }
            if (votes->count == SL_VOTES_MOST)
                return;
            int at = votes->count++;
            votes->x[at] = i * side + 0.5 * (side - 1);
            votes->y[at] = 0.5 * (top + end - 1);
            votes->sin_a[at] = right_x;
            votes->cos_a[at] = down_y;
            votes->weight[at] = coherence * coherence;
            votes->total += votes->weight[at];
        }
    }
}

/* Tukey's biweight of each vote's sine of the angle off the ray from the apex. */
SL_CLONES
static void votes_for(int n, const double *restrict x, const double *restrict y, const double *restrict sin_a,
                      const double *restrict cos_a, const double *restrict weight, double apex_x,
                      double apex_y, double *restrict part)
{
    for (int i = 0; i < n; i++) {
        double dx = x[i] - apex_x, dy = y[i] - apex_y;
        double across = dx * cos_a[i] - dy * sin_a[i];
        double u2 = across * across / ((dx * dx + dy * dy + 1e-9) * (SL_VOTE_REACH * SL_VOTE_REACH));
        double left = u2 < 1 ? 1 - u2 : 0;
        part[i] = weight[i] * left * left;
    }
}

double sl_texture_support(const sl_votes *votes, double apex_x, double apex_y)
{
    double part[SL_VOTES_MOST], sum = 0;
    votes_for(votes->count, votes->x, votes->y, votes->sin_a, votes->cos_a, votes->weight, apex_x, apex_y,
              part);
    for (int i = 0; i < votes->count; i++)
        sum += part[i];
    return votes->total > 0 ? sum / votes->total : 0;
}

double sl_texture_support_box(const sl_votes *votes)
{
    double sum = 0;
    for (int i = 0; i < votes->count; i++)
        sum += votes->weight[i] * sl_biweight(votes->sin_a[i], SL_VOTE_REACH);
    return votes->total > 0 ? sum / votes->total : 0;
}

double sl_texture_apex(const sl_votes *votes, const sl_lit *lit, const sl_line *line, double *x, double *y)
{
    enum { ACROSS = 25, UP = 24 };
    double best = 0, h = lit->y1 - lit->y0 + 1, w = lit->x1 - lit->x0 + 1;
    /* Even steps of curvature: the apex lies 0.15 to 3 picture heights above the top of the crop. */
    for (int j = 0; j < UP; j++) {
        double above = h / (1 / SL_APEX_HIGHEST + j * (1 / SL_APEX_LOWEST - 1 / SL_APEX_HIGHEST) / (UP - 1));
        double ay = lit->y0 - above;
        for (int i = 0; i < (line ? 1 : ACROSS); i++) {
            double ax = line ? line->at + line->slope * ay : lit->x0 + w * (-0.25 + 1.5 * i / (ACROSS - 1));
            double support = sl_texture_support(votes, ax, ay);
            if (support > best) {
                best = support;
                *x = ax;
                *y = ay;
            }
        }
    }
    return best;
}
