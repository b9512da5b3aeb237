/* When something that is there can be seen at all. Common practice, no source, unless said. */
#ifndef SL_CHEST_TRUTH_TABLE_H
#define SL_CHEST_TRUTH_TABLE_H

#define SL_SEEN_OVER_DB 4.0        /* a vertical artifact or a repeat must stand this far over what surrounds it: less than
                                      the spread of speckle after log compression, 5.57 dB, is lost in it (sheet B) */
#define SL_SEEN_FLOOR_DB 6.0       /* and this far above black */
#define SL_REACHES 0.90            /* a B-line reaches this share of the imaged depth (clinical sheet 1) */
#define SL_MERGE_GAP 0.35          /* runs nearer than this share of a line's width merge */
#define SL_IMAGE_MM 10.0           /* of the mirror image that must lie in the picture */
#define SL_IMAGE_SHARE 0.55        /* of the organ's amplitude that it has: air's reflection (-0.65) and what the muscle takes */
#define SL_SPINE_ECHO 0.4          /* amplitude of the vertebral bodies: bone sends back some half of what meets it (tissue 1.6, cortical bone
                                      6 to 7.8 MRayl), rough and rarely square to the beam, a part of that */
#define SL_BEYOND_MM 6.0           /* between the diaphragm and the spine, and between the spine and the far edge */
#define SL_BEYOND_BEAMS 4          /* of 64 */
#define SL_WHITE_SHARE 0.90        /* of the space: white lung */
#define SL_SLIDES_MM 1.0           /* less than this is no sliding an eye can see */
#define SL_PULSE_MM 0.25
#define SL_SLIDING_FRAMES 6.0      /* frames a breath that sliding needs to be followed */
#define SL_SOLID_MM 3.0            /* smaller consolidations are dents */
#define SL_FLUID_MM 3.0
#define SL_BRONCHI_SEEN 2          /* pieces of bronchi in one picture that make a bronchogram */
#define SL_BRONCHI_MOVE_MM 1.0     /* moving air travels more (Lichtenstein et al. 2009, doi 10.1378/chest.08-2281) */
#define SL_IRREGULAR 0.5           /* roughness from which the line looks dented */

#endif
