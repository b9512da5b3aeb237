/* Clips that the tests make themselves, in every container, coding and pixel format that has to be read, from a pattern
 * whose grey is known. FFmpeg's encoders are called directly, so that save.c is not tested by itself. */
#ifndef TESTS_CLIP_MAKE_CLIP_H
#define TESTS_CLIP_MAKE_CLIP_H

#include <libavutil/pixfmt.h>
#include <stdbool.h>

typedef struct clip_recipe {
    const char *file, *muxer, *codec; /* FFmpeg's names of muxer and encoder */
    enum AVPixelFormat format;
    enum AVColorRange range;
    int width, height, frames;
    int rate, rate_den;  /* frames/s */
    int worst;           /* largest error of a grey level; above 1 the mean is bounded too */
    double mean;         /* largest mean error */
    const char *reads_as;/* what sl_clip_info.format says */
    bool uneven;         /* variable frame rate: times from uneven_time() */
    bool coloured;       /* a coloured patch in the upper left eighth */
    int aspect_num, aspect_den;
    int quarter_turns;   /* clockwise, written as a display matrix */
    const char *options; /* "key=value:key=value" for the encoder */
} clip_recipe;

extern const clip_recipe recipes[];
extern const int recipe_count;

/* Grey 0..255 of the pattern as it should stand upright in a picture of width x height. */
int pattern_gray(const clip_recipe *recipe, int frame, int x, int y);
bool in_patch(const clip_recipe *recipe, int x, int y);
/* Seconds from the first frame. */
double pattern_time(const clip_recipe *recipe, int frame);

/* Writes the clip to `path`; false when the encoder is not there or fails. */
bool make_clip(const clip_recipe *recipe, const char *path);

#endif
