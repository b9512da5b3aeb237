/* The bench: the simulator with its controls in the page's hands. */
#ifndef SL_SERVE_BENCH_H
#define SL_SERVE_BENCH_H

#include "serve/request.h"

typedef struct sl_live sl_live;

sl_live *sl_live_new(void);
void sl_live_free(sl_live **live);

/* GET: the chests there are and the controls with their ranges, as JSON. POST {"chest": name, "frame": k, "height": pixels,
 * "set": {"controls.depth_mm": 120, ...}}: one picture in the form of frames.h; the head also holds "figures", "view",
 * "rate_hz" and what was set. */
enum MHD_Result sl_live_answer(sl_request *request);

/* The scenario of {chest, set, height}; controls that the bench does not offer are left aside. */
struct sl_scenario;
sl_status sl_live_wanted(const struct sl_live *live, const json_t *asked, struct sl_scenario *scenario, sl_error *error);

#endif
