/* How the probe was held: pleura in view, level, between two ribs, in contact, still. */
#include "audit/audit.h"

#include "core/units.h"

#include <math.h>

static bool present(const sl_clip_result *result, sl_code code)
{
    const sl_finding *finding = sl_reading_get(result->reading, code);
    return finding && finding->known && finding->answer == SL_PRESENT;
}

/* An organ without a pleural line, or one that fills the picture down to a diaphragm: what was read as the line is its own border. */
static void judge_organ(sl_audit_desk *desk, const sl_hold_quality *h)
{
    const sl_finding *organ = sl_reading_get(desk->result->reading, SL_ORGAN);
    if (!present(desk->result, SL_ORGAN))
        return;
    double wide = organ->evidences ? organ->evidence->last_beam - organ->evidence->first_beam : 0;
    if (h->found < AUDIT_FOUND_LEAST) {
        sl_complaint_measured(sl_complain(desk, SL_RULE_NO_LUNG, "an organ is seen and no pleural line"), h->found, AUDIT_FOUND_LEAST,
                              SL_UNKNOWN, "probability");
    } else if (present(desk->result, SL_DIAPHRAGM) && wide >= AUDIT_ORGAN_WIDE) {
        sl_complaint *c = sl_complain(desk, SL_RULE_NO_LUNG, "an organ down to a diaphragm fills %.0f %% of the width", 100 * wide);
        sl_complaint_measured(c, wide, SL_UNKNOWN, AUDIT_ORGAN_WIDE, "share of the width");
        if (c)
            c->grade = SL_GRADE_NOTE; /* it may be the diaphragm that was looked at */
    }
}

/* False when there is no line: what else is said of it would be said of nothing. */
static bool judge_pleura(sl_audit_desk *desk, const sl_hold_quality *h)
{
    double lit = sl_view_depth_mm(&desk->result->view), stated = desk->result->info.acquisition.depth_mm;
    if (stated > 0 && lit < AUDIT_LIT_SHARE * stated) { /* bone over the whole width, or no contact at all */
        sl_complaint_measured(sl_complain(desk, SL_RULE_PLEURA_UNSEEN, "echoes come from the first %.0f of %.0f mm only", lit, stated), lit,
              AUDIT_LIT_SHARE * stated, SL_UNKNOWN, "mm");
        return false;
    }
    judge_organ(desk, h);
    if (h->found >= AUDIT_FOUND_LEAST)
        return true;
    if (sl_complained(desk, SL_RULE_NO_LUNG))
        return false;
    /* Fluid or solid lung push the line away; then its absence is a finding, not a fault. The dark behind bone is neither. */
    if (!(h->rib > AUDIT_RIB_ALL) && (present(desk->result, SL_EFFUSION) || present(desk->result, SL_CONSOLIDATION)))
        return false;
    sl_complaint_measured(sl_complain(desk, SL_RULE_PLEURA_UNSEEN, "no pleural line stands out (probability %.2f)", h->found), h->found, AUDIT_FOUND_LEAST,
          SL_UNKNOWN, "probability");
    return false;
}

static void judge_place(sl_audit_desk *desk, const sl_hold_quality *h)
{
    /* Over all spaces and in the widest one alike, so that a line that was misread in one of them does not count. */
    if (fabs(h->tilt_deg) > AUDIT_TILT_DEG && h->tilt_rms < AUDIT_TILT_RMS &&
        h->tilt_widest_deg * h->tilt_deg > 0.5 * AUDIT_TILT_DEG * fabs(h->tilt_deg)) {
        sl_complaint *c = h->tilt_deg > 0
                              ? sl_complain(desk, SL_RULE_TILTED, "the pleural line is tilted by %.0f degrees, its right side deeper", h->tilt_deg)
                              : sl_complain(desk, SL_RULE_TILTED, "the pleural line is tilted by %.0f degrees, its left side deeper", -h->tilt_deg);
        sl_complaint_measured(c, fabs(h->tilt_deg), SL_UNKNOWN, AUDIT_TILT_DEG, "degrees");
    }
    if (!(h->central < AUDIT_CENTRAL_LEAST) && !(h->rib > AUDIT_RIB_ALL))
        return;
    bool ribs = h->rib > AUDIT_RIB_SHARE;
    if (h->caps < 2 && present(desk->result, SL_EFFUSION))
        return; /* the dark is fluid, not the shadow of ribs of which no cap is seen */
    sl_complaint_measured(ribs ? sl_complain(desk, SL_RULE_RIBS, "%.0f %% of the beams end at a rib, in the middle third all but %.0f %%", 100 * h->rib,
                             100 * h->central)
               : sl_complain(desk, SL_RULE_NOT_BETWEEN_RIBS, "%.0f %% of the middle third looks between ribs", 100 * h->central),
          h->central, AUDIT_CENTRAL_LEAST, SL_UNKNOWN, "share of the middle third");
}

void sl_audit_hold(sl_audit_desk *desk)
{
    const sl_hold_quality *h = &desk->result->quality.hold;
    if (!(h->frames > 0) || !desk->result->reading)
        return;
    if (judge_pleura(desk, h))
        judge_place(desk, h);
    double ends = h->dark_first + h->dark_last; /* dark beams in the middle lie behind a rib or hair */
    if (ends > AUDIT_DARK_SHARE) {
        sl_complaint *c = sl_complain(desk, SL_RULE_CONTACT, "%.0f %% of the beams, at the picture's side, are dark from the skin on", 100 * ends);
        sl_complaint_measured(c, ends, SL_UNKNOWN, AUDIT_DARK_SHARE, "share of the beams");
        if (c && h->dark_first > 0.8 * ends)
            c->where.last_beam = h->dark_first;
        else if (c && h->dark_last > 0.8 * ends)
            c->where.first_beam = 1 - h->dark_last;
    }
    const sl_view *view = &desk->result->view;
    double beam_mm = sl_view_beam_step_px(view, SL_BEAMS, 0.1) * (view->scale_source != SL_SCALE_NONE ? view->mm_per_px : SL_UNKNOWN);
    double shift_mm = h->wall_shift * beam_mm, share = h->wall_shift / SL_BEAMS;
    if (sl_known(shift_mm) ? shift_mm > AUDIT_WALL_SHIFT_MM : share > AUDIT_WALL_SHIFT_SHARE) {
        sl_complaint *c = sl_known(shift_mm)
                              ? sl_complain(desk, SL_RULE_MOVING, "the wall wanders %.0f mm sideways under the probe", shift_mm)
                              : sl_complain(desk, SL_RULE_MOVING, "the wall wanders over %.0f %% of the picture's width", 100 * share);
        sl_complaint_measured(c, sl_known(shift_mm) ? shift_mm : share, SL_UNKNOWN, sl_known(shift_mm) ? AUDIT_WALL_SHIFT_MM : AUDIT_WALL_SHIFT_SHARE,
              sl_known(shift_mm) ? "mm" : "share of the width");
    } else if (h->wall_kept < AUDIT_WALL_KEPT)
        sl_complaint_measured(sl_complain(desk, SL_RULE_MOVING, "the wall does not stay the same: likeness to its first picture %.2f", h->wall_kept),
              h->wall_kept, AUDIT_WALL_KEPT, SL_UNKNOWN, "correlation");
}
