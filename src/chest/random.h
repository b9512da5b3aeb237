/* Chance that can be asked for in any order: values are hashes of what they belong to. */
#ifndef SL_CHEST_RANDOM_H
#define SL_CHEST_RANDOM_H

#include <stdint.h>

/* splitmix64's finaliser (Steele, Lea & Flood 2014, doi 10.1145/2660193.2660195) of a and b together. */
uint64_t sl_hash(uint64_t a, uint64_t b);
/* Uniform in [0, 1), and standard normal, of key and index. */
double sl_uniform(uint64_t key, int64_t index);
double sl_normal(uint64_t key, int64_t index);
/* Smooth noise along a line: standard deviation about 0.75, changes over a length of 1; cubic between normal values. */
double sl_smooth_noise(uint64_t key, double x);

#endif
