/* readings.csv: one row a clip; a contract that outside scripts rely on. Columns may be added, never renamed. */
#include "report/report.h"

#include "core/file.h"
#include "core/text.h"
#include "core/units.h"
#include "report/words.h"

#include <stdio.h>

static const char header[] = "clip,zone,status,reason,frames,shape,pleura_found,pleura_depth_rel,pleura_depth_mm,"
                             "a_line_index,a_lines,b_line_index,b_lines,b_line_count,b_line_coverage,score,seconds,"
                             "path,a_line_count,rib_share,white_lung,scale,depth_mm,sliding_index,sliding,"
                             "sliding_amplitude_mm,lung_pulse_index,lung_pulse,lung_point_index,lung_point,"
                             "curtain_index,curtain,breathing_rate_per_min,effusion_index,effusion,"
                             "effusion_depth_mm,consolidation_index,consolidation,consolidation_extent_mm,"
                             "pleura_irregular_index,pleura_irregular,white_lung_index,organ_index,organ,"
                             "pleura_thickness_mm,pleura_roughness_mm,pleura_broken,subpleural_spots,"
                             "curtain_travel_mm,diaphragm_index,diaphragm,diaphragm_excursion_mm,diaphragm_speed_mm_s,heart_rate_per_min,"
                             "diaphragm_thickness_mm,diaphragm_thickness_inspired_mm,diaphragm_thickening,"
                             "effusion_swing_mm,effusion_septa_index,effusion_septa,effusion_septa_count,effusion_particles_index,"
                             "effusion_particles,effusion_evenness,consolidation_width_mm,consolidation_area_cm2,"
                             "consolidation_border_mm,air_bronchogram_index,air_bronchogram,air_bronchogram_moving_index,air_bronchogram_moving,"
                             "air_bronchogram_travel_mm,fluid_bronchogram_index,fluid_bronchogram,spine_index,spine,mirror_image_index,"
                             "mirror_image,colour_toward,colour_away,colour_scale_cm_s,colour_aliasing_index,colour_aliasing,fluid_colour_index,"
                             "fluid_colour,vessel_colour_index,vessel_colour,sliding_phase_deg,sliding_phase_low_deg,sliding_phase_high_deg,effusion_base_mm,"
                             "diaphragm_excursion_by_hand_mm,diaphragm_speed_by_hand_mm_s,diaphragm_thickness_by_hand_mm,"
                             "diaphragm_thickness_inspired_by_hand_mm,diaphragm_thickening_by_hand\n";

static void add_number(sl_text *text, double value, int decimals)
{
    char field[40] = "";
    if (sl_known(value))
        snprintf(field, sizeof field, "%.*f", decimals, value == 0 ? 0.0 : value);
    sl_csv_add(text, field, false);
}

static const sl_finding *get(const sl_exam_clip *clip, sl_code code)
{
    return clip->result.reading ? sl_reading_get(clip->result.reading, code) : NULL;
}

static void add_value(sl_text *text, const sl_exam_clip *clip, sl_code code, int decimals)
{
    const sl_finding *finding = get(clip, code);
    add_number(text, finding && finding->known ? finding->value : SL_UNKNOWN, decimals);
}

/* The index stands even where the answer is "uncertain": it is a number, not a statement. */
static void add_answer(sl_text *text, const sl_exam_clip *clip, sl_code code, bool with_index)
{
    const sl_finding *finding = get(clip, code);
    if (with_index)
        add_number(text, finding ? finding->value : SL_UNKNOWN, 4);
    sl_csv_add(text, !finding ? "" : sl_answer_name(finding->known ? finding->answer : SL_UNCERTAIN), false);
}

/* From borders that a hand set; the program's own stands in its own column. */
static void add_by_hand(sl_text *text, const sl_exam_clip *clip, sl_border_kind kind, sl_code code, int decimals)
{
    const sl_border_figures *figures = clip->by_hand[kind].figures;
    const sl_finding *finding = figures ? sl_reading_get(figures->reading, code) : NULL;
    add_number(text, finding && finding->known ? finding->value : SL_UNKNOWN, decimals);
}

static void add_row(sl_text *text, const sl_exam_clip *clip)
{
    const sl_clip_result *result = &clip->result;
    const sl_finding *pleura = get(clip, SL_PLEURA_DEPTH);
    sl_csv_add(text, clip->name, true);
    sl_csv_add(text, clip->zone ? clip->zone->key : "", false);
    sl_csv_add(text, sl_words_state(result->state), false);
    sl_csv_add(text, result->reason ? result->reason : "", false);
    add_number(text, result->frames, 0);
    sl_csv_add(text, result->view.shape == SL_SHAPE_UNKNOWN ? "" : sl_shape_name(result->view.shape), false);
    sl_csv_add(text, pleura && pleura->known ? "1" : "0", false);
    add_value(text, clip, SL_PLEURA_DEPTH, 4);
    add_value(text, clip, SL_PLEURA_DEPTH_MM, 2);
    add_answer(text, clip, SL_A_LINES, true);
    add_answer(text, clip, SL_B_LINES, true);
    add_value(text, clip, SL_B_LINE_COUNT, 0);
    add_value(text, clip, SL_B_LINE_COVERAGE, 4);
    add_value(text, clip, SL_SCORE, 0);
    add_number(text, result->seconds, 4);
    sl_csv_add(text, clip->where, false);
    add_value(text, clip, SL_A_LINE_COUNT, 0);
    add_value(text, clip, SL_RIB_SHARE, 4);
    add_answer(text, clip, SL_WHITE_LUNG, false);
    sl_csv_add(text, sl_scale_source_name(result->view.scale_source), false);
    add_number(text, result->state == SL_CLIP_READ ? sl_view_depth_mm(&result->view) : SL_UNKNOWN, 2);
    add_answer(text, clip, SL_SLIDING, true);
    add_value(text, clip, SL_SLIDING_AMPLITUDE_MM, 2);
    add_answer(text, clip, SL_LUNG_PULSE, true);
    add_answer(text, clip, SL_LUNG_POINT, true);
    add_answer(text, clip, SL_CURTAIN, true);
    add_value(text, clip, SL_BREATHING_RATE, 1);
    add_answer(text, clip, SL_EFFUSION, true);
    add_value(text, clip, SL_EFFUSION_DEPTH, 1);
    add_answer(text, clip, SL_CONSOLIDATION, true);
    add_value(text, clip, SL_CONSOLIDATION_EXTENT, 1);
    add_answer(text, clip, SL_PLEURA_IRREGULAR, true);
    add_number(text, get(clip, SL_WHITE_LUNG) ? get(clip, SL_WHITE_LUNG)->value : SL_UNKNOWN, 4);
    add_answer(text, clip, SL_ORGAN, true);
    add_value(text, clip, SL_PLEURA_THICKNESS, 2);
    add_value(text, clip, SL_PLEURA_ROUGHNESS, 3);
    add_value(text, clip, SL_PLEURA_BROKEN, 3);
    add_value(text, clip, SL_SUBPLEURAL_SPOTS, 0);
    add_value(text, clip, SL_CURTAIN_TRAVEL, 1);
    add_answer(text, clip, SL_DIAPHRAGM, true);
    add_value(text, clip, SL_DIAPHRAGM_EXCURSION, 2);
    add_value(text, clip, SL_DIAPHRAGM_SPEED, 1);
    add_value(text, clip, SL_HEART_RATE, 0);
    add_value(text, clip, SL_DIAPHRAGM_THICKNESS, 3);
    add_value(text, clip, SL_DIAPHRAGM_THICKNESS_IN, 3);
    add_value(text, clip, SL_DIAPHRAGM_THICKENING, 1);
    add_value(text, clip, SL_EFFUSION_SWING, 2);
    add_answer(text, clip, SL_EFFUSION_SEPTA, true);
    add_value(text, clip, SL_EFFUSION_SEPTA_COUNT, 0);
    add_answer(text, clip, SL_EFFUSION_PARTICLES, true);
    add_value(text, clip, SL_EFFUSION_EVENNESS, 3);
    add_value(text, clip, SL_CONSOLIDATION_WIDTH, 1);
    add_value(text, clip, SL_CONSOLIDATION_AREA, 2);
    add_value(text, clip, SL_CONSOLIDATION_TORN, 2);
    add_answer(text, clip, SL_AIR_BRONCHOGRAM, true);
    add_answer(text, clip, SL_AIR_BRONCHOGRAM_MOVES, true);
    add_value(text, clip, SL_AIR_BRONCHOGRAM_TRAVEL, 2);
    add_answer(text, clip, SL_FLUID_BRONCHOGRAM, true);
    add_answer(text, clip, SL_SPINE, true);
    add_answer(text, clip, SL_MIRROR_IMAGE, true);
    add_value(text, clip, SL_COLOUR_TOWARD, 4);
    add_value(text, clip, SL_COLOUR_AWAY, 4);
    add_value(text, clip, SL_COLOUR_SCALE, 2);
    add_answer(text, clip, SL_COLOUR_ALIASING, true);
    add_answer(text, clip, SL_FLUID_COLOUR, true);
    add_answer(text, clip, SL_VESSEL_COLOUR, true);
    add_value(text, clip, SL_SLIDING_PHASE, 0);
    const sl_finding *phase = get(clip, SL_SLIDING_PHASE);
    add_number(text, phase && phase->known ? phase->low : SL_UNKNOWN, 0);
    add_number(text, phase && phase->known ? phase->high : SL_UNKNOWN, 0);
    add_value(text, clip, SL_EFFUSION_BASE, 1);
    add_by_hand(text, clip, SL_BORDER_DOME, SL_DIAPHRAGM_EXCURSION, 2);
    add_by_hand(text, clip, SL_BORDER_DOME, SL_DIAPHRAGM_SPEED, 1);
    add_by_hand(text, clip, SL_BORDER_MUSCLE, SL_DIAPHRAGM_THICKNESS, 3);
    add_by_hand(text, clip, SL_BORDER_MUSCLE, SL_DIAPHRAGM_THICKNESS_IN, 3);
    add_by_hand(text, clip, SL_BORDER_MUSCLE, SL_DIAPHRAGM_THICKENING, 1);
    sl_text_add(text, "\n");
}

sl_status sl_report_csv(const sl_exam *exam, const char *path, sl_error *error)
{
    sl_text text = {0};
    sl_text_add(&text, header);
    for (int i = 0; i < exam->clips; i++)
        add_row(&text, &exam->clip[i]);
    sl_status status = text.failed ? sl_fail(error, SL_MEMORY, "Memory ran out while writing %s.", path)
                                   : sl_file_write(path, text.bytes, text.length, error);
    sl_text_free(&text);
    return status;
}
