#include "clip/text_find.h"

#include "clip/text_table.h"

#include <stdlib.h>
#include <string.h>

void sl_boxes_add(sl_boxes *boxes, sl_box box, int margin, int width, int height)
{
    box.x0 = box.x0 > margin ? box.x0 - margin : 0;
    box.y0 = box.y0 > margin ? box.y0 - margin : 0;
    box.x1 = box.x1 + margin < width ? box.x1 + margin : width - 1;
    box.y1 = box.y1 + margin < height ? box.y1 + margin : height - 1;
    for (int i = 0; i < boxes->count; i++) {
        const sl_box *other = &boxes->box[i];
        if (box.x0 >= other->x0 && box.x1 <= other->x1 && box.y0 >= other->y0 && box.y1 <= other->y1)
            return;
    }
    if (boxes->count < SL_MOST_BOXES)
        boxes->box[boxes->count++] = box;
    else
        boxes->overflowed = true;
}

static bool joins(const sl_box *a, const sl_box *b, sl_box *both)
{
    enum { SLIVER = 2 * TEXT_STROKE_REACH };
    if (a->x0 > b->x1 + SLIVER || b->x0 > a->x1 + SLIVER || a->y0 > b->y1 + SLIVER || b->y0 > a->y1 + SLIVER)
        return false;
    *both = (sl_box){a->x0 < b->x0 ? a->x0 : b->x0, a->y0 < b->y0 ? a->y0 : b->y0, a->x1 > b->x1 ? a->x1 : b->x1,
                     a->y1 > b->y1 ? a->y1 : b->y1};
    return true;
}

static double area(const sl_box *box)
{
    return (double)(box->x1 - box->x0 + 1) * (box->y1 - box->y0 + 1);
}

void sl_boxes_join(sl_boxes *boxes)
{
    for (bool again = true; again;) {
        again = false;
        for (int i = 0; i < boxes->count; i++)
            for (int k = i + 1; k < boxes->count; k++) {
                sl_box both;
                if (!joins(&boxes->box[i], &boxes->box[k], &both) ||
                    area(&both) > text_most_joined * (area(&boxes->box[i]) + area(&boxes->box[k])))
                    continue;
                boxes->box[i] = both;
                boxes->box[k--] = boxes->box[--boxes->count];
                again = true;
            }
    }
}

static bool column_has(const sl_box *box, int x, const uint8_t *known, int width)
{
    for (int y = box->y0; y <= box->y1; y++)
        if (known[(size_t)y * (size_t)width + (size_t)x])
            return true;
    return false;
}

void sl_boxes_stretch(sl_boxes *boxes, const uint8_t *known, int width, int height)
{
    (void)height;
    for (int i = 0; i < boxes->count; i++) {
        sl_box *box = &boxes->box[i];
        int tall = box->y1 - box->y0 + 1, gap = (int)(text_most_gap * tall), left = box->x0, right = box->x1;
        int least = left - TEXT_MOST_STRETCH * tall, most = right + TEXT_MOST_STRETCH * tall;
        least = least > 0 ? least : 0;
        most = most < width ? most : width - 1;
        for (int x = left - 1; x >= least && x >= left - gap; x--)
            left = column_has(box, x, known, width) ? x : left;
        for (int x = right + 1; x <= most && x <= right + gap; x++)
            right = column_has(box, x, known, width) ? x : right;
        box->x0 = left - (left < box->x0) * 2 > 0 ? left - (left < box->x0) * 2 : 0;
        box->x1 = right + (right > box->x1) * 2 < width ? right + (right > box->x1) * 2 : width - 1;
    }
}

static void keep_least(uint8_t *restrict to, const uint8_t *restrict from, size_t count)
{
    for (size_t i = 0; i < count; i++)
        to[i] = from[i] < to[i] ? from[i] : to[i];
}

static void invert(uint8_t *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        bytes[i] = (uint8_t)(255 - bytes[i]);
}

/* Least value within a square of `reach` pixels around; `work` is as large as the picture. */
static void least_around(uint8_t *picture, uint8_t *work, int width, int height, int reach)
{
    size_t w = (size_t)width;
    memcpy(work, picture, w * (size_t)height);
    for (int y = 0; y < height; y++)
        for (int dx = 1; dx <= reach && dx < width; dx++) {
            keep_least(work + (size_t)y * w, picture + (size_t)y * w + dx, w - (size_t)dx);
            keep_least(work + (size_t)y * w + dx, picture + (size_t)y * w, w - (size_t)dx);
        }
    memcpy(picture, work, w * (size_t)height);
    for (int y = 0; y < height; y++)
        for (int dy = 1; dy <= reach; dy++) {
            if (y + dy < height)
                keep_least(picture + (size_t)y * w, work + (size_t)(y + dy) * w, w);
            if (y - dy >= 0)
                keep_least(picture + (size_t)y * w, work + (size_t)(y - dy) * w, w);
        }
}

static void greatest_around(uint8_t *picture, uint8_t *work, int width, int height, int reach)
{
    size_t count = (size_t)width * (size_t)height;
    invert(picture, count);
    least_around(picture, work, width, height, reach);
    invert(picture, count);
}

/* Mean over a square around each pixel, in place. */
static bool smooth(uint8_t *mean, int width, int height)
{
    size_t w = (size_t)width + 1;
    uint32_t *sum = calloc(w * ((size_t)height + 1), sizeof *sum);
    if (!sum)
        return false;
    for (int y = 0; y < height; y++) {
        uint32_t row = 0;
        for (int x = 0; x < width; x++) {
            size_t at = (size_t)y * (size_t)width + (size_t)x;
            row += mean[at];
            sum[(size_t)(y + 1) * w + (size_t)x + 1] = sum[(size_t)y * w + (size_t)x + 1] + row;
        }
    }
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++) {
            int x0 = x > TEXT_MOVE_REACH ? x - TEXT_MOVE_REACH : 0, y0 = y > TEXT_MOVE_REACH ? y - TEXT_MOVE_REACH : 0;
            int x1 = x + TEXT_MOVE_REACH < width ? x + TEXT_MOVE_REACH + 1 : width;
            int y1 = y + TEXT_MOVE_REACH < height ? y + TEXT_MOVE_REACH + 1 : height;
            uint32_t all = sum[(size_t)y1 * w + (size_t)x1] - sum[(size_t)y0 * w + (size_t)x1] -
                           sum[(size_t)y1 * w + (size_t)x0] + sum[(size_t)y0 * w + (size_t)x0];
            mean[(size_t)y * (size_t)width + (size_t)x] = (uint8_t)(all / (uint32_t)((x1 - x0) * (y1 - y0)));
        }
    free(sum);
    return true;
}

/* What an opening takes away is thinner than its square (white top-hat). */
static void top_hat(const uint8_t *picture, uint8_t *work, int width, int height, uint8_t *strokes)
{
    size_t count = (size_t)width * (size_t)height;
    memcpy(strokes, picture, count);
    least_around(strokes, work, width, height, TEXT_STROKE_REACH);
    greatest_around(strokes, work, width, height, TEXT_STROKE_REACH);
    for (size_t i = 0; i < count; i++)
        strokes[i] = (uint8_t)(picture[i] - strokes[i]);
}

bool sl_text_strokes(const uint8_t *picture, const uint8_t *low, const uint8_t *high, int width, int height,
                     uint8_t *strokes)
{
    size_t count = (size_t)width * (size_t)height;
    uint8_t *work = malloc(count), *strongest = malloc(count), *dense = malloc(count);
    bool good = work && strongest && dense;
    if (good) {
        top_hat(picture, work, width, height, strokes);
        memcpy(dense, strokes, count);
        for (size_t i = 0; i < count; i++)
            work[i] = (uint8_t)(high[i] - low[i]); /* how much the place moves */
        good = smooth(work, width, height) && smooth(dense, width, height);
    }
    for (size_t i = 0; good && i < count; i++) {
        double need = TEXT_LEAST_CONTRAST / 2 + text_move_weight * work[i] + text_level_weight * (picture[i] - strokes[i]);
        double web = text_dense_weight * dense[i]; /* letters leave room between them, a texture does not */
        need = need > web ? need : web;
        if (strokes[i] < need || high[i] - low[i] > TEXT_MOST_RANGE)
            strokes[i] = 0;
        work[i] = (uint8_t)(need < 255 ? need : 255);
    }
    if (good) {
        memcpy(strongest, strokes, count);
        greatest_around(strongest, dense, width, height, TEXT_NORM_REACH);
    }
    for (size_t i = 0; good && i < count; i++) {
        int most = strongest[i], least = TEXT_LEAST_CONTRAST / 2;
        int level = most < 2 * work[i] || strokes[i] <= least ? 0 : (strokes[i] - least) * 255 / (most - least);
        strokes[i] = (uint8_t)(level > 255 ? 255 : level);
    }
    free(work);
    free(strongest);
    free(dense);
    return good;
}

/* ---- letters ---- */

typedef struct letter {
    int x0, y0, x1, y1, pixels, letters; /* `letters`: how many touching ones it may be */
    int level;                           /* mean of the picture over its strokes */
    int ends, sharp;                     /* of its strokes from left to right, and those that fall off at once */
    int row;
    bool above, below; /* cut off by the picture's upper, lower edge */
} letter;

typedef struct letters {
    int count, room;
    letter *letter; /* owned */
} letters;

typedef struct search {
    int width, height;
    const uint8_t *picture;
    uint8_t *strokes; /* what is no letter is wiped */
    uint8_t *seen; /* owned: strokes taken already */
    int *stack;    /* owned: pixels to visit; each is pushed once */
    int *taken;    /* owned: pixels of the piece */
} search;

static bool is_stroke(const search *at, int pixel)
{
    return at->strokes[pixel] >= 128;
}

/* Does the stroke that ends at x fall to its surroundings within two pixels in this direction? Letters are drawn so;
 * echoes are not, sideways, where the beam is wide. */
static bool falls(const search *at, int x, int y, int step)
{
    const uint8_t *row = at->picture + (long)y * at->width;
    int inner = x - step >= 0 && x - step < at->width ? row[x - step] : row[x], most = row[x] > inner ? row[x] : inner;
    int beyond = x + 2 * step, far = x + 4 * step;
    if (beyond < 0 || beyond >= at->width)
        return true;
    int surroundings = far >= 0 && far < at->width && row[far] < row[beyond] ? row[far] : row[beyond];
    return row[beyond] - surroundings <= text_edge_rest * (most - surroundings);
}

static void look_at_ends(const search *at, int pixel, letter *found)
{
    int x = pixel % at->width, y = pixel / at->width;
    for (int step = -1; step <= 1; step += 2) {
        bool ends = x + step < 0 || x + step >= at->width || !is_stroke(at, pixel + step);
        found->ends += ends;
        found->sharp += ends && falls(at, x, y, step);
    }
}

/* Connected strokes (eight neighbours) from a first pixel. */
static letter flood(search *at, int first)
{
    letter found = {.x0 = at->width, .y0 = at->height, .x1 = -1, .y1 = -1, .row = -1};
    int depth = 0;
    long sum = 0;
    at->stack[depth++] = first;
    at->seen[first] = 1;
    while (depth) {
        int pixel = at->stack[--depth], x = pixel % at->width, y = pixel / at->width;
        at->taken[found.pixels++] = pixel;
        sum += at->picture[pixel];
        look_at_ends(at, pixel, &found);
        found.x0 = x < found.x0 ? x : found.x0;
        found.x1 = x > found.x1 ? x : found.x1;
        found.y0 = y < found.y0 ? y : found.y0;
        found.y1 = y > found.y1 ? y : found.y1;
        for (int ny = y > 0 ? y - 1 : 0; ny <= y + 1 && ny < at->height; ny++)
            for (int nx = x > 0 ? x - 1 : 0; nx <= x + 1 && nx < at->width; nx++) {
                int next = ny * at->width + nx;
                if (!at->seen[next] && is_stroke(at, next)) {
                    at->seen[next] = 1;
                    at->stack[depth++] = next;
                }
            }
    }
    found.level = (int)(sum / found.pixels);
    return found;
}

static bool found_blurred(const letter *piece)
{
    return piece->sharp < text_least_sharp * piece->ends;
}

/* A connected piece that may be a letter or a few that touch. */
static bool may_be_letters(letter *piece)
{
    int w = piece->x1 - piece->x0 + 1, h = piece->y1 - piece->y0 + 1;
    double fill = (double)piece->pixels / ((double)w * h);
    if (piece->above || piece->below) { /* how tall it is is not known: a stroke or more in each row, as wide as letters are */
        piece->letters = 1;
        return h >= TEXT_LEAST_CUT_HEIGHT && h <= TEXT_MOST_HEIGHT && w <= text_cut_width * h && piece->ends >= 2 * h - 2 &&
               piece->ends <= 2 * text_most_crossed * h && !found_blurred(piece);
    }
    if (h < TEXT_LEAST_HEIGHT || h > TEXT_MOST_HEIGHT || fill < text_least_fill)
        return false;
    if (found_blurred(piece))
        return false;
    if (fill > text_most_fill && w > 0.45 * h)
        return false; /* a full block; I, l, 1 are narrow */
    /* Letters that touch: as many as the width holds, but no more than strokes are crossed on the way from left to right. */
    double wide = w / (text_letter_pitch * h) + 0.6, crossed = piece->ends / (2.0 * h);
    if ((wide >= 3 && crossed < text_least_crossed * wide) || crossed > text_most_crossed * (wide > 1 ? wide : 1))
        return false; /* a line, an echo; a web of texture */
    piece->letters = wide < 1 ? 1 : (int)wide;
    return piece->letters < 40;
}

enum { WIPED = 2 };

/* What is left for the recogniser: letters and their soft edges. */
static void wipe(search *at)
{
    for (int y = 0; y < at->height; y++)
        for (int x = 0; x < at->width; x++) {
            int pixel = y * at->width + x;
            bool near = false;
            for (int ny = y > 0 ? y - 1 : 0; ny <= y + 1 && ny < at->height && !near; ny++)
                for (int nx = x > 0 ? x - 1 : 0; nx <= x + 1 && nx < at->width && !near; nx++)
                    near = at->seen[ny * at->width + nx] == 1;
            if (!near || at->seen[pixel] == WIPED)
                at->strokes[pixel] = 0;
        }
}

static bool collect(search *at, letters *found)
{
    for (int pixel = 0; pixel < at->width * at->height; pixel++) {
        if (at->seen[pixel] || !is_stroke(at, pixel))
            continue;
        letter piece = flood(at, pixel);
        piece.above = !piece.y0;
        piece.below = piece.y1 == at->height - 1;
        if (!may_be_letters(&piece)) {
            for (int i = 0; i < piece.pixels; i++)
                at->seen[at->taken[i]] = WIPED;
            continue;
        }
        if (!piece.above && !piece.below && (!piece.x0 || piece.x1 == at->width - 1))
            continue; /* cut off at its side: no evidence of a row, but rows are stretched over it, and the recogniser may see it */
        if (found->count == found->room) {
            int room = found->room ? 2 * found->room : 256;
            letter *more = realloc(found->letter, (size_t)room * sizeof *more);
            if (!more)
                return false;
            found->letter = more;
            found->room = room;
        }
        found->letter[found->count++] = piece;
    }
    return true;
}

static int by_left(const void *a, const void *b)
{
    const letter *x = a, *y = b;
    return x->x0 != y->x0 ? (x->x0 > y->x0) - (x->x0 < y->x0) : (x->y0 > y->y0) - (x->y0 < y->y0);
}

/* What gaps are measured by. */
static int size_of(const letter *piece)
{
    int w = piece->x1 - piece->x0 + 1, h = piece->y1 - piece->y0 + 1;
    return (piece->above || piece->below) && w > h ? w : h;
}

static bool neighbours(const letter *left, const letter *right)
{
    int hl = left->y1 - left->y0 + 1, hr = right->y1 - right->y0 + 1;
    int taller = hl > hr ? hl : hr, lower = hl < hr ? hl : hr;
    int top = left->y0 > right->y0 ? left->y0 : right->y0, bottom = left->y1 < right->y1 ? left->y1 : right->y1;
    int gap = right->x0 - left->x1 - 1, larger = size_of(left) > size_of(right) ? size_of(left) : size_of(right);
    return taller <= text_height_ratio * lower && bottom - top + 1 >= text_least_overlap * lower &&
           gap <= text_most_gap * larger;
}

/* Each letter joins the row of the nearest one to its left that fits. */
static int make_rows(letters *found)
{
    int rows = 0;
    if (found->count)
        qsort(found->letter, (size_t)found->count, sizeof *found->letter, by_left);
    for (int i = 0; i < found->count; i++) {
        letter *own = &found->letter[i];
        int nearest = -1;
        for (int k = i - 1; k >= 0 && k >= i - 400; k--)
            if (neighbours(&found->letter[k], own) && (nearest < 0 || found->letter[k].x1 > found->letter[nearest].x1))
                nearest = k;
        own->row = nearest < 0 ? rows++ : found->letter[nearest].row;
    }
    return rows;
}

static int by_number(const void *a, const void *b)
{
    return (*(const int *)a > *(const int *)b) - (*(const int *)a < *(const int *)b);
}

/* How many of `values` lie within `most` of their median; sorts them. */
static int aligned(int *values, int count, double most)
{
    qsort(values, (size_t)count, sizeof *values, by_number);
    int middle = values[count / 2], near = 0;
    for (int i = 0; i < count; i++)
        near += values[i] - middle <= most && middle - values[i] <= most;
    return near;
}

/* The same for two lines: tops of capitals and of small letters. */
static int aligned_on_two(int *values, int count, double most)
{
    int best[2] = {0, 0}, from = -1, to = -1;
    qsort(values, (size_t)count, sizeof *values, by_number);
    for (int line = 0; line < 2; line++) {
        int first = 0, next_from = -1, next_to = -1;
        for (int last = 0; last < count; last++) {
            if (last >= from && last <= to) {
                first = to + 1; /* counted already */
                continue;
            }
            while (values[last] - values[first] > 2 * most)
                first++;
            if (last - first + 1 > best[line]) {
                best[line] = last - first + 1;
                next_from = first;
                next_to = last;
            }
        }
        from = next_from;
        to = next_to;
    }
    return best[0] + best[1];
}

/* The row's box where its pieces are as even as letters are; x0 > x1 where they are not. */
static sl_box row_box(const letters *found, int row, int *work)
{
    sl_box box = {1 << 20, 1 << 20, -1, -1};
    int count = 0, total = 0, height = 0, above = 0, below = 0, *base = work, *top = work + found->count, *level = top + found->count;
    for (int i = 0; i < found->count; i++) {
        const letter *own = &found->letter[i];
        if (own->row != row)
            continue;
        box.x0 = own->x0 < box.x0 ? own->x0 : box.x0;
        box.y0 = own->y0 < box.y0 ? own->y0 : box.y0;
        box.x1 = own->x1 > box.x1 ? own->x1 : box.x1;
        box.y1 = own->y1 > box.y1 ? own->y1 : box.y1;
        height = own->y1 - own->y0 + 1 > height ? own->y1 - own->y0 + 1 : height;
        total += own->letters;
        above += own->above;
        below += own->below;
        base[count] = own->y1;
        top[count] = own->y0;
        level[count++] = own->level;
    }
    const bool cut = 2 * above > count || 2 * below > count; /* the edge aligns whatever it cuts: that line says nothing */
    bool even = cut ? count >= TEXT_LEAST_CUT : total >= TEXT_LEAST_LETTERS;
    if (even && count > 1) {
        double near = 1 + text_base_share * height;
        int on_base = 2 * below > count ? 0 : aligned(base, count, near), on_top = 2 * above > count ? 0 : aligned(top, count, near);
        if (2 * below > count && count >= TEXT_LEAST_TWO_LINES)
            on_top = aligned_on_two(top, count, near);
        even = (on_base > on_top ? on_base : on_top) >= text_least_aligned * count &&
               aligned(level, count, TEXT_MOST_LEVELS) >= text_least_aligned * count;
    }
    if (!even)
        box.x1 = -1;
    return box;
}

static bool add_rows(const search *at, letters *found, sl_boxes *boxes)
{
    int rows = make_rows(found);
    int *work = malloc((3 * (size_t)found->count + 1) * sizeof *work);
    if (!work)
        return false;
    for (int row = 0; row < rows; row++) {
        sl_box box = row_box(found, row, work);
        if (box.x1 < 0)
            continue;
        int height = box.y1 - box.y0 + 1;
        sl_boxes_add(boxes, box, 2 + height / 4, at->width, at->height); /* dots, accents, soft edges */
    }
    free(work);
    return true;
}

bool sl_text_find(const uint8_t *picture, uint8_t *strokes, int width, int height, sl_boxes *boxes)
{
    size_t count = (size_t)width * (size_t)height;
    search at = {width, height, picture, strokes, calloc(count, 1), malloc(count * sizeof(int)), malloc(count * sizeof(int))};
    letters found = {0};
    bool good = at.seen && at.stack && at.taken && collect(&at, &found) && add_rows(&at, &found, boxes);
    if (good)
        wipe(&at);
    free(found.letter);
    free(at.seen);
    free(at.stack);
    free(at.taken);
    return good;
}
