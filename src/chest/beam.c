#include "chest/kernel.h"
#include "chest/private.h"
#include "chest/random.h"
#include "core/units.h"

#include <string.h>

static const double fwhm_of_sd = 2.3548200450309493;

/* A source that rings at `at_mm` is shown deeper and deeper while the receiver focuses there: the aperture's cone at the
 * source grows and the sum over it falls, with the square root of the width (a line aperture, beyond its focus). The cone
 * of a Hamming weight is about 0.55 of the aperture at half its height. */
double sl_chest_ring_focus(const sl_chest *chest, double at_mm, double depth_mm)
{
    const sl_probe *p = &chest->scenario->probe;
    double aperture = fmin(p->aperture_mm, depth_mm / p->fnumber);
    double focused = 1.8 * 1.54 / chest->receive_mhz * fmax(p->fnumber, at_mm / p->aperture_mm);
    double cone = 0.55 * aperture * fmax(1 - at_mm / depth_mm, 0);
    return 1 / sqrt(sqrt(1 + cone * cone / (focused * focused)));
}

/* Whether all that the widths depend on is the same. */
static bool same_beams(const sl_chest *a, const sl_chest *b)
{
    const sl_probe *p = &a->beam_probe, *q = &b->beam_probe;
    return p->freq_mhz == q->freq_mhz && p->aperture_mm == q->aperture_mm && p->fnumber == q->fnumber &&
           a->beam_focus_mm == b->beam_focus_mm && a->receive_mhz == b->receive_mhz && a->samples == b->samples;
}

/* Widths change slowly with depth: worked out at knots, closer where the aperture still grows, and joined by lines. */
static void beam_widths(sl_chest *chest, const sl_chest *like)
{
    enum { KNOTS = 48 };
    if (like && same_beams(chest, like)) {
        memcpy(chest->sigma_mm, like->sigma_mm, (size_t)chest->samples * sizeof(float));
        memcpy(chest->transmit_sd_mm, like->transmit_sd_mm, (size_t)chest->samples * sizeof(float));
        return;
    }
    double depth[KNOTS], two_way[KNOTS], transmit[KNOTS], end = chest->samples * chest->sample_mm;
    for (int k = 0; k < KNOTS; k++) {
        double t = (double)k / (KNOTS - 1);
        depth[k] = end * t * sqrt(t);
        sl_chest_beam_widths(chest, depth[k], &two_way[k], &transmit[k]);
    }
    for (int i = 0, k = 0; i < chest->samples; i++) {
        double z = i * chest->sample_mm;
        while (k < KNOTS - 2 && depth[k + 1] < z)
            k++;
        double f = (z - depth[k]) / (depth[k + 1] - depth[k]);
        chest->sigma_mm[i] = (float)((two_way[k] + f * (two_way[k + 1] - two_way[k])) / fwhm_of_sd);
        chest->transmit_sd_mm[i] = (float)((transmit[k] + f * (transmit[k + 1] - transmit[k])) / fwhm_of_sd);
    }
}

static double depth_gain_at(const sl_chest *chest, double depth_mm)
{
    const sl_controls *c = &chest->scenario->controls;
    /* Matched to 0.5 dB/cm/MHz (AIUM convention, sheet A1, A5) until the amplifier's range ends. */
    double gain_db = 2 * 0.5 * chest->scenario->probe.freq_mhz * (c->harmonics ? 1.5 : 1) * depth_mm / 10;
    gain_db = fmin(gain_db, 60) + c->depth_gain_db_cm * depth_mm / 10 + c->gain_db;
    double gain = pow(10, gain_db / 20);
    if (c->harmonics) /* the harmonic builds up along the way */
        gain *= 1 - exp(-depth_mm / 15);
    return gain;
}

sl_status sl_chest_beam_tables(sl_chest *chest, const sl_chest *like, sl_error *error)
{
    chest->beam_probe = chest->scenario->probe;
    chest->beam_focus_mm = chest->scenario->controls.focus_mm;
    int n = chest->samples, chunks = (n + SL_CHUNK - 1) / SL_CHUNK;
    chest->sigma_mm = SL_NEW(&chest->arena, n, float);
    chest->transmit_sd_mm = SL_NEW(&chest->arena, n, float);
    chest->coherent = SL_NEW(&chest->arena, n, float);
    chest->point = SL_NEW(&chest->arena, n, float);
    chest->depth_gain = SL_NEW(&chest->arena, n, float);
    chest->half_of_chunk = SL_NEW(&chest->arena, chunks, int);
    if (!chest->transmit_sd_mm || !chest->sigma_mm || !chest->coherent || !chest->point || !chest->depth_gain || !chest->half_of_chunk)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the simulator's beams were laid out.");
    int most = 0;
    beam_widths(chest, like);
    for (int i = 0; i < n; i++) {
        double depth = i * chest->sample_mm;
        chest->depth_gain[i] = (float)depth_gain_at(chest, depth);
        double sd = chest->sigma_mm[i] / (chest->column_mm * sl_spread(chest, depth));
        int half = (int)ceil(2.6 * sd);
        half = half < 1 ? 1 : half > SL_MOST_KERNEL ? SL_MOST_KERNEL : half;
        int *of_chunk = &chest->half_of_chunk[i / SL_CHUNK];
        *of_chunk = half > *of_chunk ? half : *of_chunk;
        most = half > most ? half : most;
    }
    for (int k = 0; k <= most; k++)
        if (!(chest->weight[k] = SL_NEW(&chest->arena, n, float)))
            return sl_fail(error, SL_MEMORY, "Memory ran out while the simulator's beams were laid out.");
    for (int i = 0; i < n; i++) {
        double depth = i * chest->sample_mm;
        double sd = chest->sigma_mm[i] / (chest->column_mm * sl_spread(chest, depth));
        int half = chest->half_of_chunk[i / SL_CHUNK];
        double w[SL_MOST_KERNEL + 1], sum = 0, squares = 0;
        for (int k = 0; k <= half; k++) {
            w[k] = exp(-0.5 * k * k / (sd * sd));
            sum += (k ? 2 : 1) * w[k];
            squares += (k ? 2 : 1) * w[k] * w[k];
        }
        for (int k = 0; k <= half; k++)
            chest->weight[k][i] = (float)(w[k] / sqrt(squares));
        chest->coherent[i] = (float)(sqrt(squares) / sum);
        chest->point[i] = (float)sqrt(squares);
    }
    /* The pulse: a Gaussian whose two-way -6 dB spectrum has the stated width; along depth its sd is
     * c / (4 pi sd of the spectrum). */
    double sd = 1.54 / (4 * SL_PI * chest->spectrum_mhz) / chest->sample_mm, squares = 0;
    double tap[SL_AXIAL_HALF + 1];
    for (int k = 0; k <= SL_AXIAL_HALF; k++) {
        tap[k] = exp(-0.5 * k * k / (sd * sd));
        squares += (k ? 2 : 1) * tap[k] * tap[k];
    }
    for (int k = 0; k <= SL_AXIAL_HALF; k++)
        chest->axial_tap[k] = (float)(tap[k] / sqrt(squares));
    return SL_OK;
}

/* Ring-down of one trap: the modes of its length that the transmitted spectrum excites, each broken into a few near
 * tones because no trap is a clean slab; decay pi f / Q a second (sheet A9: slab, both walls free, f = m c / 2 L). */
static void ring_down(const sl_chest *chest, uint64_t key, double size_mm, double q, int way, sl_site *site)
{
    float *out_re = site->re[way], *out_im = site->im[way];
    double centre = chest->receive_mhz, sd = chest->spectrum_mhz * sqrt(2);
    double step_us = chest->sample_mm / 0.77;
    double power = 0, decay = 0;
    int modes = (int)(2 * size_mm / 1.54 * (centre + 3 * sd)) + 1;
    for (int m = 1; m <= modes; m++)
        for (int tone = 0; tone < 16; tone++) {
            int64_t index = m * 64 + tone;
            double f = m * 1.54 / (2 * size_mm) * (1 + 0.13 * sl_normal(key, index));
            double a = exp(-0.5 * (f - centre) * (f - centre) / (sd * sd)) * (0.5 + sl_uniform(key, index + 5000));
            if (a < 0.02 || fabs(f - centre) > 0.95 * 0.5 / step_us)
                continue;
            double np = SL_PI * f * step_us / (q * exp(0.25 * sl_normal(key, index + 9000)));
            double turn = 2 * SL_PI * (f - centre) * step_us, start = 2 * SL_PI * sl_uniform(key, index + 13000);
            double re = a * cos(start), im = a * sin(start), c = exp(-np) * cos(turn), s = exp(-np) * sin(turn);
            for (int i = 0; i < chest->ring_samples; i++) {
                out_re[i] += (float)re;
                out_im[i] += (float)im;
                double next = re * c - im * s;
                im = re * s + im * c;
                re = next;
            }
            power += a * a;
            decay += a * a * np;
        }
    /* A trap whose resonances lie in the band rings with its full strength; one beside it, weaker: the norm is that of
     * tones at the centre, 16 of them. */
    double norm = site->strength / sqrt(16 * 1.083);
    for (int i = 0; i < chest->ring_samples; i++) {
        out_re[i] *= (float)norm;
        out_im[i] *= (float)norm;
    }
    if (way == 0) {
        site->decay_np = power > 0 ? decay / power : 1;
        site->heard = norm * sqrt(power);
    }
}

static bool add_site(sl_chest *chest, double x, double y, double db, double spread, double size, double q, uint64_t key)
{
    if (chest->sites == SL_MOST_SITES)
        return true;
    sl_site *site = &chest->site[chest->sites];
    *site = (sl_site){.x_mm = x, .y_mm = y, .strength = pow(10, db / 20), .spread_mm = spread};
    /* A source is a cluster: what it sends differs from side to side. */
    for (int way = 0; way < 3; way++) {
        site->re[way] = SL_NEW(&chest->arena, chest->ring_samples, float);
        site->im[way] = SL_NEW(&chest->arena, chest->ring_samples, float);
        if (!site->re[way] || !site->im[way])
            return false;
        ring_down(chest, sl_hash(key, (uint64_t)way), size * (1 + 0.1 * way), q, way, site);
    }
    site->strength = site->heard;
    chest->sites++;
    return true;
}

sl_status sl_chest_sites(sl_chest *chest, sl_error *error)
{
    const sl_lung *lung = &chest->scenario->lung;
    uint64_t key = sl_hash(chest->seed, 0x73697465);
    chest->ring_samples = chest->samples;
    chest->site = SL_NEW(&chest->arena, SL_MOST_SITES, sl_site);
    bool good = chest->site != NULL;
    for (int t = 0; good && t < lung->traps; t++) {
        const sl_trap *trap = &lung->trap[t];
        good = add_site(chest, trap->x_mm, trap->y_mm, trap->strength_db, 0.5, trap->size_mm, trap->q, sl_hash(key, (uint64_t)t));
    }
    /* Interstitial disease: places by chance (gamma-like spacing), out to where sliding can bring them into view. */
    double reach = 0.5 * chest->columns * chest->column_mm + 0.5 * chest->scenario->motion.sliding_mm + 10;
    double from = fmax(lung->interstitial_from_mm, -reach), to = fmin(lung->interstitial_to_mm, reach);
    if (lung->interstitial_per_cm > 0) {
        double mean = 10 / lung->interstitial_per_cm, x = from;
        for (int i = 0; good && x < to && i < SL_MOST_SITES; i++) {
            double spread = lung->interstitial_spread;
            x += mean * (0.35 - 0.65 * log(1 - 0.999 * sl_uniform(key, 1000 + i)));
            double db = lung->interstitial_db + 7 * spread * sl_normal(key, 4000 + i);
            double q = lung->interstitial_q * exp(0.6 * spread * sl_normal(key, 7000 + i));
            double size = 0.25 + 0.6 * sl_uniform(key, 10000 + i);
            double y = 2.0 * sl_normal(key, 13000 + i);
            if (x < to)
                good = add_site(chest, x, y, fmin(db, 0), 0.6 + 0.4 * sl_uniform(key, 16000 + i), size, fmax(q, 10),
                                sl_hash(key, (uint64_t)(20000 + i)));
        }
    }
    return good ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out while the sources of vertical artifacts were made.");
}
