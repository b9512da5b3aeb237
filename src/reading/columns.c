#include "reading/columns.h"

#include "core/units.h"
#include "reading/decay.h"

#include <math.h>
#include <string.h>

enum { PROFILE = COLUMN_BANDS * SL_BEAMS };

static int band_row(const sl_columns *columns, int band)
{
    return columns->first_row + (COLUMN_LAST_ROW - columns->first_row) * band / COLUMN_BANDS;
}

static void smooth_use(const sl_columns *columns, const sl_filter *filter, float *weight)
{
    float padded[SL_BEAMS];
    sl_filter_beams(filter, columns->use, 1, padded);
    for (int j = 0; j < SL_BEAMS; j++)
        weight[j] = padded[j] > 1e-3f ? 1 / padded[j] : 0;
}

/* Grey of the line itself: the brightest of the rows about it. */
static float line_grey(const sl_pleura *pleura, int beam)
{
    float most = 0;
    int row = isfinite(pleura->line[beam]) ? (int)(pleura->line[beam] + 0.5f) : -COLUMN_LINE_ROWS - 1;
    for (int i = row - COLUMN_LINE_ROWS; i <= row + COLUMN_LINE_ROWS; i++)
        if (i >= 0 && i < SL_DEPTHS && pleura->mean[i * SL_BEAMS + beam] > most)
            most = pleura->mean[i * SL_BEAMS + beam];
    return most;
}

/* Which beams see the pleura: those of the spaces, and those called shadow only because the lung beside them is bright
 * with B-lines, which the line itself gives away: it is as bright as in the spaces, under a rib it is not there. */
static void see_pleura(const sl_pleura *pleura, bool *sees)
{
    float sum = 0, count = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (pleura->beams.kind[j] == SL_BEAM_SPACE) {
            sum += line_grey(pleura, j);
            count++;
        }
    for (int j = 0; j < SL_BEAMS; j++)
        sees[j] = pleura->beams.kind[j] == SL_BEAM_SPACE ||
                  (pleura->beams.kind[j] == SL_BEAM_RIB && line_grey(pleura, j) * count > COLUMN_LINE_SHARE * sum);
}

/* Beams that see the pleura without COLUMN_BORDER beams at each side of a shadow. */
static void choose_beams(const sl_stack *stack, const sl_pleura *pleura, sl_columns *columns)
{
    bool sees[SL_BEAMS];
    see_pleura(pleura, sees);
    for (int j = 0; j < SL_BEAMS; j++) {
        bool clear = true;
        for (int i = j - COLUMN_BORDER; i <= j + COLUMN_BORDER; i++)
            clear = clear && (i < 0 || i >= SL_BEAMS || sees[i]);
        int cells = 0;
        for (int row = columns->first_row; row < COLUMN_LAST_ROW; row++)
            cells += stack->mask[row * SL_BEAMS + j];
        columns->beams += sees[j];
        columns->use[j] = clear && cells > COLUMN_INSIDE * (COLUMN_LAST_ROW - columns->first_row);
    }
}

void sl_columns_prepare(const sl_stack *stack, const sl_pleura *pleura, sl_columns *columns)
{
    memset(columns, 0, sizeof *columns);
    int row = sl_known(pleura->depth) ? (int)(pleura->depth * SL_DEPTHS) + COLUMN_BELOW : COLUMN_FIRST_MOST;
    columns->first_row = row < COLUMN_FIRST_LEAST ? COLUMN_FIRST_LEAST : row > COLUMN_FIRST_MOST ? COLUMN_FIRST_MOST : row;
    choose_beams(stack, pleura, columns);
    columns->far_least = (float)(pleura->mean ? sl_decay_floor(stack, pleura->mean) : 0) + COLUMN_FAR_GREY;
    for (int k = 0; k < COLUMN_SCALES; k++) {
        sl_filter_gauss(column_scale[k][0], &columns->narrow[k]);
        sl_filter_gauss(column_scale[k][1], &columns->wide[k]);
        smooth_use(columns, &columns->narrow[k], columns->narrow_weight[k]);
        smooth_use(columns, &columns->wide[k], columns->wide_weight[k]);
    }
    for (int band = 0; band < COLUMN_BANDS; band++)
        for (int j = 0; j < SL_BEAMS; j++) {
            int cells = 0;
            for (int i = band_row(columns, band); i < band_row(columns, band + 1); i++)
                cells += stack->mask[i * SL_BEAMS + j];
            columns->scale[band * SL_BEAMS + j] = cells ? columns->use[j] / (float)cells : 0;
        }
}

static void profile_of(const sl_columns *columns, const uint8_t *restrict cell, float *restrict profile)
{
    for (int band = 0; band < COLUMN_BANDS; band++) {
        uint16_t sum[SL_BEAMS] = {0};
        for (int row = band_row(columns, band); row < band_row(columns, band + 1); row++)
            for (int j = 0; j < SL_BEAMS; j++)
                sum[j] = (uint16_t)(sum[j] + cell[row * SL_BEAMS + j]);
        for (int j = 0; j < SL_BEAMS; j++)
            profile[band * SL_BEAMS + j] = (float)sum[j] * columns->scale[band * SL_BEAMS + j];
    }
}

/* Ascending, by insertion: nine values. */
static void sort_bands(float *value)
{
    for (int i = 1; i < COLUMN_BANDS; i++) {
        float v = value[i];
        int k = i;
        for (; k > 0 && value[k - 1] > v; k--)
            value[k] = value[k - 1];
        value[k] = v;
    }
}

/* Raises `lit` to the contrast of the lines seen at scale `k`. */
static void find_at_scale(const sl_columns *columns, const float *profile, int k, float *restrict lit)
{
    float narrow[PROFILE], wide[PROFILE];
    sl_filter_beams(&columns->narrow[k], profile, COLUMN_BANDS, narrow);
    sl_filter_beams(&columns->wide[k], profile, COLUMN_BANDS, wide);
    for (int band = 0; band < COLUMN_BANDS; band++)
        for (int j = 0; j < SL_BEAMS; j++) {
            int i = band * SL_BEAMS + j;
            float near = narrow[i] * columns->narrow_weight[k][j], far = wide[i] * columns->wide_weight[k][j];
            narrow[i] = (near - far) / (far + COLUMN_FLOOR);
        }
    for (int j = 0; j < SL_BEAMS; j++) {
        float contrast[COLUMN_BANDS], sum = 0, far = 0;
        int over = 0;
        for (int band = 0; band < COLUMN_BANDS; band++) {
            contrast[band] = narrow[band * SL_BEAMS + j];
            over += contrast[band] > 0;
            far += band >= COLUMN_BANDS - 2 ? 0.5f * contrast[band] : 0;
        }
        sort_bands(contrast);
        for (int band = 1; band < COLUMN_BANDS - 2; band++)
            sum += contrast[band];
        sum /= COLUMN_BANDS - 3;
        bool line = columns->use[j] > 0 && over >= COLUMN_BANDS_LEAST && sum > COLUMN_CONTRAST_LEAST &&
                    far > COLUMN_FAR_SHARE * sum;
        if (line && sum > lit[j])
            lit[j] = sum;
    }
}

/* Grey of the last bands, over a beam and its neighbours: speckle is about that wide. */
static void find_bright(const sl_columns *columns, const float *profile, bool *bright)
{
    float far[SL_BEAMS + 2] = {0}, used[SL_BEAMS + 2] = {0};
    for (int band = COLUMN_BANDS - COLUMN_FAR_BANDS; band < COLUMN_BANDS; band++)
        for (int j = 0; j < SL_BEAMS; j++)
            far[j + 1] += profile[band * SL_BEAMS + j];
    for (int j = 0; j < SL_BEAMS; j++)
        used[j + 1] = columns->use[j] * COLUMN_FAR_BANDS;
    for (int j = 0; j < SL_BEAMS; j++)
        bright[j] = columns->use[j] > 0 &&
                    far[j] + far[j + 1] + far[j + 2] > columns->far_least * (used[j] + used[j + 1] + used[j + 2]);
}

void sl_columns_find(const sl_columns *columns, const uint8_t *cell, float *lit, bool *bright)
{
    float profile[PROFILE];
    profile_of(columns, cell, profile);
    find_bright(columns, profile, bright);
    memset(lit, 0, SL_BEAMS * sizeof *lit);
    for (int k = 0; k < COLUMN_SCALES; k++)
        find_at_scale(columns, profile, k, lit);
}
