/* The strip beside a picture with flow in colour: the bar that says what the colours mean, and its numbers. */
#ifndef SL_CHEST_FLOW_SCREEN_H
#define SL_CHEST_FLOW_SCREEN_H

#include "chest/modes.h"

/* Colour of a velocity as a share of the limit, -1 to 1, towards the probe positive: dark when slow. */
void sl_flow_colour(double share, bool blue_toward, uint8_t rgb[3]);

/* Draws the strip into columns from `left` of a picture of packed RGB. `most_mm_s` is written in cm/s. */
void sl_flow_draw_bar(uint8_t *rgb, int width, int height, int left, double most_mm_s, bool blue_toward);

#endif
