/* The consistency check: reverberation between the probe's face and the pleura puts A-line k at k times that distance, so
 * the spacing of the A-lines and the depth of the pleura are two measurements of one length. */
#include "audit/audit.h"

#include "core/units.h"

#include <math.h>

void sl_audit_spacing(sl_audit_desk *desk)
{
    const sl_clip_result *result = desk->result;
    const sl_finding *pleura = sl_reading_get(result->reading, SL_PLEURA_DEPTH), *spacing = sl_reading_get(result->reading, SL_A_LINE_SPACING),
                     *count = sl_reading_get(result->reading, SL_A_LINE_COUNT);
    if (!pleura || !pleura->known || !spacing || !spacing->known || !count || !(count->value >= 2))
        return; /* one repeat may be any horizontal border */
    double ratio = result->view.face_visible ? spacing->value : spacing->value / pleura->value;
    double mm = sl_view_depth_mm(&result->view) * (result->view.face_visible ? pleura->value : 1);
    bool scaled = result->view.scale_source != SL_SCALE_NONE && sl_known(mm);
    /* With the face in the picture the two must agree; with the top cut off the spacing is the longer one. */
    bool fits = result->view.face_visible ? fabs(ratio - 1) <= AUDIT_SPACING_TOLERANCE : ratio >= 1 - AUDIT_SPACING_TOLERANCE;
    if (fits)
        return;
    sl_complaint *c =
        scaled && result->view.face_visible
            ? sl_complain(desk, SL_RULE_SPACING, "the A-lines are %.1f mm apart, the pleura lies at %.1f mm", spacing->value * mm,
                          pleura->value * sl_view_depth_mm(&result->view))
        : scaled ? sl_complain(desk, SL_RULE_SPACING, "the A-lines are %.1f mm apart, the pleura lies at %.1f mm from the picture's top",
                               spacing->value * mm, pleura->value * sl_view_depth_mm(&result->view))
                 : sl_complain(desk, SL_RULE_SPACING, "the A-lines are %.2f times as far apart as the pleura is deep", ratio);
    sl_complaint_measured(c, ratio, 1 - AUDIT_SPACING_TOLERANCE, result->view.face_visible ? 1 + AUDIT_SPACING_TOLERANCE : SL_UNKNOWN,
                          "pleural depths");
    if (c && spacing->evidences)
        c->where = spacing->evidence[0];
}
