#include "reading/beams.h"

#include "reading/pleura_table.h"

#include <math.h>
#include <string.h>

static int by_value(float *value, int count, double share)
{
    /* small counts: insertion sort keeps the order fixed and needs no memory */
    for (int i = 1; i < count; i++) {
        float v = value[i];
        int j = i;
        for (; j > 0 && value[j - 1] > v; j--)
            value[j] = value[j - 1];
        value[j] = v;
    }
    int at = (int)(share * (count - 1) + 0.5);
    return at;
}

static float quantile(const float *value, double share)
{
    float kept[SL_BEAMS];
    int n = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (!isnan(value[j]))
            kept[n++] = value[j];
    if (!n)
        return NAN;
    int at = by_value(kept, n, share);
    return kept[at];
}

/* mean grey of beam j over rows first..last that lie inside the picture; NAN when fewer than half of them do
 */
static float column(const float *mean, const uint8_t *mask, int j, int first, int last)
{
    float sum = 0;
    int n = 0;
    for (int i = first < 0 ? 0 : first; i <= last && i < SL_DEPTHS; i++)
        if (mask[i * SL_BEAMS + j]) {
            sum += mean[i * SL_BEAMS + j];
            n++;
        }
    return 2 * n >= last - first + 1 ? sum / (float)n : NAN;
}

static void smooth(const float *in, float *out, int half)
{
    for (int j = 0; j < SL_BEAMS; j++) {
        float sum = 0;
        int n = 0;
        for (int k = j - half; k <= j + half; k++)
            if (k >= 0 && k < SL_BEAMS && !isnan(in[k])) {
                sum += in[k];
                n++;
            }
        out[j] = isnan(in[j]) || !n ? NAN : sum / (float)n;
    }
}

void sl_beams_classify(const float *mean, const uint8_t *mask, const float *line, sl_beams *beams)
{
    float below[SL_BEAMS], wall[SL_BEAMS], level[SL_BEAMS];
    memset(beams, 0, sizeof *beams);
    beams->widest = -1;
    for (int j = 0; j < SL_BEAMS; j++) {
        below[j] = wall[j] = NAN;
        if (isnan(line[j])) {
            beams->kind[j] = SL_BEAM_OUTSIDE;
            continue;
        }
        int row = (int)(line[j] + 0.5f);
        below[j] = column(mean, mask, j, row + 8, row + 72);
        wall[j] = column(mean, mask, j, 0, row + 2);
        if (isnan(wall[j]))
            wall[j] = column(mean, mask, j, row - 6, row + 2);
    }
    smooth(below, level, 2);
    float bright = quantile(level, 0.85), usual = quantile(wall, 0.6);
    for (int j = 0; j < SL_BEAMS; j++) {
        if (isnan(line[j]) || isnan(level[j])) {
            beams->kind[j] = SL_BEAM_OUTSIDE;
            continue;
        }
        bool dark = level[j] < BEAM_SHADOW_SHARE * bright;
        if (dark && wall[j] < BEAM_DARK_SHARE * usual)
            beams->kind[j] = SL_BEAM_NO_CONTACT;
        else
            beams->kind[j] = dark ? SL_BEAM_RIB : SL_BEAM_SPACE;
    }
    for (int j = 0; j < SL_BEAMS;) {
        int end = j;
        while (end < SL_BEAMS && beams->kind[end] == beams->kind[j])
            end++;
        if (beams->kind[j] == SL_BEAM_SPACE) {
            if (end - j >= BEAM_SPACE_LEAST && beams->spaces < SL_SPACES_MOST) {
                int s = beams->spaces++;
                beams->space[s] = (sl_beam_range){j, end - 1};
                if (beams->widest < 0 ||
                    end - j > beams->space[beams->widest].last - beams->space[beams->widest].first + 1)
                    beams->widest = s;
            }
            beams->space_beams += end - j;
        } else if (beams->kind[j] == SL_BEAM_RIB || beams->kind[j] == SL_BEAM_NO_CONTACT) {
            beams->shadow_beams += end - j;
            if (beams->kind[j] == SL_BEAM_RIB && end - j >= 3 && beams->caps < SL_CAPS_MOST) {
                float best = -1, at = NAN;
                for (int k = j; k < end; k++)
                    for (int i = (int)line[k] - 20 < 0 ? 0 : (int)line[k] - 20;
                         i <= (int)line[k] + 4 && i < SL_DEPTHS; i++)
                        if (mean[i * SL_BEAMS + k] > best) {
                            best = mean[i * SL_BEAMS + k];
                            at = (float)i;
                        }
                if (best > 2 * bright * BEAM_SHADOW_SHARE)
                    beams->cap[beams->caps++] = (sl_rib_cap){j, end - 1, at};
            }
        }
        j = end;
    }
}
