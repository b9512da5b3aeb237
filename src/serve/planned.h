/* What is planned, from a modality worklist, to begin an examination from. The list goes from the worklist to the page and is kept
 * nowhere; what is begun is written into the examination's own folder. */
#ifndef SL_SERVE_PLANNED_H
#define SL_SERVE_PLANNED_H

#include "serve/request.h"

/* GET api/planned: {"may": bool, "planned": [{key, name, patient, born, procedure, accession, date, time, station}], "more"};
 * "may" false: no worklist is named, one examination is open, or the user is a learner.
 * POST {"key", "protocol"}: begins that one; {"id"}. */
enum MHD_Result sl_planned_answer(sl_request *request);

#endif
