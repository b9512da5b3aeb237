#include "view/motion_trace.h"

#include "core/units.h"

#include <string.h>

static double between(const uint8_t *cell, double beam, double depth)
{
    double x = fmin(fmax(beam * SL_BEAMS - 0.5, 0), SL_BEAMS - 1), y = fmin(fmax(depth * SL_DEPTHS - 0.5, 0), SL_DEPTHS - 1);
    int i = (int)x, j = (int)y, right = i + 1 < SL_BEAMS ? 1 : 0, down = j + 1 < SL_DEPTHS ? SL_BEAMS : 0;
    const uint8_t *at = cell + j * SL_BEAMS + i;
    double u = x - i, v = y - j;
    return (1 - v) * ((1 - u) * at[0] + u * at[right]) + v * ((1 - u) * at[down] + u * at[down + right]);
}

void sl_trace_column(const uint8_t *cell, const double *beam, const double *depth, int points, uint8_t *column)
{
    double whole = 0;
    for (int i = 1; i < points; i++)
        whole += hypot((beam[i] - beam[i - 1]) * SL_BEAMS, (depth[i] - depth[i - 1]) * SL_DEPTHS);
    double before = 0, length = 0;
    int part = 0;
    for (int row = 0; row < SL_TRACE_ROWS; row++) {
        double at = whole * row / (SL_TRACE_ROWS - 1), share = 0;
        while (part < points - 1) {
            length = hypot((beam[part + 1] - beam[part]) * SL_BEAMS, (depth[part + 1] - depth[part]) * SL_DEPTHS);
            if (at <= before + length || part == points - 2)
                break;
            before += length;
            part++;
        }
        int next = part < points - 1 ? part + 1 : part;
        share = length > 0 ? fmin(fmax((at - before) / length, 0), 1) : 0;
        double value = points > 0 ? between(cell, beam[part] + share * (beam[next] - beam[part]), depth[part] + share * (depth[next] - depth[part])) : 0;
        column[row] = (uint8_t)(value + 0.5);
    }
}

void sl_trace_picture(const sl_motion_trace *trace, double hold_s, uint8_t gap, int width, uint8_t *pixel)
{
    int n = trace->columns;
    memset(pixel, gap, (size_t)width * SL_TRACE_ROWS);
    if (n < 1)
        return;
    bool timed = n > 1 && sl_known(trace->time_s[0]) && sl_known(trace->time_s[n - 1]) && trace->time_s[n - 1] > trace->time_s[0];
    double first = timed ? trace->time_s[0] : 0, span = timed ? trace->time_s[n - 1] - first : n > 1 ? n - 1 : 1;
    int at = 0;
    for (int x = 0; x < width; x++) {
        double time = first + span * (width > 1 ? (double)x / (width - 1) : 0);
        while (at + 1 < n && fabs((timed ? trace->time_s[at + 1] : at + 1) - time) <= fabs((timed ? trace->time_s[at] : at) - time))
            at++;
        if (timed && fabs(trace->time_s[at] - time) > hold_s)
            continue;
        for (int row = 0; row < SL_TRACE_ROWS; row++)
            pixel[(size_t)row * (size_t)width + (size_t)x] = trace->grey[(size_t)at * SL_TRACE_ROWS + (size_t)row];
    }
}
