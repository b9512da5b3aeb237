#include "dicom/syntaxes.h"

#include <stddef.h>

#define SYNTAX "1.2.840.10008.1.2"
#define STORAGE "1.2.840.10008.5.1.4.1.1"

const char *const sl_dicom_syntaxes[] = {
    SYNTAX ".4.50",    SYNTAX ".4.51",    SYNTAX ".4.57",    SYNTAX ".4.70",    SYNTAX ".4.80",    SYNTAX ".4.81", /* JPEG, JPEG-LS */
    SYNTAX ".4.90",    SYNTAX ".4.91",    SYNTAX ".4.201",   SYNTAX ".4.202",   SYNTAX ".4.203",   SYNTAX ".5",    /* JPEG 2000, HTJ2K, RLE */
    SYNTAX ".4.100",   SYNTAX ".4.101",   SYNTAX ".4.102",   SYNTAX ".4.103",   SYNTAX ".4.104",   SYNTAX ".4.105",
    SYNTAX ".4.106",   SYNTAX ".4.107",   SYNTAX ".4.108",                                                         /* MPEG-2, H.264, HEVC */
    SYNTAX ".4.100.1", SYNTAX ".4.101.1", SYNTAX ".4.102.1", SYNTAX ".4.103.1", SYNTAX ".4.104.1", SYNTAX ".4.105.1", SYNTAX ".4.106.1",
    SYNTAX ".1",       SYNTAX ".1.99",    SYNTAX ".2",       SYNTAX,            NULL};

const char *const sl_dicom_classes[] = {
    STORAGE ".6.1",   /* Ultrasound Image */
    STORAGE ".3.1",   /* Ultrasound Multi-frame Image */
    STORAGE ".6",     /* the two retired ones */
    STORAGE ".3",
    STORAGE ".6.2",   /* Enhanced Ultrasound Volume */
    STORAGE ".7",     /* Secondary Capture, and its multi-frame forms */
    STORAGE ".7.1", STORAGE ".7.2", STORAGE ".7.3", STORAGE ".7.4",
    STORAGE ".77.1.4.1", /* Video Photographic */
    STORAGE ".88.11", STORAGE ".88.22", STORAGE ".88.33", STORAGE ".88.34", STORAGE ".88.59", /* reports, key objects */
    STORAGE ".104.1", /* Encapsulated PDF */
    STORAGE ".11.1",  /* Grayscale Softcopy Presentation State */
    NULL};
