/* A simulated clip as a DICOM file. */
#ifndef SL_CLI_SIMULATE_DICOM_H
#define SL_CLI_SIMULATE_DICOM_H

#include "chest/chest.h"

/* An Ultrasound Multi-frame Image with its region, scale and times; the same chest gives the same bytes. */
sl_status sl_simulate_dicom(sl_chest *chest, const sl_scenario *scenario, const char *path,
                            void (*progress)(const char *name, int frame, int frames), sl_error *error);

#endif
