#include "reading/behind_parts.h"

#include "core/units.h"
#include "reading/filters.h"
#include "reading/pleura_cells.h"

#include <string.h>

/* Takes off the mean over the rows about each cell, then over the beams about it, by running sums. */
static void take_off_means(float *grain, float *sum)
{
    memset(sum, 0, SL_BEAMS * sizeof *sum);
    for (int i = 0; i < SL_CELLS; i++)
        sum[i + SL_BEAMS] = sum[i] + grain[i];
    for (int r = 0; r < SL_DEPTHS; r++) {
        int first = r < MIRROR_LOCAL ? 0 : r - MIRROR_LOCAL, end = r + MIRROR_LOCAL + 1 < SL_DEPTHS ? r + MIRROR_LOCAL + 1 : SL_DEPTHS;
        float row[SL_BEAMS + 1] = {0}, *at = grain + r * SL_BEAMS;
        for (int j = 0; j < SL_BEAMS; j++)
            at[j] -= (sum[end * SL_BEAMS + j] - sum[first * SL_BEAMS + j]) / (float)(end - first);
        for (int j = 0; j < SL_BEAMS; j++)
            row[j + 1] = row[j] + at[j];
        for (int j = 0; j < SL_BEAMS; j++) {
            int left = j < MIRROR_FLAT ? 0 : j - MIRROR_FLAT, right = j + MIRROR_FLAT + 1 < SL_BEAMS ? j + MIRROR_FLAT + 1 : SL_BEAMS;
            at[j] -= (row[right] - row[left]) / (float)(right - left);
        }
    }
}

static bool look(const sl_stack *stack, float level, sl_arena *arena, sl_looked *l)
{
    l->frames = stack->frames < BEHIND_FRAMES ? stack->frames : BEHIND_FRAMES;
    l->group = (float (*)[GROUPS][SL_DEPTHS])sl_arena_alloc(arena, (size_t)l->frames, sizeof *l->group);
    for (int t = 0; l->group && t < l->frames; t++) {
        l->index[t] = l->frames > 1 ? (int)((long)t * (stack->frames - 1) / (l->frames - 1)) : 0;
        const uint8_t *cell = sl_stack_frame(stack, l->index[t]);
        for (int g = 0; g < GROUPS; g++)
            for (int r = 0; r < SL_DEPTHS; r++) {
                int grey = 0;
                for (int j = 0; j < GROUP_BEAMS; j++)
                    grey += cell[r * SL_BEAMS + g * GROUP_BEAMS + j];
                l->group[t][g][r] = logf((float)grey / GROUP_BEAMS / level + BEHIND_FLOOR);
            }
    }
    return l->group != NULL;
}

/* The speckle, without which no mirror image is looked for. */
static bool look_closely(const sl_stack *stack, float level, sl_arena *arena, sl_looked *l)
{
    float table[256], *work = SL_NEW(arena, SL_CELLS, float), *sum = SL_NEW(arena, SL_CELLS + SL_BEAMS, float);
    sl_filter down, across;
    for (int v = 0; v < 256; v++)
        table[v] = logf((float)v / level + BEHIND_FLOOR);
    sl_filter_gauss(MIRROR_SMOOTH_ROWS, &down);
    sl_filter_gauss(MIRROR_SMOOTH_BEAMS, &across);
    for (int t = 0; work && sum && t < l->frames; t++) {
        const uint8_t *cell = sl_stack_frame(stack, l->index[t]);
        float *grain = l->grain[t] = SL_NEW(arena, SL_CELLS, float);
        if (!grain)
            return false;
        for (int c = 0; c < SL_CELLS; c++)
            grain[c] = table[cell[c]];
        sl_filter_rows(&down, grain, SL_DEPTHS, work);
        sl_filter_beams(&across, work, SL_DEPTHS, grain);
        take_off_means(grain, sum);
    }
    return work && sum;
}

/* Each place by how much it is a bright line with tissue before it, or an edge at which tissue ends; with `both` a line alone, between
 * what shows like grey: so a mirror image begins. */
static bool score_lines(const sl_stack *stack, const sl_pleura *pleura, const sl_looked *l, bool both, sl_arena *arena,
                        sl_ridges *ridges, float **scores)
{
    float *value = SL_NEW(arena, (size_t)l->frames * GROUPS * SL_DEPTHS, float);
    memset(ridges, 0, sizeof *ridges);
    if (!value)
        return false;
    ridges->frames = l->frames;
    ridges->value = *scores = value;
    bool space[GROUPS];
    for (int g = 0; g < GROUPS; g++) { /* a rib's cap above its shadow is bright with dark beyond it, too */
        int shadow = 0;
        for (int j = 0; j < GROUP_BEAMS; j++)
            shadow += pleura->beams.kind[g * GROUP_BEAMS + j] == SL_BEAM_RIB || pleura->beams.kind[g * GROUP_BEAMS + j] == SL_BEAM_NO_CONTACT;
        space[g] = 2 * shadow < GROUP_BEAMS;
    }
    for (int g = 0; g < GROUPS; g++)
        for (int r = 0; r < SL_DEPTHS; r++)
            ridges->inside[g][r] = space[g] && stack->mask[r * SL_BEAMS + g * GROUP_BEAMS] && stack->mask[r * SL_BEAMS + (g + 1) * GROUP_BEAMS - 1];
    for (int t = 0; t < l->frames; t++)
        for (int g = 0; g < GROUPS; g++) {
            float sum[SL_DEPTHS + 1], *out = value + ((size_t)t * GROUPS + (size_t)g) * SL_DEPTHS;
            sl_add_up(l->group[t][g], sum);
            for (int r = 0; r < SL_DEPTHS; r++) {
                if (!ridges->inside[g][r]) {
                    out[r] = -1;
                    continue;
                }
                float before = sl_mean_of(sum, r - BEHIND_FAR_LAST, r - BEHIND_FAR), beyond = sl_mean_of(sum, r + BEHIND_FAR, r + BEHIND_FAR_LAST);
                out[r] = 0;
                float near = sl_mean_of(sum, r - BEHIND_HALF, r - BEHIND_FAR), far = sl_mean_of(sum, r - BEHIND_DEEP, r - BEHIND_HALF);
                float least = near < far ? near : far, most = near > far ? near : far;
                if (least < BEHIND_TISSUE_LEAST || most > BEHIND_TISSUE_MOST || most - least > BEHIND_EVEN || r + BEHIND_FAR_LAST >= SL_DEPTHS)
                    continue;
                float line = sl_mean_of(sum, r - 1, r + 1) - (before > beyond ? before : beyond);
                float drop = sl_mean_of(sum, r - BEHIND_NEAR_LAST, r - BEHIND_NEAR) - sl_mean_of(sum, r + BEHIND_NEAR, r + BEHIND_NEAR_LAST);
                line = line < 0 ? 0 : line > BEHIND_LINE_MOST ? BEHIND_LINE_MOST : line;
                drop = drop < 0 ? 0 : drop > BEHIND_DROP_MOST ? BEHIND_DROP_MOST : drop;
                if (!both)
                    out[r] = BEHIND_SCALE * (line + BEHIND_DROP_SHARE * drop);
                else if (before - beyond < (float)MIRROR_FALL && before - beyond > -(float)MIRROR_RISE)
                    out[r] = BEHIND_SCALE * MIRROR_LINE * line;
            }
        }
    return true;
}

static void greys(const sl_looked *l, const sl_ridge *ridge, sl_behind *b)
{
    double before = 0, beyond = 0, n = 0, m = 0;
    for (int g = 0; g < GROUPS; g++) {
        if (!isfinite(ridge->row[g]))
            continue;
        for (int t = 0; t < l->frames; t++) {
            int line = sl_line_at(ridge, t, g);
            for (int k = BEHIND_AWAY; k <= BEHIND_AWAY_LAST; k++) {
                if (line - k >= 0 && line - k < SL_DEPTHS) {
                    before += (double)l->group[t][g][line - k];
                    n++;
                }
                if (line + k >= 0 && line + k < SL_DEPTHS) {
                    beyond += (double)l->group[t][g][line + k];
                    m++;
                }
            }
        }
    }
    b->before = n > 0 ? before / n : SL_UNKNOWN;
    b->beyond = m > 0 ? beyond / m : SL_UNKNOWN;
}

/* Of the deep line what lies beyond the diaphragm. */
static void beyond(const sl_deep *d, const sl_ridge *ridge, const sl_looked *l, sl_behind *b)
{
    b->spine_points = 0;
    b->spine_groups = b->spine_share = 0;
    double run = 0;
    for (int g = 0; g < GROUPS; g++) {
        bool here = d->score[g] >= SPINE_LINE_LEAST;
        bool behind = isfinite(ridge->row[g]) && sl_line_at(ridge, l->frames / 2, g) + SPINE_GAP < d->row[g];
        run += behind;
        b->spine_groups += behind && here;
        if (here) {
            b->spine_beam[b->spine_points] = (g + 0.5) / GROUPS;
            b->spine_depth[b->spine_points++] = (d->row[g] + 0.5) / SL_DEPTHS;
        }
    }
    b->spine_share = run > 0 ? b->spine_groups / run : 0;
}

static void keep_line(const sl_stack *stack, const sl_looked *l, const sl_ridge *ridge, sl_behind *b)
{
    int t = l->frames / 2;
    int before = t > 0 ? l->index[t - 1] : 0, after = t + 1 < l->frames ? l->index[t + 1] : stack->frames - 1;
    b->line_first = stack->source[(before + l->index[t]) / 2]; /* as long as this frame is the nearest of those looked at */
    b->line_last = stack->source[(l->index[t] + after) / 2];
    b->points = 0;
    for (int g = 0; g < GROUPS; g++)
        if (isfinite(ridge->row[g])) {
            b->point_beam[b->points] = (g + 0.5) / GROUPS;
            b->point_depth[b->points++] = ((double)ridge->row[g] + ridge->moved[t] + 0.5) / SL_DEPTHS;
        }
}

static double logistic(double z)
{
    return 1 / (1 + exp(-z));
}

/* How surely the deep line is a spine, and beyond a diaphragm (an edge or a line that stands out, not one looked for as a mirror's); how surely what lies beyond is a mirror image. */
static void judge(const sl_deep *d, bool both, sl_behind *b)
{
    bool edge = !both && b->line && b->clear >= BEHIND_CLEAR && b->spine_groups >= SPINE_GROUPS_LEAST && b->spine_share >= SPINE_SHARE_LEAST;
    b->deep = logistic(SPINE_INTERCEPT + SPINE_W_WIDE * d->wide + SPINE_W_CLEAR * d->clear - SPINE_W_BENT * d->bent);
    b->spine = b->deep * (edge ? 1 : SPINE_NO_LINE);
    b->mirror = 0;
    if (!b->line || !sl_known(b->image) || !sl_known(b->image_sd) || b->image_cells < MIRROR_CELLS_LEAST)
        return;
    double fall = b->before - b->beyond; /* the image is a little weaker than the organ; fluid far darker */
    double like = b->before > MIRROR_TISSUE && fall > -MIRROR_RISE && fall < MIRROR_FALL ? 1 : 0.3;
    b->mirror = like * logistic(MIRROR_INTERCEPT + MIRROR_W_SD * fmin(b->image_sd, 6) + MIRROR_W_IMAGE * fmin(b->image, 0.5) +
                                MIRROR_W_OVER * fmax(fmin(b->image - b->chance, 0.3), -0.3) + MIRROR_W_WIDE * fmin(b->wide, 0.6) + MIRROR_W_LINE * fmin(b->clear, 0.6));
}

static void bounds(const sl_behind *b, double *first, double *last)
{
    *first = 1;
    *last = 0;
    for (int i = 0; i < b->points; i++) {
        *first = fmin(*first, b->point_depth[i]);
        *last = fmax(*last, b->point_depth[i]);
    }
}

/* A dome behind an organ, whatever it mirrors: the borders of solid lung and fluid are flatter, or what lies beyond them is darker. */
static void judge_arc(const sl_behind *b, sl_behind *best)
{
    double first, last, fall = b->before - b->beyond;
    bounds(b, &first, &last);
    if (!(b->before > ARC_TISSUE) || !(fall > -ARC_RISE) || !(fall < ARC_FALL))
        return;
    double arc = logistic(ARC_INTERCEPT + ARC_W_WIDE * fmin(b->wide, 0.8) + ARC_W_SAG * fmin(fmax(last - first, 0), 0.2) + ARC_W_LINE * fmin(b->clear, 1));
    if (arc <= best->arc)
        return;
    best->arc = arc;
    best->arc_first_beam = b->point_beam[0];
    best->arc_last_beam = b->point_beam[b->points - 1];
    best->arc_first_depth = first;
    best->arc_last_depth = last;
}

/* Of several lines the one that shows a sign, of those alike the one that sags most, as a dome does and a border of lung does not; where
 * none shows one, the clearest. */
static double worth(const sl_behind *b)
{
    double sign = fmax(b->spine, b->mirror), clear = 0.5 * SPINE_ABSENT * fmin(b->clear * b->wide, 1), first, last;
    bounds(b, &first, &last);
    if (b->spine >= SPINE_PRESENT)
        sign += BEHIND_SAG * fmin(fmax(last - first, 0), 0.3) * fmin(b->clear, 1);
    return sign >= SPINE_ABSENT ? sign : clear;
}

static void wipe(float *value, int first, int last)
{
    for (int r = first < 0 ? 0 : first; r <= last && r < SL_DEPTHS; r++)
        value[r] = value[r] > 0 ? 0 : value[r];
}

/* Lines one after the other, each wiped out before the next is looked for. */
static sl_status try_lines(const sl_stack *stack, const sl_looked *l, const sl_ridges *ridges, float *value, const sl_deep *d, int least,
                           bool both, sl_arena *arena, sl_behind *best, sl_error *error)
{
    sl_ridge_search search = {.first_row = least, .last_row = SL_DEPTHS - BEHIND_FAR_LAST, .reach = BEHIND_REACH, .step = BEHIND_REACH};
    sl_ridge ridge;
    for (int k = 0; k < (both ? MIRROR_LINES : BEHIND_LINES); k++) {
        sl_status status = sl_ridge_follow(ridges, &search, arena, &ridge, error);
        if (status != SL_OK || ridge.best < 0)
            return status;
        sl_behind b = *best;
        b.line = true;
        b.clear = ridge.level / (double)BEHIND_SCALE;
        b.wide = (double)ridge.seen / GROUPS;
        greys(l, &ridge, &b);
        if (l->grain[0])
            sl_mirror_measure(l, &ridge, least, &b);
        beyond(d, &ridge, l, &b);
        keep_line(stack, l, &ridge, &b);
        judge(d, both, &b);
        if (l->grain[0])
            judge_arc(&b, best);
        b.arc = best->arc;
        b.arc_first_beam = best->arc_first_beam;
        b.arc_last_beam = best->arc_last_beam;
        b.arc_first_depth = best->arc_first_depth;
        b.arc_last_depth = best->arc_last_depth;
        if (!best->line || worth(&b) > worth(best))
            *best = b;
        for (int t = 0; t < l->frames; t++)
            for (int g = 0; g < GROUPS; g++) {
                int line = sl_line_at(&ridge, t, g);
                if (line >= 0)
                    wipe(value + ((size_t)t * GROUPS + (size_t)g) * SL_DEPTHS, line - BEHIND_WIPE, line + BEHIND_WIPE);
            }
    }
    return SL_OK;
}

sl_status sl_behind_measure(const sl_stack *stack, const sl_pleura *pleura, double tissue, sl_arena *arena, sl_behind *b, sl_error *error)
{
    static const char no_room[] = "Memory ran out while the diaphragm was looked for.";
    *b = (sl_behind){.before = SL_UNKNOWN, .beyond = SL_UNKNOWN, .image = SL_UNKNOWN, .chance = SL_UNKNOWN, .image_sd = SL_UNKNOWN,
                     .first_time_s = SL_UNKNOWN, .last_time_s = SL_UNKNOWN};
    float level = pleura->mean ? sl_pleura_level(pleura->mean, stack->mask) : 0;
    if (stack->frames < 1 || !(level > 0))
        return SL_OK;
    sl_looked l = {0};
    sl_ridges ridges;
    sl_deep deep;
    float *value;
    sl_status status = SL_OK;
    b->depth_mm = sl_view_depth_mm(stack->view);
    b->first_source = stack->source[0];
    b->last_source = stack->source[stack->frames - 1];
    if (stack->times_known) {
        b->first_time_s = stack->time_s[0];
        b->last_time_s = stack->time_s[stack->frames - 1];
    }
    double row_mm = sl_known(b->depth_mm) ? b->depth_mm / SL_DEPTHS : SL_UNKNOWN;
    if (!look(stack, level, arena, &l) || !sl_spine_find(stack, &l, row_mm, arena, &deep))
        return sl_fail(error, SL_MEMORY, no_room);
    b->frames = stack->frames;
    judge(&deep, false, b);
    int least = pleura->seen && sl_known(pleura->depth) ? (int)(pleura->depth * SL_DEPTHS) + BEHIND_BELOW : BEHIND_FIRST;
    if (b->deep >= SPINE_ABSENT) { /* with the deep line hidden, which else would be taken for the diaphragm */
        if (!score_lines(stack, pleura, &l, false, arena, &ridges, &value))
            return sl_fail(error, SL_MEMORY, no_room);
        for (int g = 0; g < GROUPS; g++)
            for (int t = 0; t < l.frames && deep.score[g] >= SPINE_LINE_LEAST; t++)
                wipe(value + ((size_t)t * GROUPS + (size_t)g) * SL_DEPTHS, deep.row[g] - BEHIND_WIPE, SL_DEPTHS - 1);
        status = try_lines(stack, &l, &ridges, value, &deep, least, false, arena, b, error);
    }
    if (status != SL_OK || b->spine >= SPINE_PRESENT || tissue < MIRROR_TISSUE_SEEN)
        return status;
    if (!look_closely(stack, level, arena, &l))
        return sl_fail(error, SL_MEMORY, no_room);
    for (int both = 0; both < 2 && status == SL_OK; both++) {
        if (!score_lines(stack, pleura, &l, both, arena, &ridges, &value))
            return sl_fail(error, SL_MEMORY, no_room);
        status = try_lines(stack, &l, &ridges, value, &deep, least, both, arena, b, error);
    }
    if (!(tissue >= ARC_TISSUE_SEEN))
        b->arc = 0;
    return status;
}

void sl_behind_merge(sl_behind *into, const sl_behind *more)
{
    if (!(into->frames > 0) || (more->frames > 0 && fmax(worth(more), more->arc) > fmax(worth(into), into->arc)))
        *into = *more;
}
