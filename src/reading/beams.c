#include "reading/beams.h"

#include "core/quantile.h"
#include "reading/pleura_table.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

enum { BEAMS = SL_BEAMS };

/* The `share` quantile of the values that are numbers; NAN when there are none. */
static float quantile(const float *value, double share)
{
    double kept[BEAMS];
    for (int j = 0; j < BEAMS; j++)
        kept[j] = (double)value[j];
    return (float)sl_quantile(kept, BEAMS, share);
}

/* mean grey of a beam over rows first..last inside the picture; NAN when fewer than half of them are inside
 */
static float column(const float *mean, const uint8_t *mask, int beam, int first, int last)
{
    float sum = 0;
    int n = 0;
    for (int i = first < 0 ? 0 : first; i <= last && i < SL_DEPTHS; i++)
        if (mask[i * BEAMS + beam]) {
            sum += mean[i * BEAMS + beam];
            n++;
        }
    return n && 2 * n >= last - first + 1 ? sum / (float)n : NAN;
}

/* mean of each beam's numbers with two neighbours each side */
static void smooth(const float *in, float *out)
{
    for (int j = 0; j < BEAMS; j++) {
        float sum = 0;
        int n = 0;
        for (int k = j < 2 ? 0 : j - 2; k <= j + 2 && k < BEAMS; k++)
            if (!isnan(in[k])) {
                sum += in[k];
                n++;
            }
        out[j] = isnan(in[j]) || !n ? NAN : sum / (float)n;
    }
}

static int run_end(const uint8_t *kind, int first)
{
    int end = first;
    while (end < BEAMS && kind[end] == kind[first])
        end++;
    return end;
}

/* Runs of `kind` under `least` beams between two runs that see something become `other`. */
static void close_gaps(uint8_t *kinds, sl_beam_kind kind, int least, sl_beam_kind other)
{
    for (int j = 0, end; j < BEAMS; j = end) {
        end = run_end(kinds, j);
        bool between =
            j > 0 && end < BEAMS && kinds[j - 1] != SL_BEAM_OUTSIDE && kinds[end] != SL_BEAM_OUTSIDE;
        if (kinds[j] == kind && end - j < least && between)
            memset(kinds + j, other, (size_t)(end - j));
    }
}

/* The brightest place above the shadow of beams first..last, when it stands out. */
static void find_cap(const float *mean, const uint8_t *mask, const float *line, int first, int last,
                     float bright, sl_beams *beams)
{
    float most = 0, at = NAN;
    for (int j = first; j <= last; j++) {
        int row = (int)(line[j] + 0.5f);
        for (int i = row - BEAM_CAP_ROWS < 0 ? 0 : row - BEAM_CAP_ROWS; i <= row + 3 && i < SL_DEPTHS; i++)
            if (mask[i * BEAMS + j] && mean[i * BEAMS + j] > most) {
                most = mean[i * BEAMS + j];
                at = (float)i;
            }
    }
    if (most > BEAM_CAP_SHARE * bright && beams->caps < SL_CAPS_MOST)
        beams->cap[beams->caps++] = (sl_rib_cap){first, last, at};
}

static void list_runs(const float *mean, const uint8_t *mask, const float *line, float bright,
                      sl_beams *beams)
{
    int width = 0;
    for (int j = 0, end; j < BEAMS; j = end) {
        end = run_end(beams->kind, j);
        if (beams->kind[j] == SL_BEAM_SPACE) {
            beams->space_beams += end - j;
            if (end - j >= BEAM_SPACE_LEAST && beams->spaces < SL_SPACES_MOST) {
                if (end - j > width) {
                    width = end - j;
                    beams->widest = beams->spaces;
                }
                beams->space[beams->spaces++] = (sl_beam_range){j, end - 1};
            }
        } else if (beams->kind[j] != SL_BEAM_OUTSIDE) {
            beams->shadow_beams += end - j;
            if (beams->kind[j] == SL_BEAM_RIB && end - j >= BEAM_RIB_LEAST)
                find_cap(mean, mask, line, j, end - 1, bright, beams);
        }
    }
}

/* Negative for a shadow: below the line it is darker than in the bright spaces, and just below the line
 * darker than just above it. */
static float brightness(float below, float bright, float near, float wall)
{
    return logf((below + 1.0f) / (bright + 1.0f)) + BEAM_STEP_WEIGHT * logf((near + 1.0f) / (wall + 1.0f)) +
           BEAM_SHADOW_LEVEL;
}

void sl_beams_classify(const float *mean, const uint8_t *mask, const float *line, sl_beams *beams)
{
    float raw[4][BEAMS], below[BEAMS], near[BEAMS], above[BEAMS], whole[BEAMS];
    memset(beams, 0, sizeof *beams);
    beams->widest = -1;
    for (int j = 0; j < BEAMS; j++) {
        for (int k = 0; k < 4; k++)
            raw[k][j] = NAN;
        if (isnan(line[j]))
            continue;
        int row = (int)(line[j] + 0.5f);
        raw[0][j] = column(mean, mask, j, row + BEAM_BELOW_FIRST, row + BEAM_BELOW_LAST);
        raw[1][j] = column(mean, mask, j, row + 3, row + BEAM_NEAR_ROWS);
        raw[2][j] = column(mean, mask, j, row - BEAM_NEAR_ROWS - 1, row - 3);
        raw[3][j] = column(mean, mask, j, 0, row + 2);
    }
    smooth(raw[0], below);
    smooth(raw[1], near);
    smooth(raw[2], above);
    smooth(raw[3], whole);
    float bright = quantile(below, BEAM_BRIGHT_SHARE), usual = quantile(whole, BEAM_USUAL_SHARE);
    for (int j = 0; j < BEAMS; j++) {
        if (isnan(below[j])) {
            beams->kind[j] = SL_BEAM_OUTSIDE;
            continue;
        }
        /* a line at the picture's very edge has nothing above it: then the step says nothing */
        bool step = !isnan(near[j]) && !isnan(above[j]);
        float light = brightness(below[j], bright, step ? near[j] : 0, step ? above[j] : 0);
        bool dark = light < 0;
        beams->kind[j] = !dark                                ? SL_BEAM_SPACE
                         : whole[j] < BEAM_DARK_SHARE * usual ? SL_BEAM_NO_CONTACT
                                                              : SL_BEAM_RIB;
        if (beams->kind[j] != SL_BEAM_NO_CONTACT)
            beams->open[j] = 1.0f / (1.0f + expf(-BEAM_OPEN_SLOPE * light));
    }
    close_gaps(beams->kind, SL_BEAM_RIB, BEAM_RIB_LEAST, SL_BEAM_SPACE);
    close_gaps(beams->kind, SL_BEAM_SPACE, BEAM_SPACE_LEAST, SL_BEAM_RIB);
    list_runs(mean, mask, line, bright, beams);
}

/* The row at which a beam's shadow begins: the strongest fall of grey to what stays dark; NAN where none is strong. */
static float shadow_top(const float *mean, const uint8_t *mask, int beam, float floor)
{
    float best = SHADOW_STEP, at = NAN;
    for (int i = SHADOW_ABOVE; i < SHADOW_DEEPEST; i++) {
        float above = column(mean, mask, beam, i - SHADOW_ABOVE, i - 1), under = column(mean, mask, beam, i + 2, i + 1 + SHADOW_UNDER);
        float step = logf((above + floor) / (under + floor));
        if (step > best) {
            best = step;
            at = (float)i;
        }
    }
    return at;
}

void sl_beams_shadow_tops(const float *mean, const uint8_t *mask, const float *line, const sl_beams *beams, float *top)
{
    float known[SL_BEAMS], tops[SL_BEAMS];
    int found = 0, middle[SL_BEAMS];
    bool deeper = false;
    float bright = 0;
    for (int j = 0; j < BEAMS; j++) {
        top[j] = NAN;
        float level = column(mean, mask, j, 0, SHADOW_DEEPEST);
        bright = level > bright ? level : bright;
    }
    for (int j = 0, end; j < BEAMS; j = end) {
        end = run_end(beams->kind, j);
        if (beams->kind[j] != SL_BEAM_RIB || end - j < BEAM_RIB_LEAST)
            continue;
        int n = 0;
        for (int k = j; k < BEAMS; k++)
            tops[k - j] = NAN;
        for (int k = j; k < end; k++) {
            tops[k - j] = shadow_top(mean, mask, k, 0.02f * bright);
            n += !isnan(tops[k - j]);
        }
        for (int k = end - j; k < BEAMS; k++)
            tops[k] = NAN;
        if (2 * n < end - j)
            continue;
        middle[found] = (j + end - 1) / 2;
        known[found] = quantile(tops, 0.5);
        deeper = deeper || known[found] > line[middle[found]] + SHADOW_BELOW;
        found++;
    }
    if (!deeper)
        return;
    for (int j = 0, k = 0; j < BEAMS; j++) {
        while (k + 1 < found && middle[k + 1] <= j)
            k++;
        if (j <= middle[0] || k + 1 == found)
            top[j] = known[j <= middle[0] ? 0 : k];
        else
            top[j] = known[k] + (known[k + 1] - known[k]) * (float)(j - middle[k]) / (float)(middle[k + 1] - middle[k]);
    }
}
