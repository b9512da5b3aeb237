/* The closed loop: chests by chance whose truth is known, through the whole of reading (view found, straightened, read),
 * and how far each finding is from the truth. No video coding in between, so that an error is the reader's.
 *
 *   closed_loop CHESTS SEED [--csv] [--grade G] [--aerated] [--floor SHARE_DEPTH SHARE_COUNT]
 *
 * Prints a table by grade of difficulty, or a row a chest with --csv; with --floor it fails when fewer than these shares
 * lie within 1.0 mm (pleural depth) and within one (B-lines). With --aerated only chests without fluid, solid lung, free
 * air or the base of the chest in the picture: the signs that are read today. Otherwise the table
 * tells the two apart. What the settings make invisible is left out; a chest that could not be read counts as wrong. */
#include "aerated.h"
#include "agree/yesno.h"
#include "chest/chest.h"
#include "chest/scenario.h"
#include "core/pool.h"
#include "reading/segments.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { GRADES = 3, MOST_FRAMES = 90, SEED_STEP = 1000003 };

typedef struct chest_row {
    int grade;
    bool read, aerated;
    double depth_mm, freq_mhz, gain_db;              /* of the picture */
    double true_mm, mm;                              /* pleural depth */
    double true_count, count, true_coverage, coverage; /* B-lines */
    double near_off, far_off, crop_mm;              /* of the view found, shares of the true imaged depth */
    bool face, linear;
    bool count_seen;                                 /* not hidden by the settings */
    double true_a, a_index, true_b, b_index;
    double fluid_mm, solid_mm;                       /* of the scenario */
    char why[512];
} chest_row;

typedef struct loop {
    long seed;
    int grade; /* 0 = all in turn */
    bool aerated;
    chest_row *rows;
} loop;

static double value_of(const sl_reading *reading, sl_code code)
{
    const sl_finding *f = sl_reading_get(reading, code);
    return f && f->known ? f->value : NAN;
}

static void state_truth(chest_row *row, const sl_reading *truth)
{
    const sl_finding *count = sl_reading_get(truth, SL_B_LINE_COUNT);
    /* From where the picture begins: a picture cut off below the probe's face does not say how much is missing. */
    row->true_mm = value_of(truth, SL_PLEURA_DEPTH) * (row->depth_mm - row->crop_mm);
    row->true_count = value_of(truth, SL_B_LINE_COUNT);
    row->count_seen = count && count->known && !(count->confidence == 0);
    row->true_coverage = value_of(truth, SL_B_LINE_COVERAGE);
    const sl_finding *a = sl_reading_get(truth, SL_A_LINES), *b = sl_reading_get(truth, SL_B_LINES);
    row->true_a = a && a->known && a->confidence > 0 ? a->answer == SL_PRESENT : NAN;
    row->true_b = b && b->known && b->confidence > 0 ? b->answer == SL_PRESENT : NAN;
}

static void state_reading(chest_row *row, const sl_reading *reading)
{
    row->mm = value_of(reading, SL_PLEURA_DEPTH_MM);
    row->count = value_of(reading, SL_B_LINE_COUNT);
    row->coverage = value_of(reading, SL_B_LINE_COVERAGE);
    row->a_index = value_of(reading, SL_A_LINES);
    row->b_index = value_of(reading, SL_B_LINES);
}

/* How far the found near and far edge are from the true ones, along the middle beam. */
static void judge_view(chest_row *row, const sl_view *exact, const sl_view *view)
{
    double x, y, beam, depth;
    sl_view_to_pixel(view, 0.5, 0, &x, &y);
    sl_view_from_pixel(exact, x, y, &beam, &depth);
    row->near_off = depth;
    sl_view_to_pixel(view, 0.5, 1, &x, &y);
    sl_view_from_pixel(exact, x, y, &beam, &depth);
    row->far_off = depth - 1;
    row->face = view->face_visible;
    row->linear = view->shape == SL_SHAPE_LINEAR;
}

static void read_chest(chest_row *row, sl_chest *chest, const sl_scenario *scenario, sl_arena *arena)
{
    sl_error error = {0};
    sl_view exact, view = {0};
    sl_chest_view(chest, &exact);
    row->crop_mm = scenario->controls.crop_top_mm;
    state_truth(row, sl_chest_truth(chest, arena));
    sl_view_finder *finder = NULL;
    sl_straightener *straightener = NULL;
    sl_stack stack;
    sl_segments *segments = sl_segments_new();
    sl_clip_info info = {.width = exact.width, .height = exact.height, .pixel_aspect = 1, .times_known = true,
                         .frame_rate_hz = sl_chest_frame_rate_hz(chest)};
    /* The scale as a calibrated region of a DICOM file gives it (PS3.3 C.8.5.5: 2D, tissue, cm). */
    info.regions = 1;
    info.region[0] = (sl_clip_region){.x1 = exact.width - 1, .y1 = exact.height - 1, .spatial_format = 1, .data_type = 1,
                                      .unit_x = 3, .unit_y = 3, .delta_x = exact.mm_per_px / 10,
                                      .delta_y = exact.mm_per_px / 10};
    int frames = sl_chest_frames(chest);
    frames = frames < MOST_FRAMES ? frames : MOST_FRAMES;
    sl_gray picture;
    size_t bytes = (size_t)exact.width * (size_t)exact.height;
    uint8_t *kept = malloc(bytes * (size_t)frames);
    sl_status status = kept && segments ? sl_view_finder_new(exact.width, exact.height, &finder, &error) : SL_MEMORY;
    for (int i = 0; status == SL_OK && i < frames; i++) {
        status = sl_chest_frame(chest, i, &picture, &error);
        for (int y = 0; status == SL_OK && y < exact.height; y++)
            memcpy(kept + bytes * (size_t)i + (size_t)y * (size_t)exact.width, picture.pixel + (size_t)y * (size_t)picture.stride,
                   (size_t)exact.width);
        if (status == SL_OK)
            sl_view_finder_add(finder, picture);
    }
    if (status == SL_OK)
        status = sl_view_finder_find(finder, &info, &view, &error);
    if (status == SL_OK)
        judge_view(row, &exact, &view);
    if (status == SL_OK) {
        sl_view_set_scale(&view, &info, 0, finder);
        status = sl_straightener_new(&view, &straightener, &error);
    }
    if (status == SL_OK)
        status = sl_stack_new(arena, straightener, &view, frames, &stack, &error);
    for (int i = 0; status == SL_OK && i < frames; i++) {
        sl_frame frame = {.index = i, .time_s = i / info.frame_rate_hz,
                          .gray = {exact.width, exact.height, exact.width, kept + bytes * (size_t)i}};
        sl_stack_add(&stack, straightener, &frame);
    }
    if (status == SL_OK) {
        sl_stack_settle(&stack);
        sl_stack_level_grey(&stack);
        status = sl_segments_read(segments, &stack, &error);
    }
    const sl_reading *reading = status == SL_OK ? sl_segments_state(segments, "chest", &view, arena) : NULL;
    row->read = reading != NULL;
    if (reading)
        state_reading(row, reading);
    else
        snprintf(row->why, sizeof row->why, "%s", error.text);
    if (sl_segments_line(segments, 0) == NULL && !*row->why)
        snprintf(row->why, sizeof row->why, "no pleural line found");
    free(kept);
    sl_segments_free(&segments);
    sl_straightener_free(&straightener);
    sl_view_finder_free(&finder);
}

static void one_chest(void *context, int item, int worker)
{
    (void)worker;
    loop *all = context;
    chest_row *row = &all->rows[item];
    sl_arena arena = {0};
    sl_scenario scenario;
    sl_chest *chest = NULL;
    sl_error error = {0};
    row->grade = all->grade ? all->grade : item % GRADES + 1;
    row->mm = row->true_mm = row->count = row->true_count = row->a_index = row->b_index = row->coverage = NAN;
    /* The next seed of this item's own that gives a chest of the kind asked for. */
    uint64_t seed = (uint64_t)(all->seed + item);
    do {
        sl_scenario_random(seed, row->grade, &scenario);
        row->aerated = is_aerated(&scenario);
        seed += SEED_STEP;
    } while (all->aerated && !row->aerated);
    scenario.controls.duration_s = fmin(scenario.controls.duration_s, MOST_FRAMES / scenario.controls.frame_rate_hz);
    row->depth_mm = scenario.controls.depth_mm;
    row->freq_mhz = scenario.probe.freq_mhz;
    row->gain_db = scenario.controls.gain_db;
    row->fluid_mm = scenario.effusion.depth_mm;
    row->solid_mm = scenario.consolidations ? scenario.consolidation[0].depth_mm
                    : scenario.effusion.solid_lung ? scenario.effusion.lung_mm
                                                   : 0;
    if (sl_chest_new(&scenario, &chest, &error) == SL_OK)
        read_chest(row, chest, &scenario, &arena);
    else
        snprintf(row->why, sizeof row->why, "%s", error.text);
    sl_chest_free(&chest);
    sl_arena_free(&arena);
}

/* Of the chests of a grade (0 = all): how many, and which share lies within the limits. */
typedef struct tally {
    int chests, read, depth_known, depth_good, counts, count_good;
    double depth_error, depth_worst;
} tally;

static tally tally_of(const chest_row *rows, int count, int grade, int aerated)
{
    tally t = {0};
    for (int i = 0; i < count; i++) {
        const chest_row *r = &rows[i];
        if ((grade && r->grade != grade) || (aerated >= 0 && r->aerated != (aerated > 0)))
            continue;
        t.chests++;
        t.read += r->read;
        if (isfinite(r->true_mm)) {
            t.depth_known++;
            double error = fabs(r->mm - r->true_mm);
            t.depth_good += error <= 1.0;
            if (isfinite(error)) {
                t.depth_error += error;
                t.depth_worst = fmax(t.depth_worst, error);
            }
        }
        if (isfinite(r->true_count) && r->count_seen) {
            t.counts++;
            t.count_good += fabs(r->count - r->true_count) <= 1.0;
        }
    }
    return t;
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        fprintf(stderr, "closed_loop CHESTS SEED [--csv] [--grade G] [--aerated] [--floor DEPTH COUNT]\n");
        return 2;
    }
    int count = (int)strtol(argv[1], NULL, 10);
    loop all = {.seed = strtol(argv[2], NULL, 10)};
    bool csv = false;
    double floor_depth = 0, floor_count = 0;
    for (int i = 3; i < argc; i++) {
        if (!strcmp(argv[i], "--csv"))
            csv = true;
        else if (!strcmp(argv[i], "--aerated"))
            all.aerated = true;
        else if (!strcmp(argv[i], "--grade") && i + 1 < argc)
            all.grade = (int)strtol(argv[++i], NULL, 10);
        else if (!strcmp(argv[i], "--floor") && i + 2 < argc) {
            floor_depth = strtod(argv[i + 1], NULL);
            floor_count = strtod(argv[i + 2], NULL);
            i += 2;
        }
    }
    if (count < 1 || count > 100000)
        return 2;
    all.rows = calloc((size_t)count, sizeof *all.rows);
    if (!all.rows)
        return 1;
    sl_pool_run(0, count, one_chest, &all);
    if (csv) {
        printf("seed,grade,read,depth_mm,freq_mhz,gain_db,true_mm,mm,true_count,seen,count,true_coverage,coverage,true_a,a_index,"
               "true_b,b_index,near_off,far_off,crop_mm,face,linear,fluid_mm,solid_mm,why\n");
        for (int i = 0; i < count; i++) {
            const chest_row *r = &all.rows[i];
            printf("%ld,%d,%d,%.1f,%.2f,%.1f,%.2f,%.2f,%.0f,%d,%.0f,%.2f,%.2f,%.0f,%.3f,%.0f,%.3f,%.4f,%.4f,%.1f,%d,%d,%.1f,%.1f,\"%s\"\n", all.seed + i, r->grade,
                   r->read, r->depth_mm, r->freq_mhz, r->gain_db, r->true_mm, r->mm, r->true_count, r->count_seen, r->count,
                   r->true_coverage, r->coverage, r->true_a, r->a_index, r->true_b, r->b_index, r->near_off, r->far_off, r->crop_mm,
                   r->face, r->linear, r->fluid_mm, r->solid_mm, r->why);
        }
        free(all.rows);
        return 0;
    }
    printf("| chests | number | read | depth within 1.0 mm | mean error | worst | B-lines within one |\n| --- | --- | --- | --- | --- "
           "| --- | --- |\n");
    bool good = true;
    static const struct {
        const char *name;
        int grade, aerated;
    } lines[] = {{"plain", 1, -1},       {"usual", 2, -1},           {"hard", 3, -1},
                 {"aerated lung", 0, 1}, {"fluid, solid, free air or base", 0, 0}, {"all", 0, -1}};
    for (size_t l = 0; l < sizeof lines / sizeof *lines; l++) {
        int g = lines[l].grade;
        tally t = tally_of(all.rows, count, g, lines[l].aerated);
        if (!t.chests)
            continue;
        sl_estimate depth = sl_share(t.depth_good, t.depth_known), lines_good = sl_share(t.count_good, t.counts);
        printf("| %s | %d | %d | %d of %d = %.3f (%.3f to %.3f) | %.2f mm | %.1f mm | %d of %d = %.3f (%.3f to %.3f) |\n",
               lines[l].name, t.chests, t.read, t.depth_good, t.depth_known,
               depth.value, depth.low, depth.high,
               t.depth_known ? t.depth_error / t.depth_known : 0, t.depth_worst, t.count_good, t.counts,
               lines_good.value, lines_good.low, lines_good.high);
        if (l + 1 == sizeof lines / sizeof *lines)
            good = t.depth_good >= floor_depth * t.depth_known && t.count_good >= floor_count * t.counts && t.read > 0;
    }
    free(all.rows);
    if (!good)
        printf("below the floor of %.2f (depth) and %.2f (count)\n", floor_depth, floor_count);
    return good ? 0 : 1;
}
