/* Evidence of a finding as places in the picture, for a structured report. */
#ifndef SL_OBJECTS_PLACES_H
#define SL_OBJECTS_PLACES_H

#include "core/arena.h"
#include "dicom/objects.h"
#include "reading/reading.h"
#include "view/view.h"

/* Fills the places of `to` from the evidence (all in `arena`); leaves them out where the view or the evidence has none. False
 * when memory ran out. */
bool sl_dicom_places(const sl_finding *finding, const sl_view *view, sl_arena *arena, sl_dicom_finding *to);

#endif
