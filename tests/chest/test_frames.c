/* The same scenario gives the same bytes, in any order and with any number of workers; kernels against plain sums; the
 * view against the picture; truth against the picture where the picture is plain. */
#include "chest/flow_field.h"
#include "chest/kernel.h"
#include "chest/modes.h"
#include "chest/truth.h"
#include "phantom.h"

#include <math.h>
#include <string.h>

static uint8_t *bytes_of(sl_chest *chest, int frame, size_t *count)
{
    sl_gray g;
    sl_error error = {0};
    if (sl_chest_frame(chest, frame, &g, &error))
        fail_msg("%s", error.text);
    *count = (size_t)g.stride * (size_t)g.height;
    uint8_t *copy = malloc(*count);
    assert_non_null(copy);
    memcpy(copy, g.pixel, *count);
    return copy;
}

static void same_bytes(void **state)
{
    (void)state;
    for (uint64_t seed = 3; seed < 9; seed++) {
        sl_scenario s;
        sl_scenario_random(seed, 1 + (int)(seed % 3), &s);
        s.controls.persistence_frames = seed % 2 ? 3 : 1;
        sl_chest *a = make_chest(&s), *b = make_chest(&s);
        sl_chest_workers(b, 1);
        static const int order[] = {7, 2, 9, 3};
        size_t n, m;
        for (int i = 0; i < 8; i++)
            free(bytes_of(a, i, &n));
        for (int i = 0; i < 4; i++) {
            uint8_t *one = bytes_of(a, order[3 - i], &n), *other = NULL;
            for (int k = 0; k <= i; k++) {
                free(other);
                other = bytes_of(b, order[3 - k], &m);
            }
            assert_int_equal(n, m);
            assert_memory_equal(one, other, n);
            free(one);
            free(other);
        }
        sl_error error = {0};
        sl_gray g;
        assert_int_not_equal(sl_chest_frame(a, -1, &g, &error), SL_OK);
        assert_int_not_equal(sl_chest_frame(a, sl_chest_frames(a), &g, &error), SL_OK);
        sl_chest_free(&a);
        sl_chest_free(&b);
    }
}

static void kernels(void **state)
{
    (void)state;
    enum { N = 240, HALF = 3 };
    float in[7][N + 8], out[N], level[N], decay[N];
    const float *column[7], *weight[HALF + 1];
    float w[HALF + 1][N];
    uint32_t random = 1;
    for (int k = 0; k < 7; k++) {
        column[k] = in[k];
        for (int i = 0; i < N + 8; i++)
            in[k][i] = (float)((random = random * 1664525u + 1013904223u) >> 8) / 8388608.0f - 1;
    }
    for (int k = 0; k <= HALF; k++) {
        weight[k] = w[k];
        for (int i = 0; i < N; i++)
            w[k][i] = 1.0f / (float)(1 + k + i % 5);
    }
    sl_kernel_lateral(N, HALF, column, weight, out);
    for (int i = 0; i < N; i++) {
        double sum = 0;
        for (int k = -HALF; k <= HALF; k++)
            sum += (double)w[abs(k)][i] * (double)in[k + HALF][i];
        assert_true(fabs(sum - (double)out[i]) < 1e-5);
    }
    static const float tap[5] = {1, 0.5f, 0.25f, 0.125f, 0.0625f};
    sl_kernel_axial(N, 4, tap, in[0], out);
    for (int i = 0; i < N; i++) {
        double sum = 0;
        for (int k = -4; k <= 4; k++)
            sum += (double)tap[abs(k)] * (double)in[0][i + 4 + k];
        assert_true(fabs(sum - (double)out[i]) < 1e-5);
    }
    sl_kernel_level(N, in[1], in[2], level);
    for (int i = 0; i < N; i++)
        assert_true(fabs((double)level[i] - 10 * log10((double)in[1][i] * (double)in[1][i] + (double)in[2][i] * (double)in[2][i])) < 0.002);
    sl_kernel_decay(N, 0.2f, 0.01f, 0.001f, decay);
    for (int i = 0; i < N; i++) {
        double e = exp(-fmin(0.2 + 0.01 * i + 0.001 * i * i, 80));
        assert_true(fabs((double)decay[i] / e - 1) < 2e-5);
    }
}

/* The pleura lies in the picture where the view and the truth say. */
static void view_and_truth(void **state)
{
    (void)state;
    for (int kind = 0; kind < 3; kind++)
        for (int mirrored = 0; mirrored < 2; mirrored++) {
            sl_scenario s;
            sl_scenario_defaults(&s);
            sl_scenario_probe_defaults(&s, kind);
            s.wall.muscle_mm = 9;
            s.wall.conform = 0.95;
            s.wall.tilt_deg = 2;
            s.wall.fascias = 0;
            s.ribs = 0;
            s.lung.roughness = 0.05;
            s.lung.haze_db = -60;
            s.controls.mirrored = mirrored;
            s.controls.crop_top_mm = kind == SL_PROBE_CONVEX ? 4 : 0;
            sl_chest *chest = make_chest(&s);
            sl_gray g;
            sl_error error = {0};
            assert_int_equal(sl_chest_frame(chest, 4, &g, &error), SL_OK);
            sl_view view;
            sl_chest_view(chest, &view);
            sl_frame_truth truth;
            sl_chest_frame_truth(chest, 4, &truth);
            for (int b = SL_TRUTH_BEAMS / 2 - 6; b < SL_TRUTH_BEAMS / 2 + 6; b++) {
                double x, y, best = -1, at = NAN, beam = (b + 0.5) / SL_TRUTH_BEAMS;
                for (double d = truth.pleura[b] - 0.04; d < truth.pleura[b] + 0.04; d += 0.001) {
                    sl_view_to_pixel(&view, beam, d, &x, &y);
                    double v = g.pixel[(size_t)(int)(y + 0.5) * (size_t)g.stride + (size_t)(int)(x + 0.5)];
                    if (v > best) {
                        best = v;
                        at = d;
                    }
                }
                assert_true(best > 120);
                assert_true(fabs(at - truth.pleura[b]) * sl_view_depth_mm(&view) < 0.7);
            }
            sl_chest_free(&chest);
        }
}

/* Single strong traps far apart are counted; their beams are brighter deep in the picture than those between. */
static void lines_in_truth_and_picture(void **state)
{
    (void)state;
    sl_scenario s;
    sl_scenario_defaults(&s);
    s.ribs = 0;
    s.motion.through_mm = 0;
    s.motion.sway_mm = 0;
    s.controls.focus_mm = 24;
    s.lung.traps = 3;
    for (int i = 0; i < 3; i++)
        s.lung.trap[i] = (sl_trap){-11 + 11 * i, 0, -14, 0.66, 360};
    sl_chest *chest = make_chest(&s);
    sl_frame_truth truth;
    sl_chest_frame_truth(chest, 0, &truth);
    assert_int_equal(truth.runs, 3);
    float *level = levels_of(chest, 0);
    int deep = (int)(100 / chest->sample_mm), span = (int)(10 / chest->sample_mm);
    for (int r = 0; r < 3; r++) {
        int on = (int)(0.5 * (truth.first[r] + truth.last[r]) * (chest->beams - 1)), off = on + (int)(0.09 * chest->beams);
        double a = 0, b = 0;
        for (int i = deep; i < deep + span; i++) {
            a += level_at(chest, level, on, i) / span;
            b += level_at(chest, level, off, i) / span;
        }
        assert_true(a > b + 10);
    }
    free(level);
    s.lung.traps = 0;
    sl_chest_free(&chest);
    chest = make_chest(&s);
    sl_chest_frame_truth(chest, 0, &truth);
    assert_int_equal(truth.runs, 0);
    sl_chest_free(&chest);
}

/* Sliding moves what belongs to the lung and leaves the wall: the speckle below the line changes, that above does not. */
static void sliding_moves_the_lung(void **state)
{
    (void)state;
    sl_scenario s;
    sl_scenario_defaults(&s);
    s.ribs = 0;
    s.motion.sway_mm = 0;
    s.motion.pleura_rise_mm = 0;
    s.motion.pulse_mm = 0;
    for (int slides = 0; slides < 2; slides++) {
        s.motion.sliding_mm = slides ? 10 : 0;
        sl_chest *chest = make_chest(&s);
        float *a = levels_of(chest, 0), *b = levels_of(chest, 18);
        double changed[2] = {0};
        for (int part = 0; part < 2; part++) {
            int from = (int)((part ? 27 : 4) / chest->sample_mm), to = (int)((part ? 37 : 18) / chest->sample_mm), n = 0;
            for (int i = from; i < to; i++)
                for (int k = 80; k < 112; k++, n++)
                    changed[part] += fabs(level_at(chest, a, k, i) - level_at(chest, b, k, i));
            changed[part] /= n;
        }
        print_message("%s: changed by %.2f dB in the wall, %.2f dB in the lung\n", slides ? "sliding" : "still", changed[0], changed[1]);
        assert_true(changed[0] < 0.5);
        assert_true(slides ? changed[1] > 4 : changed[1] < 1);
        free(a);
        free(b);
        sl_chest_free(&chest);
    }
}

/* Colour flow against the velocity that was put in (Doppler shift 2 v f / c, sheet A3): solid lung that moves along the beam. */
static void flow_velocity(void **state)
{
    (void)state;
    sl_scenario s;
    sl_scenario_defaults(&s);
    s.ribs = 0;
    s.motion = (sl_motion){.breaths_per_min = 50, .pleura_rise_mm = 5};
    s.consolidations = 1;
    s.consolidation[0] = (sl_consolidation){0, 300, 60, 0, SL_BRONCHO_NONE, 0};
    sl_chest *chest = make_chest(&s);
    sl_flow_controls flow;
    sl_flow_defaults(chest, &flow);
    flow.first_beam = 0.4;
    flow.last_beam = 0.6;
    flow.first_depth = 0.4;
    flow.last_depth = 0.6;
    flow.threshold_db = -55;
    int compared = 0;
    for (int frame = 0; frame < 30; frame += 2) {
        double t = frame / s.controls.frame_rate_hz, span = flow.pulses / flow.pulse_hz;
        sl_pose a, b;
        sl_pose_at(&s, t, &a);
        sl_pose_at(&s, t + span, &b);
        double put_in = -(b.pleura_mm - a.pleura_mm) / span; /* towards the probe */
        if (fabs(put_in) < 8)
            continue;
        double seen = sl_chest_flow_mean_mm_s(chest, &flow, frame);
        print_message("velocity %.1f mm/s, seen %.1f\n", put_in, seen);
        assert_true(fabs(seen / put_in - 1) < 0.2);
        compared++;
    }
    assert_true(compared >= 3);
    const uint8_t *rgb;
    sl_error error = {0};
    assert_int_equal(sl_chest_flow(chest, &flow, 4, &rgb, &error), SL_OK);
    flow.pulse_hz = 1e6;
    assert_int_not_equal(sl_chest_flow(chest, &flow, 4, &rgb, &error), SL_OK);
    sl_chest_free(&chest);
}

/* Motion trace: above the pleura still, below it grain where the lung slides and still where air lies (clinical sheet 1). */
static void trace_of_motion(void **state)
{
    (void)state;
    for (int air = 0; air < 2; air++) {
        sl_scenario s;
        sl_scenario_defaults(&s);
        s.ribs = 0;
        s.motion.sway_mm = 0;
        s.motion.beats_per_min = 0;
        s.motion.pleura_rise_mm = 0;
        s.pneumothorax.present = air;
        s.pneumothorax.edge_mm = -90;
        sl_chest *chest = make_chest(&s);
        sl_arena arena = {0};
        sl_gray trace;
        sl_error error = {0};
        assert_int_equal(sl_chest_trace(chest, 0.5, 100, 480, &arena, &trace, &error), SL_OK);
        double change[2] = {0};
        for (int part = 0; part < 2; part++)
            for (int y = part ? 110 : 20; y < (part ? 160 : 80); y++)
                for (int x = 15; x < trace.width; x++)
                    change[part] += abs(trace.pixel[y * trace.stride + x] - trace.pixel[y * trace.stride + x - 15]) / (60.0 * trace.width);
        print_message("%s: change over 150 ms %.2f above, %.2f below\n", air ? "air" : "sliding lung", change[0], change[1]);
        assert_true(change[0] < 1.5);
        assert_true(air ? change[1] < 4 : change[1] > 6);
        assert_int_not_equal(sl_chest_trace(chest, 2, 100, 480, &arena, &trace, &error), SL_OK);
        sl_arena_free(&arena);
        sl_chest_free(&chest);
    }
}

/* The limit beyond which a display turns over, c f_p / (4 f): 5 MHz and 7700 pulses a second give 0.592900 m/s along the beam (sheet A3,
 * Evans & McDicken); what is faster is drawn in the other colour. */
static void flow_limit(void **state)
{
    (void)state;
    sl_scenario s;
    sl_chest *chest = NULL;
    sl_error error;
    sl_scenario_defaults(&s);
    s.probe.freq_mhz = 5;
    s.controls.harmonics = false;
    assert_int_equal(sl_chest_new(&s, &chest, &error), SL_OK);
    sl_flow_controls flow;
    sl_flow_defaults(chest, &flow);
    flow.pulse_hz = 7700;
    double most = sl_flow_velocity_most_mm_s(chest, &flow);
    if (!(fabs(most - 592.9) < 0.05))
        fail_msg("limit %.3f mm/s instead of 592.900", most);
    assert_true(fabs(sl_flow_turn_over(0.9 * most, most) - 0.9 * most) < 1e-6);
    assert_true(fabs(sl_flow_turn_over(1.2 * most, most) + 0.8 * most) < 1e-6);
    assert_true(fabs(sl_flow_turn_over(-1.2 * most, most) - 0.8 * most) < 1e-6);
    sl_chest_free(&chest);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(same_bytes), cmocka_unit_test(kernels), cmocka_unit_test(view_and_truth),
                                       cmocka_unit_test(lines_in_truth_and_picture), cmocka_unit_test(sliding_moves_the_lung), cmocka_unit_test(flow_velocity), cmocka_unit_test(flow_limit),
                                       cmocka_unit_test(trace_of_motion)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
