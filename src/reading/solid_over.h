/* What lung without air makes of the other answers: it has no A-lines, no free air lies before it, and it is what the
 * score's upper levels are about. */
#ifndef SL_READING_SOLID_OVER_H
#define SL_READING_SOLID_OVER_H

#include "reading/reading.h"

/* Call last, when all is stated. Where fluid or consolidation is present a lung point becomes uncertain: free air would hide both. Where consolidation is present: A-lines that seemed present become uncertain (no air mirror lies at the pleura;
 * layers of tissue and its deep border look like repeats), and the score is raised to 2, or to 3 where the solid lung reaches deeper
 * than 1 cm (Soldati et al., J Ultrasound Med 2020;39:1413, doi 10.1002/jum.15285; more than 1 cm counts as large: clinical sheet 1). */
void sl_solid_over_lines(sl_reading *reading);

#endif
