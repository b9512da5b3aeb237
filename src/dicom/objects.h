/* DICOM objects that the program writes: clips as Ultrasound Multi-frame Images, the report as Encapsulated PDF, findings as a
 * Comprehensive SR by TID 1500 (PS3.16). */
#ifndef SL_DICOM_OBJECTS_H
#define SL_DICOM_OBJECTS_H

#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

#include "clip/clip.h" /* C: it does not know of C++ */
#include "clip/pseudonym.h"

enum { SL_DICOM_UID = 65 };

/* Whose examination it is. "" where unknown; the UID of the study must be given. */
typedef struct sl_dicom_subject {
    char name[325], id[65], birth_date[9], sex[17]; /* PN, LO, YYYYMMDD, CS */
    char study_uid[SL_DICOM_UID], study_id[17], accession[17], study_date[9], study_time[17], referring[325];
    char character_set[65]; /* of the names; "" = ISO_IR 192 (UTF-8) */
} sl_dicom_subject;

/* One instance, to be referred to. */
typedef struct sl_dicom_instance {
    char class_uid[SL_DICOM_UID], uid[SL_DICOM_UID], series_uid[SL_DICOM_UID], study_uid[SL_DICOM_UID];
    int frames;
} sl_dicom_instance;

/* A new UID for what `parts` name under `secret`, the same each time: "2.25." and a number. */
void sl_dicom_uid_for(const sl_secret *secret, const char *kind, const char *original, char uid[SL_DICOM_UID]);

/* Subject and instance of an existing file with pictures. */
sl_status sl_dicom_identity(const char *path, sl_dicom_subject *subject, sl_dicom_instance *instance, sl_error *error);

/* ---- clips ---- */
typedef struct sl_dicom_image {
    int width, height;
    double frame_time_s;          /* NAN: not known; then no time is stated */
    int regions;
    const sl_clip_region *region; /* with scale; a clip without one has none */
    const char *transducer;       /* "CURVED LINEAR", "LINEAR", "SECTOR_PHASED" (PS3.3 C.8.5.6.1.15) or "" */
    double depth_mm, freq_mhz;    /* NAN: not stated */
    const char *description;      /* of the series */
    const char *content_date;     /* YYYYMMDD or "" */
    int number;                   /* of the instance */
    bool lossy;                   /* the pictures have been through lossy compression */
    const sl_dicom_instance *drawn_on; /* evidence drawn on the frames of this one, in colour; NULL: the clip itself, grey */
    sl_dicom_instance instance;   /* its UIDs; class_uid and frames are filled */
} sl_dicom_image;

typedef struct sl_dicom_clip_writer sl_dicom_clip_writer;

/* Frames are kept RLE-compressed (lossless) until closing. `subject` and `image` must outlive the writer. */
sl_status sl_dicom_clip_open(const char *path, const sl_dicom_subject *subject, sl_dicom_image *image,
                             sl_dicom_clip_writer **writer, sl_error *error);
sl_status sl_dicom_clip_gray(sl_dicom_clip_writer *writer, sl_gray frame, sl_error *error);
/* Where `drawn_on` is given: red, green, blue by pixel, width * 3 bytes a row. */
sl_status sl_dicom_clip_rgb(sl_dicom_clip_writer *writer, const uint8_t *rgb, sl_error *error);
/* Writes and frees; `write` false only frees. Sets `*writer` to NULL. */
sl_status sl_dicom_clip_close(sl_dicom_clip_writer **writer, bool write, sl_error *error);

/* ---- the report ---- */
sl_status sl_dicom_pdf(const char *path, const sl_dicom_subject *subject, const char *title, const void *pdf, size_t length,
                       const sl_secret *secret, sl_error *error);

/* ---- findings ---- */
typedef struct sl_dicom_code {
    const char *value, *scheme, *meaning;
} sl_dicom_code;

/* Where in the picture, as SCOORD has it (PS3.3 C.18.6.1.2): column, row pairs with 0, 0 at the upper left corner of the first
 * pixel, whose middle is 0.5, 0.5. One point, or a line; an area where the last point is the first. */
typedef struct sl_dicom_place {
    int first_frame, last_frame; /* from 1 */
    int points;
    const float *xy; /* 2 * points */
} sl_dicom_place;

/* One finding: a number with its unit, or a coded answer. */
typedef struct sl_dicom_finding {
    sl_dicom_code concept;
    bool is_number;
    double value, low, high;    /* low, high: 95 % interval, NAN where none */
    int decimals;
    sl_dicom_code unit, answer; /* unit by UCUM */
    int first_frame, last_frame; /* from 1; 0 = none stated */
    int places;                  /* 0: the frames alone are named */
    const sl_dicom_place *place;
} sl_dicom_finding;

/* The findings of one clip. */
typedef struct sl_dicom_group {
    const char *label;         /* for people: "R1, clip 3" */
    sl_dicom_code site;        /* value "" = not stated */
    sl_dicom_code laterality;  /* value "" = none */
    const char *zone;          /* "" = none */
    const sl_dicom_instance *instance;
    int findings;
    const sl_dicom_finding *finding;
} sl_dicom_group;

typedef struct sl_dicom_report {
    const sl_dicom_subject *subject;
    const char *title_date, *title_time; /* YYYYMMDD, HHMMSS of the content; "" = study date, 000000 */
    const char *caution;                 /* stands in the report */
    int groups;
    const sl_dicom_group *group;
} sl_dicom_report;

sl_status sl_dicom_sr(const char *path, const sl_dicom_report *report, const sl_secret *secret, sl_error *error);

#ifdef __cplusplus
}
#endif

#endif
