#include "serve/by_hand.h"

#include "agree/lengths.h"
#include "core/json.h"
#include "core/units.h"
#include "reading/measure.h"
#include "reading/resolution.h"
#include "serve/api.h"
#include "serve/records.h"
#include "view/motion_trace.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_POINTS = 400, MOST_REPEATS = 64, WAY = 65 /* places along a motion trace's line between the two that were touched */ };

/* True when the argument is a number above 0. */
static bool amount(const sl_request *request, const char *name, double *value)
{
    return sl_request_numbers(request, name, ',', 0, value, 1) == 1 && *value > 0;
}

/* What limits the points: the hand as asked, and the clip's resolution at their depths from its record and what was stated. */
typedef struct limits {
    sl_point_error error;
    sl_resolution resolution;
} limits;

static limits limits_of(sl_request *request, const sl_desk_clip *clip, const double *place, int points)
{
    limits l = {.error = {SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN}};
    sl_beam_stated stated = {SL_UNKNOWN, SL_UNKNOWN, SL_UNKNOWN};
    const sl_record *record;
    double hand_px, depth[MOST_POINTS];
    bool read = sl_records_take(request->server->records, clip->record, &record, NULL) == SL_OK;
    if (read) {
        stated.freq_mhz = record->result.info.acquisition.freq_mhz;
        stated.focus_mm = record->result.info.acquisition.focus_mm;
    }
    amount(request, "freq_mhz", &stated.freq_mhz); /* the user's own goes before the file's */
    amount(request, "aperture_mm", &stated.aperture_mm);
    for (int i = 0; i < points; i++)
        depth[i] = place[2 * i + 1];
    l.resolution = sl_resolution_at(&clip->view, read ? &record->result.quality.grey : NULL, &stated, depth, points);
    sl_records_give(request->server->records, record);
    l.error.along_mm = l.resolution.along_mm;
    l.error.across_mm = l.resolution.across_mm;
    if (amount(request, "placing_px", &hand_px))
        l.error.placement_mm = hand_px * clip->view.mm_per_px; /* unknown with the scale */
    return l;
}

static json_t *resolution_json(const sl_resolution *r)
{
    static const char *const from[] = {[SL_RESOLUTION_UNKNOWN] = "unknown", [SL_RESOLUTION_SPECKLE] = "speckle", [SL_RESOLUTION_FORMULA] = "formula"};
    return json_pack("{s:o,s:o,s:s,s:s}", "along_mm", sl_json_number(r->along_mm, 3), "across_mm", sl_json_number(r->across_mm, 3),
                     "along_from", from[r->along_from], "across_from", from[r->across_from]);
}

static sl_measured in_picture(const sl_view *view, sl_measure_kind kind, const double *place, int points, const sl_point_error *error)
{
    sl_pixel point[MOST_POINTS];
    for (int i = 0; i < points; i++)
        sl_view_to_pixel(view, place[2 * i], place[2 * i + 1], &point[i].x, &point[i].y);
    return sl_measure(kind, view, point, points, error);
}

static json_t *measured_json(const sl_measured *m)
{
    return json_pack("{s:b,s:s,s:s,s:o,s:o,s:o,s:o,s:s}", "known", m->known, "reason", m->reason, "unit", m->unit, "value",
                     sl_json_number(m->value, 4), "sd", sl_json_number(m->sd, 4), "low",
                     sl_json_number(m->known ? fmax(0, m->value - 1.96 * m->sd) : SL_UNKNOWN, 4), "high", sl_json_number(m->value + 1.96 * m->sd, 4),
                     "left_out", m->left_out);
}

static json_t *repeats_json(const sl_measured *measured, double *value, int earlier)
{
    if (!measured->known || !earlier)
        return json_null();
    int count = earlier + 1;
    double mean = 0;
    value[earlier] = measured->value;
    for (int i = 0; i < count; i++)
        mean += value[i] / count;
    sl_repeatability r = sl_repeat_values(value, count);
    return json_pack("{s:i,s:o,s:o,s:[o,o],s:o,s:[o,o]}", "count", count, "mean", sl_json_number(mean, 4), "within_sd",
                     sl_json_number(r.within_sd.value, 4), "within_sd_interval", sl_json_number(r.within_sd.low, 4),
                     sl_json_number(r.within_sd.high, 4), "repeatability", sl_json_number(r.coefficient.value, 4), "interval",
                     sl_json_number(r.coefficient.low, 4), sl_json_number(r.coefficient.high, 4));
}

/* What was asked to be measured; NULL with a sentence said. */
enum { A_TIME = SL_MEASURE_AREA + 1, ON_TRACE, KINDS };
typedef struct asked {
    int kind, points, earlier;
    double place[2 * MOST_POINTS], repeat[MOST_REPEATS + 1], time_s[2], frame_s, along[2];
} asked;

static const char *take(const sl_request *request, asked *a)
{
    static const char *const kinds[KINDS] = {[SL_MEASURE_DISTANCE] = "distance", [SL_MEASURE_PATH] = "path", [SL_MEASURE_ANGLE] = "angle",
                                             [SL_MEASURE_AREA] = "area", [A_TIME] = "time", [ON_TRACE] = "trace"};
    const char *name = sl_request_argument(request, "kind");
    a->kind = 0;
    while (name && a->kind < KINDS && strcmp(name, kinds[a->kind]))
        a->kind++;
    if (!name || a->kind == KINDS)
        return "A hand measures a distance, path, angle, area, a time or on the motion trace: name one of these as the kind.";
    a->points = a->kind == A_TIME ? 0 : sl_request_numbers(request, "points", ',', ';', a->place, 2 * MOST_POINTS);
    int along = a->kind == ON_TRACE ? sl_request_numbers(request, "along", ',', 0, a->along, 2) : 0;
    if (a->kind == ON_TRACE && !sl_request_argument(request, "along")) {
        a->along[1] = 1;
        along = 2;
    }
    if (a->points < 0 || (a->kind == ON_TRACE && (a->points < 4 || a->points > 2 * SL_TRACE_POINTS_MOST || along != 2)) ||
        (a->kind >= A_TIME && sl_request_numbers(request, "times", ',', 0, a->time_s, 2) != 2))
        return "What was placed could not be read as numbers. Place it again.";
    a->earlier = sl_request_numbers(request, "earlier", ',', 0, a->repeat, MOST_REPEATS);
    if (a->earlier < 0)
        return "The earlier values could not be read as numbers. Begin the repeats anew.";
    for (int i = 0; i < a->points; i++)
        if (a->place[i] < 0 || a->place[i] > 1)
            return "A point lies outside the imaged area. Place it again.";
    if (a->kind == ON_TRACE && (a->along[0] < 0 || a->along[0] > 1 || a->along[1] < 0 || a->along[1] > 1))
        return "A place lies outside the motion trace. Place it again.";
    a->frame_s = SL_UNKNOWN;
    amount(request, "frame_s", &a->frame_s);
    return NULL;
}

/* The line of a motion trace from the one place to the other; false when its points make no line. */
static bool way_of(const sl_view *view, const asked *a, double *beam, double *depth, sl_pixel *way, double *length_px)
{
    double line[2][SL_TRACE_POINTS_MOST], share[WAY];
    for (int i = 0; i < a->points / 2; i++) {
        line[0][i] = a->place[2 * i];
        line[1][i] = a->place[2 * i + 1];
    }
    for (int i = 0; i < WAY; i++)
        share[i] = a->along[0] + (a->along[1] - a->along[0]) * i / (WAY - 1);
    double whole = sl_curve_places(view, line[0], line[1], a->points / 2, share, WAY, beam, depth);
    for (int i = 0; sl_known(whole) && i < WAY; i++)
        sl_view_to_pixel(view, beam[i], depth[i], &way[i].x, &way[i].y);
    *length_px = whole * fabs(a->along[1] - a->along[0]);
    return sl_known(whole);
}

static enum MHD_Result reply_on_trace(sl_request *request, const sl_desk_clip *clip, asked *a)
{
    double beam[WAY], depth[WAY], length_px, hand_px = SL_UNKNOWN, whole_px = sl_view_depth_px(&clip->view);
    sl_pixel way[WAY];
    if (!way_of(&clip->view, a, beam, depth, way, &length_px))
        return sl_reply_error(request, 400, "The motion trace's line has no length. Set its points apart.");
    const double ends[] = {beam[0], depth[0], beam[WAY - 1], depth[WAY - 1]};
    limits l = limits_of(request, clip, ends, 2);
    sl_trace_measured trace = sl_measure_trace(&clip->view, way, WAY, a->time_s, a->frame_s, &l.error);
    amount(request, "placing_px", &hand_px);
    json_t *json = measured_json(&trace.way);
    json_object_set_new(json, "repeats", repeats_json(&trace.way, a->repeat, a->earlier));
    json_object_set_new(json, "resolution", resolution_json(&l.resolution));
    json_object_set_new(json, "time", measured_json(&trace.time));
    json_object_set_new(json, "speed", measured_json(&trace.speed));
    json_object_set_new(json, "share_of_depth", sl_json_number(length_px / whole_px, 4));
    json_object_set_new(json, "share_half", sl_json_number(1.96 * hand_px * sqrt(2) / whole_px, 4));
    json_object_set_new(json, "places", json_pack("[[f,f],[f,f]]", ends[0], ends[1], ends[2], ends[3]));
    return json ? sl_reply_json(request, 200, json) : sl_reply_error(request, 500, "Memory ran out. Close other programs and try again.");
}

enum MHD_Result sl_reply_by_hand(sl_request *request, const sl_desk_clip *clip)
{
    asked a = {0};
    const char *why = take(request, &a);
    if (why)
        return sl_reply_error(request, 400, "%s", why);
    if (a.kind != A_TIME && clip->view.shape == SL_SHAPE_UNKNOWN)
        return sl_reply_error(request, 409, "The clip's geometry is not known, so nothing can be measured in it.");
    if (a.kind == ON_TRACE)
        return reply_on_trace(request, clip, &a);
    limits l = limits_of(request, clip, a.place, a.points / 2);
    sl_measured m = a.kind == A_TIME ? sl_measure_interval(a.time_s[0], a.time_s[1], a.frame_s)
                                     : in_picture(&clip->view, (sl_measure_kind)a.kind, a.place, a.points / 2, &l.error);
    json_t *json = measured_json(&m);
    json_object_set_new(json, "repeats", repeats_json(&m, a.repeat, a.earlier));
    if (a.kind != A_TIME)
        json_object_set_new(json, "resolution", resolution_json(&l.resolution));
    return json ? sl_reply_json(request, 200, json) : sl_reply_error(request, 500, "Memory ran out. Close other programs and try again.");
}
