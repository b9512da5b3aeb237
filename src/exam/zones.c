#include "exam/zones.h"

#include <string.h>

/* Columns of the unrolled half chest: anterior (parasternal to anterior axillary line), lateral (to the posterior
 * axillary line), posterolateral (at that line), posterior (to the paravertebral line). */
#define BOTH(place, words, from, to, top, bottom) \
    {"R-" place, "right " words, words, SL_SIDE_RIGHT, from, to, top, bottom}, \
    {"L-" place, "left " words, words, SL_SIDE_LEFT, from, to, top, bottom}

enum { A_UP = 0, A_LOW = 2, L_UP = 4, L_BASE = 6, PL = 8, P_UP = 10, P_MID = 12, P_LOW = 14, A_ALL = 16, L_ALL = 18,
       P_ALL = 20, ZONES = 22 };

static const sl_zone zones[] = {
    BOTH("upper-anterior", "upper anterior", 0.00, 0.30, 0.0, 0.5),
    BOTH("lower-anterior", "lower anterior", 0.00, 0.30, 0.5, 1.0),
    BOTH("upper-lateral", "upper lateral", 0.30, 0.60, 0.0, 0.5),
    BOTH("basal-lateral", "basal lateral", 0.30, 0.60, 0.5, 1.0),
    BOTH("posterolateral", "posterolateral", 0.60, 0.75, 0.4, 1.0),
    BOTH("upper-posterior", "upper posterior", 0.75, 1.00, 0.0, 0.4),
    BOTH("middle-posterior", "middle posterior", 0.75, 1.00, 0.4, 0.6),
    BOTH("lower-posterior", "lower posterior", 0.75, 1.00, 0.6, 1.0),
    /* named without height, as many files are: the whole column */
    BOTH("anterior", "anterior", 0.00, 0.30, 0.0, 1.0),
    BOTH("lateral", "lateral", 0.30, 0.60, 0.0, 1.0),
    BOTH("posterior", "posterior", 0.75, 1.00, 0.0, 1.0),
};
_Static_assert(sizeof zones / sizeof *zones == ZONES, "the zone indices follow the table");

#define R(i) &zones[i]
#define L(i) &zones[(i) + 1]

static const sl_protocol eight = {
    "8-zones", "eight zones", 8,
    {R(A_UP), R(A_LOW), R(L_UP), R(L_BASE), L(A_UP), L(A_LOW), L(L_UP), L(L_BASE)},
    4, {"upper anterior", "lower anterior", "upper lateral", "basal lateral"}, SL_POSTURE_UNKNOWN};

static const sl_protocol twelve = {
    "12-zones", "twelve zones", 12,
    {R(A_UP), R(A_LOW), R(L_UP), R(L_BASE), R(P_UP), R(P_LOW), L(A_UP), L(A_LOW), L(L_UP), L(L_BASE), L(P_UP), L(P_LOW)},
    6, {"upper anterior", "lower anterior", "upper lateral", "basal lateral", "upper posterior", "lower posterior"}, SL_POSTURE_UNKNOWN};

static const sl_protocol fourteen = {
    "14-zones", "fourteen zones", 14,
    {R(A_UP), R(A_LOW), R(L_UP), R(L_BASE), R(P_UP), R(P_MID), R(P_LOW),
     L(A_UP), L(A_LOW), L(L_UP), L(L_BASE), L(P_UP), L(P_MID), L(P_LOW)},
    0, {0}, SL_POSTURE_UNKNOWN};

static const sl_protocol six = {
    "6-points", "three points a side", 6,
    {R(A_UP), R(A_LOW), R(PL), L(A_UP), L(A_LOW), L(PL)},
    3, {"upper anterior", "lower anterior", "posterolateral"}, SL_POSTURE_UNKNOWN};

/* Four a side (common practice, no source): anterior in the second or third space; the anterior axillary line at about the
 * fifth; the costophrenic angle in the mid-axillary line; posterolateral in the posterior axillary line. On the left the last
 * two a little further back because of the spleen. */
static const sl_protocol bedside = {
    "8-bedside", "bedside set, four a side", 8,
    {R(A_UP), R(L_UP), R(L_BASE), R(PL), L(A_UP), L(L_UP), L(L_BASE), L(PL)},
    4, {"upper anterior", "upper lateral", "basal lateral", "posterolateral"}, SL_POSTURE_UNKNOWN};

static const sl_protocol *const protocols[] = {&eight, &twelve, &fourteen, &six, &bedside, NULL};

const sl_zone *sl_zones(int *count)
{
    *count = ZONES;
    return zones;
}

const sl_zone *sl_zone_by_key(const char *key)
{
    for (int i = 0; key && i < ZONES; i++)
        if (!strcmp(zones[i].key, key))
            return &zones[i];
    return NULL;
}

const sl_zone *sl_zone_of(sl_side side, const char *place)
{
    for (int i = 0; i < ZONES; i++)
        if (zones[i].side == side && !strcmp(zones[i].place, place))
            return &zones[i];
    return NULL;
}

const sl_protocol *const *sl_protocols(void)
{
    return protocols;
}

const sl_protocol *sl_protocol_by_key(const char *key)
{
    for (const sl_protocol *const *at = protocols; key && *at; at++)
        if (!strcmp((*at)->key, key))
            return *at;
    return NULL;
}
