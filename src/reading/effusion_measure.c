#include "reading/effusion.h"

#include "core/quantile.h"
#include "core/straight.h"
#include "core/units.h"
#include "reading/course.h"
#include "reading/pleura_cells.h"
#include "reading/solid_table.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, SEARCH = 30, BEYOND = 30, CORE = 5, HOLDS = 6, NEAR = 4 };

/* Mean grey of one block, over three beams at `beam`. */
static float grey_at(const uint32_t *sum, float scale, int row, int beam)
{
    row = row < 0 ? 0 : row >= ROWS ? ROWS - 1 : row;
    int a = beam ? beam - 1 : 0, b = beam < BEAMS - 1 ? beam + 1 : beam;
    return scale * (float)(sum[row * BEAMS + a] + sum[row * BEAMS + beam] + sum[row * BEAMS + b]) / 3;
}

/* Row where grey rises from the fluid to the surface below it and stays up (a septum does not); NAN when it does not. The
 * surface's grey goes to `surface`. */
static double border(const uint32_t *sum, float scale, int beam, int top, int bottom, double *surface)
{
    float core = 0, most = 0;
    int swing = (int)(EFFUSION_BREATH * (bottom - top)), beyond = bottom + (swing > BEYOND ? swing : BEYOND);
    int first = bottom - SEARCH > top + CORE ? bottom - SEARCH : top + CORE, n = 0;
    for (int i = top + 3; i < bottom - 5 || n < 2; i++, n++)
        core += grey_at(sum, scale, i, beam);
    core /= (float)n;
    for (int i = bottom - 8; i < beyond && i < ROWS; i++)
        most = fmaxf(most, grey_at(sum, scale, i, beam));
    *surface = (double)most;
    float level = core + EFFUSION_RISE * (most - core), hold = core + 0.35f * (most - core);
    if (most < 1.5f * core + 2)
        return NAN;
    for (int i = first; i < beyond && i < ROWS - HOLDS; i++) {
        float here = grey_at(sum, scale, i, beam), before = grey_at(sum, scale, i - 1, beam), mean = 0;
        if (here < level)
            continue;
        for (int k = 0; k < HOLDS; k++)
            mean += grey_at(sum, scale, i + k, beam) / HOLDS;
        if (mean < hold)
            continue;
        return here > before && before < level ? i - (double)((here - level) / (here - before)) : (double)i;
    }
    return NAN;
}

/* A border runs on from beam to beam: what does not for the width of a layer, nor for a third of its longest part, is a vessel, a
 * septum or noise further down. Where no part is as wide as a layer, all stays. */
static void drop_short(double *at)
{
    int length[BEAMS] = {0}, longest = 0;
    for (int j = 0, first = 0; j <= BEAMS; j++) {
        if (j < BEAMS && !isnan(at[j]) && (j == first || fabs(at[j] - at[j - 1]) <= EFFUSION_JUMP))
            continue;
        for (int k = first; k < j; k++)
            length[k] = j - first;
        longest = j - first > longest ? j - first : longest;
        first = j < BEAMS && !isnan(at[j]) ? j : j + 1;
    }
    for (int j = 0; j < BEAMS && longest >= LAYER_RUN; j++)
        if (length[j] < LAYER_RUN || EFFUSION_PARTS * length[j] < longest)
            at[j] = NAN;
}

/* The rim beyond the beams that show the layer: on its course, for the chest wall bends evenly; and where its lower border would lie there. Such
 * beams are left out of the layer for little contrast, for a septum at the rim or beside a rib; whether the border is seen in them is another question. */
static void carry_on(const sl_fluid_layer *layer, sl_fluid_layer *more)
{
    double course[3];
    *more = *layer;
    if (!sl_course_fit(layer->top, NULL, LAYER_RUN, course))
        return;
    for (int j = 0; j < BEAMS; j++) {
        int left = j, right = j;
        if (!isnan(layer->top[j]))
            continue;
        while (left >= 0 && isnan(layer->top[left]))
            left--;
        while (right < BEAMS && isnan(layer->top[right]))
            right++;
        int near = left < 0 || (right < BEAMS && right - j < j - left) ? right : left;
        if (near < 0 || near >= BEAMS || abs(near - j) > EFFUSION_BESIDE)
            continue;
        double off_left = left < 0 ? 0 : (double)layer->top[left] - sl_course_at(course, left);
        double off_right = right >= BEAMS ? 0 : (double)layer->top[right] - sl_course_at(course, right);
        double share = left < 0 ? 1 : right >= BEAMS ? 0 : (double)(j - left) / (right - left);
        more->top[j] = (float)fmax(1, sl_course_at(course, j) + (1 - share) * off_left + share * off_right);
        more->bottom[j] = layer->bottom[near];
    }
}

/* What goes on as the border seen does: of the other beams those whose distance lies on the straight course of the kept ones, in runs. */
static void take_more(const double *all, const sl_fluid_layer *layer, double *at)
{
    sl_straight kept = {0};
    bool more[BEAMS];
    for (int j = 0; j < BEAMS; j++)
        if (!isnan(at[j]))
            sl_straight_add(&kept, j, at[j] - (double)layer->top[j]);
    if (kept.n < 2 * LAYER_RUN)
        return;
    double slope = sl_straight_slope(&kept, EFFUSION_LEVEL);
    for (int j = 0; j < BEAMS; j++) {
        double expect = sl_straight_at(&kept, slope, j);
        more[j] = isnan(at[j]) && !isnan(all[j]) &&
                  fabs(all[j] - (double)layer->top[j] - expect) <= EFFUSION_ON + EFFUSION_ON_SHARE * expect;
    }
    for (int j = 0, first = 0; j <= BEAMS; j++) {
        if (j < BEAMS && more[j])
            continue;
        for (int k = first; k < j && j - first >= EFFUSION_MORE_RUN; k++)
            at[k] = all[k];
        first = j + 1;
    }
}

/* The distances of one block, each the median of its neighbours' for a septum or a bright point in the depth is no border;
 * returns how many beams have one. `shown`: the layer as it was found; `layer`: carried on beyond it. */
static int distances(const uint32_t *sum, float scale, const sl_fluid_layer *shown, const sl_fluid_layer *layer, double *distance,
                     double *at)
{
    double all[BEAMS], raw[BEAMS], surface[BEAMS], sorted[BEAMS];
    int n = 0, seen = 0;
    for (int j = 0; j < BEAMS; j++) {
        double row = isnan(layer->top[j])
                         ? NAN
                         : border(sum, scale, j, (int)(layer->top[j] + 0.5f), (int)layer->bottom[j], &surface[j]);
        raw[j] = row - (double)layer->top[j] < 3 ? NAN : row - (double)layer->top[j];
        if (!isnan(raw[j]) && !isnan(shown->top[j]))
            sorted[seen++] = surface[j];
    }
    double bright = seen ? sl_quantile_nearest(sorted, seen, 0.5) : 0;
    for (int j = 0; j < BEAMS; j++) /* behind a rib the surface is dark, and the cap lies above the rim */
        if (!isnan(raw[j]) && surface[j] < EFFUSION_SURFACE * bright)
            raw[j] = NAN;
    for (int j = 0; j < BEAMS; j++) {
        double near[2 * NEAR + 1];
        int m = 0;
        all[j] = at[j] = NAN;
        for (int k = j - NEAR; k <= j + NEAR; k++)
            if (k >= 0 && k < BEAMS && !isnan(raw[k]))
                near[m++] = raw[k];
        if (isnan(raw[j]) || m <= NEAR)
            continue;
        all[j] = (double)layer->top[j] + sl_quantile_nearest(near, m, 0.5);
        at[j] = isnan(shown->top[j]) ? NAN : all[j];
    }
    drop_short(at);
    take_more(all, layer, at);
    for (int j = 0; j < BEAMS; j++)
        if (!isnan(at[j]))
            distance[n++] = at[j] - (double)layer->top[j];
    return n;
}

static void add_frames(const sl_stack *stack, int first, int last, uint32_t *restrict sum)
{
    memset(sum, 0, SL_CELLS * sizeof *sum);
    for (int f = first; f < last; f++) {
        const uint8_t *restrict cell = sl_stack_frame(stack, f);
        for (int k = 0; k < SL_CELLS; k++)
            sum[k] += cell[k];
    }
}

static double echo_of(const sl_pleura *parietal, const sl_fluid_layer *layer, const uint8_t *mask)
{
    double sum = 0;
    int n = 0;
    for (int j = 0; j < BEAMS; j++)
        if (!isnan(layer->top[j]))
            for (int i = (int)layer->top[j] + 4; i < (int)layer->bottom[j] - 3; i++, n++)
                sum += (double)parietal->mean[i * BEAMS + j];
    return n ? sum / n / fmax(1, (double)sl_pleura_level(parietal->mean, mask)) : SL_UNKNOWN;
}

static void keep_border(const sl_fluid_layer *layer, const double *at, sl_fluid *effusion)
{
    effusion->points = 0;
    for (int j = 0; j < BEAMS; j++)
        if (!isnan(at[j])) {
            effusion->beam[effusion->points] = (j + 0.5) / BEAMS;
            effusion->rim[effusion->points] = ((double)layer->top[j] + 0.5) / ROWS;
            effusion->border[effusion->points++] = (at[j] + 0.5) / ROWS;
        }
}

sl_status sl_effusion_measure(const sl_stack *stack, const sl_pleura *parietal, const sl_fluid_layer *layer, sl_arena *arena,
                              sl_fluid *effusion, sl_error *error)
{
    memset(effusion, 0, sizeof *effusion);
    effusion->depth = effusion->depth_low = effusion->depth_high = effusion->swing = effusion->echo = SL_UNKNOWN;
    effusion->frames = stack->frames;
    effusion->still = stack->frames < 2;
    effusion->first_time_s = effusion->last_time_s = SL_UNKNOWN;
    if (stack->frames < 1)
        return SL_OK;
    effusion->first_source = stack->source[0];
    effusion->last_source = stack->source[stack->frames - 1];
    if (stack->times_known) {
        effusion->first_time_s = stack->time_s[0];
        effusion->last_time_s = stack->time_s[stack->frames - 1];
    }
    effusion->index = isnan(layer->odds) ? 0 : 1 / (1 + exp(-layer->odds));
    effusion->seen = layer->seen;
    if (!layer->seen)
        return SL_OK;
    effusion->echo = echo_of(parietal, layer, stack->mask);
    double depth_mm = stack->view ? sl_view_depth_mm(stack->view) : SL_UNKNOWN;
    sl_status status = sl_fluid_content_measure(stack, parietal, layer, depth_mm > 0 ? depth_mm / ROWS : 0, arena, &effusion->content, error);
    if (status != SL_OK)
        return status;
    uint32_t *sum = SL_NEW(arena, SL_CELLS, uint32_t);
    double *wide = SL_NEW(arena, parietal->blocks + 1, double), *middle = SL_NEW(arena, parietal->blocks + 1, double);
    if (!sum || !wide || !middle)
        return sl_fail(error, SL_MEMORY, "Memory ran out while fluid was measured; close other programs and read the clip "
                                         "again.");
    double distance[BEAMS], at[BEAMS], most = 0, spread = 0;
    int blocks = 0, beams = 0;
    sl_fluid_layer carried;
    carry_on(layer, &carried);
    for (int j = 0; j < BEAMS; j++)
        beams += !isnan(layer->top[j]);
    for (int b = 0; b < parietal->blocks; b++) {
        int first = b * parietal->block_frames, last = first + parietal->block_frames;
        last = last < stack->frames ? last : stack->frames;
        add_frames(stack, first, last, sum);
        int n = distances(sum, 1.0f / (float)(last - first), layer, &carried, distance, at);
        if (n < 5)
            continue;
        wide[blocks] = sl_quantile_nearest(distance, n, EFFUSION_WIDEST);
        middle[blocks] = distance[n / 2];
        if (wide[blocks] > most) {
            most = wide[blocks];
            spread = wide[blocks] - distance[(int)(0.85 * (n - 1))];
            keep_border(&carried, at, effusion);
        }
        blocks++;
    }
    if (!blocks)
        return SL_OK;
    effusion->depth = sl_quantile_nearest(wide, blocks, EFFUSION_WIDEST) / ROWS;
    double row_mm = depth_mm > 0 ? depth_mm / ROWS : EFFUSION_SLACK_MM / EFFUSION_SLACK_ROWS;
    double rows = effusion->depth * ROWS, half = hypot(spread, EFFUSION_SLACK_MM / row_mm + EFFUSION_SLACK_SHARE * rows) / ROWS;
    double deeper = hypot(spread, EFFUSION_SLACK_MM / row_mm + EFFUSION_SLACK_DEEPER * rows) / ROWS;
    effusion->part = effusion->points < EFFUSION_PART * beams;
    effusion->depth_low = fmax(0, effusion->depth - half);
    effusion->depth_high = effusion->depth * (effusion->part ? 1 + EFFUSION_PART_MORE : 1) + deeper;
    if (blocks > 2)
        effusion->swing = (sl_quantile_nearest(middle, blocks, 0.95) - sl_quantile_nearest(middle, blocks, 0.05)) / ROWS;
    return SL_OK;
}

void sl_effusion_merge(sl_fluid *into, const sl_fluid *more)
{
    double frames = into->frames + more->frames;
    int first = into->frames > 0 ? into->first_source : more->first_source;
    double first_time_s = into->frames > 0 ? into->first_time_s : more->first_time_s;
    bool still = into->still && more->still, better = more->index > into->index || !(into->frames > 0);
    double swing = fmax(isnan(into->swing) ? 0 : into->swing, isnan(more->swing) ? 0 : more->swing);
    if (better)
        *into = *more;
    into->frames = frames;
    into->still = still;
    into->swing = into->seen ? swing : SL_UNKNOWN;
    into->first_source = first;
    into->first_time_s = first_time_s;
    into->last_source = more->last_source;
    into->last_time_s = more->last_time_s;
}

/* `points` of the rim and of the border from `first` on, as the finding's evidence; copied, since the measurement is not kept. */
static void show(const sl_fluid *effusion, int first, int points, const char *rim_label, const char *border_label, sl_arena *arena, sl_finding *finding)
{
    size_t n = (size_t)points;
    if (points < 2)
        return;
    sl_evidence *e = SL_NEW(arena, 2, sl_evidence);
    double *beam = SL_NEW(arena, n, double), *rim = SL_NEW(arena, n, double), *border = SL_NEW(arena, n, double);
    if (!e || !beam || !rim || !border)
        return;
    memcpy(beam, effusion->beam + first, sizeof *beam * n);
    memcpy(rim, effusion->rim + first, sizeof *rim * n);
    memcpy(border, effusion->border + first, sizeof *border * n);
    for (int k = 0; k < 2; k++) {
        e[k] = (sl_evidence){.first_frame = effusion->first_source, .last_frame = effusion->last_source, .first_time_s = effusion->first_time_s,
                             .last_time_s = effusion->last_time_s, .points = points, .beam = beam, .depth = k ? border : rim, .first_beam = beam[0],
                             .last_beam = beam[points - 1], .first_depth = 1, .label = k ? border_label : rim_label};
        for (int i = 0; i < points; i++) {
            e[k].first_depth = fmin(e[k].first_depth, e[k].depth[i]);
            e[k].last_depth = fmax(e[k].last_depth, e[k].depth[i]);
        }
    }
    finding->evidence = e;
    finding->evidences = 2;
}

/* The distance between the pleurae over the clip, and what is in the fluid. */
static void state_more(const sl_fluid *effusion, const sl_view *view, const char *why, sl_arena *arena, sl_reading *reading)
{
    const sl_fluid_content *c = &effusion->content;
    double mm = view ? sl_view_depth_mm(view) : SL_UNKNOWN;
    bool swings = !why[0] && sl_known(effusion->swing) && sl_known(mm), looked = !why[0] && c->cells > 0;
    const char *thin = why[0] ? why : "the layer is too thin to look into";
    sl_finding *swing = sl_reading_put(reading, SL_EFFUSION_SWING);
    swing->reason = swings ? "" : why[0] ? why : sl_known(mm) ? "the clip is too short" : "the picture's scale is not known";
    if (swings) {
        double slack = hypot(EFFUSION_SWING_MM, EFFUSION_SWING_SHARE * effusion->swing * mm);
        swing->known = true;
        swing->value = effusion->swing * mm;
        swing->low = fmax(0, swing->value - slack);
        swing->high = swing->value + slack;
    }
    sl_finding *even = sl_reading_put(reading, SL_EFFUSION_EVENNESS);
    even->reason = looked ? "" : thin;
    even->known = looked;
    if (looked)
        even->value = c->even;
    static const sl_code codes[] = {SL_EFFUSION_SEPTA, SL_EFFUSION_PARTICLES};
    for (int k = 0; k < 2; k++) {
        sl_finding *f = sl_reading_put(reading, codes[k]);
        double index = !looked ? SL_UNKNOWN : k ? sl_particles_index(c) : sl_septa_index(c);
        f->reason = looked ? "" : thin;
        f->answer = SL_UNCERTAIN;
        if (!looked)
            continue;
        f->known = true;
        f->value = index;
        f->confidence = index > 0.5 ? index : 1 - index;
        f->answer = index > 0.5 ? SL_PRESENT : index < CONTENT_ABSENT ? SL_ABSENT : SL_UNCERTAIN;
        if (f->answer == SL_UNCERTAIN)
            f->reason = "the signs lie between yes and no";
    }
    int lines = looked ? c->lines : 0;
    sl_evidence *e = lines ? SL_NEW(arena, lines, sl_evidence) : NULL;
    for (int i = 0; e && i < lines; i++)
        e[i] = (sl_evidence){.first_frame = effusion->first_source, .last_frame = effusion->last_source, .first_time_s = effusion->first_time_s,
                             .last_time_s = effusion->last_time_s, .first_beam = c->first_beam[i], .last_beam = c->last_beam[i],
                             .first_depth = c->first_depth[i], .last_depth = c->last_depth[i], .label = "line across the fluid"};
    sl_finding *septa = sl_reading_put(reading, SL_EFFUSION_SEPTA_COUNT);
    septa->reason = looked ? "" : thin;
    septa->known = looked;
    if (looked)
        septa->value = c->septa;
    if (e) {
        septa->evidence = e;
        septa->evidences = lines;
    }
}

void sl_effusion_state(const sl_fluid *effusion, const sl_view *view, const char *doubt, sl_arena *arena,
                       sl_reading *reading)
{
    sl_finding *answer = sl_reading_put(reading, SL_EFFUSION), *depth = sl_reading_put(reading, SL_EFFUSION_DEPTH);
    depth->reason = "no fluid is stated";
    answer->answer = SL_UNCERTAIN;
    if (!(effusion->frames > 0) || effusion->still || (doubt[0] && !effusion->seen)) {
        answer->reason = effusion->still ? "a single picture does not show fluid from dark muscle"
                         : doubt[0]      ? doubt
                                         : "nothing could be measured";
        depth->reason = answer->reason;
        state_more(effusion, view, answer->reason, arena, reading);
        return;
    }
    double index = effusion->index, mm = sl_view_depth_mm(view);
    answer->known = true;
    answer->value = index;
    answer->confidence = index > 0.5 ? index : 1 - index;
    answer->answer = effusion->seen ? SL_PRESENT : index < EFFUSION_ABSENT ? SL_ABSENT : SL_UNCERTAIN;
    if (answer->answer == SL_UNCERTAIN)
        answer->reason = "a dark layer is seen that does not look surely like fluid";
    state_more(effusion, view, effusion->seen ? "" : depth->reason, arena, reading);
    if (!effusion->seen)
        return;
    show(effusion, 0, effusion->points, "upper rim of the fluid", "lower border of the fluid", arena, answer);
    answer->reason = sl_arena_printf(arena, "%s; widest %.0f %% of the imaged depth%s",
                                     effusion->echo < 0.05 ? "echo-free" : "with echoes in it", 100 * effusion->depth,
                                     sl_known(effusion->swing) && sl_known(mm)
                                         ? sl_arena_printf(arena, ", changing by %.1f mm over the clip", effusion->swing * mm)
                                         : "");
    depth->reason = sl_known(effusion->depth) ? "the picture's scale is not known" : "the lower border is not seen";
    if (!sl_known(mm) || !sl_known(effusion->depth))
        return;
    depth->known = true;
    depth->reason = effusion->part ? "its lower border is seen in less than half of its width: elsewhere it may be deeper" : "";
    depth->value = effusion->depth * mm;
    depth->low = effusion->depth_low * mm;
    depth->high = effusion->depth_high * mm;
    depth->confidence = answer->confidence;
    depth->evidence = answer->evidence;
    depth->evidences = answer->evidences;
}

void sl_effusion_base_state(const sl_fluid *effusion, double first_beam, double last_beam, const sl_view *view, sl_arena *arena, sl_reading *reading)
{
    const sl_finding *depth = sl_reading_get(reading, SL_EFFUSION_DEPTH), *organ = sl_reading_get(reading, SL_ORGAN);
    bool below = organ && organ->known && organ->answer == SL_PRESENT && last_beam > first_beam;
    sl_finding *base = sl_reading_put(reading, SL_EFFUSION_BASE);
    base->reason = !depth || !depth->known ? (depth && depth->reason[0] ? depth->reason : "no fluid is stated")
                   : !below                ? "no organ below the diaphragm is seen beside the fluid" : "";
    if (base->reason[0])
        return;
    double middle = 0, mm = sl_view_depth_mm(view), distance[BEAMS];
    for (int i = 0; i < effusion->points; i++)
        middle += effusion->beam[i] / effusion->points;
    bool to_right = middle < 0.5 * (first_beam + last_beam);
    double edge = to_right ? first_beam : last_beam;
    int n = 0, first = -1, last = -1;
    for (int i = 0; i < effusion->points; i++) { /* the fluid's own side of the edge, and a little over it: it slants */
        double off = to_right ? edge - effusion->beam[i] : effusion->beam[i] - edge;
        if (off < -EFFUSION_BASE_OVER || off > EFFUSION_BASE_NEAR)
            continue;
        first = first < 0 ? i : first;
        last = i;
        distance[n++] = effusion->border[i] - effusion->rim[i];
    }
    if (n < EFFUSION_BASE_BEAMS) {
        base->reason = "the fluid is not seen up to the diaphragm";
        return;
    }
    double low = distance[0], high = distance[0];
    for (int i = 0; i < n; i++) {
        low = fmin(low, distance[i]);
        high = fmax(high, distance[i]);
    }
    base->known = true;
    base->value = sl_quantile_nearest(distance, n, 0.5) * mm;
    base->low = fmax(0, base->value - hypot(0.5 * (high - low) * mm, EFFUSION_SLACK_MM + EFFUSION_SLACK_SHARE * base->value));
    base->high = base->value + hypot(0.5 * (high - low) * mm, EFFUSION_SLACK_MM + EFFUSION_SLACK_DEEPER * base->value);
    base->confidence = depth->confidence;
    show(effusion, first, last - first + 1, "upper rim at the base", "lower border at the base", arena, base);
}
