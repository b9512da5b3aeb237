/* The line of best score across a straightened picture, by dynamic programming (Viterbi) over beams. */
#ifndef SL_READING_PLEURA_SEARCH_H
#define SL_READING_PLEURA_SEARCH_H

#include "core/arena.h"
#include "view/stack.h"

#include <stdbool.h>

typedef struct sl_line_search {
    int first, last; /* rows searched, both included */
    float *score;    /* [SL_BEAMS][SL_DEPTHS]: filled by the caller; a beam's rows lie together */
    float *best;     /* scratch, the same shape */
    float *from;     /* scratch */
} sl_line_search;

/* false when memory is out */
bool sl_line_search_new(sl_arena *arena, int first, int last, sl_line_search *search);

/* `weight` of each beam's score (NULL: 1), `towards` a line that it costs to leave (NULL or NAN: none).
 * `line`: whole rows, every beam. */
void sl_line_search_run(const sl_line_search *search, const float *weight, const float *towards, float *line);

#endif
