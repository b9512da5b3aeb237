#include "reading/filters.h"

#include "core/clones.h"

#include <math.h>
#include <string.h>

/* Index mirrored into 0 .. count-1 with the edge cell repeated (... 1 0 0 1 ...). */
static int mirrored(int i, int count)
{
    int period = 2 * count;
    i %= period;
    if (i < 0)
        i += period;
    return i < count ? i : period - 1 - i;
}

static void add_gauss(float sigma, float sign, sl_filter *filter)
{
    int reach = (int)(4 * sigma + 0.5f);
    reach = reach > SL_FILTER_REACH ? SL_FILTER_REACH : reach;
    double sum = 0, value[2 * SL_FILTER_REACH + 1];
    for (int i = -reach; i <= reach; i++)
        sum += value[i + reach] = exp(-0.5 * i * i / ((double)sigma * sigma));
    for (int i = -reach; i <= reach; i++)
        filter->weight[filter->reach + i] += sign * (float)(value[i + reach] / sum);
}

void sl_filter_gauss(float sigma, sl_filter *filter)
{
    memset(filter, 0, sizeof *filter);
    filter->reach = (int)(4 * sigma + 0.5f);
    filter->reach = filter->reach > SL_FILTER_REACH ? SL_FILTER_REACH : filter->reach;
    add_gauss(sigma, 1, filter);
}

void sl_filter_band(float narrow, float wide, sl_filter *filter)
{
    memset(filter, 0, sizeof *filter);
    filter->reach = (int)(4 * wide + 0.5f);
    filter->reach = filter->reach > SL_FILTER_REACH ? SL_FILTER_REACH : filter->reach;
    add_gauss(narrow, 1, filter);
    add_gauss(wide, -1, filter);
}

SL_CLONES void sl_filter_beams(const sl_filter *filter, const float *restrict in, int rows, float *restrict out)
{
    int reach = filter->reach;
    float padded[SL_BEAMS + 2 * SL_FILTER_REACH];
    for (int row = 0; row < rows; row++) {
        const float *from = in + (size_t)row * SL_BEAMS;
        float *to = out + (size_t)row * SL_BEAMS;
        memcpy(padded + reach, from, SL_BEAMS * sizeof *from);
        for (int i = 1; i <= reach; i++) {
            padded[reach - i] = from[i - 1];
            padded[reach + SL_BEAMS - 1 + i] = from[SL_BEAMS - i];
        }
        float sum[SL_BEAMS] = {0};
        for (int k = 0; k <= 2 * reach; k++) {
            float weight = filter->weight[k];
            for (int j = 0; j < SL_BEAMS; j++)
                sum[j] += weight * padded[j + k];
        }
        memcpy(to, sum, sizeof sum);
    }
}

SL_CLONES void sl_filter_rows(const sl_filter *filter, const float *restrict in, int rows, float *restrict out)
{
    for (int row = 0; row < rows; row++) {
        float sum[SL_BEAMS] = {0};
        for (int k = -filter->reach; k <= filter->reach; k++) {
            const float *from = in + (size_t)mirrored(row + k, rows) * SL_BEAMS;
            float weight = filter->weight[k + filter->reach];
            for (int j = 0; j < SL_BEAMS; j++)
                sum[j] += weight * from[j];
        }
        memcpy(out + (size_t)row * SL_BEAMS, sum, sizeof sum);
    }
}

void sl_filter_line(const sl_filter *filter, const float *restrict in, int count, float *restrict out)
{
    for (int i = 0; i < count; i++) {
        float sum = 0;
        for (int k = -filter->reach; k <= filter->reach; k++)
            sum += filter->weight[k + filter->reach] * in[mirrored(i + k, count)];
        out[i] = sum;
    }
}
