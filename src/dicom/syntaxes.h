/* What is accepted and sent over the network. */
#ifndef SL_DICOM_SYNTAXES_H
#define SL_DICOM_SYNTAXES_H

#ifdef __cplusplus
extern "C" {
#endif

/* UIDs, each list ending with NULL. */
extern const char *const sl_dicom_syntaxes[]; /* transfer syntaxes (PS3.5 A), the better liked first */
extern const char *const sl_dicom_classes[];  /* storage classes (PS3.4 B.5) */

#ifdef __cplusplus
}
#endif

#endif
