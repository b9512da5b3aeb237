/* Parts of the command simulate. */
#ifndef SL_CLI_SIMULATE_DEMO_H
#define SL_CLI_SIMULATE_DEMO_H

#include "chest/scenario.h"

/* A clip (or folder of pictures) of one scenario, and its truth unless NULL. */
sl_status sl_simulate_one(const sl_scenario *scenario, const char *out, const char *truth, sl_error *error);
/* The demo examination into `folder`: one folder a date, each with exam.csv and exam-info.json. */
sl_status sl_simulate_demo(const char *folder, sl_error *error);

#endif
