/* How well the program repeats itself, and what published changes mean. */
#ifndef SL_EXAM_CHANGE_TABLE_H
#define SL_EXAM_CHANGE_TABLE_H

/* Within-zone standard deviation of the level between two looks at one zone, sqrt(sum d^2 / 2n), of this program: real clips cut in two
 * and each half read alone (COVID-BLUES, doi 10.1109/JBHI.2025.3543686; scripts/repeat_halves.py; 95 % interval by bootstrap over
 * people). Four levels: 112 pairs of 20 people, 0.40 (0.35 to 0.45). Regional: 63 pairs of 19 people in which both halves have a
 * level, 0.18 (0.00 to 0.33). The upper ends stand here, with 0.09 for putting the probe down again (60 simulated chests,
 * tests/loop/repeat_design 60 500) added in squares: halves are shorter than a clip, but nobody moved between them. */
#define CHANGE_ZONE_SD_FOUR_LEVEL 0.46
#define CHANGE_ZONE_SD_REGIONAL 0.34
/* Smallest change that can be shown, 95 %: 1.96 sqrt(2) Sw (Bland and Altman 1986, repeatability coefficient). */
#define CHANGE_FACTOR 2.7718585822512662

/* Bouhemad et al., AJRCCM 2011;183:341-347 (30 ARDS, 10 ALI, 12 regions, PEEP): +8 and more with over 600 ml recruited, +4
 * and less with 75 to 450 ml. Bouhemad et al. 2010 (30 with ventilator-associated pneumonia, day 0 and 7): over +5 with a gain
 * of 400 ml by CT and success, under -10 with such a loss and failure. */
#define CHANGE_RECRUITED 8
#define CHANGE_GAIN_CT 5
#define CHANGE_LOSS_CT (-10)

#endif
