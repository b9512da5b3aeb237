/* The numbers of the view, each with where it comes from.
 *
 * "physics" = follows from how the picture is made; "tried" = chosen on the development clips (114 of one device, 59 of
 * many), with a flat optimum: half or double changes little; "practice" = common practice, no source. */
#ifndef SL_VIEW_TABLE_H
#define SL_VIEW_TABLE_H

/* ---- stack ---- */
#define SL_BLACK_SHARE 0.25   /* a frame darker than this share of the median frame is black (tried, 130 clips) */
#define SL_COPY_SHARE 0.15    /* a change below this share of the usual largest one is a copy (tried, 130 clips) */
#define SL_COPY_QUANTILE 0.9  /* ... and the usual largest one is this quantile of the changes */

/* ---- colour laid over grey ---- */
#define SL_COLOUR_LEAST 28    /* chroma (of 128) from the usual one: coding of grey stays under 12, a dark flow colour at a
                                 third of full red has 40 (BT.601 weights) */
#define SL_COLOUR_TINT 8      /* median chroma of the lit picture from neutral with which it is tinted as a whole (practice) */
#define SL_COLOUR_LIT 32      /* grey level from which a pixel has a hue to speak of (practice) */
#define SL_COLOUR_MOST_SHARE 0.35 /* mean covered share above which too little grey is left to read (practice) */
#define SL_COLOUR_NOTICE 0.01 /* covered share from which it is said (practice) */
#define SL_COLOUR_MUCH 0.08   /* ... in any frame from which no answer from below the pleura is stated (practice; drawn patches of 5 % change none) */
#define SL_COLOUR_BOX_OUT 0.01 /* of the coloured cells beyond each end of the range that is told (practice) */
#define SL_COLOUR_MEET_LEAST 0.01 /* of the coloured cells lie where one colour meets the other, for aliasing to be judged (practice) */
#define SL_BAR_TALL 0.06      /* the colour bar: of the picture's height (practice) */
#define SL_BAR_GAP 0.02       /* its dark middle, likewise */
#define SL_BAR_FULL 0.7       /* coloured share of its length */
#define SL_BAR_EACH 0.2       /* of the warm and the cold part */
#define SL_BAR_APART 0.3      /* of its length between their middles: half when one lies above the other (geometry) */
#define SL_BAR_COLUMNS 3      /* pixels wide at least */

/* ---- statistics over frames ---- */
#define SL_FIND_FIRST 32      /* frames all used at first, then every 4th: probe and lung move within a second */
#define SL_FIND_STRIDE 4
#define SL_FIND_MOST 250      /* frames used at most, so that sums of 255 fit 16 bits (physics of uint16) */
#define SL_FIND_SIDE 560      /* a larger picture is pooled to at most this side: edges stay within a pixel or two */
#define SL_LEAST_SIDE 32      /* a picture with a shorter side holds too few beams to read (practice) */

/* ---- lit and dark ---- */
#define SL_STILL_RANGE 3      /* grey levels a drawn or empty pixel may vary over frames by lossy coding (tried) */
#define SL_FLAT_STEP 2        /* grey levels between neighbours of an empty surround (tried) */
#define SL_SURROUND_SHARE 0.01 /* share of the picture a level must fill to be a surround (tried) */
#define SL_SURROUND_STILL 0.05 /* ... a second level in a still: coding flattens parts of the picture itself (tried) */
#define SL_QUIET_SURROUND 0.025 /* ... a level under noise (tried) */
#define SL_QUIET_SHARE 0.05   /* the range over frames that this share of the pixels stays under is noise ... */
#define SL_QUIET_MARGIN 1.5   /* ... with this factor for the noisier ones (extremes of noise, 50 frames) */
#define SL_QUIET_MOST 60      /* grey levels; with more the picture has no surround (practice) */
#define SL_SURROUND_STEP 16   /* a second surround lies this far above the darkest one (tried) */
#define SL_LIT_STEP 5         /* grey levels above or below the surround that count as lit (evidence sheet: 6 of 255) */
#define SL_LIT_STEP_LEAST 2   /* ... on a dark grey map; a step of one is coding noise (practice) */
#define SL_LIT_STEP_MOST 12   /* ... on a bright one */
#define SL_MARK_STEP 24       /* a still pixel this far from the surround is a mark, not the picture (tried) */
#define SL_LIVE_RANGE 8       /* a pixel that varies more over the clip is live (above lossy noise; tried) */
#define SL_LIVE_SHARE 0.08    /* with fewer live pixels the clip counts as a still (tried) */
#define SL_LIT_LEAST 0.02     /* a clip with a smaller lit share is black or empty (practice) */
#define SL_PART_SHARE 0.02    /* lit parts under this share of the largest are overlays or noise (tried) */

/* ---- several pictures on one screen (drawn; no development clip has two, and none is split) ---- */
#define SL_PANEL_SHARED 0.5     /* regions that share this much of the smaller one are of one picture (practice) */
#define SL_PANEL_LEAST 0.2      /* a picture holds this share of what is lit (practice: panels are halves or thirds) */
#define SL_PANEL_GAP_PX 2       /* pooled pixels without light between two pictures, over their whole height (practice) */
#define SL_PANEL_STRAIGHT 0.85  /* share of a box's rows that begin and end at its sides ... */
#define SL_PANEL_STRAIGHT_PX 2  /* ... to pooled pixels: the grid and blur on both sides (physics) */
#define SL_PANEL_WIDTHS_DIFFER 0.05 /* a trace is not as wide as the picture it stands under (practice) */
#define SL_PANEL_ALIKE 0.1      /* two boxes are panels of one screen if their widths differ by no more (practice) */
#define SL_PANEL_DENSE 0.4      /* share of a frozen picture's or a trace's box that is lit; text fills less (practice) */
#define SL_PANEL_STILL_LEAST 0.5 /* of what stands still, a much smaller part is text or a menu (practice) */
#define SL_PANEL_FROZEN 0.25    /* a picture that moves on less than this share of the other's area stands still (practice) */
#define SL_PANEL_LARGER 1.2     /* pictures whose areas differ by less are alike (practice) */

/* ---- edges ---- */
#define SL_EDGE_NEAR_PX 1.6   /* a boundary point this near a line supports it: pixel grid plus blur (physics) */
#define SL_EDGE_BEYOND_PX 3.0 /* a lit point this far beyond speaks against it (tried) */
#define SL_EDGE_BEYOND_COST 1.5
#define SL_EDGE_LEAST_ROWS 0.08 /* share of the rows an edge must be seen in (tried) */
#define SL_CROP_ROWS 0.12     /* share of the rows that end in one column: the picture was cropped there (tried) */
#define SL_CROP_SHARP 0.75    /* ... of those that end within SL_CROP_BAND pixels: cut 1, arc 0.6 (physics) */
#define SL_CROP_BAND 6
#define SL_CROP_STRAY 3       /* pixels of noise beyond a cut (tried) */
#define SL_EDGE_STEEPEST 1.25 /* rad; sector pictures open to about 45 degrees a side, the widest convex ones to 70 */
#define SL_DARK_COST 0.25     /* dark inside against lit inside: shadows and lost contact are common inside, light
                                 outside is rare; ratio of the log likelihoods for 0.6 lit inside, 0.02 outside */
#define SL_FAR_REACHED 0.12   /* far edge: reached by this share of the columns (evidence sheet) */
#define SL_FAR_PASSED 0.02    /* ... and passed by fewer than this (where no arc shows: the lit picture ends there) */
#define SL_FAR_PASSED_MOST 0.10 /* an arc passed by more is not the far edge (tried) */
#define SL_FADE_FROM 2        /* pixels before and beyond the far edge between which it is told from light that fades */
#define SL_FADE_TO 5
#define SL_FADE_BASE 12       /* ... and where only the surround is left */
#define SL_FADE_SHARE 0.35    /* beyond over before: an edge 0 to 0.1 with blur, a fade 0.6 or more (drawn) */
#define SL_CLIMB_FIRST 0.03   /* first and last step of the search, in heights of the crop and radians */
#define SL_CLIMB_LAST 0.002
#define SL_POLISH_LOSS 0.02   /* the least-squares fit is preferred unless it costs more score than this */
#define SL_FACE_REACHED 0.20  /* near edge: begun at by this share of the columns (tried) */
#define SL_FACE_DEEPEST 0.3   /* ... no deeper than this share of the picture (tried) */
#define SL_FACE_WHOLE 0.5     /* ... or by this share of the columns the near arc spans (drawn sectors) */
#define SL_FACE_WHOLE_PX 12   /* ... if these are that many: fewer lie on a corner by chance (tried) */
#define SL_NEAR_BEAMS 64      /* beams along which the start of the imaged area is measured in the full picture */
#define SL_NEAR_REACH_PX 6.0  /* ... this far on both sides of the fit, plus pooling: the fit errs by less (drawn) */
#define SL_NEAR_SHARE 0.4     /* ... which this share of the beams must show, the rest being marks, shadow */
#define SL_NEAR_SPREAD_PX 1.5 /* ... with this median spread at most, else they show something else (tried) */
#define SL_EDGE_WORTH 0.25    /* what a fully seen side edge adds to the score, the lit area being 1 (tried) */
#define SL_ARC_WORTH 0.30     /* ... and a fully seen far arc */
#define SL_BOX_SIDES_WORTH 0.10 /* what two straight sides on a dark surround add to a box beside their length: a wider fan is
                                   seldom cut off on both sides within the picture (practice) */
#define SL_HALF_ANGLE_LEAST 0.12 /* rad; narrower fans are boxes (practice: probes open to 15 degrees a side or more) */
#define SL_SYMMETRY_SD 0.0005 /* rad; the two half angles of one probe are equal (physics); ties them in the fit */
#define SL_SYMMETRY_MOST 0.15 /* rad; two lines whose slopes differ more are not the edges of one fan (tried) */
#define SL_SECTOR_NEAR 0.05   /* near over far radius below which the beams start in a point: a sector. The smallest
                                 curved probes have 10 mm radius at 150 mm depth: 0.06 (practice) */

/* ---- ultrasound or not ---- */
#define SL_VOTES_LEAST 30          /* fewer blocks of texture decide nothing (practice) */
#define SL_TEXTURE_LEAST 0.35      /* texture without direction gives 0.15 to 0.25; photographs had 0.04 to 0.33,
                                      clips 0.50 to 0.97, strongly compressed, halved or noisy ones from 0.37 (tried) */
#define SL_TEXTURE_LEAST_OUTLINED 0.22
#define SL_INSIDE_SURE 0.95        /* share of the lit picture inside a fan that is surely one (tried) */
#define SL_INSIDE_OUTLINED 0.85    /* ... when both edges and both arcs are seen: clutter beside a dark fan (drawn) */

/* ---- stretched pictures ---- */
#define SL_ASPECT_LEAST 0.6      /* 16:9 shown as 4:3 and the other way round is 0.75 and 1.33 (practice) */
#define SL_ASPECT_MOST 1.7
#define SL_ASPECT_LEAST_COLUMNS 0.3 /* share of the columns in which the arc must be seen (tried) */
#define SL_ASPECT_ROW_SD 1.0     /* rows by which single arc points err (tried: rms of the fits 0.3 to 1) */
#define SL_ASPECT_NOTICE 0.06    /* a smaller stretch is not told from a misfit (tried: 9 of 10 square clips within) */
#define SL_ASPECT_ARCS_GAIN 0.10 /* score a stretch seen on the arcs must add (drawn: 0.3; square: < 0.05) */
#define SL_ASPECT_STATED_GAIN 0.03 /* ... and one stated by the stream (tried) */
#define SL_ASPECT_SDS 5          /* ... nor is one under so many standard errors */

/* ---- texture ---- */
#define SL_VOTE_DARK 0.02     /* a block votes only if it lies wholly in the lit picture */
#define SL_VOTE_REACH 0.35    /* sine of the angle at which a vote counts nothing: fascia slopes (tried) */
#define SL_APEX_LOWEST 0.15   /* apex above the top of the crop, in heights of the crop: small curved probes ... */
#define SL_APEX_HIGHEST 3.0   /* ... to large ones zoomed to a third (practice) */
#define SL_TEXTURE_WORTH 0.2  /* what full support by texture adds to a score (tried) */
#define SL_TEXTURE_SD 0.5     /* rad; one vote in the fit: far weaker than a row of an edge (tried) */

/* ---- drawn around the picture ---- */
#define SL_MARK_RANGE 12      /* grey levels a drawn mark may vary by lossy coding beside moving picture (tried) */
#define SL_TICK_STEP 48       /* grey levels of a tick above the surround (practice) */
#define SL_TICK_THICK 120     /* a tick is at most this part of the height, or 3 pixels, thick (practice) */
#define SL_TICK_LEAST_PX 4.0  /* closer ticks cannot be told apart (practice) */
#define SL_TICK_OFF_PX 1.2    /* rounding to whole pixels twice (physics) */
#define SL_TICK_RMS_PX 0.7
#define SL_TICKS_LEAST 6      /* fewer equal steps occur in text by chance (practice) */
#define SL_TICKS_FULL 0.85    /* of the places of a ruler that show a tick, and of the marks between that are ticks */
#define SL_TICK_LONGER 1.3    /* a longer tick (practice) */
#define SL_TICKS_WRONG 0.1   /* share of ticks whose length may disagree with the pattern */
#define SL_RULER_LEAST 0.4    /* share of the height a ruler spans (practice) */
#define SL_DEPTH_LEAST_CM 4.0 /* imaged depths of curved and sector probes; of linear ones (practice) */
#define SL_DEPTH_MOST_CM 30.0
#define SL_DEPTH_LEAST_LINEAR_CM 2.0
#define SL_DEPTH_MOST_LINEAR_CM 12.0
#define SL_ORIENT_REACH 0.12  /* the orientation mark stands this near the near end of a side, in widths (practice) */
#define SL_ORIENT_MOST 0.07   /* ... is no larger than this */
#define SL_ORIENT_LEAST_PX 12
#define SL_ORIENT_FILL 0.4

/* ---- grey map ---- */
#define SL_GREY_SHARES {0.7, 0.8, 0.9, 0.95} /* the brighter cells: the darker half is noise and lost contact (tried) */
#define SL_GREY_MEAN_LOG (-1.35) /* their mean ln(grey / 255) on the median development clip: the exponent there is 1 */
#define SL_GREY_LEAST_GAMMA 0.5  /* maps of scanners differ by less (practice) */
#define SL_GREY_MOST_GAMMA 2.0

/* ---- scale ---- */
#define SL_RULER_RELATIVE_SD 0.01 /* a ruler belongs to the picture it stands beside to a per cent (practice) */
#define SL_DELTA_LEAST_CM 1e-4   /* DICOM: 1 micrometre to 1 cm a pixel, else rejected (standards sheet C2, rule 7) */
#define SL_DELTA_MOST_CM 1.0
#define SL_DICOM_RELATIVE_SD 0.005 /* calibrated regions are written to 3 or more digits (practice) */
#define SL_STATED_RELATIVE_SD 0.03 /* depth is stated in half centimetres on 8 to 16 cm (practice) */
#define SL_STATED_CROPPED_SD 0.10  /* ... and the face cut off the picture hides up to a centimetre or two (practice) */
#define SL_STATED_WIDEST_SD 0.10 /* with the far edge in the dark, no scale where it may lie further apart than this */
#define SL_ASPECT_TOLERANCE 0.05

#endif
