#include "chest/scenario_table.h"

static const char *const probe_names[] = {"convex", "linear", "phased", NULL};
static const char *const map_names[] = {"linear", "soft", "hard", NULL};
static const char *const fluid_names[] = {"simple", "particles", "septated", NULL};
static const char *const broncho_names[] = {"none", "air", "air_moving", "fluid", NULL};
static const char *const organ_names[] = {"none", "liver", "spleen", NULL};

#define REAL(type, member, low, high, meaning) {#member, offsetof(type, member), SL_FIELD_REAL, low, high, NULL, meaning}
#define INT(type, member, low, high, meaning) {#member, offsetof(type, member), SL_FIELD_INT, low, high, NULL, meaning}
#define BOOL(type, member, meaning) {#member, offsetof(type, member), SL_FIELD_BOOL, 0, 1, NULL, meaning}
#define CHOICE(type, member, names, meaning) {#member, offsetof(type, member), SL_FIELD_CHOICE, 0, 0, names, meaning}

static const sl_field scenario_fields[] = {
    INT(sl_scenario, grade, 1, 3, "difficulty: 1 plain, 2 usual, 3 hard"),
    REAL(sl_scenario, seed, 0, 9007199254740992.0, "of everything that is by chance; a whole number"),
};

static const sl_field probe_fields[] = {
    CHOICE(sl_probe, kind, probe_names, "shape of the probe; the other fields default by it"),
    REAL(sl_probe, freq_mhz, 1, 18, "centre frequency transmitted, MHz"),
    REAL(sl_probe, bandwidth, 0.2, 0.9, "two-way -6 dB width over the centre frequency"),
    REAL(sl_probe, radius_mm, 0, 120, "radius of curvature (convex); of the virtual apex behind the face (phased), mm"),
    REAL(sl_probe, field_deg, 0, 110, "angle between the first and the last beam (convex, phased), degrees"),
    REAL(sl_probe, width_mm, 0, 120, "distance between the first and the last beam (linear), mm"),
    REAL(sl_probe, aperture_mm, 4, 60, "largest active aperture, mm"),
    REAL(sl_probe, fnumber, 0.8, 8, "smallest receiving F-number"),
    REAL(sl_probe, slice_mm, 0.5, 12, "slice thickness, -6 dB, mm"),
    REAL(sl_probe, face_reflection, 0, 0.9, "amplitude that the probe's face reflects of a returning echo"),
    REAL(sl_probe, clutter_db, -90, -15, "what leaks in from other directions against the beam itself, dB"),
};

static const sl_field controls_fields[] = {
    REAL(sl_controls, depth_mm, 20, 300, "imaged depth from the probe's face, mm"),
    REAL(sl_controls, crop_top_mm, 0, 60, "what the picture leaves out below the face, mm"),
    REAL(sl_controls, focus_mm, 5, 250, "transmit focus, mm"),
    REAL(sl_controls, gain_db, -40, 40, "overall gain, dB"),
    REAL(sl_controls, depth_gain_db_cm, -4, 4, "added to the automatic depth gain, dB per cm"),
    REAL(sl_controls, dynamic_range_db, 30, 110, "range shown from black to white, dB"),
    CHOICE(sl_controls, grey_map, map_names, "from dB to grey"),
    INT(sl_controls, beams, 16, 512, "lines a picture"),
    INT(sl_controls, parallel_beams, 1, 32, "lines received from one transmission"),
    REAL(sl_controls, frame_rate_hz, 1, 200, "pictures a second"),
    REAL(sl_controls, duration_s, 0.04, 60, "length of the clip, s"),
    INT(sl_controls, compound_angles, 1, 9, "steering angles averaged into a picture; 1 = off"),
    REAL(sl_controls, compound_step_deg, 1, 15, "between neighbouring steering angles, degrees"),
    BOOL(sl_controls, harmonics, "picture from the second harmonic"),
    INT(sl_controls, persistence_frames, 1, 8, "pictures averaged over time; 1 = off"),
    BOOL(sl_controls, mirrored, "orientation mark on the picture's right"),
    INT(sl_controls, picture_height, 64, 1200, "pixels"),
    BOOL(sl_controls, ruler, "centimetre marks at the picture's right edge"),
};

static const sl_field wall_fields[] = {
    REAL(sl_wall, skin_mm, 0.5, 6, "skin, mm"),
    REAL(sl_wall, fat_mm, 0, 80, "fat under the skin, mm"),
    REAL(sl_wall, muscle_mm, 3, 60, "muscle down to the pleura, mm"),
    INT(sl_wall, fascias, 0, 24, "bright layers in fat and muscle"),
    REAL(sl_wall, texture, 0, 2, "unevenness of the wall's scatterers: 0 even, 1 as in people"),
    REAL(sl_wall, conform, 0, 1, "0: the pleura is flat; 1: it follows the probe's face"),
    REAL(sl_wall, tilt_deg, -30, 30, "tilt of the pleura against the probe's face, degrees"),
    REAL(sl_wall, bow_mm, -15, 15, "how much deeper the pleura lies at the picture's sides, mm"),
    REAL(sl_wall, lost_left, 0, 0.45, "share of the beams on the left without contact"),
    REAL(sl_wall, lost_right, 0, 0.45, "share of the beams on the right without contact"),
    REAL(sl_wall, backscatter_db, -20, 20, "added to the backscatter of the wall, dB"),
};

static const sl_field rib_fields[] = {
    REAL(sl_rib, x_mm, -150, 150, "middle of the rib, mm along the pleura from the picture's middle"),
    REAL(sl_rib, depth_mm, 0, 120, "top of the rib below the probe's face, mm"),
    REAL(sl_rib, width_mm, 4, 30, "width of the rib's section, mm"),
    REAL(sl_rib, height_mm, 3, 15, "height of the rib's section, mm"),
    BOOL(sl_rib, cartilage, "costal cartilage instead of bone"),
};

static const sl_field motion_fields[] = {
    REAL(sl_motion, breaths_per_min, 0, 80, "breathing rate; 0 = no breath"),
    BOOL(sl_motion, ventilated, "breath given by a machine: short rise, passive fall"),
    BOOL(sl_motion, sniff, "short breaths in through the nose"),
    REAL(sl_motion, sliding_mm, 0, 60, "sliding of the lung in the picture's plane, peak to peak, mm"),
    REAL(sl_motion, sliding_lag, -0.5, 0.5, "share of a breath by which the lung's sliding comes after the chest's movement"),
    REAL(sl_motion, through_mm, 0, 20, "sliding through the plane, peak to peak, mm"),
    REAL(sl_motion, pleura_rise_mm, -5, 5, "how much nearer the pleura comes in expiration, mm"),
    REAL(sl_motion, rib_glide_mm, 0, 15, "glide of the ribs under the skin in a breath, mm"),
    REAL(sl_motion, beats_per_min, 0, 250, "heart rate; 0 = no beat reaches the lung"),
    REAL(sl_motion, pulse_mm, 0, 4, "movement that a beat gives to the lung, mm"),
    REAL(sl_motion, sway_mm, 0, 10, "unsteady hand: rms sideways path of the probe, mm"),
};

static const sl_field lung_fields[] = {
    REAL(sl_lung, haze_db, -80, -5, "sound scattered many times in the outer alveoli, dB against a perfect mirror"),
    REAL(sl_lung, haze_decay_db_cm, 0, 60, "its decay with depth before depth gain, dB per cm"),
    REAL(sl_lung, roughness, 0, 1, "of the pleura: 0 smooth, 1 ragged"),
    REAL(sl_lung, interstitial_per_cm, 0, 20, "sources of vertical artifacts per cm of pleura, by chance"),
    REAL(sl_lung, interstitial_spread, 0, 1, "how unlike these are in strength and ring"),
    REAL(sl_lung, interstitial_from_mm, -300, 300, "where along the pleura they begin, mm"),
    REAL(sl_lung, interstitial_to_mm, -300, 300, "where they end, mm"),
    REAL(sl_lung, interstitial_db, -60, 0, "their strength at the pleura against a perfect mirror, dB"),
    REAL(sl_lung, interstitial_q, 10, 5000, "quality of their ring"),
};

static const sl_field trap_fields[] = {
    REAL(sl_trap, x_mm, -300, 300, "place along the pleura, mm"),
    REAL(sl_trap, y_mm, -20, 20, "place through the picture's plane, mm"),
    REAL(sl_trap, strength_db, -60, 0, "of the ring-down at the pleura against a perfect mirror, dB"),
    REAL(sl_trap, size_mm, 0.05, 5, "largest inner length, mm: it rings at whole multiples of c / (2 size)"),
    REAL(sl_trap, q, 10, 5000, "quality: how long it rings"),
};

static const sl_field consolidation_fields[] = {
    REAL(sl_consolidation, x_mm, -200, 200, "middle along the pleura, mm"),
    REAL(sl_consolidation, width_mm, 1, 400, "width along the pleura, mm"),
    REAL(sl_consolidation, depth_mm, 1, 150, "depth below the pleura, mm"),
    REAL(sl_consolidation, shred, 0, 1, "raggedness of the deep border: 0 regular, 1 torn"),
    CHOICE(sl_consolidation, bronchogram, broncho_names, "what the bronchi in it hold"),
    REAL(sl_consolidation, bronchogram_move_mm, 0, 10, "travel of the air in a breath, mm"),
};

static const sl_field effusion_fields[] = {
    REAL(sl_effusion, depth_mm, 0, 120, "fluid between the pleurae at mid breath, mm; 0 = none"),
    REAL(sl_effusion, swing_mm, 0, 40, "change of that in a breath, peak to peak, mm"),
    CHOICE(sl_effusion, kind, fluid_names, "what is in the fluid"),
    BOOL(sl_effusion, solid_lung, "the lung behind is collapsed instead of aerated"),
    REAL(sl_effusion, lung_mm, 3, 80, "thickness of that collapsed lung, mm"),
};

static const sl_field pneumothorax_fields[] = {
    BOOL(sl_pneumothorax, present, "air between the pleurae"),
    REAL(sl_pneumothorax, edge_mm, -200, 200, "the lung touches the wall to the left of it, mm along the pleura"),
    REAL(sl_pneumothorax, swing_mm, 0, 40, "travel of the edge in a breath, mm"),
};

static const sl_field base_fields[] = {
    CHOICE(sl_base, organ, organ_names, "organ below the diaphragm; none = the base is not in the picture"),
    REAL(sl_base, edge_mm, -150, 150, "where the lung ends along the wall at mid breath, mm"),
    REAL(sl_base, swing_mm, -60, 60, "travel of that in a breath, mm; negative = paradoxical"),
    REAL(sl_base, dome_mm, 5, 150, "depth of the diaphragm's dome below the wall, mm"),
    REAL(sl_base, dome_width_mm, 5, 200, "over what width it gets there, mm"),
    REAL(sl_base, spine_mm, 0, 250, "depth of the spine, mm; 0 = none"),
};

static const sl_field diaphragm_fields[] = {
    REAL(sl_diaphragm, dome_mm, 0, 280, "looked at from below through the organ: depth of its dome in the middle at the end of expiration, mm; 0 = not"),
    REAL(sl_diaphragm, excursion_mm, -60, 150, "its travel towards the probe in inspiration, mm; negative = paradoxical"),
    REAL(sl_diaphragm, radius_mm, 30, 400, "radius of that dome, mm"),
    REAL(sl_diaphragm, aside_mm, -80, 80, "how far the dome's middle lies to the right of the picture's, mm"),
    REAL(sl_diaphragm, thickness_mm, 0, 12, "where it lies on the wall: its thickness at the end of expiration, mm; 0 = thin, nothing seen in it"),
    REAL(sl_diaphragm, thickening, -0.9, 3, "by what share of that it is thicker at the end of inspiration"),
};

static const sl_field heart_fields[] = {
    BOOL(sl_heart_beside, present, "the heart lies beside the lung"),
    REAL(sl_heart_beside, edge_mm, -150, 150, "heart to the right of it, mm along the pleura"),
    REAL(sl_heart_beside, depth_mm, 0, 60, "pericardium below the pleura, mm"),
};

#define FIELDS(list) list, (int)(sizeof list / sizeof list[0])

const sl_group sl_scenario_groups[] = {
    {"", 0, 0, 0, 0, FIELDS(scenario_fields), ""},
    {"probe", offsetof(sl_scenario, probe), 0, 0, 0, FIELDS(probe_fields), "the probe"},
    {"controls", offsetof(sl_scenario, controls), 0, 0, 0, FIELDS(controls_fields), "the scanner's controls"},
    {"wall", offsetof(sl_scenario, wall), 0, 0, 0, FIELDS(wall_fields), "the chest wall"},
    {"ribs", offsetof(sl_scenario, rib), sizeof(sl_rib), offsetof(sl_scenario, ribs), SL_MOST_RIBS, FIELDS(rib_fields),
     "ribs in the picture"},
    {"motion", offsetof(sl_scenario, motion), 0, 0, 0, FIELDS(motion_fields), "breath, heart and hand"},
    {"lung", offsetof(sl_scenario, lung), 0, 0, 0, FIELDS(lung_fields), "the lung behind the pleura"},
    {"traps", offsetof(sl_scenario, lung.trap), sizeof(sl_trap), offsetof(sl_scenario, lung.traps), SL_MOST_TRAPS,
     FIELDS(trap_fields), "single sources of vertical artifacts on the visceral pleura"},
    {"consolidations", offsetof(sl_scenario, consolidation), sizeof(sl_consolidation),
     offsetof(sl_scenario, consolidations), SL_MOST_CONSOLIDATIONS, FIELDS(consolidation_fields), "airless lung"},
    {"effusion", offsetof(sl_scenario, effusion), 0, 0, 0, FIELDS(effusion_fields), "fluid"},
    {"pneumothorax", offsetof(sl_scenario, pneumothorax), 0, 0, 0, FIELDS(pneumothorax_fields), "air"},
    {"base", offsetof(sl_scenario, base), 0, 0, 0, FIELDS(base_fields), "the base of the chest"},
    {"diaphragm", offsetof(sl_scenario, diaphragm), 0, 0, 0, FIELDS(diaphragm_fields), "the diaphragm, beyond what base says of it"},
    {"heart", offsetof(sl_scenario, heart), 0, 0, 0, FIELDS(heart_fields), "the heart beside the lung"},
};
const int sl_scenario_group_count = (int)(sizeof sl_scenario_groups / sizeof sl_scenario_groups[0]);
