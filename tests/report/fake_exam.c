#include "fake_exam.h"

#include "core/units.h"
#include "exam/synthesis.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { WIDTH = 640, HEIGHT = 480, FRAMES = 90 };

static void convex(sl_view *view)
{
    *view = (sl_view){.shape = SL_SHAPE_CONVEX, .width = WIDTH, .height = HEIGHT, .apex_x = 320, .apex_y = -90,
                      .first_angle = -0.55, .last_angle = 0.55, .near_r = 120, .far_r = 550, .aspect = 1,
                      .face_visible = true, .agreement = 0.97, .edge_rms_px = 0.8, .mm_per_px = 0.29,
                      .mm_per_px_sd = 0.003, .scale_source = SL_SCALE_RULER};
}

/* Grey of the invented chest at beam b, depth d: layers, pleura, then A- or B-lines by level. */
static double chest(double b, double d, int level, double noise)
{
    double pleura = 0.24 + 0.02 * sin(3 * b), grey;
    double rib = b < 0.16 || b > 0.86;
    if (d < pleura - 0.01)
        return 60 + 30 * sin(d * 160 + 4 * b) + 70 * noise;
    if (rib)
        return d < pleura + 0.02 ? 190 * noise + 60 : 8 * noise;
    if (fabs(d - pleura) < 0.012)
        return 235;
    grey = 26 * noise * (1 - d) + 6;
    if (level <= 1)
        for (int k = 2; k <= 4; k++)
            grey += fabs(d - k * pleura) < 0.009 ? 150.0 / k : 0;
    int lines = level == 1 ? 2 : level == 2 ? 5 : level == 3 ? 9 : 0;
    for (int i = 0; i < lines; i++) {
        double at = 0.2 + 0.62 * (i + 0.5) / lines, half = level >= 2 ? 0.035 : 0.018;
        grey += fabs(b - at) < half ? (110 + 60 * noise) * (1 - 0.3 * d) : 0;
    }
    return grey > 250 ? 250 : grey;
}

static uint32_t seed = 7;

static double noise(void)
{
    seed = seed * 1664525u + 1013904223u;
    double u = (double)(seed >> 8) / 16777216.0;
    return u * u;
}

static void draw(sl_arena *arena, const sl_view *view, int level, sl_kept_frame *kept)
{
    uint8_t *pixel = SL_NEW(arena, WIDTH * HEIGHT, uint8_t), *cell = SL_NEW(arena, SL_CELLS, uint8_t);
    for (int y = 0; y < HEIGHT; y++)
        for (int x = 0; x < WIDTH; x++) {
            double b, d;
            sl_view_from_pixel(view, x, y, &b, &d);
            if (b >= 0 && b <= 1 && d >= 0 && d <= 1)
                pixel[y * WIDTH + x] = (uint8_t)chest(b, d, level, noise());
        }
    for (int i = 0; i < SL_DEPTHS; i++)
        for (int j = 0; j < SL_BEAMS; j++)
            cell[i * SL_BEAMS + j] = (uint8_t)chest((j + 0.5) / SL_BEAMS, (i + 0.5) / SL_DEPTHS, level, noise());
    *kept = (sl_kept_frame){31, 31 / 22.0, {WIDTH, HEIGHT, WIDTH, pixel}, cell};
}

static sl_evidence box(double b0, double b1, double d0, double d1, const char *label)
{
    return (sl_evidence){.first_frame = 20, .last_frame = 48, .first_time_s = 20 / 22.0, .last_time_s = 48 / 22.0,
                         .first_beam = b0, .last_beam = b1, .first_depth = d0, .last_depth = d1, .label = label};
}

static void known(sl_finding *finding, double value, double low, double high, int evidences, const sl_evidence *evidence)
{
    finding->known = true;
    finding->value = value;
    finding->low = low;
    finding->high = high;
    finding->confidence = 0.9;
    finding->evidences = evidences;
    finding->evidence = evidence;
}

/* A motion trace down the middle, the pleura moving with a breath; a hole of 0.7 s where the third clip lost frames. */
static void trace_level(sl_arena *arena, sl_clip_result *result, int level, bool hole)
{
    uint8_t *grey = SL_NEW(arena, FRAMES * SL_TRACE_ROWS, uint8_t);
    double *time_s = SL_NEW(arena, FRAMES, double), *line = SL_NEW(arena, 4, double);
    int *source = SL_NEW(arena, FRAMES, int), columns = 0;
    for (int t = 0; t < FRAMES; t++) {
        if (hole && t > 40 && t < 56)
            continue;
        for (int r = 0; r < SL_TRACE_ROWS; r++)
            grey[columns * SL_TRACE_ROWS + r] = (uint8_t)chest(0.5, (r + 0.5) / SL_TRACE_ROWS + 0.015 * sin(t * 0.14), level, noise());
        time_s[columns] = t / 22.0;
        source[columns++] = t;
    }
    line[0] = line[1] = 0.5;
    line[3] = 1;
    result->trace = (sl_motion_trace){.columns = columns, .rows = SL_TRACE_ROWS, .grey = grey, .time_s = time_s, .source = source, .points = 2,
                                      .beam = line, .depth = line + 2};
    sl_texture_beams *texture = SL_NEW(arena, 1, sl_texture_beams);
    for (int j = 0; j < SL_BEAMS; j++) {
        texture->above[j] = texture->above_contrast[j] = texture->below_contrast[j] = 100 + j;
        texture->below[j] = 150 + j;
    }
    result->texture = texture;
}

static void read_level(sl_arena *arena, sl_clip_result *result, int level, const char *name)
{
    sl_reading *reading = sl_reading_new(arena, SL_BY_PROGRAM, "strandline 0.1.0", name);
    reading->method = "invented for a test";
    enum { POINTS = 60 };
    double *beam = SL_NEW(arena, POINTS, double), *depth = SL_NEW(arena, POINTS, double);
    sl_evidence *line = SL_NEW(arena, 1, sl_evidence), *ribs = SL_NEW(arena, 2, sl_evidence);
    sl_evidence *a = SL_NEW(arena, 3, sl_evidence), *b = SL_NEW(arena, 9, sl_evidence);
    for (int i = 0; i < POINTS; i++) {
        beam[i] = 0.17 + 0.68 * i / (POINTS - 1);
        depth[i] = 0.24 + 0.02 * sin(3 * beam[i]);
    }
    *line = box(0.17, 0.85, 0.24, 0.26, "pleura");
    line->first_frame = 0;
    line->last_frame = FRAMES - 1;
    line->points = POINTS;
    line->beam = beam;
    line->depth = depth;
    ribs[0] = box(0, 0.16, 0.23, 1, "rib shadow");
    ribs[1] = box(0.86, 1, 0.23, 1, "rib shadow");
    known(sl_reading_put(reading, SL_PLEURA_DEPTH), 0.255, 0.248, 0.262, 1, line);
    known(sl_reading_put(reading, SL_PLEURA_DEPTH_MM), 31.8, 30.9, 32.7, 1, line);
    known(sl_reading_put(reading, SL_RIB_SHARE), 0.30, 0.27, 0.33, 2, ribs);
    int repeats = level <= 1 ? 3 : 0, lines = level == 1 ? 2 : level == 2 ? 5 : level == 3 ? 9 : 0;
    for (int k = 0; k < repeats; k++)
        a[k] = box(0.2, 0.8, (k + 2) * 0.25 - 0.01, (k + 2) * 0.25 + 0.01, k ? k == 1 ? "A-line 2" : "A-line 3" : "A-line 1");
    for (int i = 0; i < lines; i++) {
        double at = 0.2 + 0.62 * (i + 0.5) / lines, half = level >= 2 ? 0.035 : 0.018;
        b[i] = box(at - half, at + half, 0.26, 1, "B-line");
    }
    sl_finding *f = sl_reading_put(reading, SL_A_LINES);
    known(f, repeats ? 0.91 : 0.08, 0.8, 0.97, repeats, a);
    f->answer = repeats ? SL_PRESENT : SL_ABSENT;
    known(sl_reading_put(reading, SL_A_LINE_COUNT), repeats, repeats, repeats, repeats, a);
    f = sl_reading_put(reading, SL_B_LINES);
    known(f, lines ? 0.88 : 0.12, 0.7, 0.95, lines, b);
    f->answer = lines ? SL_PRESENT : SL_ABSENT;
    known(sl_reading_put(reading, SL_B_LINE_COUNT), lines, lines - (lines > 2), lines + (lines > 0), lines, b);
    known(sl_reading_put(reading, SL_B_LINE_COVERAGE), level == 3 ? 0.92 : lines * 0.07, level == 3 ? 0.84 : lines * 0.06,
          level == 3 ? 0.97 : lines * 0.085, lines, b);
    f = sl_reading_put(reading, SL_SLIDING);
    f->reason = "the probe moved over the skin";
    known(sl_reading_put(reading, SL_SCORE), level, level ? level - 1 : 0, level, 0, NULL);
    result->reading = reading;
    double *x = SL_NEW(arena, POINTS, double), *y = SL_NEW(arena, POINTS, double);
    for (int i = 0; i < POINTS; i++)
        sl_view_to_pixel(&result->view, beam[i], depth[i], &x[i], &y[i]);
    result->pleura_points = POINTS;
    result->pleura_x = x;
    result->pleura_y = y;
    result->frame_values = FRAMES;
    result->frame_coverage = SL_NEW(arena, FRAMES, double);
    result->frame_time_s = SL_NEW(arena, FRAMES, double);
    for (int i = 0; i < FRAMES; i++) {
        result->frame_time_s[i] = i / 22.0;
        result->frame_coverage[i] = (level == 3 ? 0.76 : lines * 0.055) * (1 + 0.25 * sin(i * 0.14) + 0.05 * sin(i * 1.7));
    }
}

void fake_exam(sl_arena *arena, int clips, sl_exam *exam)
{
    static const char *const zones[] = {"R-upper-anterior", "R-lower-anterior", "R-upper-lateral", "R-basal-lateral",
                                        "L-upper-anterior", "L-lower-anterior", "L-upper-lateral", "L-upper-lateral"};
    static const int levels[] = {0, 1, 2, 3, 0, 0, 1, 2};
    seed = 7;
    *exam = (sl_exam){.title = "Examination 1 of 2", .date = "2031-02-28", .person = "invented person Harbour 7",
                      .question = "breathless since the morning: wet or dry?", .stated_protocol = "", .invented = true,
                      .breathing = SL_BREATHING_VENTILATED,
                      .clips = clips};
    exam->clip = SL_NEW(arena, clips, sl_exam_clip);
    for (int i = 0; i < clips; i++) {
        sl_exam_clip *clip = &exam->clip[i];
        clip->name = clip->where = sl_arena_printf(arena, "clip %02d \u00e9tage.mp4", i + 1);
        clip->path = clip->name;
        clip->stem = sl_arena_printf(arena, "clip %02d \u00e9tage", i + 1);
        clip->zone = i < 8 ? sl_zone_by_key(zones[i]) : NULL;
        clip->zone_from = i < 8 ? "exam.csv" : "";
        clip->notes = i == 2 ? "patient sat up, could not hold the breath" : "";
        clip->content = (uint64_t)i + 1;
        sl_clip_result *result = &clip->result;
        *result = (sl_clip_result){.path = clip->path, .name = clip->name, .reason = "", .frames = FRAMES,
                                   .duration_s = FRAMES / 22.0, .seconds = 0.071};
        snprintf(result->info.format, sizeof result->info.format, "mp4");
        result->info.width = WIDTH;
        result->info.height = HEIGHT;
        result->info.frame_rate_hz = 22;
        result->info.pixel_aspect = 1;
        convex(&result->view);
        if (i == 5) {
            result->state = SL_CLIP_UNREADABLE;
            result->reason = "clip 06 \u00e9tage.mp4 shows no imaged area: every frame is black. Export it again.";
            result->view = (sl_view){.width = WIDTH, .height = HEIGHT};
            continue;
        }
        int level = levels[i % 8];
        draw(arena, &result->view, level, &result->kept[SL_KEPT_BEST]);
        read_level(arena, result, level, clip->name);
        trace_level(arena, result, level, i == 2);
        if (i == 3) { /* fluid, in a patient whose posture and breathing are stated, over a whole breath */
            sl_evidence *fluid = SL_NEW(arena, 1, sl_evidence);
            *fluid = box(0.2, 0.8, 0.26, 0.51, "fluid");
            known(sl_reading_put(result->reading, SL_EFFUSION_DEPTH), 31, 29, 33, 1, fluid);
            sl_finding *answer = sl_reading_put(result->reading, SL_EFFUSION);
            known(answer, 0.84, 0.7, 0.9, 1, fluid);
            answer->answer = SL_PRESENT;
            clip->posture = SL_POSTURE_SUPINE;
            result->duration_s = 6;
        }
        if (i == 4) {
            sl_finding *score = sl_reading_put(result->reading, SL_SCORE);
            score->reason = "the pleural line lies under a rib in most frames";
        }
    }
    sl_exam_remark(exam, arena, "Left aside because they are no clips: letter.pdf, notes.txt.");
    sl_exam_score(exam, arena, NULL);
    sl_exam_sum_up(exam, arena, NULL);
}
