/* Wavelength, resolution, focus and beam width of an array, grating lobes, focusing delays.
 *
 * Which width a number means is always said: resolution here is the full width of the beam in the focal
 * plane, measured as `sl_width` names it, times lambda F#. Sources: diffraction of a rectangular aperture
 * (sinc) and of a disc (Airy); constants computed from these. Lengths in mm, frequencies in MHz, angles in
 * rad. */
#ifndef SL_ACOUSTICS_BEAM_H
#define SL_ACOUSTICS_BEAM_H

typedef enum sl_width {
    SL_WIDTH_TWO_WAY_6DB,  /* -6 dB of transmit times receive, equal rectangular apertures: 0.8859 (the
                              default) */
    SL_WIDTH_ONE_WAY_6DB,  /* -6 dB, one way: 1.2067 */
    SL_WIDTH_ONE_WAY_3DB,  /* -3 dB (half power), one way: 0.8859 */
    SL_WIDTH_RAYLEIGH_BAR, /* peak to first zero, rectangular aperture: 1 */
    SL_WIDTH_RAYLEIGH_DISC /* peak to first zero, round aperture: 1.2197 */
} sl_width;

/* The constant before lambda F#; NAN for an unknown definition. */
double sl_width_constant(sl_width width);

double sl_wavelength_mm(double freq_mhz, double speed_m_s);

/* Half the pulse length: cycles * lambda / 2. And the pulse's -6 dB bandwidth, about f / cycles. */
double sl_axial_resolution_mm(double freq_mhz, double cycles, double speed_m_s);
double sl_pulse_bandwidth_mhz(double freq_mhz, double cycles);

double sl_f_number(double focus_mm, double aperture_mm);

/* In the focal plane: constant * lambda * F#. */
double sl_lateral_resolution_mm(sl_width width, double freq_mhz, double f_number, double speed_m_s);

/* Two-way -6 dB width at any depth: transmit focused at `focus_mm`, receive focused everywhere (dynamic
 * receive) with the same aperture. Transmit is taken as Gaussian with the diffraction width 1.2067 lambda z /
 * D and the geometric shadow D |1 - z / focus| added in squares, receive with the former; equals
 * SL_WIDTH_TWO_WAY_6DB at the focus. Within 25 % of the diffraction integral of a line aperture from 0.5 to 3
 * times the focus (tests/acoustics/test_beam.c). */
double sl_beam_width_mm(double freq_mhz, double aperture_mm, double focus_mm, double depth_mm,
                        double speed_m_s);

/* One side of a pulse-echo beam: the aperture in use and where it is focused (HUGE_VAL = unfocused). */
typedef struct sl_aperture {
    double width_mm, focus_mm;
} sl_aperture;

/* The same by the diffraction integral itself, for a continuous wave and unweighted line apertures: amplitude
 * of the transmitted field times that of the receiving aperture's; the distance between the outermost points
 * at half the peak. For dynamic receive focus `receive` at the depth; a lens, fixed both ways, has both sides
 * equal. Costs about a millisecond. */
double sl_beam_width_integral_mm(double freq_mhz, sl_aperture transmit, sl_aperture receive, double depth_mm,
                                 double speed_m_s);

/* Length of the focal zone (-6 dB on the axis): 7 lambda F#^2, from memory; 4.88 to 9.7 are in use for other
 * limits. */
#define SL_FOCAL_ZONE_CONSTANT 7.0
double sl_focal_zone_mm(double freq_mhz, double f_number, double speed_m_s);

/* Natural focus of an unfocused aperture of width D: D^2 / (4 lambda). No lens or delay focuses beyond it. */
double sl_near_field_mm(double freq_mhz, double aperture_mm, double speed_m_s);

/* Half angle to the first zero in the far field of a disc: asin(1.2197 lambda / D). NAN when the aperture is
 * smaller than that. */
double sl_divergence_rad(double freq_mhz, double aperture_mm, double speed_m_s);

/* Amplitude of an unweighted line aperture at sine `sine` off its axis: sinc(D sine / lambda), 1 on the axis.
 * Its first side lobe is -13.26 dB. */
double sl_aperture_response(double freq_mhz, double aperture_mm, double sine, double speed_m_s);

/* Grating lobe of order m (+-1, ...): sin = sin(steer) + m lambda / pitch; NAN when there is none in real
 * space. */
double sl_grating_lobe_rad(double freq_mhz, double pitch_mm, double steer_rad, int order, double speed_m_s);
/* Largest pitch without any: lambda / (1 + |sin(steer)|). */
double sl_pitch_most_mm(double freq_mhz, double steer_rad, double speed_m_s);

/* Extra travel time from element x to a focus (xf, zf), against an element at x = 0 with xf = 0; seconds,
 * positive where the element lies further away and so must fire earlier. */
double sl_focus_delay_s(double x_mm, double focus_x_mm, double focus_z_mm, double speed_m_s);

#endif
