/* Numbers of the search for burned-in text. All: common practice, no source, unless said; tried on invented text in
 * invented and in development pictures (docs/dicom.md). */
#ifndef SL_CLIP_TEXT_TABLE_H
#define SL_CLIP_TEXT_TABLE_H

enum {
    TEXT_STROKE_REACH = 6,     /* pixels: strokes up to 12 wide stand out, so letters to about 90 tall */
    TEXT_LEAST_CONTRAST = 10,  /* levels above the surroundings; compression noise on black stays below */
    TEXT_MOVE_REACH = 12,      /* pixels around over which movement is averaged */
    TEXT_MOST_LEVELS = 30,     /* levels from the row's median that a letter's grey may differ by */
    TEXT_NORM_REACH = 16,      /* pixels around over which the strongest stroke sets the scale */
    TEXT_LEAST_HEIGHT = 5, TEXT_MOST_HEIGHT = 96,
    TEXT_LEAST_LETTERS = 3,    /* in a row found by shape; shorter ones only where they can be read */
    TEXT_LEAST_CUT_HEIGHT = 3, /* pixels that the upper or lower edge of the picture leaves of a letter */
    TEXT_LEAST_CUT = 4,        /* letters in a row that it cuts */
    TEXT_LEAST_TWO_LINES = 6,  /* of them, for tops on two lines (capitals and small letters) */
    TEXT_MOST_RANGE = 48,      /* levels over the frames that a burned-in stroke may change by, coding noise included */
    TEXT_LEAST_SURE = 50,      /* per cent, the recogniser's own confidence, from which a word counts as read */
    TEXT_MOST_STRETCH = 6,    /* heights that a row may be stretched to either side over strokes beside it */
    TEXT_ROUNDS = 4            /* searches of the masked picture before giving up */
};

/* Letters of one row: heights within this ratio, vertical overlap and gap in heights, base lines within this share. */
static const double text_height_ratio = 2.3, text_least_overlap = 0.45, text_most_gap = 1.1, text_base_share = 0.12;
static const double text_least_aligned = 0.75;  /* share of a row's letters on its base or top line */
static const double text_least_fill = 0.10, text_most_fill = 0.92; /* of a letter's box by its strokes */
static const double text_move_weight = 0.8;     /* levels more of contrast for each level of movement around */
static const double text_level_weight = 0.2;   /* and for each level of grey around: letters are drawn to be seen */
static const double text_edge_rest = 0.4, text_least_sharp = 0.6; /* left of an edge two pixels on; share of such edges */
static const double text_least_crossed = 0.7;   /* strokes crossed per letter, row by row in the mean */
static const double text_most_crossed = 3.2;    /* M and W reach 4 in some rows */
static const double text_dense_weight = 1.5;    /* of the mean stroke around, that a stroke must pass */
static const double text_most_joined = 1.4;     /* times the area of two boxes that their join may take */
static const double text_cut_width = 3.0;       /* widths in heights of what the edge leaves of a letter */
static const double text_letter_pitch = 0.62;   /* width of a letter in heights, for letters that touch */

#endif
