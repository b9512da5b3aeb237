/* An invented examination with drawn pictures and made-up readings: what the report shows without a reader. */
#ifndef SL_TESTS_FAKE_EXAM_H
#define SL_TESTS_FAKE_EXAM_H

#include "exam/exam.h"

/* `clips` clips; the first eight on the zones of the base scheme (one of them missing, one unreadable, one not told),
 * the rest without a zone. All memory is from the arena. */
void fake_exam(sl_arena *arena, int clips, sl_exam *exam);

#endif
