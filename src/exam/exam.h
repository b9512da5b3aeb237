/* An examination: zones, each with its clips and readings; a first score per zone and the total. */
#ifndef SL_EXAM_EXAM_H
#define SL_EXAM_EXAM_H

#include "audit/audit.h"
#include "core/arena.h"
#include "core/error.h"
#include "core/posture.h"
#include "exam/order.h"
#include "exam/zones.h"
#include "reading/borders.h"
#include "reading/read_clip.h"

#include <stdbool.h>

/* Borders of the diaphragm that a hand set: what was set, when, and what the reading's own code makes of it. */
typedef struct sl_hand_borders {
    const sl_border_hand *hand; /* NULL: none stand */
    const char *author, *at;    /* who, and when: UTC, ISO 8601 */
    const sl_border_figures *figures; /* NULL where the clip was not read, or its reading holds no frames */
} sl_hand_borders;

typedef struct sl_exam_clip {
    const char *path;          /* to open it: the bytes as the file system has them */
    const char *name;          /* for people and files: the file's name, always valid UTF-8 */
    const char *where;         /* path below the folder that was given, valid UTF-8; the name for a single file */
    const char *stem;          /* name without its ending, made unique in the examination: for files made of the clip */
    const sl_zone *zone;       /* NULL: not assigned */
    const char *zone_from;     /* "exam.csv", "file name", "folder name", "DICOM attributes", "burned-in label" or "" */
    double stated_depth_cm;    /* 0 = not stated */
    sl_posture posture;        /* how the person lay or sat: exam.csv, else exam-info.json, else the protocol */
    bool posture_stated;       /* in exam.csv for this clip */
    const char *notes;         /* "" when there are none */
    uint64_t content;          /* hash of the file, 0 until it was read */
    sl_clip_result result;
    const sl_reading *own;     /* what the clinician says of it, beside the program's reading; NULL: nothing yet */
    sl_hand_borders by_hand[SL_BORDER_KINDS];
    sl_audit audit;            /* how it was acquired (rescan.h) */
} sl_exam_clip;

typedef struct sl_zone_score {
    const sl_zone *zone;
    int score;          /* -1: none */
    double low, high;   /* what the uncertain ones leave open */
    int clips;
    int decisive;       /* index of the clip that gave it; of the clip to show when there is no score; -1 no clip */
} sl_zone_score;

/* Words that someone signed or is about to sign: the conclusion first, then addenda. */
typedef struct sl_conclusion {
    const char *text;
    const char *signer, *signed_at; /* "" before it is signed */
    bool by_name_only;              /* a name under it on the page: nothing was fixed by fingerprints */
} sl_conclusion;

/* Something to scan again (rescan.h). */
typedef struct sl_rescan {
    const sl_zone *zone;           /* NULL: not known */
    int clip;                      /* index; -1: the zone has none */
    const sl_complaint *complaint; /* the gravest of the clip; NULL: the zone is missing */
    double adds;                   /* how much of the score 0 to 3 it leaves open now */
    int order;
} sl_rescan;

typedef struct sl_exam {
    const char *title, *date, *person, *question; /* from exam-info.json beside the clips, or "" */
    const sl_exam_order *order; /* whose it is, from a worklist; NULL: not said. Never into files that a pseudonym is for */
    bool invented;      /* demo data, marked as such everywhere */
    const char *language; /* of the report: "en", "de"; NULL is English */
    bool letter;          /* the report's paper: US Letter, else A4 */
    int conclusions;
    const sl_conclusion *conclusion;
    const sl_protocol *protocol; /* the scheme whose zones are counted, NULL before scoring */
    int clips;
    sl_exam_clip *clip;
    int remarks;
    const char **remark; /* whole sentences about what was left aside or could not be used */
    int zones;
    sl_zone_score *zone; /* every zone of the scheme, scanned or not: right side first, head first */
    int total, total_of, zones_scored; /* total of the scored zones, 3 x that number */
    double total_low, total_high;      /* of all zones: what missing and uncertain ones leave open */
    sl_rules rules;                    /* whose advice on depth and focus the audit applied */
    sl_audit audit;                    /* complaints about the examination as a whole */
    int rescans;
    sl_rescan *rescan;                 /* in order of what it would add */
    const struct sl_synthesis *synthesis;  /* synthesis.h; NULL before it is made */
    const struct sl_exam_change *change;   /* change.h; NULL: no earlier examination was named */
    const char *stated_protocol;       /* key in exam-info.json or "" */
    sl_posture posture;                /* from exam-info.json */
    sl_breathing breathing;            /* from exam-info.json: of the person, all clips */
    const sl_protocol *own_protocol;   /* the one the user named or made; NULL: stated_protocol, or worked out */
} sl_exam;

/* Collects the clips of folders and files, in a fixed order: as given, and within a folder by the bytes of the names,
 * files before subfolders. Left out: hidden files, folders that strandline wrote, documents (named in a remark).
 * Fills zones, depths and notes from exam.csv beside the clips, else from words in file and folder names. A path that
 * does not exist stays in the list, so that its row says so. All memory is from `arena`.
 * SL_IO / SL_USAGE when nothing is there at all. */
sl_status sl_exam_collect(const char *const *paths, int count, sl_arena *arena, sl_exam *exam, sl_error *error);

/* Counts by this scheme, and reads the numbers of a side in names by it: zones from names are looked for again. */
void sl_exam_use_protocol(sl_exam *exam, const sl_protocol *protocol);

/* Gives the clips whose posture exam.csv does not state that of exam-info.json, else that of the scheme. */
void sl_exam_settle_posture(sl_exam *exam);
/* What all clips have in common; SL_POSTURE_UNKNOWN when they differ or none is known. */
sl_posture sl_exam_posture(const sl_exam *exam);

/* Zones that files state themselves (side and view or body part of DICOM), for clips that nothing else named. After the clips
 * were read. */
void sl_exam_zones_from_files(sl_exam *exam);

/* Scores after the clips were read: a zone has the score of its worst clip; nothing is made up for a missing one. */
sl_status sl_exam_score(sl_exam *exam, sl_arena *arena, sl_error *error);

/* ---- for the files of this folder ---- */

/* Adds a sentence to the remarks. Out of memory loses it. */
void sl_exam_remark(sl_exam *exam, sl_arena *arena, const char *format, ...) __attribute__((format(printf, 3, 4)));

/* Applies `folder`/exam.csv to the clips first .. first+count-1 (those of that folder and below). */
void sl_exam_apply_csv(const char *path, int first, sl_arena *arena, sl_exam *exam);
/* Fills title, date, person, question, invented, protocol, order from an exam-info.json. */
void sl_exam_apply_info(const char *path, sl_arena *arena, sl_exam *exam);

#endif
