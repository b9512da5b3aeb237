/* What machines sent (strandline receive, DICOMweb) and the store keeps, for bringing it into an examination. */
#ifndef SL_SERVE_ARRIVED_H
#define SL_SERVE_ARRIVED_H

#include "serve/desk.h"
#include "serve/request.h"

/* GET api/arrived: {"studies": [{id, clips, bytes, newest}]}, the last that something came to first. */
enum MHD_Result sl_arrived_list(sl_request *request);

/* POST {"study": id}: copies its clips into the examination; those that are there already stay. {"clips": how many came}. */
enum MHD_Result sl_arrived_take(sl_request *request, sl_desk *desk);

#endif
