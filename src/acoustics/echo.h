/* Echo timing: depth, frame rate, pulse rate, Doppler. One speed of sound along the way.
 * Sources: the pulse-echo principle d = c t / 2; Evans & McDicken, Doppler Ultrasound, for the Doppler forms
 * (from memory). Depths in mm, frequencies in MHz, rates in Hz, speeds in m/s. Meaningless input gives NAN.
 */
#ifndef SL_ACOUSTICS_ECHO_H
#define SL_ACOUSTICS_ECHO_H

/* What scanners assume everywhere: AIUM convention (from memory). */
#define SL_SPEED_SCANNER_M_S 1540.0

/* t = 2 d / c. At 1540 m/s: 12.987 microseconds a centimetre, the "13 us rule". */
double sl_echo_time_s(double depth_mm, double speed_m_s);
double sl_echo_depth_mm(double time_s, double speed_m_s);

/* The scanner shows d' = d c0 / c for a true depth d reached at the mean speed c; and back. */
double sl_shown_depth_mm(double true_mm, double speed_m_s);
double sl_true_depth_mm(double shown_mm, double speed_m_s);

/* What one frame costs in sound. A zero counts as "not used", that is 1. */
typedef struct sl_frame_budget {
    double depth_mm;
    int beams;
    int focal_zones; /* transmit foci, each a transmission of its own */
    int angles;      /* steering angles that are compounded */
    int pulses;      /* transmissions a beam, 2 for pulse inversion harmonics */
    int parallel;    /* receive beams from one transmission */
} sl_frame_budget;

/* Most frames a second: c M / (2 D N F A P). */
double sl_frame_rate_most_hz(const sl_frame_budget *budget, double speed_m_s);

/* Deepest picture at a wanted frame rate with the rest of the budget, mm. */
double sl_frame_depth_most_mm(const sl_frame_budget *budget, double frame_rate_hz, double speed_m_s);

/* Most pulses a second for one beam, and most lines a second of an M-mode: c / (2 D). */
double sl_pulse_rate_most_hz(double depth_mm, double speed_m_s);

/* f_D = 2 f v cos(angle) / c, in Hz, and back. */
double sl_doppler_shift_hz(double freq_mhz, double velocity_m_s, double angle_rad, double speed_m_s);
double sl_doppler_velocity_m_s(double freq_mhz, double shift_hz, double angle_rad, double speed_m_s);

/* Fastest velocity before aliasing: c PRF / (4 f cos(angle)). */
double sl_nyquist_velocity_m_s(double freq_mhz, double pulse_rate_hz, double angle_rad, double speed_m_s);

/* What the scanner shows of a velocity: folded into [-nyquist, nyquist). */
double sl_aliased_velocity_m_s(double velocity_m_s, double nyquist_m_s);

/* Range-velocity limit: v D <= c^2 / (8 f). The fastest velocity at `depth_mm`, beam along the motion. */
double sl_range_velocity_m_s(double freq_mhz, double depth_mm, double speed_m_s);

#endif
