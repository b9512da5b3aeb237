#include "chest/figures.h"

#include "acoustics/loss.h"
#include "chest/private.h"
#include "chest/truth.h"
#include "core/units.h"

void sl_chest_figures(sl_chest *chest, int index, sl_figure figure[SL_FIGURES])
{
    const sl_scenario *sc = chest->scenario;
    sl_frame_truth truth;
    sl_chest_frame_truth(chest, index, &truth);
    double across, transmit, deep, unused, pleura = chest->pleura_mm;
    sl_chest_beam_widths(chest, pleura, &across, &transmit);
    sl_chest_beam_widths(chest, 0.9 * sc->controls.depth_mm, &deep, &unused);
    /* -6 dB length of the pulse's envelope as shown: 2.3548 sd, sd = c / (4 pi sd of the spectrum). */
    double along = 2.3548 * 1.54 / (4 * SL_PI * chest->spectrum_mhz);
    sl_attenuation soft = sl_medium_get(SL_SOFT_TISSUE)->attenuation;
    const sl_figure all[SL_FIGURES] = {
        {"highest frame rate", "Hz", 1, sl_scenario_frame_rate_most_hz(sc)},
        {"resolution across, at the pleura", "mm", 2, across},
        {"resolution across, deep", "mm", 2, deep},
        {"resolution along", "mm", 2, along},
        {"lost to soft tissue, to the pleura and back", "dB", 1, sl_loss_round_trip_db(soft, sc->probe.freq_mhz, pleura)},
        {"pleura's share of the imaged depth", "", 2, (pleura - sc->controls.crop_top_mm) / (sc->controls.depth_mm - sc->controls.crop_top_mm)},
        {"first repeat over its surroundings", "dB", 1, isfinite(truth.a_line_over_db) ? truth.a_line_over_db : NAN},
        {"vertical artifacts to the far edge", "", 0, truth.runs},
        {"their share of the space", "%", 0, 100 * truth.coverage},
        {"vertical artifacts that fade", "", 0, truth.short_runs},
        {"width of one at its start", "mm", 1, hypot(transmit, 2.3548 * 0.5)},
    };
    for (int i = 0; i < SL_FIGURES; i++)
        figure[i] = all[i];
}
