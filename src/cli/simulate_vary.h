/* `simulate --vary`: one control at several settings, pictures side by side with the figures that changed. */
#ifndef SL_CLI_SIMULATE_VARY_H
#define SL_CLI_SIMULATE_VARY_H

#include "chest/scenario.h"

/* `vary` is "controls.depth_mm=60,100,160". Writes `path`, a .png or .pdf. */
sl_status sl_simulate_vary(const sl_scenario *scenario, const char *vary, const char *path, sl_error *error);

#endif
