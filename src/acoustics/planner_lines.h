/* The lines of a plan, in three groups. */
#ifndef SL_ACOUSTICS_PLANNER_LINES_H
#define SL_ACOUSTICS_PLANNER_LINES_H

#include "acoustics/planner.h"

/* Where lines and notes go while a plan is made. `failed` is set when memory or room runs out. */
typedef struct sl_plan_writer {
    sl_plan *plan;
    sl_arena *arena;
    bool failed;
} sl_plan_writer;

/* printf into the arena; "" when memory is out. */
const char *sl_plan_text(sl_plan_writer *writer, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
void sl_plan_add(sl_plan_writer *writer, sl_plan_line line);
void sl_plan_note(sl_plan_writer *writer, const char *text);

/* Probe, depth, frequency, focus. */
void sl_plan_add_choices(sl_plan_writer *writer);
/* Resolution, penetration, frame rate, where the repeats fall, what a rib hides. */
void sl_plan_add_consequences(sl_plan_writer *writer);
/* Filters, gain, display, output, clip length. */
void sl_plan_add_switches(sl_plan_writer *writer);
/* The table of common practice. */
void sl_plan_add_checks(sl_plan_writer *writer);

#endif
