/* DICOM files as clips (PS3.3 C.7.6.3 Image Pixel, C.7.6.5 Cine, C.8.5.5 US Region Calibration). */
#ifndef SL_DICOM_DICOM_H
#define SL_DICOM_DICOM_H

#ifdef __cplusplus
extern "C" {
#endif

/* Makes sl_clip_open read DICOM too. The program calls it once at its start, before any thread opens clips; calling it
 * again is harmless. */
void sl_dicom_join(void);

#ifdef __cplusplus
}
#endif

#endif
