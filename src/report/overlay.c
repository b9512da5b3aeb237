#include "report/overlay.h"

#include "core/units.h"

#include <stdio.h>
#include <string.h>

typedef enum form { FORM_LINE, FORM_DASHES, FORM_FLANKS, FORM_RIB, FORM_BOX } form;

/* Findings that show the same thing: the first of a row that has evidence in the frame is drawn. */
typedef struct group {
    form form;
    uint32_t colour;
    int codes;
    sl_code code[4];
} group;

static const group groups[] = {
    {FORM_RIB, LOOK_COLOUR_MARK_RIB, 1, {SL_RIB_SHARE}},
    {FORM_FLANKS, LOOK_COLOUR_MARK_B, 4, {SL_B_LINE_COUNT, SL_B_LINES, SL_B_LINE_COVERAGE, SL_WHITE_LUNG}},
    {FORM_DASHES, LOOK_COLOUR_MARK_A, 3, {SL_A_LINE_COUNT, SL_A_LINES, SL_A_LINE_SPACING}},
    {FORM_LINE, LOOK_COLOUR_MARK_PLEURA, 2, {SL_PLEURA_DEPTH, SL_PLEURA_DEPTH_MM}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 2, {SL_EFFUSION, SL_EFFUSION_DEPTH}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 2, {SL_CONSOLIDATION, SL_CONSOLIDATION_EXTENT}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 2, {SL_AIR_BRONCHOGRAM, SL_AIR_BRONCHOGRAM_MOVES}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 1, {SL_FLUID_BRONCHOGRAM}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 1, {SL_ORGAN}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 1, {SL_SPINE}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 1, {SL_MIRROR_IMAGE}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 3, {SL_FLUID_COLOUR, SL_VESSEL_COLOUR, SL_COLOUR_TOWARD}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 2, {SL_CURTAIN, SL_CURTAIN_TRAVEL}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 2, {SL_DIAPHRAGM, SL_DIAPHRAGM_EXCURSION}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 3, {SL_DIAPHRAGM_THICKNESS, SL_DIAPHRAGM_THICKNESS_IN, SL_DIAPHRAGM_THICKENING}},
    {FORM_BOX, LOOK_COLOUR_MARK_OTHER, 1, {SL_LUNG_POINT}},
};

void sl_place_point(const sl_place *place, double beam, double depth, double *x, double *y)
{
    if (place->view)
        sl_view_to_pixel(place->view, beam, depth, x, y);
    else {
        *x = beam;
        *y = depth;
    }
    *x = place->x + *x * place->sx;
    *y = place->y + *y * place->sy;
}

const sl_evidence *sl_evidence_at(const sl_finding *finding, int frame)
{
    for (int i = 0; finding && i < finding->evidences; i++)
        if (finding->evidence[i].first_frame <= frame && frame <= finding->evidence[i].last_frame)
            return &finding->evidence[i];
    return NULL;
}

/* A point on the evidence: at `share` of a line's or a flat box's width, of a standing box's height. */
static void point_on(const sl_evidence *evidence, double share, double depth_wanted, double *beam, double *depth)
{
    const double flat = 0.1; /* of the imaged depth */
    if (evidence->points > 0) {
        int i = (int)(share * (evidence->points - 1));
        *beam = evidence->beam[i];
        *depth = evidence->depth[i];
    } else if (evidence->last_depth - evidence->first_depth < flat) {
        *beam = evidence->first_beam + share * (evidence->last_beam - evidence->first_beam);
        *depth = (evidence->first_depth + evidence->last_depth) / 2;
    } else {
        *beam = (evidence->first_beam + evidence->last_beam) / 2;
        *depth = evidence->first_depth + share * (evidence->last_depth - evidence->first_depth);
        if (sl_known(depth_wanted))
            *depth = fmin(fmax(depth_wanted, evidence->first_depth), evidence->last_depth);
    }
}

/* Share along the evidence where the thread of a code ends: apart from those that share its evidence. */
static double share_of(sl_code code)
{
    switch (code) {
    case SL_B_LINES:
        return 0.3;
    case SL_B_LINE_COUNT:
        return 0.45;
    case SL_A_LINES:
    case SL_B_LINE_COVERAGE:
        return 0.65;
    case SL_A_LINE_COUNT:
        return 0.78;
    case SL_A_LINE_SPACING:
        return 0.9;
    case SL_RIB_SHARE:
        return 0.02;
    default:
        return 0.55;
    }
}

bool sl_thread_end(const sl_finding *finding, int frame, double depth_wanted, double *beam, double *depth)
{
    const sl_evidence *chosen = NULL;
    for (int i = 0; finding && i < finding->evidences; i++) {
        const sl_evidence *e = &finding->evidence[i];
        if (e->first_frame > frame || e->last_frame < frame)
            continue;
        if (!chosen || (finding->code == SL_A_LINE_COUNT && e->first_depth > chosen->first_depth) ||
            (finding->code != SL_A_LINE_COUNT && e->points == 0 && e->last_beam > chosen->last_beam))
            chosen = e; /* the one nearest to the words; of counted repeats the last */
    }
    if (chosen)
        point_on(chosen, share_of(finding->code), depth_wanted, beam, depth);
    return chosen != NULL;
}

/* A path along a beam or along a depth: curved in the picture, so walked in steps. */
static void walk(cairo_t *cr, const sl_place *place, double beam0, double depth0, double beam1, double depth1, bool move)
{
    enum { STEPS = 12 };
    for (int i = 0; i <= STEPS; i++) {
        double t = (double)i / STEPS, x, y;
        sl_place_point(place, beam0 + t * (beam1 - beam0), depth0 + t * (depth1 - depth0), &x, &y);
        if (i == 0 && move)
            cairo_move_to(cr, x, y);
        else
            cairo_line_to(cr, x, y);
    }
}

static void trace(cairo_t *cr, const sl_place *place, const sl_evidence *e, form shape)
{
    if (e->points > 1) {
        const double gap = 0.06, jump = 0.025; /* points further apart are not joined: nothing was seen between them */
        for (int i = 0; i < e->points; i++) {
            double x, y;
            sl_place_point(place, e->beam[i], e->depth[i], &x, &y);
            if (i == 0 || e->beam[i] - e->beam[i - 1] > gap || e->beam[i] < e->beam[i - 1] ||
                fabs(e->depth[i] - e->depth[i - 1]) > jump)
                cairo_move_to(cr, x, y);
            else
                cairo_line_to(cr, x, y);
        }
        return;
    }
    double middle = (e->first_depth + e->last_depth) / 2;
    switch (shape) {
    case FORM_LINE:
    case FORM_DASHES:
        walk(cr, place, e->first_beam, middle, e->last_beam, middle, true);
        break;
    case FORM_FLANKS:
        walk(cr, place, e->first_beam, e->last_depth, e->first_beam, e->first_depth, true);
        walk(cr, place, e->first_beam, e->first_depth, e->last_beam, e->first_depth, false);
        walk(cr, place, e->last_beam, e->first_depth, e->last_beam, e->last_depth, false);
        break;
    case FORM_RIB:
        walk(cr, place, e->first_beam, e->first_depth, e->last_beam, e->first_depth, true);
        break;
    case FORM_BOX:
        walk(cr, place, e->first_beam, e->first_depth, e->last_beam, e->first_depth, true);
        walk(cr, place, e->last_beam, e->first_depth, e->last_beam, e->last_depth, false);
        walk(cr, place, e->last_beam, e->last_depth, e->first_beam, e->last_depth, false);
        walk(cr, place, e->first_beam, e->last_depth, e->first_beam, e->first_depth, false);
        break;
    }
}

static void rib_shadow(cairo_t *cr, const sl_place *place, const sl_evidence *e, double weight)
{
    const double dots[] = {0.6 * weight, 2.2 * weight};
    cairo_set_dash(cr, dots, 2, 0);
    cairo_set_line_width(cr, LOOK_STROKE_HAIR * weight);
    walk(cr, place, e->first_beam, e->first_depth, e->first_beam, e->last_depth, true);
    walk(cr, place, e->last_beam, e->first_depth, e->last_beam, e->last_depth, true);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
}

/* `sure` false: a candidate that was not enough for a yes, drawn in dots. */
static void draw_one(sl_pen *pen, const sl_place *place, const group *kind, const sl_evidence *e, double weight,
                     bool sure, bool names)
{
    cairo_t *cr = pen->cr;
    const double doubt[] = {1.2 * weight, 2.4 * weight};
    const double dashes[] = {4 * weight, 2.5 * weight};
    double width = LOOK_STROKE_MARK * weight * (kind->form == FORM_RIB ? 1.8 : kind->form == FORM_BOX ? 0.8 : 1);
    cairo_save(cr);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    trace(cr, place, e, kind->form);
    sl_set_colour(cr, LOOK_COLOUR_NIGHT, 0.55); /* a dark seam keeps marks readable on bright echoes */
    cairo_set_line_width(cr, width + 1.2 * weight);
    cairo_stroke_preserve(cr);
    sl_set_colour(cr, kind->colour, 1);
    cairo_set_line_width(cr, width);
    if (kind->form == FORM_DASHES)
        cairo_set_dash(cr, dashes, 2, 0);
    if (!sure)
        cairo_set_dash(cr, doubt, 2, 0);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    if (kind->form == FORM_RIB)
        rib_shadow(cr, place, e, weight);
    cairo_restore(cr);
    if (!names || !e->label || (kind->form != FORM_DASHES && kind->form != FORM_BOX))
        return; /* the line, ribs and B-lines speak for themselves */
    double x, y, beam, depth;
    point_on(e, 1, SL_UNKNOWN, &beam, &depth);
    sl_place_point(place, beam, depth, &x, &y);
    sl_pen_text(pen, x, y - 2.5, SL_TYPE_SMALL, kind->colour, SL_ALIGN_RIGHT, 0, e->label);
}

/* Whether the answer that the group's evidence belongs to is a yes; without an answer its numbers stand for themselves. */
static bool is_sure(const sl_reading *reading, const group *kind)
{
    bool asked = false;
    for (int c = 0; c < kind->codes; c++) {
        const sl_finding *finding = sl_reading_get(reading, kind->code[c]);
        if (!finding || sl_finding_info_of(finding->code)->kind != SL_KIND_ANSWER)
            continue;
        if (finding->known && finding->answer == SL_PRESENT)
            return true;
        asked = true;
    }
    return !asked;
}

void sl_draw_evidence(sl_pen *pen, const sl_place *place, const sl_reading *reading, int frame, double weight, bool names)
{
    for (size_t g = 0; reading && g < sizeof groups / sizeof *groups; g++)
        for (int c = 0; c < groups[g].codes; c++) {
            const sl_finding *finding = sl_reading_get(reading, groups[g].code[c]);
            if (!sl_evidence_at(finding, frame))
                continue;
            bool sure = is_sure(reading, &groups[g]);
            for (int i = 0; i < finding->evidences; i++) {
                const sl_evidence *e = &finding->evidence[i];
                if (e->first_frame <= frame && frame <= e->last_frame)
                    draw_one(pen, place, &groups[g], e, weight, sure, names);
            }
            break;
        }
}

void sl_draw_nearest_line(sl_pen *pen, const sl_place *place, const sl_reading *reading, int frame, double weight)
{
    const sl_finding *depth = reading ? sl_reading_get(reading, SL_PLEURA_DEPTH) : NULL;
    const sl_evidence *nearest = NULL;
    int least = 0;
    for (int i = 0; depth && i < depth->evidences; i++) {
        const sl_evidence *e = &depth->evidence[i];
        int away = frame < e->first_frame ? e->first_frame - frame : frame > e->last_frame ? frame - e->last_frame : 0;
        if (!nearest || away < least) {
            nearest = e;
            least = away;
        }
    }
    for (size_t g = 0; nearest && least > 0 && g < sizeof groups / sizeof *groups; g++)
        if (groups[g].form == FORM_LINE)
            draw_one(pen, place, &groups[g], nearest, weight, true, false);
}
