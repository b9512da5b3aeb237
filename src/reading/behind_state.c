/* From the numbers of behind.h to findings: what is claimed, and when nothing is. */
#include "reading/behind.h"

#include "core/units.h"
#include "reading/organ.h"
#include "reading/organ_table.h"
#include "reading/spine_table.h"

#include <math.h>
#include <string.h>

static bool stated(const sl_reading *reading, sl_code code)
{
    const sl_finding *f = sl_reading_get(reading, code);
    return f && f->known && f->answer == SL_PRESENT;
}

static sl_evidence *room_for(const sl_behind *b, int count, sl_arena *arena)
{
    sl_evidence *e = SL_NEW(arena, count, sl_evidence);
    for (int i = 0; e && i < count; i++)
        e[i] = (sl_evidence){.first_frame = b->first_source, .last_frame = b->last_source, .first_time_s = b->first_time_s, .last_time_s = b->last_time_s};
    return e;
}

static void fill_line(sl_evidence *e, const double *beam, const double *depth, int points, const char *label, sl_arena *arena)
{
    double *x = SL_NEW(arena, points + 1, double), *y = SL_NEW(arena, points + 1, double);
    e->label = label;
    if (!x || !y || points < 1)
        return;
    memcpy(x, beam, sizeof *x * (size_t)points);
    memcpy(y, depth, sizeof *y * (size_t)points);
    e->points = points;
    e->beam = x;
    e->depth = y;
    e->first_beam = x[0];
    e->last_beam = x[points - 1];
    e->first_depth = e->last_depth = y[0];
    for (int i = 1; i < points; i++) {
        e->first_depth = y[i] < e->first_depth ? y[i] : e->first_depth;
        e->last_depth = y[i] > e->last_depth ? y[i] : e->last_depth;
    }
}

/* The diaphragm in one frame; beyond it the spine's line or the box that holds the image. */
static void show(const sl_behind *b, bool spine, bool line, sl_arena *arena, sl_finding *f)
{
    sl_evidence *e = room_for(b, 2, arena), *next = e;
    if (!e)
        return;
    if (line && b->points) {
        fill_line(next, b->point_beam, b->point_depth, b->points, "diaphragm", arena);
        next->first_frame = b->line_first;
        next->last_frame = b->line_last;
        next->first_time_s = next->last_time_s = SL_UNKNOWN;
        next++;
    }
    if (spine && b->spine_points)
        fill_line(next++, b->spine_beam, b->spine_depth, b->spine_points, "spine", arena);
    if (!spine && b->points) {
        double reach = (double)MIRROR_LAST / SL_DEPTHS, last = e->last_depth + reach;
        next->first_beam = e->first_beam;
        next->last_beam = e->last_beam;
        next->first_depth = e->first_depth;
        next->last_depth = last < 1 ? last : 1;
        next++->label = "mirror image";
    }
    f->evidence = e;
    f->evidences = (int)(next - e);
}

static void answer(sl_finding *f, double index, sl_answer answer, const char *reason)
{
    f->known = true;
    f->value = index;
    f->answer = answer;
    f->confidence = index > 0.5 ? index : 1 - index;
    f->reason = reason;
}

/* The organ before the diaphragm, as deep as the image beyond it, or before the arc. */
static void state_organ(const sl_behind *b, bool image, sl_arena *arena, sl_reading *reading)
{
    sl_evidence *e = room_for(b, 1, arena);
    double sure = image ? b->mirror : b->arc;
    if (!image && b->arc < ARC_PRESENT)
        return;
    if (e) {
        e->label = "an organ below the diaphragm";
        e->first_beam = image ? b->point_beam[0] : b->arc_first_beam;
        e->last_beam = image ? b->point_beam[b->points - 1] : b->arc_last_beam;
        e->first_depth = image ? 1 : b->arc_first_depth;
        e->last_depth = image ? 0 : b->arc_last_depth;
        for (int i = 0; image && i < b->points; i++) {
            e->first_depth = fmin(e->first_depth, b->point_depth[i]);
            e->last_depth = fmax(e->last_depth, b->point_depth[i]);
        }
        e->first_depth = fmax(e->first_depth - (double)MIRROR_LAST / SL_DEPTHS, 0);
    }
    sl_organ_seen(sure, image ? "liver, spleen or kidney: its mirror image is seen beyond the diaphragm"
                              : "liver, spleen or kidney: even tissue with a line behind it that sags as a diaphragm does", e, true, reading);
}

static void support_fluid(sl_arena *arena, sl_reading *reading)
{
    static const char clause[] = "the spine above the diaphragm supports fluid or lung without air";
    for (int i = 0; i < reading->findings; i++) {
        sl_finding *f = &reading->finding[i];
        if (f->code == SL_EFFUSION && f->known && f->answer != SL_ABSENT)
            f->reason = f->reason[0] ? sl_arena_printf(arena, "%s; %s", f->reason, clause) : clause;
    }
}

void sl_behind_state(const sl_behind *b, sl_arena *arena, sl_reading *reading)
{
    sl_finding *spine = sl_reading_put(reading, SL_SPINE), *mirror = sl_reading_put(reading, SL_MIRROR_IMAGE);
    spine->reason = mirror->reason = b->frames > 0 ? "no diaphragm is seen" : "nothing could be measured";
    if (!(b->frames > 0))
        return;
    double fall = b->line ? b->before - b->beyond : 0;
    bool seen = b->spine >= SPINE_PRESENT, image = b->mirror >= MIRROR_PRESENT && !seen, moves = stated(reading, SL_DIAPHRAGM);
    bool dark = b->line && b->clear >= BEHIND_DARK_CLEAR && b->wide >= BEHIND_SEEN_WIDE && fall >= BEHIND_FLUID && stated(reading, SL_EFFUSION);
    bool dome = seen || image || dark || moves || b->mirror >= MIRROR_ABSENT || b->arc >= ARC_PRESENT;
    bool deep = sl_known(b->depth_mm) && b->depth_mm >= SPINE_DEPTH_MOST_MM;
    if (seen) {
        answer(spine, b->spine, SL_PRESENT, "seen beyond the diaphragm: fluid or lung without air lets sound through");
        support_fluid(arena, reading);
    } else if (image) {
        answer(spine, fmin(b->spine, SPINE_ABSENT) * (1 - b->mirror), SL_ABSENT, "a mirror image lies where it would be seen");
    } else if (b->deep >= SPINE_PRESENT) {
        answer(spine, b->spine, SL_UNCERTAIN, "a deep bright line like a spine is seen, but no diaphragm before it");
    } else if (dome && b->spine >= SPINE_ABSENT) {
        answer(spine, b->spine, SL_UNCERTAIN, "something bright lies deep, too little to be told from a spine");
    } else if (dome && !deep) {
        answer(spine, b->spine, SL_UNCERTAIN, sl_known(b->depth_mm) ? "the picture is not deep enough to show a spine"
                                                                    : "whether the picture is deep enough for a spine is not known: the picture's scale is not known");
    } else if (moves) {
        answer(spine, b->spine, SL_ABSENT, "no bright line is seen beyond the diaphragm");
    }
    if (spine->known && spine->answer != SL_ABSENT && b->spine >= SPINE_ABSENT)
        show(b, true, seen, arena, spine);
    if (!dome) {
        state_organ(b, false, arena, reading);
        return;
    }
    if (image)
        answer(mirror, b->mirror, SL_PRESENT, "what lies before the diaphragm is seen again beyond it: aerated lung lies on it");
    else if (seen)
        answer(mirror, fmin(b->mirror, MIRROR_ABSENT) * (1 - b->spine), SL_ABSENT, "the spine is seen beyond the diaphragm: no mirror lies there");
    else if (dark)
        answer(mirror, fmin(b->mirror, MIRROR_ABSENT), SL_ABSENT, "dark beyond the diaphragm, as fluid is");
    else
        answer(mirror, b->mirror, SL_UNCERTAIN, "what lies beyond the diaphragm is not surely an image of what lies before it");
    if (image || mirror->answer == SL_UNCERTAIN)
        show(b, false, true, arena, mirror);
    state_organ(b, image, arena, reading); /* last: it puts findings anew */
}
