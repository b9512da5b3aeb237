/* Learners on the page: sessions drawn from a pool whose truth is known, answers marked at once with the evidence, curves. A
 * learner's folder is PLACE/report/learners/NAME, as `strandline learn` takes it; the pools of invented chests lie beside it. */
#ifndef SL_SERVE_LEARNERS_H
#define SL_SERVE_LEARNERS_H

#include "serve/request.h"

/* Everything below api/learners. */
enum MHD_Result sl_learners_answer(sl_request *request);

#endif
