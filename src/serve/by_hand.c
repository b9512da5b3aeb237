#include "serve/by_hand.h"

#include "core/json.h"
#include "core/units.h"
#include "reading/measure.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_POINTS = 400, MOST_REPEATS = 64 };

/* Numbers between `apart`, in pairs between `groups` (0: none); how many, or -1 for anything else. */
static int numbers(const char *text, char apart, char groups, double *value, int most)
{
    int count = 0;
    while (text && *text) {
        char *end;
        double one = strtod(text, &end);
        if (end == text || !isfinite(one) || count == most)
            return -1;
        value[count++] = one;
        char due = groups && count % 2 == 0 ? groups : apart;
        if (*end && (*end != due || !end[1]))
            return -1;
        text = *end ? end + 1 : end;
    }
    return groups && count % 2 ? -1 : count;
}

/* True when the argument is a number above 0. */
static bool amount(const sl_request *request, const char *name, double *value)
{
    return numbers(sl_request_argument(request, name), ',', 0, value, 1) == 1 && *value > 0;
}

static sl_measured in_picture(const sl_request *request, const sl_view *view, sl_measure_kind kind, const double *place, int points)
{
    sl_point point[MOST_POINTS];
    sl_point_error error = {SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN};
    double hand_px;
    for (int i = 0; i < points; i++)
        sl_view_to_pixel(view, place[2 * i], place[2 * i + 1], &point[i].x, &point[i].y);
    if (amount(request, "placing_px", &hand_px))
        error.placement_mm = hand_px * view->mm_per_px; /* unknown with the scale */
    return sl_measure(kind, view, point, points, &error);
}

static json_t *repeats_json(const sl_measured *measured, double *value, int earlier)
{
    double repeatability = SL_UNKNOWN;
    if (!measured->known || !earlier)
        return json_null();
    value[earlier] = measured->value;
    sl_measured all = sl_measure_repeats(value, earlier + 1, measured->unit, &repeatability);
    return json_pack("{s:i,s:o,s:o,s:o}", "count", earlier + 1, "mean", sl_json_number(all.value, 4), "sd",
                     sl_json_number(all.sd, 4), "repeatability", sl_json_number(repeatability, 4));
}

enum MHD_Result sl_reply_by_hand(sl_request *request, const sl_desk_clip *clip)
{
    static const char *const kinds[] = {[SL_MEASURE_DISTANCE] = "distance", [SL_MEASURE_PATH] = "path",
                                        [SL_MEASURE_ANGLE] = "angle", [SL_MEASURE_AREA] = "area", "time"};
    const int count = sizeof kinds / sizeof *kinds;
    const char *name = sl_request_argument(request, "kind");
    double place[2 * MOST_POINTS], repeat[MOST_REPEATS + 1], time_s[2], frame_s = SL_UNKNOWN;
    int kind = 0, points = 0;
    while (name && kind < count && strcmp(name, kinds[kind]))
        kind++;
    if (!name || kind == count)
        return sl_reply_error(request, 400, "A hand measures a distance, path, angle, area or time: name one of these as the kind.");
    bool time = kind == count - 1;
    int earlier = numbers(sl_request_argument(request, "earlier"), ',', 0, repeat, MOST_REPEATS);
    if (time ? numbers(sl_request_argument(request, "times"), ',', 0, time_s, 2) != 2
             : (points = numbers(sl_request_argument(request, "points"), ',', ';', place, 2 * MOST_POINTS)) < 0)
        return sl_reply_error(request, 400, "What was placed could not be read as numbers. Place it again.");
    if (earlier < 0)
        return sl_reply_error(request, 400, "The earlier values could not be read as numbers. Begin the repeats anew.");
    for (int i = 0; i < points; i++)
        if (place[i] < 0 || place[i] > 1)
            return sl_reply_error(request, 400, "A point lies outside the imaged area. Place it again.");
    if (!time && clip->view.shape == SL_SHAPE_UNKNOWN)
        return sl_reply_error(request, 409, "The clip's geometry is not known, so nothing can be measured in it.");
    if (time)
        amount(request, "frame_s", &frame_s);
    sl_measured m = time ? sl_measure_interval(time_s[0], time_s[1], frame_s)
                         : in_picture(request, &clip->view, (sl_measure_kind)kind, place, points / 2);
    json_t *json = json_pack("{s:b,s:s,s:s,s:o,s:o,s:o,s:o,s:s,s:o}", "known", m.known, "reason", m.reason, "unit", m.unit, "value",
                             sl_json_number(m.value, 4), "sd", sl_json_number(m.sd, 4), "low",
                             sl_json_number(m.known ? fmax(0, m.value - 1.96 * m.sd) : SL_UNKNOWN, 4), "high", sl_json_number(m.value + 1.96 * m.sd, 4),
                             "left_out", m.left_out, "repeats", repeats_json(&m, repeat, earlier));
    return json ? sl_reply_json(request, 200, json) : sl_reply_error(request, 500, "Memory ran out. Close other programs and try again.");
}
