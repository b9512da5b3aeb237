#include "chest/flow_screen.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Letters of our own, five by seven, a row a byte. */
static const struct {
    char letter;
    uint8_t row[7];
} letters[] = {
    {'0', {14, 17, 17, 17, 17, 17, 14}}, {'1', {4, 12, 4, 4, 4, 4, 14}},   {'2', {14, 17, 1, 2, 4, 8, 31}},   {'3', {31, 2, 4, 2, 1, 17, 14}},
    {'4', {2, 6, 10, 18, 31, 2, 2}},     {'5', {31, 16, 30, 1, 1, 17, 14}}, {'6', {6, 8, 16, 30, 17, 17, 14}}, {'7', {31, 1, 2, 4, 4, 8, 8}},
    {'8', {14, 17, 17, 14, 17, 17, 14}}, {'9', {14, 17, 17, 15, 1, 2, 12}}, {'.', {0, 0, 0, 0, 0, 12, 12}},    {'-', {0, 0, 0, 14, 0, 0, 0}},
    {'c', {0, 0, 14, 16, 16, 17, 14}},   {'m', {0, 0, 26, 21, 21, 21, 21}}, {'/', {1, 1, 2, 4, 8, 16, 16}},    {'s', {0, 0, 15, 16, 14, 1, 30}},
};

enum { SIZE = 2, LETTER = 6 * SIZE, LINE = 10 * SIZE };

static double dot(const uint8_t row[7], int x, int y)
{
    return x < 0 || x > 4 || y < 0 || y > 6 ? 0 : row[y] >> (4 - x) & 1;
}

/* Doubled with soft edges, as screens draw letters. */
static void write_text(uint8_t *rgb, int width, int height, int x, int y, const char *text)
{
    for (; *text; text++, x += LETTER)
        for (size_t k = 0; k < sizeof letters / sizeof *letters; k++) {
            if (letters[k].letter != *text)
                continue;
            for (int i = -1; i < 7 * SIZE + 1; i++)
                for (int j = -1; j < 5 * SIZE + 1; j++) {
                    double at_x = (j + 0.5) / SIZE - 0.5, at_y = (i + 0.5) / SIZE - 0.5, fx = at_x - floor(at_x), fy = at_y - floor(at_y);
                    int u = (int)floor(at_x), v = (int)floor(at_y);
                    const uint8_t *r = letters[k].row;
                    double lit = (1 - fy) * ((1 - fx) * dot(r, u, v) + fx * dot(r, u + 1, v)) + fy * ((1 - fx) * dot(r, u, v + 1) + fx * dot(r, u + 1, v + 1));
                    if (lit > 0 && x + j >= 0 && x + j < width && y + i >= 0 && y + i < height)
                        memset(rgb + 3 * ((size_t)(y + i) * (size_t)width + (size_t)(x + j)), (int)(235 * fmin(1.35 * lit, 1)), 3);
                }
        }
}

void sl_flow_colour(double share, bool blue_toward, uint8_t rgb[3])
{
    double fast = fmin(fabs(share), 1), light = 0.30 + 0.70 * fast;
    bool red = (share >= 0) != blue_toward;
    double full[3] = {red ? 250 : 30 + 60 * fast, red ? 20 + 150 * fast * fast : 40 + 160 * fast * fast, red ? 15 : 250};
    for (int k = 0; k < 3; k++)
        rgb[k] = (uint8_t)(light * full[k]);
}

void sl_flow_draw_bar(uint8_t *rgb, int width, int height, int left, double most_mm_s, bool blue_toward)
{
    int top = height / 8, tall = height / 4, x0 = left + 28, x1 = x0 + 12;
    for (int y = 0; y < tall; y++) {
        double share = 1 - 2 * (y + 0.5) / tall;
        uint8_t c[3] = {0, 0, 0};
        if (fabs(share) > 0.06) /* the wall filter's range is black */
            sl_flow_colour(share, blue_toward, c);
        for (int x = x0; x < x1; x++)
            memcpy(rgb + 3 * ((size_t)(top + y) * (size_t)width + (size_t)x), c, 3);
    }
    char number[24];
    snprintf(number, sizeof number, most_mm_s >= 995 ? "%.0f" : "%.1f", most_mm_s / 10);
    write_text(rgb, width, height, left + 12, top - LINE, number);
    char minus[28];
    snprintf(minus, sizeof minus, "-%s", number);
    write_text(rgb, width, height, left + 4, top + tall + 5, minus);
    write_text(rgb, width, height, left + 10, top + tall + 5 + LINE, "cm/s");
}
