/* The numbers behind movement (strips.c, track.c, motion.c, sliding.c, lung_point.c, rhythm.c), each with its origin. Rows are
 * cells of SL_DEPTHS, beams cells of SL_BEAMS. "simulated": chosen on simulated chests (scripts/movement.py; other seeds than
 * those of docs/movement.md). "common practice": of the trade, no source. */
#ifndef SL_READING_MOTION_TABLE_H
#define SL_READING_MOTION_TABLE_H

/* ---- what is followed (strips.c) ---- */
enum {
    STRIP_LUNG_ROWS = 8,  /* the pleural line and what hangs on it */
    STRIP_WALL_ROWS = 16,  /* the chest wall just above */
    STRIP_ROWS = STRIP_LUNG_ROWS + STRIP_WALL_ROWS,
    STRIP_LUNG_FROM = 0,  /* rows below the line at which the strip starts */
    STRIP_STRAIGHT_BEAMS = 10, /* over which the line's direction is taken */
    STRIP_ON_BEAMS = 24,   /* the straight line through as many is followed where another was found: as far as is looked for a lung point */
    STRIP_ON_APART = 12,   /* left between it and another space's line that lies elsewhere: more than LUNG_POINT_GAP */
    STRIP_RISE_ROWS = 6,   /* either way: 1 to 3 mm at common depths, what the pleura rises and falls (common practice) */
    STRIP_PROFILE = 18,    /* rows either side of the line that its rise is found by */
    STRIP_LIT_BEAMS = 2,   /* either side */
    STRIP_WALL_GAP = 3     /* rows between the wall's strip and the line */
};
/* Lateral band-pass: speckle is 2 to 6 beams wide here (docs/simulator.md); wider is layers and gain. */
#define STRIP_LIT 1.0f            /* of the mean grey of the wall above: the line is seen though it is dark below, where a rib
                                     shadows it it has a tenth to a third (simulated) */
#define STRIP_ON_LIT 1.2f         /* the same where the straight line is followed instead of the one that was found: at 1.0 two more of 101 simulated
                                     lung points are found, and one more of 173 real clips shows one */
#define STRIP_LIT_SHARE 0.4f       /* of what line and wall have over the spaces: the probe touches there (simulated) */
#define STRIP_STEP_MOST 1.5f      /* rows from beam to beam */
#define STRIP_BEND_MOST 5.0f      /* rows off the straight line on; a rib lies 5 mm nearer (Lichtenstein 2014) */
#define STRIP_NARROW 0.7f
#define STRIP_WIDE 5.0f
#define STRIP_ROW_FLOOR 3.0    /* grey levels: what noise and rounding give */

/* ---- what stands still in it (still.c) ---- */
#define STRIP_STILL_BEAMS 4.0f /* over which the still share is taken */
#define STRIP_STILL_FROM 0.6f  /* still share of the power from which its mean is left in (simulated) */
#define STRIP_STILL_TO 0.3f    /* and below which it is taken out wholly */
#define STILL_WALL_FROM 0.8  /* of what neighbouring frames share: from there on the wall's mean is left in */
#define STILL_WALL_TO 0.5    /* below it is taken out wholly. Walls under a hand that sways have 0 to 0.1 where nothing lies over them, 0.3 to 0.8
                                under what is fixed to the probe, and were followed over a tenth to a half of their way there (simulated) */
#define STILL_WALL_QUANTILE 0.45 /* of the places, by what neighbouring frames share there (simulated) */

/* ---- how it is followed (track.c, motion.c) ---- */
enum {
    TRACK_SHIFT_MOST = 12, /* beams between the two frames of a pair */
    TRACK_WALL_MOST = 8,   /* the same of the wall, which moves less */
    TRACK_LAGS_MOST = 6,
    WINDOW_BEAMS = 20,     /* about 10 mm on a convex, 6 mm on a linear probe: several speckle grains wide */
    WINDOW_STEP = 6,
    WINDOW_LEAST = 12,     /* a space narrower than this is not followed */
    WINDOWS_MOST = 24,
    MOTION_FRAMES_LEAST = 4
};
#define MOTION_WALL_STILL 0.05  /* weight of a space whose wall keeps all its speckle in its place, against one that keeps none */
#define MOTION_CONTACT_GREY 0.4 /* of the brightest frame's wall: less is a probe that is lifted off (drawn and real clips) */
#define MOTION_LAG_MOST_S 0.65  /* longest time between the frames of a pair: a slow breath's turn is longer */
#define MOTION_LATER_S 0.4      /* a lung that slides 2 mm in a breath has left its place by then (simulated) */
#define MOTION_FRAME_S 0.04     /* where times are not known: the common 25 frames/s */
#define MOTION_PEAK_LEAST 0.25f /* correlation below this is chance (simulated) */

/* ---- rhythms (rhythm.c) ---- */
#define RHYTHM_RIDGE 1e-3
#define RHYTHM_CYCLES_LEAST 1.2   /* of a rhythm must be seen (a whole one and a little, or it cannot be told from drift) */
#define RHYTHM_STEP_CYCLES 0.04   /* step of the search: a twenty-fifth of a cycle over the clip */
#define RHYTHM_NEARLY 0.06        /* share of the variance: a faster rate within it of the best is taken */
#define RHYTHM_INDEPENDENT_S 0.25 /* the path's own memory: the longest lags of its steps (simulated) */

#define RHYTHM_REPEAT_CYCLES 1.5  /* of a lag must be in the clip: half a breath is seen twice */
#define RHYTHM_REPEAT_BETWEEN 0.5 /* likeness half and a third of a lag later from which on that shorter lag is the rhythm's (a sine's is -1 and -0.5) */
#define RHYTHM_REPEAT_STEP 0.03   /* from lag to lag */
#define RHYTHM_SMOOTH_S 0.25      /* a path's own noise; a breath lasts five times as long and more */

/* ---- sliding and what moves it (sliding.c) ---- */
#define BREATH_HZ_LEAST (5.0 / 60) /* 5 to 45 breaths a minute: adults at rest to severe distress (common practice) */
#define BREATH_HZ_MOST (45.0 / 60)
#define BREATH_EXPLAINED 0.6      /* of the path's variance, or it is no rhythm (simulated) */
#define BREATH_FUNDAMENTAL 0.4    /* of the periodic power: a breath is one to and fro */
#define HEART_FUNDAMENTAL 0.15
#define SLIDE_STRETCH_S 5.0       /* where no rhythm of breathing is found: longer than most breaths */
#define HEART_HZ_LEAST (45.0 / 60) /* 45 to 180 beats a minute (common practice) */
#define HEART_HZ_MOST 3.0
#define HEART_SLOW_S 1.2          /* slower than this is not the heart's */
#define HEART_EXPLAINED 0.4       /* (simulated) */
#define HEART_COHERENCE 0.5       /* (simulated) */
#define SLIDE_SMOOTH_S 0.12       /* the path is smoothed over this before its range is taken */
#define SLIDE_RANGE_OUT 0.01      /* share of the path left out at each end of its range */
#define SLIDE_SPEED_S 0.2         /* over which speed is taken */
#define SLIDE_MISFIT_FLOOR 0.25   /* beams: what stands still fits its path best, and is not to outweigh what moves */
#define SLIDE_WINDOW_QUANTILE 0.75 /* of the windows' ranges: those at a rib's edge follow half of the lung (simulated) */
#define SLIDE_AMPLITUDE_QUANTILE 0.9 /* the same for how far: what stands still in a window draws its path short (simulated) */
#define SLIDE_SHARED_LEAST 0.01   /* weight that a window keeps whose path no other shares */
#define SLIDE_BEAM_MM 0.55        /* a beam where the scale is not known: middle of common probes (simulated ones) */
#define SLIDE_AMPLITUDE_FLOOR_MM 0.1
#define SLIDE_INTERCEPT (-0.2)   /* (simulated) the three */
#define SLIDE_AMPLITUDE 2.8
#define SLIDE_PERSISTENCE 3.0


/* ---- what is claimed (sliding_state.c) ---- */
#define SLIDE_PRESENT 0.7         /* of the index: what is answered is mostly right (simulated) */
#define SLIDE_ABSENT 0.3
#define SLIDE_ABSENT_S 5.0        /* a clip that is to show no sliding holds a breath at 12 a minute (common practice); */
#define SLIDE_ABSENT_LEAST_S 3.9  /* or this long, one and a half of the chest's own breaths */
#define SLIDE_ABSENT_CYCLES 1.5
#define SLIDE_ABSENT_ANY 0.5      /* of the index of the tenth of the windows that moves most */
#define SLIDE_ANY_QUANTILE 0.9
#define CHEST_REPEATS_WALL 0.9    /* likeness (rhythm.h) of the wall's path from which it is a breath. Paths of the simulator: of breaths held under
                                     a hand that sways by more than 0.4 mm 4 % reach it in 6 s, none in 8 s; of breathing chests half in 6 s.
                                     A fit of three harmonics (explained 0.7) took four of five such held breaths for breathing. */
#define CHEST_REPEATS_RISE 0.84   /* the same of the line's rise, which a hand's sway changes less */
#define CHEST_SWING_ROWS 0.2      /* of the line's rise: less is its own noise */
#define CHEST_SWING_BEAMS 0.4     /* of the wall's path */
#define SLIDE_ADVISED_S 6.0       /* a breath at 10 a minute */
#define SLIDE_FRAME_MOST_S 0.18   /* fewer than about six frames a second: ten of a quick breath are not seen */
#define SLIDE_SURE_FRAME_S 0.12   /* further apart, noise under free air is matched by chance too often: at 6.25 frames a second it was read as
                                     sliding in 3 of 20 simulated chests, at 12.5, 25 and 50 in none (simulated) */
#define SLIDE_LEFT_LIKE 0.4       /* correlation of the lung's path with the wall's, upside down: a lung under free air and a hand that sways by 0.7 to 2 mm
                                     has 0.36 to 1.0, with a path 0.15 to 0.4 as long as the wall's (18 simulated) */
#define SLIDE_LEFT_SHARE 0.4
#define SLIDE_SWAY_MOST_MM 8.0    /* probe against wall */
#define SLIDE_LOST_MOST 0.25      /* of the pairs of neighbouring frames */
#define SLIDE_EDGE_MOST 0.05
#define SLIDE_MATCH_LEAST 0.6     /* mean correlation of neighbouring frames at the peak */
#define SLIDE_REDUCED_MM 2.0      /* common practice, no source */
#define SLIDE_BIAS 0.2            /* of the amplitude: what else the interval allows for (simulated) */
#define BREATH_FRAME_MOST_S 0.2   /* frames further apart take a fast breath for a slow one */
#define BREATH_SLACK 0.5          /* a minute: no breath is quite like the last (simulated) */
#define BREATH_SURE 0.8
#define BREATH_CYCLES_LEAST 1.5
#define PHASE_EXPLAINED 0.85      /* of the chest's own path, in the rhythm of the sliding: of 30 simulated chests whose lung comes before or after
                                     the chest, those below were off by 20 degrees and more, those above by 4, at most 15 */
#define PHASE_ERRORS 1.5          /* what a phase was off by there, in its standard errors, over what chance alone would give */
#define PHASE_SLACK 6.0           /* degrees: no breath is quite like the last (the same chests) */
#define PULSE_TOGETHER 0.66       /* geometric mean of explained and coherence (simulated) */
#define PULSE_TOGETHER_STEEP 14.0
#define PULSE_SWING_MM 0.15
#define PULSE_SWING_STEEP 4.0
#define PULSE_PRESENT 0.5  /* chests without a pulse reach 0.3, real clips 0.46 (tuning chests, clips) */
#define PULSE_ABSENT 0.3
#define PULSE_FRAME_MOST_S 0.09   /* eleven frames a second: four a beat at 160 */
#define PULSE_CYCLES_LEAST 2.2    /* beats at the slowest rate that is looked for: 3 s */


/* ---- the lung point (meeting.c, lung_point.c) ---- */
enum {
    MEETING_BINS = 32,       /* positions of the lung at most */
    MEETING_PAD = 32,        /* beams a moving place may lie outside the picture */
    MEETING_SIDE = 7,        /* beams at least on either side of the place */
    MEETING_REACH = 24,      /* beams looked at on either side: some grains; further on are other spaces and ribs */
    MEETING_SLOPES = 12      /* steps of the slope either way */
};
#define MEETING_SLOPE 0.2         /* beams the place moves a beam of the lung: up to 2.4 */
#define MEETING_APART_LEAST 1.0   /* beams between two positions */
#define MEETING_CHANCE 0.2        /* likeness of what is alike by half */
#define MEETING_APART_MOST 10.0   /* further on, the lung has turned out of the scanned plane */
#define MEETING_TRAVEL_MOST 34.0  /* beams: more is a place that was not found */
enum {
    LUNG_POINT_PATHS = 4,
    LUNG_POINT_RIM = 5,          /* beams left out beside a shadow, whose border stands still, and at the picture's edges, where the aperture is cut off */
    LUNG_POINT_GAP = 10,         /* beams without the line: a rib takes twenty and more (10 to 20 mm, its shadow); */
    LUNG_POINT_GAP_RIM = 2,      /* left out on either side of such a gap */
    LUNG_POINT_FRAMES_LEAST = 2, /* at one position of the lung */
    LUNG_POINT_BINS_LEAST = 6,
    LUNG_POINT_POSITIONS_LEAST = 3
};
#define LUNG_POINT_POWER_BEAMS 3.0f
#define LUNG_POINT_POWER_FLOOR 0.02f
#define LUNG_POINT_RANGE_OUT 0.01
#define LUNG_POINT_SLIDES 0.5     /* of a window's index, to be followed */
#define LUNG_POINT_BEND 1.5       /* rows off a straight line: 9 of 10 simulated places; a rib lies 5 mm nearer (Lichtenstein 2014) */
#define LUNG_POINT_BEND_MM 0.5    /* or this, where rows are fine: a tenth of how much nearer a rib lies */
#define LUNG_POINT_STEP 3.3       /* times that, from beam to beam: 5 rows. Lines jitter by 3, another layer lies 5 to 20 off (simulated) */
#define LUNG_POINT_BREATH 0.85    /* of the lung's path, in the rhythm of breathing */
#define LUNG_POINT_LIKE 0.95      /* correlation of two paths that are one */
#define LUNG_POINT_LIKE_SIZE 0.6  /* and the square of their sizes */
#define LUNG_POINT_INTERCEPT (-3.2)  /* a logistic of three numbers, fitted on 60 simulated lung points and 45 lungs that slide everywhere */
#define LUNG_POINT_W_GAIN 12.0
#define LUNG_POINT_W_AIR 8.6
#define LUNG_POINT_W_BEYOND (-1.1)
#define LUNG_POINT_PRESENT 0.5
#define LUNG_POINT_ABSENT 0.35
/* lung_sides.c: of 201 simulated chests whose lung slides everywhere and 299 whose lung slides nowhere none has two windows of air so, of 100 lung
   points 28, within a space or beyond a rib; with one window of air 11 of the 201 do, at a picture's end that stands still for other reasons. */
enum {
    SIDES_LUNG_WINDOWS = 2,
    SIDES_AIR_WINDOWS = 2,
    SIDES_ACROSS = 3 /* windows that a place may lie in */
};
#define SIDES_LUNG_LEAST 0.5      /* index of three quarters of the windows of the lung's side (its first may be at a rib's edge) */
#define SIDES_AIR_MOST 0.1        /* and of the air's */
#define SIDES_AIR_KEPT 0.6        /* of its speckle stays in its place */
#define SIDES_AIR_SURE 0.8        /* from there on that is no more doubt */
#define SIDES_AIR_WAY 0.25        /* of the lung's way is more than a side that stands still goes */
#define LUNG_POINT_SLACK_MM 4.0      /* 95 % of the travels read on simulated chests */
#define SLIDE_GRANULAR_MOST 0.25 /* texture above which absence is not claimed: 6 still simulated lungs had -0.26 to 0.15, a drawn one
                                    under a moving probe 0.22, sliding ones 0.0 to 1.4, 6 with free air -0.2 to 0.44 (trace.h) */

#endif
