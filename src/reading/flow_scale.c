#include "reading/flow_scale.h"

#include "clip/text_read.h"
#include "core/units.h"
#include "reading/flow_table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

double sl_flow_number(const char *text, double *factor)
{
    if (strstr(text, "cm"))
        *factor = 1;
    else if (strstr(text, "mm/s"))
        *factor = 0.1;
    else if (strstr(text, "m/s"))
        *factor = 100;
    for (const char *at = text; *at; at++) {
        bool digit = *at >= '0' && *at <= '9', before = at > text && ((at[-1] >= 'a' && at[-1] <= 'z') || (at[-1] >= 'A' && at[-1] <= 'Z'));
        if (!digit && !(*at == '.' && at[1] >= '0' && at[1] <= '9'))
            continue;
        char number[16] = "";
        size_t used = 0;
        bool point = false;
        for (; ((*at >= '0' && *at <= '9') || *at == '.' || *at == ',') && used + 1 < sizeof number; at++) {
            if (*at == '.' || *at == ',') {
                if (point)
                    return SL_UNKNOWN;
                point = true;
            }
            number[used++] = *at == ',' ? '.' : *at;
        }
        bool after = (*at >= 'A' && *at <= 'Z') || (*at >= 'a' && *at <= 'z' && *at != 'c' && *at != 'm');
        return before || after ? SL_UNKNOWN : strtod(number, NULL); /* a digit in a word is a misread letter */
    }
    return SL_UNKNOWN;
}

/* The part of the picture as strokes on black, enlarged smoothly: letters of a few pixels are read better so. */
static uint8_t *strokes_of(sl_gray picture, const int box[4], int *width, int *height)
{
    int w = box[2] - box[0], h = box[3] - box[1];
    uint32_t count[256] = {0};
    for (int y = box[1]; y < box[3]; y++)
        for (int x = box[0]; x < box[2]; x++)
            count[picture.pixel[(size_t)y * (size_t)picture.stride + (size_t)x]]++;
    int ground = 0, most = 0;
    for (int v = 1; v < 256; v++)
        ground = count[v] > count[ground] ? v : ground;
    for (int v = 0; v < 256; v++)
        most = count[v] && abs(v - ground) > most ? abs(v - ground) : most;
    *width = w * SCALE_ENLARGE;
    *height = h * SCALE_ENLARGE;
    uint8_t *strokes = most > SCALE_LEAST_CONTRAST ? malloc((size_t)*width * (size_t)*height) : NULL;
    for (int y = 0; strokes && y < *height; y++)
        for (int x = 0; x < *width; x++) {
            double at_x = fmax((x + 0.5) / SCALE_ENLARGE - 0.5, 0), at_y = fmax((y + 0.5) / SCALE_ENLARGE - 0.5, 0);
            int left = (int)at_x, up = (int)at_y, right = left + 1 < w ? left + 1 : left, down = up + 1 < h ? up + 1 : up;
            const uint8_t *a = picture.pixel + (size_t)(box[1] + up) * (size_t)picture.stride + box[0];
            const uint8_t *b = picture.pixel + (size_t)(box[1] + down) * (size_t)picture.stride + box[0];
            double fx = at_x - left, fy = at_y - up;
            double v = (1 - fy) * ((1 - fx) * a[left] + fx * a[right]) + fy * ((1 - fx) * b[left] + fx * b[right]);
            strokes[(size_t)y * (size_t)*width + (size_t)x] = (uint8_t)fmin(fabs(v - ground) * 255 / most, 255);
        }
    return strokes;
}

/* Reads line by line, lines being rows with strokes between rows without. */
static void read_lines(sl_reader *reader, const uint8_t *strokes, int width, int height, char *text, size_t room)
{
    enum { STROKE = 100 };
    text[0] = 0;
    for (int y = 0, first = -1; y <= height; y++) {
        bool lit = false;
        for (int x = 0; y < height && x < width && !lit; x++)
            lit = strokes[(size_t)y * (size_t)width + (size_t)x] > STROKE;
        first = lit && first < 0 ? y : first;
        if (lit || first < 0)
            continue;
        int tall = y - first, top = first > SCALE_ENLARGE ? first - SCALE_ENLARGE : 0, end = y + SCALE_ENLARGE < height ? y + SCALE_ENLARGE : height;
        char line[64] = "";
        if (tall >= SCALE_LETTER_PX * SCALE_ENLARGE)
            sl_reader_line(reader, strokes + (size_t)top * (size_t)width, width, end - top, "0123456789.,+-cm/s", line, sizeof line);
        size_t used = strlen(text), more = strlen(line);
        if (more && used + more + 2 < room) {
            text[used] = ' ';
            memcpy(text + used + 1, line, more + 1);
        }
        first = -1;
    }
}

static double number_in(sl_reader *reader, sl_gray picture, const sl_colour_seen *seen, bool above, double *factor)
{
    int aside = (int)(SCALE_WIDE * picture.width), tall = (int)(SCALE_TALL * picture.height);
    aside = aside < SCALE_WIDE_PX ? SCALE_WIDE_PX : aside;
    tall = tall < SCALE_TALL_PX ? SCALE_TALL_PX : tall;
    int edge = above ? seen->bar_y0 - 2 : seen->bar_y1 + 3; /* the bar's own colour bleeds by a pixel or two */
    int box[4] = {seen->bar_x0 - aside, above ? edge - tall : edge, seen->bar_x1 + aside, above ? edge : edge + tall};
    box[0] = box[0] < 0 ? 0 : box[0];
    box[1] = box[1] < 0 ? 0 : box[1];
    box[2] = box[2] > picture.width ? picture.width : box[2];
    box[3] = box[3] > picture.height ? picture.height : box[3];
    if (box[2] - box[0] < 8 || box[3] - box[1] < 6)
        return SL_UNKNOWN;
    int width, height;
    uint8_t *strokes = strokes_of(picture, box, &width, &height);
    char text[200] = "";
    if (strokes)
        read_lines(reader, strokes, width, height, text, sizeof text);
    free(strokes);
    return sl_flow_number(text, factor);
}

static bool from_file(const sl_clip_info *info, sl_flow_scale *scale)
{
    enum { COLOUR_BAR = 0xE, CM_S = 7 };
    for (int i = 0; i < info->regions && i < SL_CLIP_MOST_REGIONS; i++) {
        const sl_clip_region *r = &info->region[i];
        if (r->data_type != COLOUR_BAR || r->unit_y != CM_S || !(fabs(r->delta_y) > 0))
            continue;
        double up = fabs(r->delta_y) * r->ref_y, down = fabs(r->delta_y) * (r->y1 - r->y0 - r->ref_y);
        double pixel = fabs(r->delta_y) / fmax(fmin(up, down), 1e-9); /* the bar's end is known to a pixel */
        if (!(up >= SCALE_LEAST_CM_S && up <= SCALE_MOST_CM_S) || !(fabs(up - down) <= fmax(SCALE_ALIKE, 2 * pixel) * up))
            continue;
        *scale = (sl_flow_scale){0.5 * (up + down), true, ""};
        return true;
    }
    return false;
}

void sl_flow_scale_read(const sl_clip_info *info, sl_gray picture, const sl_colour_seen *seen, sl_flow_scale *scale)
{
    *scale = (sl_flow_scale){SL_UNKNOWN, false, "no colour bar was found"};
    if (from_file(info, scale) || sl_colour_bar_of(seen) == SL_BAR_UNREAD)
        return;
    scale->reason = "the numbers at the colour bar's ends could not be read";
    sl_reader *reader = NULL;
    if (sl_reader_open(&reader, NULL) != SL_OK)
        return;
    double factor = SL_UNKNOWN;
    double up = number_in(reader, picture, seen, true, &factor), down = number_in(reader, picture, seen, false, &factor);
    sl_reader_close(&reader);
    if (!sl_known(up) || !sl_known(down))
        return;
    if (!sl_known(factor)) {
        scale->reason = "no unit was read beside the colour bar's numbers";
        return;
    }
    if (!(fabs(up - down) <= SCALE_ALIKE * up)) {
        scale->reason = "the numbers at the colour bar's two ends differ: read them by eye";
        return;
    }
    if (factor * up >= SCALE_LEAST_CM_S && factor * up <= SCALE_MOST_CM_S)
        *scale = (sl_flow_scale){factor * up, false, ""};
}
