#include "reading/fluid_layer.h"

#include "core/clones.h"
#include "reading/pleura_cells.h"
#include "reading/pleura_search.h"
#include "reading/solid_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, THICKEST = 160, STEP_FINE = 2, STEP_COARSE = 6, FINE = 40 };

typedef struct work {
    float *grey;    /* [ROWS][BEAMS] mean over five beams, in units of the level; ends carried on */
    float *peak;    /* mean over three rows of that */
    float *stir;    /* change over grey, mean over five beams; NULL for a still */
    float *sum;     /* [ROWS + 1][BEAMS] running sum down each beam */
    float *stirred;  /* [ROWS + 1][BEAMS] running sum of stir down each beam; NULL for a still */
    float *jump;     /* [ROWS][BEAMS] ln of stir below the row against above it; 0 for a still */
    float *contrast; /* [ROWS][BEAMS] best ratio for an upper rim here */
    uint8_t *bottom; /* row of the lower border of that best */
    sl_line_search search;
} work;

static bool work_new(sl_arena *arena, int first, int last, bool moving, work *w)
{
    w->stir = moving ? SL_NEW(arena, SL_CELLS, float) : NULL;
    w->stirred = moving ? SL_NEW(arena, SL_CELLS + BEAMS, float) : NULL;
    w->jump = SL_NEW(arena, SL_CELLS, float);
    if ((moving && (!w->stir || !w->stirred)) || !w->jump)
        return false;
    w->grey = SL_NEW(arena, SL_CELLS, float);
    w->peak = SL_NEW(arena, SL_CELLS, float);
    w->sum = SL_NEW(arena, SL_CELLS + BEAMS, float);
    w->contrast = SL_NEW(arena, SL_CELLS, float);
    w->bottom = SL_NEW(arena, SL_CELLS, uint8_t);
    return w->grey && w->peak && w->sum && w->contrast && w->bottom &&
           sl_line_search_new(arena, first, last, &w->search);
}

SL_CLONES static void fill(const float *restrict mean, const float *change, const uint8_t *mask, float level, work *w)
{
    float unit = 0.2f / level;
    for (int i = 0; i < ROWS; i++) {
        const float *restrict row = mean + i * BEAMS;
        float *restrict out = w->grey + i * BEAMS;
        for (int j = 2; j < BEAMS - 2; j++)
            out[j] = unit * (row[j - 2] + row[j - 1] + row[j] + row[j + 1] + row[j + 2]);
        out[0] = out[1] = out[2];
        out[BEAMS - 2] = out[BEAMS - 1] = out[BEAMS - 3];
        if (!change)
            continue;
        const float *restrict moved = change + i * BEAMS;
        float *restrict stir = w->stir + i * BEAMS;
        for (int j = 2; j < BEAMS - 2; j++)
            stir[j] = (0.2f * (moved[j - 2] + moved[j - 1] + moved[j] + moved[j + 1] + moved[j + 2]) + LAYER_STIR_CHANGE) /
                      (out[j] * level + LAYER_STIR_GREY);
        stir[0] = stir[1] = stir[2];
        stir[BEAMS - 2] = stir[BEAMS - 1] = stir[BEAMS - 3];
    }
    for (int j = 0; j < BEAMS; j++) {
        int first = 0, last = ROWS - 1;
        while (first < ROWS && !mask[first * BEAMS + j])
            first++;
        while (last > first && !mask[last * BEAMS + j])
            last--;
        if (first >= ROWS)
            continue;
        for (int i = 0; i < first; i++)
            w->grey[i * BEAMS + j] = w->grey[first * BEAMS + j];
        for (int i = last + 1; i < ROWS; i++)
            w->grey[i * BEAMS + j] = w->grey[last * BEAMS + j];
    }
    memset(w->sum, 0, BEAMS * sizeof *w->sum);
    for (int i = 0; i < ROWS; i++) {
        const float *restrict a = w->grey + (i ? i - 1 : 0) * BEAMS, *restrict b = w->grey + i * BEAMS,
                              *restrict c = w->grey + (i < ROWS - 1 ? i + 1 : i) * BEAMS, *restrict s = w->sum + i * BEAMS;
        float *restrict p = w->peak + i * BEAMS, *restrict t = w->sum + (i + 1) * BEAMS;
        for (int j = 0; j < BEAMS; j++) {
            p[j] = (a[j] + b[j] + c[j]) * (1.0f / 3);
            t[j] = s[j] + b[j];
        }
    }
    memset(w->jump, 0, SL_CELLS * sizeof *w->jump);
    if (!w->stir)
        return;
    memset(w->stirred, 0, BEAMS * sizeof *w->stirred);
    for (int i = 0; i < ROWS; i++)
        for (int j = 0; j < BEAMS; j++)
            w->stirred[(i + 1) * BEAMS + j] = w->stirred[i * BEAMS + j] + w->stir[i * BEAMS + j];
}

/* mean over rows first..last-1 */
static inline void band(const float *restrict sum, int first, int last, float *restrict out)
{
    first = first < 0 ? 0 : first;
    last = last > ROWS ? ROWS : last;
    const float *restrict a = sum + first * BEAMS, *restrict b = sum + last * BEAMS;
    float scale = 1.0f / (float)(last - first);
    for (int j = 0; j < BEAMS; j++)
        out[j] = (b[j] - a[j]) * scale;
}

static void most_of(const float *peak, int first, int last, float *restrict out)
{
    first = first < 0 ? 0 : first;
    last = last > ROWS ? ROWS : last;
    memset(out, 0, BEAMS * sizeof *out);
    for (int i = first; i < last; i++) {
        const float *restrict p = peak + i * BEAMS;
        for (int j = 0; j < BEAMS; j++)
            out[j] = p[j] > out[j] ? p[j] : out[j];
    }
}

/* Contrast of the best layer whose upper rim lies at `top`. */
SL_CLONES static void try_rim(work *w, int top, int least)
{
    float wall[BEAMS], upper[BEAMS], first[BEAMS], line[BEAMS], layer[BEAMS], deep[BEAMS], below[BEAMS], edge[BEAMS];
    float *restrict best = w->contrast + top * BEAMS;
    uint8_t *restrict bottom = w->bottom + top * BEAMS;
    const float f = LAYER_FLOOR;
    band(w->sum, top - LAYER_WALL + 1, top + 1, wall);
    band(w->sum, top / 2, top + 1, upper);
    band(w->sum, top + 2, top + 6, first);
    most_of(w->peak, top - 6, top + 1, line);
    for (int j = 0; j < BEAMS; j++) {
        best[j] = 0;
        bottom[j] = 0;
        wall[j] = wall[j] < upper[j] ? wall[j] : upper[j];
    }
    for (int h = least; h < THICKEST && top + h < ROWS - LAYER_BELOW; h += h < FINE ? STEP_FINE : STEP_COARSE) {
        int end = top + h;
        band(w->sum, top + 2, end - 2, layer);
        band(w->sum, end - (h < 2 * LAYER_DEEP ? h / 2 : LAYER_DEEP), end - 2, deep);
        band(w->sum, end, end + LAYER_BELOW, below);
        most_of(w->peak, end, end + LAYER_BELOW - 1, edge);
        for (int j = 0; j < BEAMS; j++) {
            float dark = layer[j] > deep[j] ? layer[j] : deep[j];
            float bright = wall[j] < below[j] ? wall[j] : below[j];
            float ratio = (bright + f) / (dark + f);
            float near = (wall[j] + f) / (first[j] + f);
            float peak = (edge[j] + f) / (line[j] + f);
            ratio = near < ratio ? near : ratio;
            peak = LAYER_PEAK * peak * peak;
            ratio = peak < ratio ? peak : ratio;
            bottom[j] = ratio > best[j] ? (uint8_t)end : bottom[j];
            best[j] = ratio > best[j] ? ratio : best[j];
        }
    }
}

/* How much more the rows below `top` are stirred than those above. */
SL_CLONES static void jump_at(work *w, int top)
{
    float above[BEAMS], below[BEAMS], *restrict jump = w->jump + top * BEAMS;
    band(w->stirred, top - LAYER_WALL - 1, top - 1, above);
    band(w->stirred, top + 2, top + 2 + LAYER_JUMP_ROWS, below);
    for (int j = 0; j < BEAMS; j++)
        jump[j] = logf(below[j] / above[j]);
}

static int by_float(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

static float median(float *value, int count)
{
    qsort(value, (size_t)count, sizeof *value, by_float);
    return value[count / 2];
}

/* What one beam's layer is like. */
typedef struct beam_layer {
    float rim, stir, wall_stir;
} beam_layer;

static float mean_stir(const work *w, int beam, int first, int last)
{
    float sum = 0;
    int n = 0;
    for (int i = first < 0 ? 0 : first; i < last && i < ROWS; i++, n++)
        sum += w->stir[i * BEAMS + beam];
    return n ? sum / (float)n : NAN;
}

/* Wall from `row` upwards: most rows brighter than the layer, or as still as it is not. */
static bool is_wall(const work *w, int beam, int row, float limit, float still)
{
    int from = row - LAYER_WALL_LONG + 1 < 0 ? 0 : row - LAYER_WALL_LONG + 1, bright = 0;
    for (int k = from; k <= row; k++)
        bright += w->grey[k * BEAMS + beam] >= limit || (w->stir && w->stir[k * BEAMS + beam] < still);
    return (float)bright >= LAYER_WALL_SHARE * (float)(row + 1 - from);
}

/* The rim of one beam's layer: from the deep half of the dark upwards to where wall begins, which is brighter than the
 * layer or stands still, and goes on; a septum is bright and has fluid above. */
static bool find_rim(const work *w, int beam, int top, int bottom, beam_layer *layer)
{
    float row[ROWS], limit, still = 0;
    int n = 0, start = bottom - 3 - (bottom - top) / 3;
    for (int i = (top + bottom) / 2; i < bottom - 2; i++)
        row[n++] = w->grey[i * BEAMS + beam];
    if (n < 2)
        return false;
    limit = LAYER_CORE_TIMES * median(row, n) + LAYER_CORE_OVER;
    if (w->stir)
        still = LAYER_STIR_SHARE * mean_stir(w, beam, (top + bottom) / 2, bottom - 2);
    int i = start;
    for (; i > 0; i--) {
        bool out = w->grey[i * BEAMS + beam] >= limit || (w->stir && w->stir[i * BEAMS + beam] < still);
        if (out && is_wall(w, beam, i, limit, still))
            break;
    }
    /* the brightest of the last rows is the line itself, to a fraction of a row by its neighbours */
    int best = i;
    for (int k = i - 4 < 1 ? 1 : i - 4; k <= i + 1; k++)
        best = w->grey[k * BEAMS + beam] > w->grey[best * BEAMS + beam] ? k : best;
    layer->rim = (float)best;
    if (best > 0 && best < ROWS - 1) {
        float a = w->grey[(best - 1) * BEAMS + beam], b = w->grey[best * BEAMS + beam], c = w->grey[(best + 1) * BEAMS + beam];
        float curve = a - 2 * b + c;
        if (curve < 0)
            layer->rim += fmaxf(-0.5f, fminf(0.5f, 0.5f * (a - c) / curve));
    }
    layer->stir = w->stir ? mean_stir(w, beam, best + 4, bottom - 3) : NAN;
    layer->wall_stir = w->stir ? mean_stir(w, beam, best - LAYER_WALL_LONG, best) : NAN;
    return true;
}

/* Beams that agree with their neighbours. */
static void keep_agreeing(const float *top, sl_fluid_layer *layer)
{
    enum { REACH = 8, LEAST = 5 };
    for (int j = 0; j < BEAMS; j++) {
        float near[2 * REACH + 1];
        int m = 0;
        layer->top[j] = NAN;
        for (int k = j - REACH; k <= j + REACH; k++)
            if (k >= 0 && k < BEAMS && !isnan(top[k]))
                near[m++] = top[k];
        if (!isnan(top[j]) && m >= LEAST && fabsf(top[j] - median(near, m)) <= LAYER_AGREE)
            layer->top[j] = top[j];
        else
            layer->bottom[j] = NAN;
    }
}

/* What lies below it is dark behind a rib and bright beside it. Beams in shadow show no layer, and say nothing of its width: their number. */
static int drop_shadows(const work *w, const uint8_t *inside, float *top, sl_fluid_layer *layer)
{
    float edge[BEAMS], sorted[BEAMS], low[BEAMS];
    int n = 0, shadow = 0;
    for (int j = 0; j < BEAMS; j++)
        if (!isnan(top[j]))
            low[n++] = layer->bottom[j];
    if (!n)
        return 0;
    int usual = (int)median(low, n);
    n = 0;
    for (int j = 0; j < BEAMS; j++) {
        bool here = !isnan(top[j]);
        int first = here ? (int)layer->bottom[j] : usual - LAYER_BELOW, last = here ? first + LAYER_BELOW : usual + 2 * LAYER_BELOW;
        edge[j] = 0;
        for (int i = first < 0 ? 0 : first; i < last && i < ROWS; i++)
            edge[j] = fmaxf(edge[j], w->peak[i * BEAMS + j]);
        if (here)
            sorted[n++] = edge[j];
    }
    qsort(sorted, (size_t)n, sizeof *sorted, by_float);
    float least = LAYER_EDGE_SHARE * sorted[(int)(0.75f * (float)(n - 1))];
    for (int j = 0; j < BEAMS; j++)
        if (inside[j] && edge[j] < least) {
            top[j] = layer->bottom[j] = NAN;
            shadow++;
        }
    return shadow;
}

/* A layer is as wide as a part of a space: shorter runs of beams are chance. */
static void drop_short(sl_fluid_layer *layer)
{
    for (int j = 0, first = 0; j <= BEAMS; j++) {
        if (j < BEAMS && !isnan(layer->top[j]))
            continue;
        if (j - first < LAYER_RUN)
            for (int k = first; k < j; k++)
                layer->top[k] = layer->bottom[k] = NAN;
        first = j + 1;
    }
}

/* The layer's rim in a rib's beam is the rib's own cap. */
static bool beside_ribs(const sl_beams *beams, const sl_fluid_layer *layer, int beam)
{
    return beams->kind[beam] != SL_BEAM_RIB && !isnan(layer->top[beam]);
}

/* In a beam behind a rib it is dark from the cap down, whatever lies below: from the layer's depth upwards to what is
 * bright. Rows from there to where the rim would be. */
static double from_caps(const work *w, const sl_beams *beams, const sl_fluid_layer *layer)
{
    enum { CORE = 10, LEAST = 4 };
    float off[BEAMS];
    int n = 0;
    for (int j = 0; j < BEAMS; j++) {
        int left = j, right = j;
        if (beams->kind[j] != SL_BEAM_RIB)
            continue;
        while (left >= 0 && !beside_ribs(beams, layer, left))
            left--;
        while (right < BEAMS && !beside_ribs(beams, layer, right))
            right++;
        int beam = left < 0 ? right : right >= BEAMS || j - left < right - j ? left : right;
        if (beam < 0 || beam >= BEAMS || layer->top[beam] + CORE > ROWS - 1)
            continue;
        int row = (int)layer->top[beam] + CORE;
        float core[CORE];
        for (int k = 0; k < CORE; k++)
            core[k] = w->grey[(row - k) * BEAMS + j];
        int top = (int)layer->top[beam], from = top < LAYER_WALL ? 0 : top - LAYER_WALL;
        float wall = (w->sum[(top + 1) * BEAMS + beam] - w->sum[from * BEAMS + beam]) / (float)(top + 1 - from);
        float limit = fmaxf(LAYER_CORE_TIMES * median(core, CORE) + LAYER_CORE_OVER, LAYER_CAP_SHARE * wall);
        int deep = (int)layer->bottom[beam] + LAYER_BELOW;
        deep = deep < ROWS - 1 ? deep : ROWS - 1;
        if (w->grey[deep * BEAMS + j] > 2 * limit || w->grey[(deep - LAYER_BELOW / 2) * BEAMS + j] > 2 * limit)
            continue; /* it sees what lies below the layer: no rib's shadow */
        while (row > 1 && (w->grey[row * BEAMS + j] < limit || w->grey[(row - 1) * BEAMS + j] < limit))
            row--;
        off[n++] = layer->top[beam] - (float)row;
    }
    if (n < LEAST)
        return NAN;
    qsort(off, (size_t)n, sizeof *off, by_float); /* beams at a cap's rim look past it */
    return (double)off[(int)(0.8f * (float)(n - 1))];
}

/* How surely this layer is fluid, by its own looks: see the rule in solid_table.h. */
static void judge(sl_fluid_layer *layer, float thickness, double row_mm)
{
    double row = row_mm > 0 ? row_mm : LAYER_ROW_MM, mm = (double)thickness * row, caps = layer->below_caps * row;
    double wall = isnan(layer->wall_stir) ? LAYER_WALL_STIR : layer->wall_stir;
    double term[LAYER_TERMS] = {
        [LAYER_TERM_SHARE] = layer->share,
        [LAYER_TERM_STIR] = fmin(layer->stir, LAYER_STIR_MOST),
        [LAYER_TERM_OVER_WALL] = log((layer->stir + LAYER_STIR_FLOOR) / (wall + LAYER_STIR_FLOOR)),
        [LAYER_TERM_THICK] = log(fmin(fmax(mm, LAYER_THIN_MM), LAYER_THICK_MM)),
        [LAYER_TERM_CAPS] = isnan(caps) ? 0 : fmin(fmax((caps - LAYER_BELOW_CAPS_MM) / LAYER_BELOW_CAPS_MM, -1), 1),
        [LAYER_TERM_DEEP] = isnan(caps) ? 0 : fmin(fmax((caps - LAYER_MUSCLE_MM) / LAYER_DEEP_MM, 0), 1),
    };
    layer->thickness = (double)thickness;
    layer->odds = layer_rule[LAYER_TERMS];
    for (int k = 0; k < LAYER_TERMS; k++)
        layer->odds += layer_rule[k] * term[k];
    layer->seen = layer->odds >= LAYER_ODDS_SEEN; /* not so for a still picture, whose stir is not known */
}

/* The clearest layer with its rim in rows first..last that ends by row `end`. */
static void find_one(work *w, const sl_beams *beams, double row_mm, const uint8_t *mask, int first, int last, int end, int least, float dark, sl_fluid_layer *layer)
{
    float line[BEAMS], top[BEAMS], stir[BEAMS], wall_stir[BEAMS], thick[BEAMS];
    beam_layer beam[BEAMS];
    sl_line_search_run(&w->search, NULL, NULL, line);
    memset(layer, 0, sizeof *layer);
    uint8_t in[BEAMS] = {0};
    int inside = 0, n = 0;
    for (int j = 0; j < BEAMS; j++) {
        int row = (int)line[j], bottom = w->bottom[row * BEAMS + j];
        top[j] = layer->bottom[j] = NAN;
        if (!mask[(row + least) * BEAMS + j])
            continue;
        in[j] = 1;
        inside++;
        if (row < first || row > last || bottom > end || !(w->contrast[row * BEAMS + j] > 1))
            continue;
        float contrast = logf(w->contrast[row * BEAMS + j]);
        float low = w->jump[row * BEAMS + j] >= LAYER_JUMP_SURE && dark > LAYER_CONTRAST_BEFORE ? LAYER_CONTRAST_BEFORE : dark;
        if (contrast < low || !find_rim(w, j, row, bottom, &beam[j]) ||
            (float)bottom - beam[j].rim < (float)least)
            continue;
        top[j] = beam[j].rim;
        layer->bottom[j] = (float)bottom;
    }
    int open = inside - drop_shadows(w, in, top, layer);
    keep_agreeing(top, layer);
    drop_short(layer);
    for (int j = 0; j < BEAMS; j++)
        if (!isnan(layer->top[j])) {
            stir[n] = beam[j].stir;
            wall_stir[n] = beam[j].wall_stir;
            thick[n++] = layer->bottom[j] - layer->top[j];
        }
    layer->share = open ? (double)n / fmax(open, LAYER_OPEN_LEAST * inside) : 0;
    layer->stir = n ? (double)median(stir, n) : NAN;
    layer->wall_stir = n ? (double)median(wall_stir, n) : NAN;
    layer->below_caps = from_caps(w, beams, layer);
    judge(layer, n ? median(thick, n) : 0, row_mm);
}

static void score(work *w, int first, int last)
{
    for (int j = 0; j < BEAMS; j++)
        for (int i = first; i <= last; i++) {
            float c = w->contrast[i * BEAMS + j], s = c > 1 ? logf(c) : 0, jump = w->jump[i * BEAMS + j];
            s = s < LAYER_CONTRAST_MOST ? s : LAYER_CONTRAST_MOST;
            jump = jump < LAYER_JUMP_MOST ? jump : LAYER_JUMP_MOST;
            w->search.score[j * ROWS + i] = s >= LAYER_CONTRAST_BEFORE && jump > 0 ? s + LAYER_JUMP_SHARE * jump : s;
        }
}

bool sl_fluid_layer_find(const float *mean, const float *change, const sl_beams *beams, const uint8_t *mask, int first,
                         int last, int least, double row_mm, sl_arena *arena, sl_fluid_layer *layer)
{
    enum { TRIES = 3 };
    work w;
    memset(layer, 0, sizeof *layer);
    for (int j = 0; j < BEAMS; j++)
        layer->top[j] = layer->bottom[j] = NAN;
    layer->stir = layer->wall_stir = layer->below_caps = layer->odds = NAN;
    first = first < LAYER_WALL ? LAYER_WALL : first;
    least = least < 6 ? 6 : least;
    last = last > ROWS - least - LAYER_BELOW - 2 ? ROWS - least - LAYER_BELOW - 2 : last;
    float level = sl_pleura_level(mean, mask);
    if (first >= last || !(level > 0))
        return true;
    if (!work_new(arena, first, last, change != NULL, &w))
        return false;
    fill(mean, change, mask, level, &w);
    for (int i = first; i <= last; i++) {
        try_rim(&w, i, least);
        if (w.stir)
            jump_at(&w, i);
    }
    score(&w, first, last);
    find_one(&w, beams, row_mm, mask, first, last, ROWS, least, LAYER_CONTRAST, layer);
    /* Solid lung may float in fluid: what is found may be the fluid below it. */
    for (int t = 0; t < TRIES && layer->share > 0; t++) {
        float top[BEAMS];
        int n = 0;
        for (int j = 0; j < BEAMS; j++)
            if (!isnan(layer->top[j]))
                top[n++] = layer->top[j];
        int end = n ? (int)median(top, n) : 0, above = end - least;
        if (above <= first + 2)
            break;
        for (int j = 0; j < BEAMS; j++)
            for (int i = first; i <= last; i++)
                if (i > above || w.bottom[i * BEAMS + j] > end)
                    w.search.score[j * ROWS + i] = 0;
        sl_fluid_layer other;
        find_one(&w, beams, row_mm, mask, first, above, end, least, LAYER_CONTRAST_BEFORE, &other);
        if (!other.seen)
            break;
        other.odds = fmax(layer->odds, other.odds);
        *layer = other;
    }
    return true;
}
