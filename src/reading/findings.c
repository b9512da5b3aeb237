/* What can be found, one row each. Comparison, overlay, store, report and export take a finding from its row, so a
 * new sign is a detector and a row here. */
#include "reading/reading.h"

#include <stddef.h>
#include <string.h>

/* CONS12: Volpicelli et al., Intensive Care Med 2012;38:577, doi 10.1007/s00134-012-2513-4. */
static const sl_finding_info rows[SL_CODES] = {
    [SL_PLEURA_DEPTH] = {SL_PLEURA_DEPTH, "pleura_depth", "Pleural depth", "share of the imaged depth", SL_KIND_AMOUNT,
                         0, 1, 3, "median over the beams between the ribs; bright line under the ribs (CONS12)"},
    [SL_PLEURA_DEPTH_MM] = {SL_PLEURA_DEPTH_MM, "pleura_depth_mm", "Pleural depth", "mm", SL_KIND_AMOUNT, 0, 200, 1,
                            "the same in mm from the near edge; only with a known scale"},
    [SL_RIB_SHARE] = {SL_RIB_SHARE, "rib_share", "Beams lost to ribs or contact", "share of the beams",
                      SL_KIND_AMOUNT, 0, 1, 2, "beams in rib shadow or without contact"},
    [SL_A_LINES] = {SL_A_LINES, "a_lines", "A-lines", "", SL_KIND_ANSWER, 0, 1, 2,
                    "repeats of the pleural line at equal spacing (CONS12); the index rises with how surely they are "
                    "seen"},
    [SL_A_LINE_COUNT] = {SL_A_LINE_COUNT, "a_line_count", "A-line count", "", SL_KIND_COUNT, 0, 20, 0,
                         "repeats seen below the pleural line"},
    [SL_A_LINE_SPACING] = {SL_A_LINE_SPACING, "a_line_spacing", "A-line spacing",
                           "pleural depths where the probe's face is seen, else share of the imaged depth",
                           SL_KIND_AMOUNT, 0, 2, 3,
                           "k-th repeat at k times the depth from the probe's face to the pleura (reverberation "
                           "geometry)"},
    [SL_B_LINES] = {SL_B_LINES, "b_lines", "B-lines", "", SL_KIND_ANSWER, 0, 1, 2,
                    "vertical artifacts from the pleural line to the far edge without fading, moving with it, erasing "
                    "A-lines (CONS12)"},
    [SL_B_LINE_COUNT] = {SL_B_LINE_COUNT, "b_line_count", "B-line count", "", SL_KIND_COUNT, 0, 40, 0,
                         "the most in one frame within the space between the ribs"},
    [SL_B_LINE_COVERAGE] = {SL_B_LINE_COVERAGE, "b_line_coverage", "B-line coverage", "share of the pleural width",
                            SL_KIND_AMOUNT, 0, 1, 2,
                            "largest share of the pleural width in one frame (Mongodi et al., Anesthesiology "
                            "2021;134:949, doi 10.1097/ALN.0000000000003757)"},
    [SL_WHITE_LUNG] = {SL_WHITE_LUNG, "white_lung", "White lung", "", SL_KIND_ANSWER, 0, 1, 2,
                       "B-lines merged over the whole space between the ribs"},
    [SL_SCORE] = {SL_SCORE, "score", "Score", "0 to 3", SL_KIND_ORDERED, 0, 3, 0,
                  "four levels: 0 even pleura with A-lines, 1 dented with single B-lines, 2 broken with small "
                  "consolidations, 3 white lung or large consolidation (Soldati et al., J Ultrasound Med "
                  "2020;39:1413, doi 10.1002/jum.15285)"},
    [SL_SLIDING] = {SL_SLIDING, "sliding", "Lung sliding", "", SL_KIND_ANSWER, 0, 1, 2,
                    "to-and-fro movement at the pleural line with breathing (CONS12)"},
    [SL_SLIDING_AMPLITUDE] = {SL_SLIDING_AMPLITUDE, "sliding_amplitude", "Sliding amplitude", "share of the width",
                              SL_KIND_AMOUNT, 0, 1, 3, "largest excursion of the lung against the wall in a breath"},
    [SL_LUNG_PULSE] = {SL_LUNG_PULSE, "lung_pulse", "Lung pulse", "", SL_KIND_ANSWER, 0, 1, 2,
                       "movement of the pleural line at the heart's rate without sliding (CONS12)"},
    [SL_LUNG_POINT] = {SL_LUNG_POINT, "lung_point", "Lung point", "", SL_KIND_ANSWER, 0, 1, 2,
                       "sliding and its absence alternate at one place with breathing (CONS12)"},
    [SL_EFFUSION] = {SL_EFFUSION, "effusion", "Pleural effusion", "", SL_KIND_ANSWER, 0, 1, 2,
                     "fluid between chest wall and lung (CONS12)"},
    [SL_EFFUSION_DEPTH] = {SL_EFFUSION_DEPTH, "effusion_depth_mm", "Effusion depth", "mm", SL_KIND_AMOUNT, 0, 300, 0,
                           "largest distance between the pleural layers"},
    [SL_CONSOLIDATION] = {SL_CONSOLIDATION, "consolidation", "Consolidation", "", SL_KIND_ANSWER, 0, 1, 2,
                          "echo-poor or tissue-like region below the pleura (CONS12)"},
    [SL_CONSOLIDATION_EXTENT] = {SL_CONSOLIDATION_EXTENT, "consolidation_extent_mm", "Consolidation depth", "mm",
                                 SL_KIND_AMOUNT, 0, 300, 0, "largest depth below the pleural line"},
    [SL_PLEURA_IRREGULAR] = {SL_PLEURA_IRREGULAR, "pleura_irregular", "Irregular pleura", "", SL_KIND_ANSWER, 0, 1, 2,
                             "pleural line dented or broken (Soldati et al. 2020, as above)"},
    [SL_CURTAIN] = {SL_CURTAIN, "curtain", "Curtain", "", SL_KIND_ANSWER, 0, 1, 2,
                    "aerated lung comes down over the upper abdominal organs on breathing in"},
    [SL_ORGAN] = {SL_ORGAN, "organ", "Organ or heart in the picture", "", SL_KIND_ANSWER, 0, 1, 2,
                  "liver, spleen or kidney below the diaphragm, or the heart; which one is for the reader to tell"},
    [SL_HEART_RATE] = {SL_HEART_RATE, "heart_rate", "Heart rate", "beats a minute", SL_KIND_AMOUNT, 0, 250, 0,
                       "from the movement of the heart in the picture"},
    [SL_BREATHING_RATE] = {SL_BREATHING_RATE, "breathing_rate", "Breathing rate", "breaths a minute", SL_KIND_AMOUNT,
                           0, 120, 0, "from the movement of the lung against the wall"},
    [SL_SLIDING_AMPLITUDE_MM] = {SL_SLIDING_AMPLITUDE_MM, "sliding_amplitude_mm", "Sliding amplitude", "mm",
                                 SL_KIND_AMOUNT, 0, 100, 1,
                                 "the same in mm along the pleural line; only with a known scale"},
    [SL_SLIDING_SPEED] = {SL_SLIDING_SPEED, "sliding_speed_mm_s", "Sliding speed", "mm/s", SL_KIND_AMOUNT, 0, 500, 1,
                          "fastest movement of the lung against the wall; only with a known scale and times"},
    [SL_SLIDING_PHASE] = {SL_SLIDING_PHASE, "sliding_phase", "Phase of sliding with breathing", "degrees", SL_KIND_AMOUNT, -360, 360, 0,
                          "by how much the lung's movement to the right of the picture comes after the pleura's towards the depth, or the wall's to the "
                          "right; half a breath is 180; a probe held the other way round adds 180"},
    [SL_LUNG_POINT_TRAVEL] = {SL_LUNG_POINT_TRAVEL, "lung_point_travel_mm", "Travel of the lung point", "mm",
                              SL_KIND_AMOUNT, 0, 100, 1,
                              "how far the place where sliding meets none moves with breathing; only with a known scale"},
    [SL_PLEURA_THICKNESS] = {SL_PLEURA_THICKNESS, "pleura_thickness_mm", "Thickness of the pleural line", "mm", SL_KIND_AMOUNT,
                             0, 30, 1, "full width at half height as displayed; only with a known scale"},
    [SL_PLEURA_ROUGHNESS] = {SL_PLEURA_ROUGHNESS, "pleura_roughness_mm", "Roughness of the pleural line", "mm", SL_KIND_AMOUNT,
                             0, 10, 2, "standard deviation of its brightest row about its smooth course; only with a known scale"},
    [SL_PLEURA_BROKEN] = {SL_PLEURA_BROKEN, "pleura_broken", "Pleural line interrupted", "share of the pleural width",
                          SL_KIND_AMOUNT, 0, 1, 2, "where it is fainter than 0.45 of its own brightness nearby"},
    [SL_SUBPLEURAL_SPOTS] = {SL_SUBPLEURAL_SPOTS, "subpleural_spots", "Small echo-poor spots below the pleura", "", SL_KIND_COUNT, 0, 40, 0,
                             "dark against their row, with bright lung below them again"},
    [SL_TRACE_TEXTURE] = {SL_TRACE_TEXTURE, "trace_texture", "Texture of the motion trace", "below over above the pleura", SL_KIND_AMOUNT,
                          0, 100, 2, "change from moment to moment below the line against above it: about 1 layered, more granular"},
    [SL_PLEURA_BUMPS] = {SL_PLEURA_BUMPS, "pleura_bumps", "Bumps of the pleural line", "", SL_KIND_COUNT, 0, 60, 0,
                         "places in one frame that stand out from its course by 2.5 rows"},
    [SL_CURTAIN_TRAVEL] = {SL_CURTAIN_TRAVEL, "curtain_travel_mm", "Travel of the curtain", "mm", SL_KIND_AMOUNT, 0, 200, 0,
                           "how far the lung's edge comes over the organ along the wall; only with a known scale"},
    [SL_DIAPHRAGM] = {SL_DIAPHRAGM, "diaphragm", "Diaphragm's dome", "", SL_KIND_ANSWER, 0, 1, 2,
                      "a bright curved line deep to an organ that moves along the beams together with it (Boussuges et al., Chest "
                      "2009;135:391, doi 10.1378/chest.08-1541)"},
    [SL_DIAPHRAGM_EXCURSION] = {SL_DIAPHRAGM_EXCURSION, "diaphragm_excursion_mm", "Excursion of the diaphragm", "mm", SL_KIND_AMOUNT,
                                0, 200, 1, "travel of its dome along the beam in a breath (Boussuges et al. 2009, as above)"},
    [SL_DIAPHRAGM_SPEED] = {SL_DIAPHRAGM_SPEED, "diaphragm_speed_mm_s", "Speed of the diaphragm", "mm/s", SL_KIND_AMOUNT, 0, 1000, 0,
                            "mean speed of its dome from the end of expiration to the end of inspiration"},
    [SL_DIAPHRAGM_THICKNESS] = {SL_DIAPHRAGM_THICKNESS, "diaphragm_thickness_mm", "Thickness of the diaphragm, end of expiration", "mm",
                                SL_KIND_AMOUNT, 0, 20, 2, "between the middles of the pleural and the peritoneal line where it lies on "
                                "the wall"},
    [SL_DIAPHRAGM_THICKNESS_IN] = {SL_DIAPHRAGM_THICKNESS_IN, "diaphragm_thickness_inspired_mm",
                                   "Thickness of the diaphragm, end of inspiration", "mm", SL_KIND_AMOUNT, 0, 30, 2, "as above"},
    [SL_DIAPHRAGM_THICKENING] = {SL_DIAPHRAGM_THICKENING, "diaphragm_thickening", "Thickening of the diaphragm", "%",
                                 SL_KIND_AMOUNT, -100, 500, 0, "100 (end of inspiration - end of expiration) / end of expiration "
                                 "(Ferrari et al., Crit Ultrasound J 2014;6:8, doi 10.1186/2036-7902-6-8)"},
    [SL_EFFUSION_BASE] = {SL_EFFUSION_BASE, "effusion_base_mm", "Depth of the effusion at the base", "mm", SL_KIND_AMOUNT, 0, 300, 1,
                          "distance between the pleural layers just above the diaphragm; only with a known scale and the diaphragm in the picture"},
    [SL_EFFUSION_SWING] = {SL_EFFUSION_SWING, "effusion_swing_mm", "Change of the effusion with breathing", "mm", SL_KIND_AMOUNT, 0, 100, 1,
                           "how far the median distance between the pleural layers changes over the clip"},
    [SL_EFFUSION_SEPTA] = {SL_EFFUSION_SEPTA, "effusion_septa", "Septa in the effusion", "", SL_KIND_ANSWER, 0, 1, 2,
                           "thin bright lines that cross the fluid with fluid on both sides (common practice, no source)"},
    [SL_EFFUSION_SEPTA_COUNT] = {SL_EFFUSION_SEPTA_COUNT, "effusion_septa_count", "Lines across the effusion", "", SL_KIND_COUNT, 0, 60, 0,
                                 "in a picture, median"},
    [SL_EFFUSION_PARTICLES] = {SL_EFFUSION_PARTICLES, "effusion_particles", "Echoes floating in the effusion", "", SL_KIND_ANSWER, 0, 1, 2,
                               "fluid filled with grey that moves (common practice, no source)"},
    [SL_EFFUSION_EVENNESS] = {SL_EFFUSION_EVENNESS, "effusion_evenness", "Evenness of the effusion", "", SL_KIND_AMOUNT, 0, 1, 2,
                              "1 / (1 + squared coefficient of variation of its mean grey)"},
    [SL_CONSOLIDATION_WIDTH] = {SL_CONSOLIDATION_WIDTH, "consolidation_width_mm", "Consolidation width", "mm", SL_KIND_AMOUNT, 0, 400, 0,
                                "across the beams, over which its deep border is seen"},
    [SL_CONSOLIDATION_AREA] = {SL_CONSOLIDATION_AREA, "consolidation_area", "Consolidation area", "cm2", SL_KIND_AMOUNT, 0, 600, 1,
                               "mean depth times width"},
    [SL_CONSOLIDATION_TORN] = {SL_CONSOLIDATION_TORN, "consolidation_border_mm", "Irregularity of the deep border", "mm", SL_KIND_AMOUNT,
                               0, 50, 1, "root mean square about its own course"},
    [SL_AIR_BRONCHOGRAM] = {SL_AIR_BRONCHOGRAM, "air_bronchogram", "Air bronchogram", "", SL_KIND_ANSWER, 0, 1, 2,
                            "bright points or branches within lung without air (CONS12)"},
    [SL_AIR_BRONCHOGRAM_MOVES] = {SL_AIR_BRONCHOGRAM_MOVES, "air_bronchogram_moving", "Moving air bronchogram", "", SL_KIND_ANSWER, 0, 1, 2,
                                  "it travels by more than 1 mm with breathing, against the tissue about it (Lichtenstein et al., Chest "
                                  "2009;135:1421, doi 10.1378/chest.08-2281)"},
    [SL_AIR_BRONCHOGRAM_TRAVEL] = {SL_AIR_BRONCHOGRAM_TRAVEL, "air_bronchogram_travel_mm", "Travel of the air bronchogram", "mm",
                                   SL_KIND_AMOUNT, 0, 50, 1, "median over its points, of their path against the tissue about them"},
    [SL_FLUID_BRONCHOGRAM] = {SL_FLUID_BRONCHOGRAM, "fluid_bronchogram", "Echo-free tubes in solid lung", "", SL_KIND_ANSWER, 0, 1, 2,
                              "fluid bronchogram, or a vessel, which looks the same in grey (common practice, no source)"},
    [SL_SPINE] = {SL_SPINE, "spine", "Spine above the diaphragm", "", SL_KIND_ANSWER, 0, 1, 2,
                  "vertebral bodies seen beyond the diaphragm: fluid or lung without air lets sound through (common practice, no source)"},
    [SL_MIRROR_IMAGE] = {SL_MIRROR_IMAGE, "mirror_image", "Mirror image beyond the diaphragm", "", SL_KIND_ANSWER, 0, 1, 2,
                         "the organ seen again beyond the diaphragm: aerated lung lies on it (common practice, no source)"},
    [SL_COLOUR_TOWARD] = {SL_COLOUR_TOWARD, "colour_toward", "Colour: flow towards the probe", "share of the colour box", SL_KIND_AMOUNT, 0, 1, 2,
                          "mean over the frames; red, unless the colour bar says otherwise (common practice, no source)"},
    [SL_COLOUR_AWAY] = {SL_COLOUR_AWAY, "colour_away", "Colour: flow away from the probe", "share of the colour box", SL_KIND_AMOUNT, 0, 1, 2,
                        "mean over the frames; blue, unless the colour bar says otherwise (common practice, no source)"},
    [SL_COLOUR_SCALE] = {SL_COLOUR_SCALE, "colour_scale_cm_s", "Speed at the colour bar's ends", "cm/s", SL_KIND_AMOUNT, 0, 300, 1,
                         "from the file's calibration (DICOM PS3.3 C.8.5.5) or the numbers beside the bar"},
    [SL_COLOUR_ALIASING] = {SL_COLOUR_ALIASING, "colour_aliasing", "Aliasing in colour", "", SL_KIND_ANSWER, 0, 1, 2,
                            "flow faster than c f_p / (4 f) turns over to the other colour (Kasai et al., IEEE Trans Sonics Ultrason "
                            "1985;32:458, doi 10.1109/T-SU.1985.31615)"},
    [SL_FLUID_COLOUR] = {SL_FLUID_COLOUR, "fluid_colour", "Moving fluid in colour", "", SL_KIND_ANSWER, 0, 1, 2,
                         "colour that fills an echo-free layer and goes to and fro (common practice, no source)"},
    [SL_VESSEL_COLOUR] = {SL_VESSEL_COLOUR, "vessel_colour", "Vessel in tissue, in colour", "", SL_KIND_ANSWER, 0, 1, 2,
                          "a narrow tube of steady direction in tissue (common practice, no source)"},
};

const sl_finding_info *sl_finding_info_of(sl_code code)
{
    return (unsigned)code < SL_CODES ? &rows[code] : NULL;
}

const sl_finding_info *sl_finding_info_by_key(const char *key)
{
    for (int i = 0; key && i < SL_CODES; i++)
        if (!strcmp(rows[i].key, key))
            return &rows[i];
    return NULL;
}
