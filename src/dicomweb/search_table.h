/* Which attributes answers have and may be matched, by level (PS3.18 2024c Tables 10.6.1-5, 10.6.3-3 to 10.6.3-5). */
#ifndef SL_DICOMWEB_SEARCH_TABLE_H
#define SL_DICOMWEB_SEARCH_TABLE_H

#include "dicomweb/match.h"
#include "dicomweb/search.h"

#include <stddef.h>

enum {
    TAG_AVAILABILITY = 0x00080056, TAG_MODALITIES = 0x00080061, TAG_CLASSES = 0x00080062, TAG_RETRIEVE_URL = 0x00081190, TAG_CHARACTERS = 0x00080005,
    TAG_STUDY = 0x0020000d, TAG_SERIES = 0x0020000e, TAG_INSTANCE = 0x00080018, TAG_STUDY_SERIES = 0x00201206, TAG_STUDY_INSTANCES = 0x00201208,
    TAG_SERIES_INSTANCES = 0x00201209, TAG_REQUEST = 0x00400275
};

/* What the store knows without opening a file. */
static const struct {
    uint32_t tag;
    sl_search_level level;
    sl_match_kind kind;
    bool always; /* in every answer of its level, empty where it is not known; else where it is asked for */
    size_t field; /* of sl_store_object */
} kept_attributes[] = {
#define KEPT(tag, level, kind, always, field) {tag, SL_SEARCH_##level, SL_MATCH_##kind, always, offsetof(sl_store_object, field)}
    KEPT(0x00080020, STUDIES, DATE, true, study_date),
    KEPT(0x00080030, STUDIES, TIME, true, study_time),
    KEPT(0x00080050, STUDIES, TEXT, true, accession),
    KEPT(0x00080090, STUDIES, NAME, true, referring),
    KEPT(0x00081030, STUDIES, TEXT, true, study_description), /* beyond the table: lists of studies show it */
    KEPT(0x00100010, STUDIES, NAME, true, patient_name),
    KEPT(0x00100020, STUDIES, TEXT, true, patient_id),
    KEPT(0x00100030, STUDIES, DATE, true, birth_date),
    KEPT(0x00100040, STUDIES, TEXT, true, sex),
    KEPT(TAG_STUDY, STUDIES, UID, true, study_uid),
    KEPT(0x00200010, STUDIES, TEXT, true, study_id),
    KEPT(0x00080060, SERIES, TEXT, true, modality),
    KEPT(0x0008103e, SERIES, TEXT, true, series_description),
    KEPT(0x00180015, SERIES, TEXT, false, body_part),
    KEPT(TAG_SERIES, SERIES, UID, true, series_uid),
    KEPT(0x00200011, SERIES, NUMBER, true, series_number),
    KEPT(0x00080016, INSTANCES, UID, true, class_uid),
    KEPT(TAG_INSTANCE, INSTANCES, UID, true, uid),
    KEPT(0x00200013, INSTANCES, NUMBER, true, instance_number),
#undef KEPT
};

/* In answers where the object has them; the object is opened for them. */
static const struct {
    uint32_t tag;
    sl_search_level level;
} opened_attributes[] = {
    {0x00080201, SL_SEARCH_SERIES},    /* Timezone Offset From UTC */
    {0x00400244, SL_SEARCH_SERIES},    /* Performed Procedure Step Start Date, Time */
    {0x00400245, SL_SEARCH_SERIES},
    {TAG_REQUEST, SL_SEARCH_SERIES},   /* Request Attributes Sequence */
    {0x00280008, SL_SEARCH_INSTANCES}, /* Number of Frames, Rows, Columns, Bits Allocated */
    {0x00280010, SL_SEARCH_INSTANCES},
    {0x00280011, SL_SEARCH_INSTANCES},
    {0x00280100, SL_SEARCH_INSTANCES},
};

/* includefield=all: attributes of the patient, study and series that are commonly shown (PS3.4 C.6.1.1 and C.6.2.1); of an instance all
 * that its header holds. */
static const struct {
    uint32_t tag;
    sl_search_level level;
} further_attributes[] = {
    {0x00080201, SL_SEARCH_STUDIES}, {0x00081060, SL_SEARCH_STUDIES}, {0x00101010, SL_SEARCH_STUDIES}, {0x00101020, SL_SEARCH_STUDIES},
    {0x00101030, SL_SEARCH_STUDIES}, {0x00102160, SL_SEARCH_STUDIES}, {0x00102180, SL_SEARCH_STUDIES}, {0x00104000, SL_SEARCH_STUDIES},
    {0x00080021, SL_SEARCH_SERIES},  {0x00080031, SL_SEARCH_SERIES},  {0x00080070, SL_SEARCH_SERIES},  {0x00080080, SL_SEARCH_SERIES},
    {0x00081010, SL_SEARCH_SERIES},  {0x00081050, SL_SEARCH_SERIES},  {0x00081070, SL_SEARCH_SERIES},  {0x00081090, SL_SEARCH_SERIES},
    {0x00180015, SL_SEARCH_SERIES},  {0x00181030, SL_SEARCH_SERIES},  {0x00200060, SL_SEARCH_SERIES},
};

#endif
