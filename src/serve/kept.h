/* Examinations that the store keeps, to be brought back among those of the folder: with their clips, what was said of them and
 * their signature. What is brought back is a copy; the store stays as it is. */
#ifndef SL_SERVE_KEPT_H
#define SL_SERVE_KEPT_H

#include "serve/request.h"

/* GET api/kept: {"exams": [{uid, person, title, date, invented, clips, signed, here: id of the copy in the folder or ""}]}, newest
 * first; nothing for a learner. GET/POST {"uid"}: makes the copy, or finds it: {"id"}. */
enum MHD_Result sl_kept_answer(sl_request *request);

#endif
