#include "objects/exam.h"

#include "objects/places.h"
#include "objects/region.h"
#include "core/file.h"
#include "core/text.h"
#include "dicom/deid.h"
#include "dicom/objects.h"
#include "report/language.h"
#include "report/record.h"
#include "report/report.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_PDF = 512 << 20 };

typedef struct job {
    const sl_exam *exam;
    const char *out, *caution;
    sl_arena arena;
    sl_secret secret; /* of this examination's content: the same clips get the same UIDs */
    sl_dicom_subject subject;
    bool has_subject, annotated;
    char date[9];
    sl_dicom_group *group;
    int groups;
} job;

static bool is_read(const sl_exam_clip *clip)
{
    return clip->result.state == SL_CLIP_READ && clip->result.reading;
}

/* "2026-01-31" as 20260131, or "". */
static void digits_of(const char *date, char out[9])
{
    int at = 0;
    for (; *date && at < 8; date++)
        if (*date >= '0' && *date <= '9')
            out[at++] = *date;
    out[at == 8 ? 8 : 0] = 0;
}

static void make_secret(job *own)
{
    sl_text all = {0};
    for (int i = 0; i < own->exam->clips; i++)
        sl_text_printf(&all, "%s %016llx\n", own->exam->clip[i].where, (unsigned long long)own->exam->clip[i].content);
    sl_secret_from(all.bytes ? all.bytes : "", all.length, &own->secret);
    sl_text_free(&all);
}

/* Cut at a letter's end. */
static void fill(char *to, size_t room, const char *from)
{
    size_t length = strlen(from);
    if (length >= room) {
        length = room - 1;
        while (length && ((unsigned char)from[length] & 0xc0) == 0x80)
            length--;
    }
    memcpy(to, from, length);
    to[length] = 0;
}

/* A worklist's order says whose clips they are that do not say it themselves. */
static void take_order(sl_dicom_subject *subject, const sl_exam_order *order)
{
    fill(subject->name, sizeof subject->name, order->name);
    fill(subject->id, sizeof subject->id, order->id);
    fill(subject->birth_date, sizeof subject->birth_date, order->birth_date);
    fill(subject->sex, sizeof subject->sex, order->sex);
    fill(subject->accession, sizeof subject->accession, order->accession);
    fill(subject->referring, sizeof subject->referring, order->referring);
    fill(subject->study_id, sizeof subject->study_id, order->study_id); /* the requested procedure's number, as IHE RAD TF-2 4.8 maps it */
    if (*order->study_uid)
        fill(subject->study_uid, sizeof subject->study_uid, order->study_uid);
}

/* Clips that say whose they are must be of the order's patient; of its study they get the accession number they lack. */
static sl_status join_order(sl_dicom_subject *subject, const sl_exam_order *order, sl_error *error)
{
    if (*order->id && *subject->id && strcmp(order->id, subject->id) != 0)
        return sl_fail(error, SL_USAGE, "The clips are of another patient than exam-info.json says. Put them into the folder of their own examination.");
    if (!*subject->accession && !strcmp(order->study_uid, subject->study_uid))
        fill(subject->accession, sizeof subject->accession, order->accession);
    return SL_OK;
}

/* The DICOM clips' own, which must agree; else what the examination says of itself. */
static sl_status find_subject(job *own, sl_error *error)
{
    for (int i = 0; i < own->exam->clips; i++) {
        const sl_exam_clip *clip = &own->exam->clip[i];
        sl_dicom_subject subject;
        sl_dicom_instance instance;
        sl_error ignored;
        if (!is_read(clip) || !sl_dicom_is_file(clip->path) ||
            sl_dicom_identity(clip->path, &subject, &instance, &ignored))
            continue;
        if (!own->has_subject)
            own->subject = subject;
        else if (strcmp(own->subject.id, subject.id) || strcmp(own->subject.name, subject.name))
            return sl_fail(error, SL_USAGE, "%s is of another patient than the clips before it; findings of two people do not go "
                                            "into one DICOM report. Read them apart.",
                           clip->name);
        own->has_subject = true;
    }
    const sl_exam *exam = own->exam;
    if (own->has_subject)
        return exam->order ? join_order(&own->subject, exam->order, error) : SL_OK;
    snprintf(own->subject.name, sizeof own->subject.name, "%.64s", exam->invented ? "Invented^Example" : exam->person);
    snprintf(own->subject.id, sizeof own->subject.id, "%.64s", exam->person);
    snprintf(own->subject.study_date, sizeof own->subject.study_date, "%s", own->date);
    snprintf(own->subject.study_id, sizeof own->subject.study_id, "1");
    sl_dicom_uid_for(&own->secret, "study", exam->person, own->subject.study_uid);
    if (exam->order)
        take_order(&own->subject, exam->order);
    return SL_OK;
}

static sl_status copy_frames(const sl_exam_clip *clip, sl_dicom_clip_writer *writer, sl_error *error)
{
    sl_clip *open = NULL;
    sl_frame frame;
    bool got = false;
    sl_status status = sl_clip_open(clip->path, 1, &open, error);
    while (!status && !(status = sl_clip_next(open, &frame, &got, error)) && got)
        status = sl_dicom_clip_gray(writer, frame.gray, error);
    sl_clip_close(&open);
    return status;
}

/* A clip that is no DICOM file, as one. */
static sl_status convert(job *own, const sl_exam_clip *clip, int number, const sl_view *view, sl_dicom_instance *instance,
                         sl_error *error)
{
    const sl_clip_info *info = &clip->result.info;
    sl_clip_region region;
    sl_dicom_image image = {.width = info->width, .height = info->height,
                            .frame_time_s = info->times_known ? 1 / info->frame_rate_hz : NAN, .region = &region,
                            .regions = sl_dicom_region_of(view, &region), .transducer = sl_dicom_transducer_of(view),
                            .depth_mm = NAN, .freq_mhz = NAN, .description = "Clips as read by strandline",
                            .content_date = own->date, .number = number, .lossy = true};
    char content[32];
    snprintf(content, sizeof content, "%d %016llx", number, (unsigned long long)clip->content);
    sl_dicom_uid_for(&own->secret, "series", "clips", image.instance.series_uid);
    sl_dicom_uid_for(&own->secret, "clip", content, image.instance.uid);
    char *folder = sl_path_join(&own->arena, own->out, "dicom/clips");
    const char *path = sl_exam_object_of(clip, own->out, &own->arena);
    sl_dicom_clip_writer *writer = NULL;
    if (!path || !folder)
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing the DICOM clips.");
    sl_status status = sl_folder_make(folder, error);
    if (!status)
        status = sl_dicom_clip_open(path, &own->subject, &image, &writer, error);
    if (!status)
        status = copy_frames(clip, writer, error);
    sl_error ignored;
    sl_status closed = sl_dicom_clip_close(&writer, !status, status ? &ignored : error);
    *instance = image.instance;
    return status ? status : closed;
}

/* ---- a clip with its findings drawn on it ---- */

typedef struct drawing {
    const char *path;
    const sl_dicom_subject *subject;
    sl_dicom_image image;
    bool times_known;
    sl_dicom_clip_writer *writer;
} drawing;

static sl_status open_drawing(void *context, int width, int height, double rate_hz, sl_error *error)
{
    drawing *self = context;
    self->image.width = width;
    self->image.height = height;
    self->image.frame_time_s = self->times_known ? 1 / rate_hz : NAN;
    return sl_dicom_clip_open(self->path, self->subject, &self->image, &self->writer, error);
}

static sl_status add_to_drawing(void *context, const uint8_t *rgb, sl_error *error)
{
    return sl_dicom_clip_rgb(((drawing *)context)->writer, rgb, error);
}

/* `of`: the clip as a DICOM object, whose study its own is. */
static sl_status annotate(job *own, const sl_exam_clip *clip, int number, const sl_record *record, const sl_dicom_instance *of,
                          sl_error *error)
{
    const sl_view *view = &record->result.view;
    sl_clip_region region;
    sl_exam_clip full = *clip;
    full.result = record->result;
    char content[SL_DICOM_UID + 16], *folder = sl_path_join(&own->arena, own->out, "dicom/annotated");
    const char *path = sl_arena_printf(&own->arena, "%s/dicom/annotated/%s.dcm", own->out, clip->stem);
    drawing self = {.path = path, .subject = &own->subject, .times_known = clip->result.info.times_known,
                    .image = {.region = &region, .regions = sl_dicom_region_of(view, &region), .transducer = sl_dicom_transducer_of(view),
                              .depth_mm = NAN, .freq_mhz = NAN, .description = "Clips with the program's findings drawn in",
                              .content_date = own->date, .number = number, .lossy = true, .drawn_on = of}};
    if (!folder || !path)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the annotated clips were written.");
    snprintf(content, sizeof content, "%d %s", number, of->uid);
    sl_dicom_uid_for(&own->secret, "series", "annotated", self.image.instance.series_uid);
    sl_dicom_uid_for(&own->secret, "annotated", content, self.image.instance.uid);
    sl_status status = sl_folder_make(folder, error);
    if (!status)
        status = sl_report_annotated(&full, own->exam->invented, sl_language_for(own->exam),
                                     &(sl_annotated_sink){open_drawing, add_to_drawing, &self}, error);
    sl_error ignored;
    sl_status closed = sl_dicom_clip_close(&self.writer, !status, status ? &ignored : error);
    return status ? status : closed;
}

static sl_dicom_code local(const char *value, const char *meaning)
{
    return (sl_dicom_code){value, "99STRANDLINE", meaning};
}

/* UCUM of the program's units; shares, counts and scores have none. */
static sl_dicom_code unit_of(const char *unit)
{
    static const char *const known[][3] = {{"mm", "mm", "mm"}, {"mm/s", "mm/s", "mm/s"}, {"breaths a minute", "/min", "/min"}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (!strcmp(unit, known[i][0]))
            return (sl_dicom_code){known[i][1], "UCUM", known[i][2]};
    return (sl_dicom_code){"1", "UCUM", "no units"};
}

static void fill_finding(const sl_finding *finding, sl_dicom_finding *to)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    *to = (sl_dicom_finding){.concept = local(info->key, info->name), .is_number = info->kind != SL_KIND_ANSWER,
                             .value = finding->value, .low = finding->low, .high = finding->high,
                             .decimals = info->decimals > 3 ? info->decimals : 3, .unit = unit_of(info->unit)};
    if (info->kind == SL_KIND_COUNT || info->kind == SL_KIND_ORDERED)
        to->decimals = 0;
    if (finding->code == SL_EFFUSION) /* verified: report/fhir_codes.h */
        to->concept = (sl_dicom_code){"60046008", "SCT", "Pleural effusion"};
    if (!to->is_number)
        to->answer = !finding->known ? local("not_told", "Could not be told") : local(sl_answer_name(finding->answer),
                     finding->answer == SL_PRESENT ? "Present" : finding->answer == SL_ABSENT ? "Absent" : "Uncertain");
    for (int i = 0; i < finding->evidences; i++) {
        int first = finding->evidence[i].first_frame + 1, last = finding->evidence[i].last_frame + 1;
        to->first_frame = !to->first_frame || first < to->first_frame ? first : to->first_frame;
        to->last_frame = last > to->last_frame ? last : to->last_frame;
    }
}

static sl_status add_group(job *own, int index, sl_error *error)
{
    const sl_exam_clip *clip = &own->exam->clip[index];
    char *path = sl_record_path(&own->arena, own->out, clip);
    sl_record record;
    if (!path || sl_record_load(path, &own->arena, &record, error) || !record.result.reading)
        return path ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out while writing the findings.");
    sl_dicom_instance *instance = SL_NEW(&own->arena, 1, sl_dicom_instance);
    const sl_reading *reading = record.result.reading;
    sl_dicom_finding *findings = SL_NEW(&own->arena, reading->findings + 1, sl_dicom_finding);
    sl_dicom_group *group = &own->group[own->groups];
    char *label = sl_arena_printf(&own->arena, "%s%s%s", clip->zone ? clip->zone->name : "", clip->zone ? ", " : "", clip->name);
    if (!instance || !findings || !label)
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing the findings.");
    sl_dicom_subject ignored;
    sl_status status = sl_dicom_is_file(clip->path) ? sl_dicom_identity(clip->path, &ignored, instance, error)
                                                    : convert(own, clip, index + 1, &record.result.view, instance, error);
    if (!status && own->annotated)
        status = annotate(own, clip, index + 1, &record, instance, error);
    if (status)
        return status;
    *group = (sl_dicom_group){.label = label, .site = {"", "", ""}, .laterality = {"", "", ""},
                              .zone = clip->zone ? clip->zone->name : "", .instance = instance, .finding = findings};
    if (clip->zone && clip->zone->side != SL_SIDE_NONE) {
        bool right = clip->zone->side == SL_SIDE_RIGHT;
        group->site = (sl_dicom_code){"39607008", "SCT", "Lung"};
        group->laterality = (sl_dicom_code){right ? "24028007" : "7771000", "SCT", right ? "Right" : "Left"};
    }
    for (int i = 0; i < reading->findings; i++) {
        const sl_finding *finding = &reading->finding[i];
        if (finding->known || sl_finding_info_of(finding->code)->kind == SL_KIND_ANSWER) {
            sl_dicom_finding *to = &findings[group->findings++];
            fill_finding(finding, to);
            if (!sl_dicom_places(finding, &record.result.view, &own->arena, to))
                return sl_fail(error, SL_MEMORY, "Memory ran out while writing the findings.");
        }
    }
    own->groups++;
    return SL_OK;
}

static sl_status write_pdf(job *own, sl_error *error)
{
    char *bytes, *path = sl_path_join(&own->arena, own->out, "report.pdf"), *to = sl_path_join(&own->arena, own->out, "dicom/report.dcm");
    size_t length;
    if (!path || !to)
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing the report.");
    sl_status status = sl_file_read(path, MOST_PDF, &own->arena, &bytes, &length, error);
    return status ? status : sl_dicom_pdf(to, &own->subject, "Lung ultrasound report", bytes, length, &own->secret, error);
}

static sl_status write_all(job *own, sl_error *error)
{
    char *folder = sl_path_join(&own->arena, own->out, "dicom"), *path = sl_path_join(&own->arena, own->out, "dicom/findings.dcm");
    own->group = SL_NEW(&own->arena, own->exam->clips + 1, sl_dicom_group);
    if (!folder || !path || !own->group)
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing the findings.");
    sl_status status = sl_folder_make(folder, error);
    if (!status)
        status = find_subject(own, error);
    for (int i = 0; i < own->exam->clips && !status; i++)
        if (is_read(&own->exam->clip[i]))
            status = add_group(own, i, error);
    if (!status && !own->groups)
        return sl_fail(error, SL_UNREADABLE, "There is nothing for a DICOM report: no clip could be read.");
    char *caution = sl_arena_printf(&own->arena, "%s%s", own->exam->invented ? "Invented data, no person. " : "", own->caution);
    sl_dicom_report report = {.subject = &own->subject, .title_date = own->date, .title_time = "",
                              .caution = caution ? caution : own->caution, .groups = own->groups, .group = own->group};
    if (!status)
        status = sl_dicom_sr(path, &report, &own->secret, error);
    return status ? status : write_pdf(own, error);
}

sl_status sl_exam_objects(const sl_exam *exam, const char *out, const char *caution, bool annotated, sl_error *error)
{
    job own = {.exam = exam, .out = out, .caution = caution, .annotated = annotated};
    make_secret(&own);
    digits_of(exam->date ? exam->date : "", own.date);
    sl_status status = write_all(&own, error);
    sl_arena_free(&own.arena);
    return status;
}

const char *sl_exam_object_of(const sl_exam_clip *clip, const char *out, sl_arena *arena)
{
    if (!is_read(clip))
        return NULL;
    return sl_dicom_is_file(clip->path) ? clip->path : sl_arena_printf(arena, "%s/dicom/clips/%s.dcm", out, clip->stem);
}
