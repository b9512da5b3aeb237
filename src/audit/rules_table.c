#include "audit/rules_table.h"

#include <stddef.h>
#include <string.h>

#define PRACTICE "common practice, no source"
#define OURS "limit found on simulated chests acquired well (docs/audit.md)"
#define CONSENSUS "Demi et al., J Ultrasound Med 2023;42:309-344, 10.1002/jum.16088 (from memory)"
#define KAMEDA "Kameda et al., Diagnostics 2022;12:252, 10.3390/diagnostics12020252"

static const sl_audit_rule rules[SL_RULES_COUNT] = {
    {SL_RULE_DEPTH_SHALLOW, "depth-shallow", "picture too shallow", SL_GRADE_RESCAN, false,
     "What lies below the picture's end cannot be judged: vertical artifacts must be followed to the depth, and at the base "
     "fluid, lung and spine lie deep.",
     "Increase the depth until the whole region asked for is in the picture, and record again.",
     "the rule set chosen; see the depth named"},
    {SL_RULE_DEPTH_DEEP, "depth-deep", "picture too deep", SL_GRADE_WEAK, false,
     "Depth costs frame rate and makes the pleura small: each centimetre adds 13 microseconds to every line.",
     "Reduce the depth until the structure of interest fills the middle of the picture.",
     "the rule set chosen; echo timing, 13 microseconds a centimetre"},
    {SL_RULE_PROBE_TARGET, "probe-target", "probe does not suit the depth", SL_GRADE_RESCAN, false,
     "A linear probe's high frequencies are used up within about five centimetres, so the deep part shows noise, not tissue.",
     "Take a convex probe for this point.", "linear probes down to about 5 cm: " PRACTICE},
    {SL_RULE_FREQUENCY_HIGH, "frequency-high", "frequency too high for the depth", SL_GRADE_WEAK, false,
     "Attenuation grows with frequency and depth; the echo of the target's far end is lost in the noise before it returns.",
     "Lower the frequency until the far end of the target shows texture.",
     "attenuation by the table of media, 100 dB from the strongest echo to the noise (acoustics/)"},
    {SL_RULE_FREQUENCY_LOW, "frequency-low", "frequency low for a shallow target", SL_GRADE_NOTE, false,
     "A long wave blurs the pleura: resolution along the beam is half the pulse's length.",
     "Raise the frequency as far as the depth allows.", "axial resolution, half the pulse (acoustics/)"},
    {SL_RULE_FOCUS_OFF, "focus-off", "focus away from what is judged", SL_GRADE_WEAK, false,
     "The beam is narrowest in its focus; away from it lines smear sideways and vertical artifacts change their look.",
     "Move the focus to the pleura, or for deep structures to the middle of the picture.",
     "focus on the pleura: " CONSENSUS "; deep focus hides vertical artifacts: " KAMEDA "; mid-screen: " PRACTICE},
    {SL_RULE_GAIN_HIGH, "gain-high", "gain too high", SL_GRADE_WEAK, false,
     "Echoes at the display's ceiling are cut off: pleura, artifacts and tissue can no longer be told apart by brightness.",
     "Turn the gain down until only the pleura is near white.", "avoid saturation: " CONSENSUS "; " OURS},
    {SL_RULE_GAIN_LOW, "gain-low", "gain too low", SL_GRADE_RESCAN, false,
     "Echoes under the display's floor are black: faint lines, fluid and lost contact look the same.",
     "Turn the gain up until the chest wall shows its layers.", PRACTICE "; " OURS},
    {SL_RULE_NEAR_BRIGHT, "near-bright", "near field washed out", SL_GRADE_WEAK, false,
     "The depth gain lifts the first centimetres to the ceiling, so the pleural line drowns in the wall.",
     "Lower the near sliders of the depth gain.", PRACTICE "; " OURS},
    {SL_RULE_FAR_EMPTY, "far-empty", "far field empty", SL_GRADE_NOTE, false,
     "Nothing, not even noise, is shown in the depth: whether an artifact reaches the edge, or what lies there, cannot be "
     "judged.",
     "Raise the far sliders of the depth gain until faint noise shows.", PRACTICE "; " OURS},
    {SL_RULE_RANGE_LOW, "range-low", "dynamic range low", SL_GRADE_WEAK, true,
     "Few decibels between black and white make speckle coarse and cut faint artifacts off.",
     "Widen the dynamic range (about 60 dB) or choose a softer grey map.",
     "quantiles of log-compressed speckle; " OURS},
    {SL_RULE_RANGE_HIGH, "range-high", "dynamic range high", SL_GRADE_NOTE, true,
     "Many decibels between black and white flatten contrast: pleura, fluid and lung become alike.",
     "Narrow the dynamic range (about 60 dB).",
     "quantiles of log-compressed speckle; " OURS},
    {SL_RULE_NO_LUNG, "no-lung", "no lung in view", SL_GRADE_RESCAN, true,
     "Neither a pleural line nor what lies behind one is seen: the picture shows an organ or the wall alone.",
     "Slide the probe up or back until the pleural line between two ribs is in the picture.", PRACTICE "; " OURS},
    {SL_RULE_PLEURA_UNSEEN, "pleura-unseen", "pleural line not seen", SL_GRADE_RESCAN, false,
     "Every sign is judged from the pleural line; without it nothing can be said to begin there.",
     "Look for the bright line half a centimetre below the ribs' surface, hold the probe still there, and record again.",
     "assessing the pleura succeeded in .63 of learners' clips: Suttels et al. 2024, 10.1186/s12909-024-05925-x"},
    {SL_RULE_TILTED, "tilted", "not perpendicular to the pleura", SL_GRADE_WEAK, false,
     "Sound that meets the pleura aslant is thrown aside: A-lines fade with the square of the number of repeats and the "
     "line blurs.",
     "Rock the probe until the pleural line lies level and is brightest.",
     "repeat of a tilted mirror comes back at 2 k times the tilt (acoustics/reverb.h); " OURS},
    {SL_RULE_RIBS, "ribs", "too much rib shadow", SL_GRADE_WEAK, false,
     "Bone lets nothing through: behind it neither lung nor pleura is seen.",
     "Slide the probe half a rib's width so that the space between the ribs fills the picture, or turn it along the space.",
     OURS},
    {SL_RULE_NOT_BETWEEN_RIBS, "not-between-ribs", "space between the ribs not in the middle", SL_GRADE_NOTE, false,
     "The space lies at the picture's edge, where beams are sparse and slanted.",
     "Slide the probe until two ribs frame the pleural line.", "two ribs and the pleura between them: " PRACTICE},
    {SL_RULE_CONTACT, "contact", "contact with the skin lost", SL_GRADE_WEAK, false,
     "Air between probe and skin reflects nearly all sound (0.9995 of the amplitude): those beams see nothing.",
     "Use more gel and press the whole face of the probe evenly on the skin.", "reflection at air (acoustics/); " OURS},
    {SL_RULE_MOVING, "moving", "probe moving over the skin", SL_GRADE_RESCAN, false,
     "When the wall moves under the probe, sliding cannot be told from the hand and lines cannot be counted.",
     "Rest the hand on the chest and hold the probe still for the whole clip.", PRACTICE "; " OURS},
    {SL_RULE_COMPOUNDING, "compounding", "spatial compounding", SL_GRADE_WEAK, true,
     "Pictures from several angles are averaged; vertical and horizontal artifacts go in different directions and fade.",
     "Switch spatial compounding off for the lung.", "compounding hides vertical artifacts: " KAMEDA "; " OURS},
    {SL_RULE_HARMONICS, "harmonics", "tissue harmonics", SL_GRADE_NOTE, true,
     "The second harmonic suppresses reverberation, and A- and B-lines are reverberation.",
     "Switch harmonics off for the lung.", "no harmonics: " CONSENSUS},
    {SL_RULE_PERSISTENCE, "persistence", "frames averaged over time", SL_GRADE_WEAK, true,
     "Averaging over frames blurs sliding and the flicker of B-lines.",
     "Switch persistence off or to its lowest step.",
     "no smoothing of speckle: " CONSENSUS "; correlation of successive changes of white noise is -1/2 and 0 (statistics)"},
    {SL_RULE_ORIENTATION, "orientation", "orientation mark on the right", SL_GRADE_NOTE, false,
     "The mark belongs to the patient's head and is shown upper left; turned round, head and foot are mistaken.",
     "Turn the probe round, or the picture, so that the mark is upper left.", "mark to the head, shown upper left: " PRACTICE},
    {SL_RULE_STILL, "still", "a single picture", SL_GRADE_RESCAN, false,
     "Sliding, pulse and the movement of B-lines cannot be seen in a still.",
     "Record a clip of six seconds or more.", PRACTICE},
    {SL_RULE_LENGTH, "length", "clip too short", SL_GRADE_WEAK, false,
     "A breath takes three to five seconds; six-second clips show more B-lines than four-second ones, those more than "
     "two-second ones.",
     "Record at least six seconds, and at least one whole breath.",
     "Platz et al., Am J Emerg Med 2015;33:1552, 10.1016/j.ajem.2015.06.002; six seconds: " PRACTICE},
    {SL_RULE_FRAME_RATE, "frame-rate", "frame rate low for sliding", SL_GRADE_WEAK, false,
     "Between two pictures the lung slides further than the beam is wide, so movement jumps instead of gliding.",
     "Raise the frame rate: less depth, fewer lines or foci, no compounding.",
     "sliding of 10 mm in a breath of 3 s against the beam's width (acoustics/planner)"},
    {SL_RULE_SPACING, "spacing", "A-lines do not fit the pleural depth", SL_GRADE_NOTE, false,
     "Reverberation repeats the pleura at whole multiples of its distance from the probe's face; where it does not, the "
     "scale, the cropping or the reading is wrong.",
     "Check the stated depth and whether the top of the picture is cut off; measure again before using millimetres.",
     "repeat k lies at k times the distance (acoustics/reverb.h); 5 % of the spacing"},
    {SL_RULE_OUTPUT, "output", "mechanical index above 0.4", SL_GRADE_NOTE, false,
     "In animals capillary bleeding of the lung begins near a mechanical index of 0.4; no harm in people is shown.",
     "Start at or below 0.4 and raise it only if needed.",
     "AIUM 2023, 10.1002/jum.16314; best practice 2023, 10.1055/a-1978-5575"},
    {SL_RULE_UNREADABLE, "unreadable", "could not be read", SL_GRADE_RESCAN, false,
     "Nothing of this clip enters the examination.", "Export the clip again, or record it again.", "this program"},
    {SL_RULE_ZONE_MISSING, "zone-missing", "zone not scanned", SL_GRADE_RESCAN, false,
     "What was not looked at cannot be excluded, and the total stays open.", "Scan this zone, or write why it cannot be.",
     "the scheme of zones chosen"},
    {SL_RULE_ZONE_TWICE, "zone-twice", "zone scanned more than once", SL_GRADE_NOTE, false,
     "The worst clip decides the score; a second clip may belong to another zone.",
     "Check that each clip is named for the zone it shows.", PRACTICE},
    {SL_RULE_ZONE_UNNAMED, "zone-unnamed", "clip without a zone", SL_GRADE_WEAK, false,
     "A clip without its place counts for nothing in scores and comparison.",
     "Name the zone in exam.csv or in the file's name.",
     "labels stood on 83.5 % of saved images: The Ultrasound Journal 2022, 10.1186/s13089-022-00267-5"},
    {SL_RULE_SIDE_DISAGREES, "side-disagrees", "side stated twice, differently", SL_GRADE_RESCAN, false,
     "Two statements of the side cannot both be right; a wrong side can lead a needle.",
     "Settle which side it is and correct the file's name or its attributes.", "this program"},
    {SL_RULE_ORGAN_SIDE, "organ-side", "organ on the other side", SL_GRADE_RESCAN, true,
     "The heart beside the lung belongs to the left chest; liver and spleen have their sides.",
     "Check the side the clip is named for.", PRACTICE},
    {SL_RULE_SAME_CLIP, "same-clip", "one recording for two zones", SL_GRADE_RESCAN, false,
     "One recording can show one zone only; the other was not looked at, and the sum is wrong.",
     "Find out which zone it shows, and scan the other.", "the files' content, by hash"},
    {SL_RULE_QUESTION, "question", "no clinical question stated", SL_GRADE_NOTE, false,
     "Without the question no one can say whether the examination answers it.",
     "Write the question into exam-info.json.",
     "stated in 75.7 % of records: The Ultrasound Journal 2022, 10.1186/s13089-022-00267-5"},
};

const sl_audit_rule *sl_audit_rule_of(sl_rule_id id)
{
    return (unsigned)id < SL_RULES_COUNT ? &rules[id] : NULL;
}

const sl_audit_rule *sl_audit_rule_by_key(const char *key)
{
    for (int i = 0; key && i < SL_RULES_COUNT; i++)
        if (!strcmp(rules[i].key, key))
            return &rules[i];
    return NULL;
}

const char *sl_grade_name(sl_grade grade)
{
    static const char *const names[SL_GRADES] = {"note", "worth correcting", "scan again"};
    return (unsigned)grade < SL_GRADES ? names[grade] : "";
}
