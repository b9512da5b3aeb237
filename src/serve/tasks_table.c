#include "serve/tasks.h"

/* Chests are those of scenarios/; the wrong settings are of our own making. */
static const sl_task tasks[] = {
    {"dark", "b-three", "R-upper-anterior", "You look for B-lines at the right upper chest. The picture is nearly black.", SL_RULE_GAIN_LOW,
     {{"controls.gain_db", -22}}},
    {"glare", "a-lines", "L-upper-anterior", "You look for A-lines at the left upper chest. Everything is white.", SL_RULE_GAIN_HIGH,
     {{"controls.gain_db", 22}}},
    {"far-away", "a-lines", "R-upper-anterior", "You want to count B-lines at the right upper chest. What you look at fills a small part of the picture.",
     SL_RULE_DEPTH_DEEP, {{"controls.depth_mm", 220}}},
    {"cut-off", "effusion-lung-collapsed", "R-basal-lateral", "You look for fluid at the right base. The picture ends before what you look for does.",
     SL_RULE_DEPTH_SHALLOW, {{"controls.depth_mm", 60}, {"controls.focus_mm", 30}}},
    {"smeared", "b-three", "L-lower-anterior", "You count B-lines at the left lower chest. The pleura looks smeared sideways.", SL_RULE_FOCUS_OFF,
     {{"controls.focus_mm", 115}}},
    {"lost-on-the-way", "effusion-lung-collapsed", "L-basal-lateral", "You look for fluid and the spine at the left base. The depth is dark however far you turn the gain.",
     SL_RULE_FREQUENCY_HIGH, {{"probe.freq_mhz", 10}}},
    {"harsh", "a-lines", "R-lower-anterior", "You look at the right lower chest. Only black and white are left; faint lines may be cut off.",
     SL_RULE_RANGE_LOW, {{"controls.dynamic_range_db", 30}}},
    {"slanted", "a-lines", "L-upper-anterior", "You see no A-lines at the left upper chest of a healthy volunteer (invented).", SL_RULE_TILTED,
     {{"wall.tilt_deg", 15}}},
    {"jumping", "sliding-small", "L-upper-anterior", "You look for sliding at the left upper chest. The picture moves in jumps.", SL_RULE_FRAME_RATE,
     {{"controls.frame_rate_hz", 5}}},
    {"two-things", "b-three", "R-lower-anterior", "You look for B-lines at the right lower chest. More than one thing is not as it should be.",
     SL_RULE_GAIN_HIGH, {{"controls.gain_db", 20}, {"controls.depth_mm", 210}}},
};

const sl_task *sl_tasks(int *count)
{
    *count = (int)(sizeof tasks / sizeof *tasks);
    return tasks;
}

bool sl_task_rule_counts(sl_rule_id rule)
{
    static const sl_rule_id counts[] = {
        SL_RULE_DEPTH_SHALLOW, SL_RULE_DEPTH_DEEP, SL_RULE_FREQUENCY_HIGH, SL_RULE_FREQUENCY_LOW, SL_RULE_FOCUS_OFF, SL_RULE_GAIN_HIGH,
        SL_RULE_GAIN_LOW, SL_RULE_NEAR_BRIGHT, SL_RULE_FAR_EMPTY, SL_RULE_RANGE_LOW, SL_RULE_RANGE_HIGH, SL_RULE_TILTED,
        SL_RULE_PLEURA_UNSEEN, SL_RULE_NO_LUNG, SL_RULE_COMPOUNDING, SL_RULE_PERSISTENCE, SL_RULE_FRAME_RATE, SL_RULE_UNREADABLE};
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++)
        if (counts[i] == rule)
            return true;
    return false;
}
