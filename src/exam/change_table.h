/* How well the program repeats itself, and what published changes mean. */
#ifndef SL_EXAM_CHANGE_TABLE_H
#define SL_EXAM_CHANGE_TABLE_H

/* Within-zone standard deviation of the level between two clips of the same zone: sqrt(sum d^2 / 2n). On 60 simulated chests
 * put under the probe twice it is 0.09 for both (tests/loop/repeat_design 60 500), which is the least there can be: people
 * breathe and sit otherwise the next day. Until pairs of real clips of one zone are at hand, 0.5 stands: levels one apart in
 * half of the pairs (our assumption). */
#define CHANGE_ZONE_SD_FOUR_LEVEL 0.5
#define CHANGE_ZONE_SD_REGIONAL 0.5
/* Smallest change that can be shown, 95 %: 1.96 sqrt(2) Sw (Bland and Altman 1986, repeatability coefficient). */
#define CHANGE_FACTOR 2.7718585822512662

/* Bouhemad et al., AJRCCM 2011;183:341-347 (30 ARDS, 10 ALI, 12 regions, PEEP): +8 and more with over 600 ml recruited, +4
 * and less with 75 to 450 ml. Bouhemad et al. 2010 (30 with ventilator-associated pneumonia, day 0 and 7): over +5 with a gain
 * of 400 ml by CT and success, under -10 with such a loss and failure. */
#define CHANGE_RECRUITED 8
#define CHANGE_GAIN_CT 5
#define CHANGE_LOSS_CT (-10)

#endif
