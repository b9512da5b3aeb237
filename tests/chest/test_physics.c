/* Repeats of the pleura, attenuation, order of reflections, rings: against closed forms (physics sheet A2, A5, A7, A9) and
 * against acoustics/. */
#include "acoustics/loss.h"
#include "acoustics/reverb.h"
#include "phantom.h"

#include <math.h>
#include <string.h>

static void plain_mirror(sl_scenario *s, int kind, double fat_mm, double muscle_mm)
{
    sl_scenario_defaults(s);
    sl_scenario_probe_defaults(s, kind);
    s->wall.fat_mm = fat_mm;
    s->wall.muscle_mm = muscle_mm;
    s->wall.conform = 1;
    s->wall.fascias = 0;
    s->lung.roughness = 0;
    s->lung.haze_db = -80;
    s->ribs = 0;
    s->motion.sway_mm = 0;
}

/* The highest sample within `mm` of a depth, refined by a parabola; mm. */
static double peak_near(const sl_chest *chest, const float *level, int beam, double depth_mm, double mm)
{
    int first = (int)((depth_mm - mm) / chest->sample_mm), last = (int)((depth_mm + mm) / chest->sample_mm), best = first;
    for (int i = first; i <= last; i++)
        if (level_at(chest, level, beam, i) > level_at(chest, level, beam, best))
            best = i;
    double a = level_at(chest, level, beam, best - 1), b = level_at(chest, level, beam, best), c = level_at(chest, level, beam, best + 1);
    return (best + 0.5 * (a - c) / (a - 2 * b + c)) * chest->sample_mm;
}

static void repeats(void **state)
{
    (void)state;
    static const struct { int kind; double fat, muscle; } wall[] = {
        {SL_PROBE_CONVEX, 5, 12}, {SL_PROBE_CONVEX, 9, 17.7}, {SL_PROBE_LINEAR, 2, 7}, {SL_PROBE_PHASED, 8, 15}};
    for (int w = 0; w < 4; w++) {
        sl_scenario s;
        plain_mirror(&s, wall[w].kind, wall[w].fat, wall[w].muscle);
        sl_chest *chest = make_chest(&s);
        float *level = levels_of(chest, 3);
        sl_pose pose;
        sl_pose_at(&s, 3 / s.controls.frame_rate_hz, &pose);
        int beam = chest->beams / 2;
        double d = sl_chest_pleura(chest, &pose, sl_column_x(chest, beam * chest->over));
        for (int k = 1; k <= 3 && sl_repeat_depth_mm(d, k) < 0.95 * s.controls.depth_mm; k++) {
            double at = peak_near(chest, level, beam, sl_repeat_depth_mm(d, k), 1.5);
            print_message("probe %d pleura %.2f mm: appearance %d at %.3f, expected %.3f\n", wall[w].kind, d, k, at, sl_repeat_depth_mm(d, k));
            assert_true(fabs(at - sl_repeat_depth_mm(d, k)) < 0.2);
        }
        free(level);
        sl_chest_free(&chest);
    }
}

/* From one repeat to the next the mirror, the face and one more way through the wall are lost. */
static void repeat_strength(void **state)
{
    (void)state;
    sl_scenario s;
    plain_mirror(&s, SL_PROBE_LINEAR, 2, 9);
    s.pneumothorax.present = true;
    s.pneumothorax.edge_mm = -100; /* air under the whole picture: |R| = 0.9995 */
    s.probe.bandwidth = 0.2;       /* so that the centre frequency hardly sinks */
    s.wall.texture = 0;
    s.wall.backscatter_db = -20;
    s.controls.depth_mm = 60;
    sl_chest *chest = make_chest(&s);
    sl_pose pose;
    sl_pose_at(&s, 0, &pose);
    float *level = levels_of(chest, 0);
    double step = 0;
    int beams = 0;
    for (int b = 60; b < 130; b++, beams++) {
        double x = sl_column_x(chest, b * chest->over), d = sl_chest_pleura(chest, &pose, x);
        int first = (int)(peak_near(chest, level, b, d, 1) / chest->sample_mm + 0.5);
        int second = (int)(peak_near(chest, level, b, 2 * d, 1) / chest->sample_mm + 0.5);
        double gain = 20 * log10((double)chest->depth_gain[second] / (double)chest->depth_gain[first]);
        step += level_at(chest, level, b, second) - level_at(chest, level, b, first) - gain;
    }
    step /= beams;
    const sl_medium *skin = sl_medium_get(SL_SKIN), *fat = sl_medium_get(SL_FAT_SUBCUTANEOUS), *muscle = sl_medium_get(SL_MUSCLE);
    double f = s.probe.freq_mhz, loss = 0;
    loss += 2 * skin->attenuation.db_per_cm * f * s.wall.skin_mm / 10;
    loss += 2 * fat->attenuation.db_per_cm * f * s.wall.fat_mm / 10;
    loss += 2 * muscle->attenuation.db_per_cm * pow(f, muscle->attenuation.power) * s.wall.muscle_mm / 10;
    double expected = 20 * log10(0.9995 * s.probe.face_reflection) - loss;
    print_message("step between repeats %.2f dB, expected %.2f dB\n", step, expected);
    assert_true(fabs(step - expected) < 2.5); /* the surface is a little rough and undulates: it loses some of each repeat */
    free(level);
    sl_chest_free(&chest);
}

static void attenuation(void **state)
{
    (void)state;
    static const double freq[] = {3, 5, 7};
    const sl_medium *muscle = sl_medium_get(SL_MUSCLE);
    for (int k = 0; k < 3; k++) {
        double sum = 0;
        int seeds = 10;
        for (int seed = 0; seed < seeds; seed++) {
            sl_scenario s;
            even_medium(&s, freq[k], 60);
            s.seed = 40 + seed;
            s.probe.bandwidth = 0.2; /* a narrow spectrum keeps its centre */
            sl_chest *chest = make_chest(&s);
            chest->noise = 0;
            float *level = levels_of(chest, 0);
            double sx = 0, sy = 0, sxx = 0, sxy = 0, n = 0;
            for (int i = (int)(6 / chest->sample_mm); i < (int)(54 / chest->sample_mm); i++) {
                double power = 0, x = i * chest->sample_mm / 10;
                for (int b = 0; b < chest->beams; b++)
                    power += pow(10, level_at(chest, level, b, i) / 10);
                double y = 10 * log10(power / chest->beams) - 20 * log10((double)chest->depth_gain[i]);
                sx += x;
                sy += y;
                sxx += x * x;
                sxy += x * y;
                n++;
            }
            sum += (n * sxy - sx * sy) / (n * sxx - sx * sx);
            free(level);
            sl_chest_free(&chest);
        }
        double one_way = -sum / seeds / 2, expected = muscle->attenuation.db_per_cm * pow(freq[k], muscle->attenuation.power);
        /* Even a narrow spectrum sinks a little: by s^2 A at the middle of the fitted depths. */
        double middle = 2 * expected / freq[k] * 3.0 / 8.685889638, sd = 0.2 * freq[k] / 2.3548;
        expected *= 1 - sd * sd * middle / freq[k];
        print_message("%g MHz: %.3f dB/cm, put in %.3f\n", freq[k], one_way, expected);
        assert_true(fabs(one_way - expected) < 0.1);
    }
}

/* The centre of a wide spectrum sinks on its way (sheet A5): less is lost than the centre frequency says, by
 * A^2 s^2 / 2 nepers. */
static void sinking_centre(void **state)
{
    (void)state;
    sl_scenario s;
    even_medium(&s, 5, 80);
    s.probe.bandwidth = 0.7;
    sl_chest *chest = make_chest(&s);
    sl_pose pose;
    double at;
    sl_pose_at(&s, 0, &pose);
    double heard = sl_chest_heard(chest, &pose, chest->columns / 2, chest->bench[0], &at);
    double a = 0;
    const sl_medium *muscle = sl_medium_get(SL_MUSCLE), *skin = sl_medium_get(SL_SKIN);
    a += 2 * muscle->attenuation.db_per_cm * pow(5, muscle->attenuation.power - 1) * (at - 0.5) / 10 / 8.685889638;
    a += 2 * skin->attenuation.db_per_cm * 0.5 / 10 / 8.685889638;
    double sd = 0.7 * 5 / 2.3548, expected = a * 5 - 0.5 * a * a * sd * sd;
    print_message("lost %.3f Np, expected %.3f (without sinking %.3f)\n", -log(heard), expected, a * 5);
    assert_true(fabs(-log(heard) - expected) < 0.03);
    sl_chest_free(&chest);
}

static double mean_peak(sl_scenario *s, double x_from, double x_to, bool rib)
{
    sl_chest *chest = make_chest(s);
    sl_pose pose;
    sl_pose_at(s, 0, &pose);
    float *level = levels_of(chest, 0);
    double sum = 0;
    int n = 0;
    for (int b = 0; b < chest->beams; b++) {
        double x = sl_column_x(chest, b * chest->over), at = sl_chest_pleura(chest, &pose, x), bottom;
        if (x < x_from || x > x_to || (rib && !sl_chest_rib(chest, &pose, 0, x, &at, &bottom)))
            continue;
        int i = (int)(peak_near(chest, level, b, at, 1.2) / chest->sample_mm + 0.5);
        sum += level_at(chest, level, b, i);
        n++;
    }
    free(level);
    sl_chest_free(&chest);
    assert_true(n > 3);
    return sum / n;
}

/* |R|: muscle-air 0.9995 > muscle-aerated lung 0.645 > muscle-fluid 0.056 (impedances of the media table). */
static void order_of_reflections(void **state)
{
    (void)state;
    sl_scenario air, lung, fluid, bone;
    plain_mirror(&air, SL_PROBE_CONVEX, 4, 12);
    lung = fluid = bone = air;
    air.pneumothorax.present = true;
    air.pneumothorax.edge_mm = -100;
    fluid.effusion.depth_mm = 30;
    bone.ribs = 1;
    bone.rib[0] = (sl_rib){0, 10, 14, 6, false};
    double a = mean_peak(&air, -6, 6, false), l = mean_peak(&lung, -6, 6, false), w = mean_peak(&fluid, -6, 6, false);
    double b = mean_peak(&bone, -1.5, 1.5, true);
    print_message("levels: air %.1f, lung %.1f, bone %.1f, fluid %.1f dB\n", a, l, b, w);
    assert_true(a > l && l > w && b > w);
    assert_true(a - l > 2 && a - l < 6); /* 3.8 dB by the impedances */
}

/* A trap's ring falls by pi f / Q a second, and rings best where its resonance lies in the band (slab of air walls). */
static void rings(void **state)
{
    (void)state;
    sl_scenario s;
    sl_scenario_defaults(&s);
    s.lung.traps = 2;
    s.lung.trap[0] = (sl_trap){0, 0, -20, 1.54 / (2 * 3.5), 200}; /* first resonance at the centre frequency */
    s.lung.trap[1] = (sl_trap){9, 0, -20, 1.54 / (2 * 9.0), 200}; /* far above the band */
    sl_chest *chest = make_chest(&s);
    assert_true(fabs(sl_trap_slab_mhz(s.lung.trap[0].size_mm, 1, 1540) - 3.5) < 0.01);
    double per_sample = SL_PI * 3.5 / 200 * chest->sample_mm / 0.77;
    print_message("ring: decay %.4f Np a sample, expected %.4f; strengths %.4f and %.6f\n", chest->site[0].decay_np, per_sample,
                  chest->site[0].strength, chest->site[1].strength);
    assert_true(fabs(chest->site[0].decay_np / per_sample - 1) < 0.25); /* tones and their Q spread by chance */
    assert_true(chest->site[0].strength > 5 * chest->site[1].strength);
    sl_chest_free(&chest);
}

/* What aerated lung and free air draw below their surface is sound of that surface that came back late, on the same beams: in a fan, too, it goes
 * sideways by as many beams as the surface. */
static void haze_goes_with_the_surface(void **state)
{
    (void)state;
    for (int air = 0; air < 2; air++) {
        sl_scenario s;
        plain_mirror(&s, SL_PROBE_CONVEX, 5, 12);
        s.lung.haze_db = -40;
        s.controls.depth_mm = 160;
        s.pneumothorax.present = air;
        s.pneumothorax.edge_mm = -200;
        sl_chest *chest = make_chest(&s);
        sl_pose pose;
        sl_ray ray;
        sl_pose_at(&s, 0, &pose);
        pose.lung_mm = pose.sway_mm = 6;
        sl_chest_ray(chest, &pose, 0.5 * chest->columns, 0, &ray);
        double pleura = sl_chest_pleura(chest, &pose, sl_column_x(chest, 0.5 * chest->columns)), below = 0;
        for (int i = 0; i < ray.segments; i++) {
            const sl_segment *it = &ray.segment[i];
            if (it->tissue != SL_AIR_BODY)
                continue;
            double columns = 6 / (chest->column_mm * sl_spread(chest, pleura));
            assert_true(fabs((double)it->shift_columns - columns) < 0.01 * columns);
            below = fmax(below, (double)it->to * chest->sample_mm);
        }
        assert_true(below > 140);
        sl_chest_free(&chest);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(repeats), cmocka_unit_test(repeat_strength), cmocka_unit_test(attenuation),
                                       cmocka_unit_test(sinking_centre), cmocka_unit_test(order_of_reflections), cmocka_unit_test(rings),
                                       cmocka_unit_test(haze_goes_with_the_surface)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
