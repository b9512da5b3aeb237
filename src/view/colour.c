#include "view/colour.h"

#include "view/view_table.h"

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

void sl_colour_fill(sl_stack *stack, const sl_straightener *straightener, const uint8_t *mark, sl_colour_seen *seen)
{
    seen->frames++;
    if (!mark || !stack->frames)
        return;
    uint8_t covered[SL_CELLS], *cell = stack->cell + (size_t)(stack->frames - 1) * SL_CELLS;
    sl_straighten(straightener, (sl_gray){stack->view->width, stack->view->height, stack->view->width, mark}, covered);
    int inside = 0, coloured = 0, warm = 0, cold = 0;
    for (int c = 0; c < SL_CELLS; c++) {
        inside += stack->mask[c];
        coloured += stack->mask[c] && covered[c];
        warm += stack->mask[c] && covered[c] == SL_MARK_WARM;
        cold += stack->mask[c] && covered[c] == SL_MARK_COLD;
    }
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
    if (seen->most_share < SL_COLOUR_NOTICE)
        return SL_OK;
    double both = seen->warm + seen->cold, warm = both > 0 ? seen->warm / both : 0.5;
    snprintf(text, room,
             "Colour lies over up to %.0f %% of the picture, %.0f %% of it red to yellow and %.0f %% blue to green (the colour "
             "bar was not read). It was taken out and the grey there filled in from beside it before reading.",
             100 * seen->most_share, 100 * warm, 100 - 100 * warm);
    return SL_OK;
}
