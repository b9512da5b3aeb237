#include "reading/pleura_scene.h"

#include "reading/pleura_table.h"

#include <math.h>
#include <string.h>

enum { BEAMS = SL_BEAMS, ROWS = SL_DEPTHS };

typedef struct grey_sum {
    double cells, grey, along, across;
} grey_sum;

/* Rows first..last-1 of a beam; cells whose neighbours lie outside the picture are left out. */
static void add_rows(const float *mean, const uint8_t *mask, int beam, int first, int last, grey_sum *sum)
{
    for (int i = first; i < last; i++) {
        int c = i * BEAMS + beam;
        if (!mask[c] || !mask[c + 1] || !mask[c + BEAMS])
            continue;
        sum->cells++;
        sum->grey += (double)mean[c];
        sum->along += fabs((double)(mean[c + BEAMS] - mean[c]));
        sum->across += fabs((double)(mean[c + 1] - mean[c]));
    }
}

static double per(double sum, double count)
{
    return count > 0 ? sum / count : 0;
}

static void look_at_near_field(const float *mean, const uint8_t *mask, const float *line, const sl_beams *beams, double *sign)
{
    grey_sum near = {0}, above = {0}, below = {0};
    for (int j = 0; j < BEAMS - 1; j++) {
        if (isnan(line[j]) || (beams->kind[j] != SL_BEAM_SPACE && beams->kind[j] != SL_BEAM_RIB))
            continue;
        int first = 0, last = ROWS - 1, row = (int)line[j];
        while (first < last && !mask[first * BEAMS + j])
            first++;
        while (last > first && !mask[last * BEAMS + j])
            last--;
        int under = row + SCENE_BELOW_LAST < last ? row + SCENE_BELOW_LAST : last;
        add_rows(mean, mask, j, first, first + (int)(SCENE_NEAR_SHARE * (float)(last - first)), &near);
        add_rows(mean, mask, j, first, row - SCENE_ABOVE_ROWS, &above);
        add_rows(mean, mask, j, row + SCENE_BELOW_FIRST, under, &below);
    }
    double usual = per(above.grey, above.cells) + per(below.grey, below.cells),
           grey = per(near.grey, near.cells) + SCENE_FLOOR * usual + 0.5; /* half a grey level: black divides nothing */
    sign[SCENE_LAYERS] = log(per(near.along, near.cells) / grey + SCENE_FLOOR);
    sign[SCENE_ACROSS] = log(per(near.across, near.cells) / grey + SCENE_FLOOR);
    sign[SCENE_NEAR] = log(grey / (usual + 1));
}

bool sl_pleura_scene(const float *mean, const uint8_t *mask, const sl_pleura_cells *cells, const float *line, const sl_beams *beams,
                     double sign[SCENE_SIGNS])
{
    float here[PLEURA_SIGNS][BEAMS];
    double sum[PLEURA_SIGNS] = {0};
    int count = 0, filled = -1;
    memset(sign, 0, SCENE_SIGNS * sizeof *sign);
    for (int j = 0; j < BEAMS; j++) {
        if (beams->kind[j] != SL_BEAM_SPACE || isnan(line[j]))
            continue;
        int row = (int)(line[j] + 0.5f);
        if (row != filled)
            sl_pleura_signs(cells, filled = row, here);
        for (int k = 0; k < PLEURA_SIGNS; k++)
            sum[k] += (double)here[k][j];
        count++;
    }
    if (!count)
        return false;
    look_at_near_field(mean, mask, line, beams, sign);
    sign[SCENE_RIVAL_DOWN] = sum[PLEURA_RIVAL_DOWN] / count;
    sign[SCENE_COLUMNS] = sum[PLEURA_COLUMNS] / count;
    sign[SCENE_LEVEL] = sum[PLEURA_LEVEL] / count;
    return true;
}

double sl_pleura_scene_shown(const double sign[SCENE_SIGNS])
{
    static const double weight[SCENE_SIGNS] = SCENE_WEIGHTS;
    double sum = SCENE_ZERO;
    for (int k = 0; k < SCENE_SIGNS; k++)
        sum += weight[k] * sign[k];
    return 1 / (1 + exp(-sum));
}
