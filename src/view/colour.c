#include "view/colour.h"

#include "view/view_table.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { BINS = 16, LEVELS = 256, NEUTRAL = 128 };

/* Chroma that each grey level usually has in one frame. */
typedef struct tint {
    uint8_t cb[BINS], cr[BINS];
} tint;

typedef struct counts {
    uint32_t cb[BINS][LEVELS], cr[BINS][LEVELS];
} counts;

static int chroma_width(const sl_frame *frame)
{
    return (frame->gray.width + (1 << frame->chroma_shift_x) - 1) >> frame->chroma_shift_x;
}

static int chroma_height(const sl_frame *frame)
{
    return (frame->gray.height + (1 << frame->chroma_shift_y) - 1) >> frame->chroma_shift_y;
}

static const uint8_t *gray_row(const sl_frame *frame, int chroma_y)
{
    return frame->gray.pixel + ((size_t)chroma_y << frame->chroma_shift_y) * (size_t)frame->gray.stride;
}

static int median(const uint32_t *count)
{
    uint64_t total = 0, below = 0;
    for (int v = 0; v < LEVELS; v++)
        total += count[v];
    for (int v = 0; v < LEVELS; v++)
        if ((below += count[v]) * 2 > total)
            return v;
    return NEUTRAL;
}

/* Median over the lit samples of all grey levels. */
static int lit_median(const uint32_t count[BINS][LEVELS])
{
    uint32_t all[LEVELS] = {0};
    for (int b = SL_COLOUR_LIT * BINS / LEVELS; b < BINS; b++)
        for (int v = 0; v < LEVELS; v++)
            all[v] += count[b][v];
    return median(all);
}

static void find_tint(const sl_frame *frame, tint *found)
{
    enum { STEP = 2 }; /* every second sample and row is plenty for a median */
    counts count;
    memset(&count, 0, sizeof count);
    int width = chroma_width(frame), height = chroma_height(frame);
    for (int y = 0; y < height; y += STEP) {
        const uint8_t *gray = gray_row(frame, y);
        const uint8_t *cb = frame->cb + (size_t)y * (size_t)frame->chroma_stride;
        const uint8_t *cr = frame->cr + (size_t)y * (size_t)frame->chroma_stride;
        for (int x = 0; x < width; x += STEP) {
            int bin = gray[(size_t)x << frame->chroma_shift_x] * BINS / LEVELS;
            count.cb[bin][cb[x]]++;
            count.cr[bin][cr[x]]++;
        }
    }
    memset(found, NEUTRAL, sizeof *found);
    if (abs(lit_median(count.cb) - NEUTRAL) <= SL_COLOUR_TINT && abs(lit_median(count.cr) - NEUTRAL) <= SL_COLOUR_TINT)
        return;
    for (int b = 0; b < BINS; b++) {
        found->cb[b] = (uint8_t)median(count.cb[b]);
        found->cr[b] = (uint8_t)median(count.cr[b]);
    }
}

/* One row of chroma samples: 0, cold or warm. */
static bool mark_samples(const sl_frame *frame, const tint *usual, int y, int width, uint8_t *sample)
{
    const uint8_t *gray = gray_row(frame, y);
    const uint8_t *cb = frame->cb + (size_t)y * (size_t)frame->chroma_stride;
    const uint8_t *cr = frame->cr + (size_t)y * (size_t)frame->chroma_stride;
    bool any = false;
    for (int x = 0; x < width; x++) {
        int bin = gray[(size_t)x << frame->chroma_shift_x] * BINS / LEVELS;
        int blue = cb[x] - usual->cb[bin], red = cr[x] - usual->cr[bin];
        bool coloured = abs(blue) > SL_COLOUR_LEAST || abs(red) > SL_COLOUR_LEAST;
        sample[x] = !coloured ? 0 : red > blue ? SL_MARK_WARM : SL_MARK_COLD;
        any = any || coloured;
    }
    return any;
}

/* Writes the picture rows of chroma row `y`. Beside a coloured sample its colour has bled by coding. */
static void write_rows(const sl_frame *frame, const uint8_t *const row[3], int y, int width, uint8_t *mark)
{
    int picture_width = frame->gray.width, top = y << frame->chroma_shift_y;
    int end = (y + 1) << frame->chroma_shift_y;
    uint8_t *first = mark + (size_t)top * (size_t)picture_width;
    for (int x = 0; x < picture_width; x++) {
        int at = x >> frame->chroma_shift_x;
        uint8_t most = row[1][at];
        for (int k = 0; k < 3 && !most; k++)
            for (int i = at > 0 ? at - 1 : 0; i <= at + 1 && i < width; i++)
                most = row[k][i] > most ? row[k][i] : most;
        first[x] = most;
    }
    for (int line = top + 1; line < end && line < frame->gray.height; line++)
        memcpy(mark + (size_t)line * (size_t)picture_width, first, (size_t)picture_width);
}

bool sl_colour_mark(const sl_frame *frame, uint8_t *mark)
{
    static const uint8_t none[SL_CLIP_MOST_SIDE];
    if (!frame->cb || !frame->cr || frame->gray.width > SL_CLIP_MOST_SIDE)
        return false;
    tint usual;
    find_tint(frame, &usual);
    uint8_t sample[3][SL_CLIP_MOST_SIDE];
    int width = chroma_width(frame), height = chroma_height(frame), first = 0;
    while (first < height && !mark_samples(frame, &usual, first, width, sample[first % 3]))
        first++;
    if (first == height)
        return false;
    int start = first > 0 ? first - 1 : 0;
    memset(mark, 0, ((size_t)start << frame->chroma_shift_y) * (size_t)frame->gray.width);
    if (start < first)
        memset(sample[start % 3], 0, (size_t)width);
    for (int y = start; y < height; y++) {
        if (y + 1 < height && y + 1 > first)
            mark_samples(frame, &usual, y + 1, width, sample[(y + 1) % 3]);
        const uint8_t *const row[3] = {y > start ? sample[(y - 1) % 3] : none, sample[y % 3],
                                       y + 1 < height ? sample[(y + 1) % 3] : none};
        write_rows(frame, row, y, width, mark);
    }
    return true;
}

/* Between the grey cells on both sides of each gap, straight; to the picture's side, the last one. */
static void fill_row(const uint8_t *mark, const uint8_t *inside, uint8_t *cell)
{
    for (int j = 0; j < SL_BEAMS; j++) {
        if (!inside[j] || !mark[j])
            continue;
        int left = j - 1, right = j;
        while (right < SL_BEAMS && inside[right] && mark[right])
            right++;
        bool has_left = left >= 0 && inside[left], has_right = right < SL_BEAMS && inside[right];
        int from = has_left ? cell[left] : has_right ? cell[right] : 0, to = has_right ? cell[right] : from;
        int gap = right - left;
        for (int k = j; k < right; k++)
            cell[k] = (uint8_t)((from * (right - k) + to * (k - left) + gap / 2) / gap);
        j = right;
    }
}

static int same_run(const uint8_t *covered, const uint8_t *mask, int first, int step, int n, int i)
{
    int end = i;
    while (end < n && covered[first + end * step] && mask[first + end * step])
        end++;
    return end - i;
}

/* The shorter of the runs along row and beam through each coloured cell, pixel widths. */
static void add_across(const sl_stack *stack, const uint8_t *covered, sl_colour_cells *cells)
{
    const uint8_t *mask = stack->mask;
    double deep = sl_view_depth_px(stack->view) / SL_DEPTHS;
    float run[SL_CELLS];
    for (int i = 0; i < SL_DEPTHS; i++) {
        float wide = (float)sl_view_beam_step_px(stack->view, SL_BEAMS, (i + 0.5) / SL_DEPTHS);
        for (int j = 0; j < SL_BEAMS; j++) {
            int n = same_run(covered, mask, i * SL_BEAMS, 1, SL_BEAMS, j);
            for (int k = j; k < j + n; k++)
                run[i * SL_BEAMS + k] = (float)n * wide;
            j += n;
        }
    }
    for (int j = 0; j < SL_BEAMS; j++)
        for (int i = 0; i < SL_DEPTHS; i++) {
            int n = same_run(covered, mask, j, SL_BEAMS, SL_DEPTHS, i);
            for (int k = i; k < i + n; k++) {
                int c = k * SL_BEAMS + j;
                if (covered[c] == SL_MARK_WARM || covered[c] == SL_MARK_COLD)
                    cells->across_px[c] += fminf(run[c], (float)(n * deep));
            }
            i += n;
        }
}

/* Where warm meets cold within three cells, coloured all the way. */
static void add_meetings(const uint8_t *covered, const uint8_t *cell, sl_colour_cells *cells)
{
    enum { APART = 3 };
    for (int c = 0; c < SL_CELLS; c++) {
        int kind = covered[c] == SL_MARK_WARM ? 0 : covered[c] == SL_MARK_COLD ? 1 : -1;
        if (kind < 0)
            continue;
        cells->luma[kind][cell[c]]++;
        for (int way = 0; way < 2; way++) {
            int step = way ? SL_BEAMS : 1, room = way ? SL_DEPTHS - 1 - c / SL_BEAMS : SL_BEAMS - 1 - c % SL_BEAMS;
            for (int k = 1; k <= APART && k <= room && covered[c + k * step]; k++) {
                int at = c + k * step, other = covered[at] == SL_MARK_WARM ? 0 : covered[at] == SL_MARK_COLD ? 1 : -1;
                if (other == kind)
                    break;
                if (other < 0)
                    continue;
                cells->meet[kind][cell[c]]++;
                cells->meet[other][cell[at]]++;
                break;
            }
        }
    }
}

static void keep_cells(const sl_stack *stack, const uint8_t *covered, const uint8_t *cell, sl_colour_cells *cells)
{
    if (cells->frames >= SL_COLOUR_FRAMES_MOST)
        return;
    int at = cells->frames++, warm = 0, cold = 0;
    for (int c = 0; c < SL_CELLS; c++) {
        if (!stack->mask[c])
            continue;
        int is_warm = covered[c] == SL_MARK_WARM, is_cold = covered[c] == SL_MARK_COLD;
        cells->warm[c] = (uint16_t)(cells->warm[c] + is_warm);
        cells->cold[c] = (uint16_t)(cells->cold[c] + is_cold);
        warm += is_warm;
        cold += is_cold;
        if (!covered[c]) {
            cells->grey[c] += (float)cell[c];
            cells->bare[c]++;
        }
    }
    cells->frame_warm[at] = (float)warm;
    cells->frame_cold[at] = (float)cold;
    cells->time_s[at] = stack->time_s[stack->frames - 1];
    cells->source[at] = stack->source[stack->frames - 1];
    if (warm + cold) {
        add_across(stack, covered, cells);
        add_meetings(covered, cell, cells);
    }
}

/* The share of `part` above the median of `all`. */
static double above_median(const uint32_t *all, const uint32_t *part)
{
    double above = 0, sum = 0;
    int middle = median(all);
    for (int v = 0; v < LEVELS; v++) {
        sum += part[v];
        above += v > middle ? part[v] : 0;
    }
    return sum > 0 ? above / sum : NAN;
}

double sl_colour_turned_over(const sl_colour_cells *cells)
{
    double all = 0, met = 0;
    for (int v = 0; v < LEVELS; v++) {
        all += cells->luma[0][v] + cells->luma[1][v];
        met += cells->meet[0][v] + cells->meet[1][v];
    }
    if (!(met > SL_COLOUR_MEET_LEAST * all))
        return NAN;
    return fmin(above_median(cells->luma[0], cells->meet[0]), above_median(cells->luma[1], cells->meet[1]));
}

void sl_colour_fill(sl_stack *stack, const sl_straightener *straightener, const uint8_t *mark, sl_colour_seen *seen)
{
    static const uint8_t bare[SL_CELLS];
    seen->frames++;
    if (!stack->frames)
        return;
    if (!mark) {
        if (seen->cells)
            keep_cells(stack, bare, stack->cell + (size_t)(stack->frames - 1) * SL_CELLS, seen->cells);
        return;
    }
    uint8_t covered[SL_CELLS], *cell = stack->cell + (size_t)(stack->frames - 1) * SL_CELLS;
    sl_straighten(straightener, (sl_gray){stack->view->width, stack->view->height, stack->view->width, mark}, covered);
    int inside = 0, coloured = 0, warm = 0, cold = 0;
    for (int c = 0; c < SL_CELLS; c++) {
        inside += stack->mask[c];
        coloured += stack->mask[c] && covered[c];
        seen->beam[c % SL_BEAMS] += stack->mask[c] && covered[c];
        seen->depth[c / SL_BEAMS] += stack->mask[c] && covered[c];
        warm += stack->mask[c] && covered[c] == SL_MARK_WARM;
        cold += stack->mask[c] && covered[c] == SL_MARK_COLD;
    }
    if (seen->cells)
        keep_cells(stack, covered, cell, seen->cells);
    if (!coloured)
        return;
    double share = (double)coloured / inside;
    seen->sum_share += share;
    seen->most_share = share > seen->most_share ? share : seen->most_share;
    seen->warm += warm;
    seen->cold += cold;
    for (int i = 0; i < SL_DEPTHS; i++)
        fill_row(covered + i * SL_BEAMS, stack->mask + i * SL_BEAMS, cell + i * SL_BEAMS);
}

/* One column of pixels beside the view: the longest run of marks, whose dark middle may be left out. +1 warm above cold, -1 the
 * other way round, 0 no bar. */
static int bar_column(const sl_view *view, const uint8_t *mark, int x, int end[2])
{
    int least = (int)(SL_BAR_TALL * view->height), gap = (int)(SL_BAR_GAP * view->height) + 1;
    for (int y = 0; y < view->height;) {
        double warm = 0, cold = 0, warm_at = 0, cold_at = 0;
        int first = y, last = y - 1;
        for (; y < view->height && y - last <= gap; y++) {
            double beam, depth;
            uint8_t m = mark[(size_t)y * (size_t)view->width + (size_t)x];
            if (m)
                sl_view_from_pixel(view, x, y, &beam, &depth);
            if (!m || (beam > 0 && beam < 1 && depth > 0 && depth < 1))
                continue;
            first = last < first ? y : first;
            last = y;
            warm += m == SL_MARK_WARM;
            warm_at += m == SL_MARK_WARM ? y : 0;
            cold += m == SL_MARK_COLD;
            cold_at += m == SL_MARK_COLD ? y : 0;
        }
        double marks = warm + cold, tall = last - first + 1;
        if (tall < least || marks < SL_BAR_FULL * tall || fmin(warm, cold) < SL_BAR_EACH * marks)
            continue;
        double apart = cold_at / cold - warm_at / warm;
        if (fabs(apart) > SL_BAR_APART * tall) {
            end[0] = first;
            end[1] = last;
            return apart > 0 ? 1 : -1;
        }
    }
    return 0;
}

void sl_colour_find_bar(const sl_view *view, const uint8_t *mark, sl_colour_seen *seen)
{
    for (int x = 0; mark && x < view->width; x++) {
        int end[2], way = bar_column(view, mark, x, end);
        if (way) {
            bool begun = seen->bar_warm_up + seen->bar_warm_down > 0;
            seen->bar_x0 = begun ? seen->bar_x0 : x;
            seen->bar_x1 = x;
            seen->bar_y0 = begun && seen->bar_y0 < end[0] ? seen->bar_y0 : end[0];
            seen->bar_y1 = begun && seen->bar_y1 > end[1] ? seen->bar_y1 : end[1];
        }
        seen->bar_warm_up += way > 0;
        seen->bar_warm_down += way < 0;
    }
}

sl_colour_bar sl_colour_bar_of(const sl_colour_seen *seen)
{
    double more = fmax(seen->bar_warm_up, seen->bar_warm_down), less = fmin(seen->bar_warm_up, seen->bar_warm_down);
    return more < SL_BAR_COLUMNS || less > 0 ? SL_BAR_UNREAD : seen->bar_warm_up > 0 ? SL_BAR_WARM_TOWARD : SL_BAR_COLD_TOWARD;
}

bool sl_colour_noticed(const sl_colour_seen *seen)
{
    return seen->most_share >= SL_COLOUR_NOTICE;
}

static void ends(const uint32_t *count, int n, double end[2])
{
    double all = 0, sum = 0;
    for (int i = 0; i < n; i++)
        all += count[i];
    end[0] = end[1] = NAN;
    for (int i = 0; i < n; i++) {
        sum += count[i];
        if (isnan(end[0]) && sum > SL_COLOUR_BOX_OUT * all)
            end[0] = (double)i / n;
        if (isnan(end[1]) && sum >= (1 - SL_COLOUR_BOX_OUT) * all)
            end[1] = (i + 1.0) / n;
    }
}

bool sl_colour_box(const sl_colour_seen *seen, double beam[2], double depth[2])
{
    ends(seen->beam, SL_BEAMS, beam);
    ends(seen->depth, SL_DEPTHS, depth);
    return isfinite(beam[0]) && isfinite(depth[0]);
}

void sl_colour_count(sl_gray gray, const uint8_t *mark, sl_colour_seen *seen)
{
    seen->frames++;
    if (!mark)
        return;
    long lit = 0, coloured = 0;
    for (int y = 0; y < gray.height; y++) {
        const uint8_t *pixel = gray.pixel + (size_t)y * (size_t)gray.stride, *marked = mark + (size_t)y * (size_t)gray.width;
        for (int x = 0; x < gray.width; x++) {
            lit += pixel[x] >= SL_COLOUR_LIT || marked[x];
            coloured += marked[x] > 0;
        }
    }
    double share = lit ? (double)coloured / (double)lit : 0;
    seen->sum_share += share;
    seen->most_share = share > seen->most_share ? share : seen->most_share;
}

sl_status sl_colour_judge(const sl_colour_seen *seen, char *text, size_t room, sl_error *error)
{
    text[0] = 0;
    double usual = seen->frames ? seen->sum_share / seen->frames : 0;
    if (usual > SL_COLOUR_MOST_SHARE)
        return sl_fail(error, SL_UNREADABLE,
                       "Colour lies over %.0f %% of the picture, and what is under it cannot be read. Record the same place "
                       "without colour.", 100 * usual);
    if (!sl_colour_noticed(seen))
        return SL_OK;
    static const char *const means[] = {
        [SL_BAR_UNREAD] = "no colour bar was read, red is flow towards the probe by common practice",
        [SL_BAR_WARM_TOWARD] = "by the colour bar red is flow towards the probe",
        [SL_BAR_COLD_TOWARD] = "by the colour bar blue is flow towards the probe"};
    double both = seen->warm + seen->cold, warm = both > 0 ? seen->warm / both : 0.5, beam[2], depth[2];
    sl_colour_bar bar = sl_colour_bar_of(seen);
    double toward = bar == SL_BAR_COLD_TOWARD ? 1 - warm : warm;
    if (!sl_colour_box(seen, beam, depth))
        return SL_OK;
    snprintf(text, room,
             "Colour lies over up to %.0f %% of the picture and was taken out before reading; it lies from %.0f to %.0f %% of the width and "
             "from %.0f to %.0f %% of the depth; %.0f %% of it is flow towards the probe, %.0f %% away; %s.",
             100 * seen->most_share, 100 * beam[0], 100 * beam[1], 100 * depth[0], 100 * depth[1], 100 * toward, 100 - 100 * toward,
             means[bar]);
    return SL_OK;
}
