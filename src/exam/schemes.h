/* Regional scores by each published scheme, from what the readings say. The schemes share the numbers 0 to 3 and nothing
 * else: they are never added to or compared with one another. */
#ifndef SL_EXAM_SCHEMES_H
#define SL_EXAM_SCHEMES_H

#include "exam/exam.h"

typedef enum sl_scheme { SL_SCHEME_FOUR_LEVEL, SL_SCHEME_REGIONAL, SL_SCHEME_COVERAGE, SL_SCHEMES } sl_scheme;

typedef struct sl_scheme_info {
    const char *key, *name, *levels, *source;
} sl_scheme_info;

const sl_scheme_info *sl_scheme_info_of(sl_scheme scheme);

/* What a clip shows, as far as it was told. */
typedef struct sl_lung_signs {
    bool read;                         /* a reading is there */
    sl_answer a_lines, b_lines, white_lung, consolidation, effusion, sliding, lung_point; /* SL_UNCERTAIN: not told */
    bool consolidation_sought, sliding_sought, effusion_sought, lung_point_sought;       /* the reading has such a row */
    double count, count_low, count_high;          /* B-lines, NAN not told */
    double coverage, coverage_low, coverage_high; /* share of the pleural width */
    double consolidation_mm;                      /* depth, NAN not told */
} sl_lung_signs;

sl_lung_signs sl_lung_signs_of(const sl_reading *reading);

/* A level 0 to 3 with the range that the uncertain leaves; level -1: not told. */
typedef struct sl_level {
    int level;
    double low, high;
} sl_level;

/* Worst pattern counts. Bouhemad et al., Crit Care Med 2010;38:84-92: 0 A-lines or at most two B-lines; 1 three and more
 * apart; 2 merged, or a small consolidation under the pleura (10 mm and less); 3 consolidation. */
sl_level sl_level_regional(const sl_lung_signs *signs);
/* Mongodi et al., Anesthesiology 2021;134:949-965: 1 three and more B-lines, or merged ones over at most half of the
 * pleural line; 2 over more than half; 3 tissue-like. */
sl_level sl_level_coverage(const sl_lung_signs *signs);

typedef struct sl_scheme_total {
    int total, of, zones; /* over the zones that have a level */
    double low, high;     /* of all zones: what missing and open ones leave */
    sl_level *zone;       /* as exam->zone */
} sl_scheme_total;

/* Fills `total`; memory from `arena`. A zone has the level of its worst clip. */
sl_status sl_exam_scheme(const sl_exam *exam, sl_scheme scheme, sl_arena *arena, sl_scheme_total *total, sl_error *error);

/* Aeration gained (positive) or lost from one regional level to another: 1, 3 or 5 points for one, two or three levels.
 * Bouhemad et al. 2010, as above, and AJRCCM 2011;183:341-347 (the points from memory). */
int sl_reaeration_points(int before, int after);

/* B-lines of 28 zones: "none", "mild", "moderate", "severe" for at most 5, 15, 30, more. Picano et al., J Am Soc
 * Echocardiogr 2006;19:356-363 (limits from memory). */
const char *sl_b_line_class(int sum);
/* Merged lines as a count: tenths of the space that are white, at most 10 (Gargani and Volpicelli 2014, from memory). */
int sl_b_line_count_of(const sl_lung_signs *signs);

#endif
