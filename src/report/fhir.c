/* fhir.json: the examination as a FHIR R4 (4.0.1) bundle: DiagnosticReport, an Observation a zone and one of the total, the
 * study, the device, the provenance, and the code system of the local codes. No names: the person is a pseudonym, who
 * signed is named in the signed report alone. References are by URNs made from the content, so the same examination
 * gives the same bytes. */
#include "report/report.h"

#include "core/json.h"
#include "core/units.h"
#include "report/fhir_codes.h"
#include "report/record.h"
#include "report/words.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

typedef struct bundle {
    const sl_exam *exam;
    const sl_language *say;
    const char *out;
    uint64_t seed[2];
    json_t *entry; /* the bundle's list */
    char report[48], study[48], device[48];
} bundle;

/* ---- small parts ---- */

static json_t *coding(const sl_code_of *code)
{
    return json_pack("{s:s,s:s,s:s}", "system", code->system, "code", code->code, "display", code->display);
}

static json_t *concept(const sl_code_of *code, const char *text)
{
    json_t *object = json_object();
    if (code)
        json_object_set_new(object, "coding", json_pack("[o]", coding(code)));
    if (text && *text)
        json_object_set_new(object, "text", json_string(text));
    return object;
}

static json_t *local_concept(const char *code, const char *display, const sl_code_of *standard, const char *text)
{
    json_t *object = concept(standard, text), *list = json_object_get(object, "coding");
    if (!list) {
        list = json_array();
        json_object_set_new(object, "coding", list);
    }
    json_array_append_new(list, json_pack("{s:s,s:s,s:s}", "system", SL_LOCAL, "code", code, "display", display));
    return object;
}

static json_t *reference(const char *urn)
{
    return json_pack("{s:s}", "reference", urn);
}

static void mix(uint64_t hash[2], const char *text)
{
    for (; *text; text++) { /* FNV-1a, twice from different starts */
        hash[0] = (hash[0] ^ (unsigned char)*text) * 1099511628211u;
        hash[1] = (hash[1] ^ (unsigned char)*text) * 1099511628211u;
    }
    hash[0] = (hash[0] ^ 31) * 1099511628211u;
    hash[1] = (hash[1] ^ 30) * 1099511628211u;
}

/* A UUID of version 8 (RFC 9562: made by the application), from the examination's content and what it is for. */
static void make_urn(const bundle *self, const char *what, char urn[48])
{
    uint64_t hash[2] = {self->seed[0], self->seed[1]};
    mix(hash, what);
    hash[0] ^= hash[1] >> 29;
    hash[1] ^= hash[0] << 17;
    snprintf(urn, 48, "urn:uuid:%08" PRIx64 "-%04" PRIx64 "-8%03" PRIx64 "-%c%03" PRIx64 "-%012" PRIx64, hash[0] >> 32,
             hash[0] >> 16 & 0xffff, hash[0] & 0xfff, "89ab"[hash[1] >> 60 & 3], hash[1] >> 48 & 0xfff, hash[1] & 0xffffffffffff);
}

static void put(bundle *self, const char *urn, json_t *resource)
{
    if (self->exam->invented)
        json_object_set_new(resource, "meta", json_pack("{s:[o]}", "security", coding(&sl_fhir_test_data)));
    json_array_append_new(self->entry, json_pack("{s:s,s:o}", "fullUrl", urn, "resource", resource));
}

static bool is_date(const char *text)
{
    return strlen(text) == 10 && text[4] == '-' && text[7] == '-' && strspn(text, "0123456789-") == 10;
}

/* The person, by pseudonym; what is not stated is said to be unknown. */
static void set_subject(const bundle *self, json_t *resource, bool required)
{
    if (*self->exam->person)
        json_object_set_new(resource, "subject", json_pack("{s:{s:s,s:s}}", "identifier", "system", "urn:strandline:pseudonym", "value",
                                                           self->exam->person));
    else if (required)
        json_object_set_new(resource, "subject", json_pack("{s:s}", "display", sl_say(self->say, SL_P_SIGN_NO_QUESTION)));
}

static void set_unknown(json_t *object, const char *why)
{
    json_object_set_new(object, "dataAbsentReason", concept(&sl_fhir_unknown, why));
}

static const char *ucum_of(const sl_finding_info *info)
{
    if (!strcmp(info->unit, "mm"))
        return "mm";
    if (!strcmp(info->unit, "mm/s"))
        return "mm/s";
    if (!strcmp(info->unit, "cm/s"))
        return "cm/s";
    if (!strcmp(info->unit, "degrees"))
        return "deg";
    if (!strcmp(info->unit, "breaths a minute"))
        return "/min";
    return "1";
}

static json_t *quantity(const sl_language *say, const sl_finding_info *info, double value)
{
    char unit[160];
    json_t *object = json_pack("{s:o,s:s,s:s}", "value", sl_json_number(value, info->decimals > 3 ? info->decimals : 3), "system", SL_UCUM,
                               "code", ucum_of(info));
    sl_say_stated(say, info->unit, unit, sizeof unit);
    if (*unit)
        json_object_set_new(object, "unit", json_string(unit));
    return object;
}

/* The 95 % interval as an extension of ours: R4 has no place for it. */
static void set_interval(const bundle *self, json_t *object, const sl_finding_info *info, double low, double high)
{
    if (sl_known(low) && sl_known(high))
        json_object_set_new(object, "extension", json_pack("[{s:s,s:{s:o,s:o}}]", "url", "urn:strandline:interval-95", "valueRange", "low",
                                                           quantity(self->say, info, low), "high", quantity(self->say, info, high)));
}

static json_t *component(const bundle *self, const sl_finding *finding)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    char why[400];
    json_t *object = json_pack("{s:o}", "code", local_concept(info->key, info->name, sl_fhir_finding(info->code), sl_words_name(self->say, info)));
    bool told = finding->known && (info->kind == SL_KIND_ANSWER ? finding->answer != SL_UNCERTAIN : sl_known(finding->value));
    if (!told)
        set_unknown(object, sl_say_stated(self->say, finding->reason ? finding->reason : "", why, sizeof why));
    else if (info->kind == SL_KIND_ANSWER) {
        bool seen = finding->answer == SL_PRESENT;
        json_object_set_new(object, "valueCodeableConcept",
                            local_concept(sl_answer_name(finding->answer), seen ? "seen" : "not seen", NULL,
                                          sl_say(self->say, seen ? SL_P_ANSWER_SEEN : SL_P_ANSWER_NONE_SEEN)));
    } else if (info->kind == SL_KIND_AMOUNT)
        json_object_set_new(object, "valueQuantity", quantity(self->say, info, finding->value));
    else
        json_object_set_new(object, "valueInteger", json_integer((json_int_t)(finding->value + 0.5)));
    if (told && info->kind != SL_KIND_ANSWER)
        set_interval(self, object, info, finding->low, finding->high);
    return object;
}

/* "B-lines: frames 12 to 40, 0.5 to 1.6 s; ..." of the clip, from its record. */
static void add_evidence(const bundle *self, const sl_exam_clip *clip, json_t *notes)
{
    sl_arena arena = {0};
    sl_record record;
    const char *path = sl_record_path(&arena, self->out, clip);
    char text[4000];
    size_t used = (size_t)snprintf(text, sizeof text, "%.300s: ", clip->where), before = used;
    if (path && sl_record_load(path, &arena, &record, NULL) == SL_OK && record.key.content == clip->content && record.result.reading)
        for (int i = 0; i < record.result.reading->findings && used < sizeof text - 400; i++) {
            sl_words words;
            sl_words_finding(self->say, &record.result.reading->finding[i], &record.result.view, &words);
            if (*words.evidence)
                used += (size_t)snprintf(text + used, sizeof text - used, "%s%s, %s", used > before ? "; " : "", words.label, words.evidence);
        }
    if (used > before)
        json_array_append_new(notes, json_pack("{s:s}", "text", text));
    sl_arena_free(&arena);
}

/* ---- the resources ---- */

static json_t *observation(const bundle *self, const char *code, const char *display, const char *text)
{
    const bool signed_now = self->exam->conclusions && *self->exam->conclusion[0].signer;
    json_t *object = json_pack("{s:s,s:s,s:[o],s:o}", "resourceType", "Observation", "status", signed_now ? "final" : "preliminary",
                               "category", concept(&sl_fhir_imaging, NULL), "code", local_concept(code, display, NULL, text));
    set_subject(self, object, false);
    if (is_date(self->exam->date))
        json_object_set_new(object, "effectiveDateTime", json_string(self->exam->date));
    json_object_set_new(object, "device", reference(self->device));
    json_object_set_new(object, "derivedFrom", json_pack("[o]", reference(self->study)));
    return object;
}

static void zone_urn(const bundle *self, const sl_zone_score *zone, char urn[48])
{
    char what[96];
    snprintf(what, sizeof what, "zone %s", zone->zone->key);
    make_urn(self, what, urn);
}

static void put_zone(bundle *self, const sl_zone_score *zone)
{
    char urn[48], name[120], why[400];
    zone_urn(self, zone, urn);
    sl_words_zone_full(self->say, zone->zone, name, sizeof name);
    const sl_finding_info *info = sl_finding_info_of(SL_SCORE);
    json_t *object = observation(self, "regional-score", "score of a zone, 0 to 3", sl_words_name(self->say, info)), *parts = json_array(),
           *notes = json_array();
    json_object_set_new(object, "bodySite", concept(zone->zone->side == SL_SIDE_RIGHT ? &sl_fhir_right_lung : &sl_fhir_left_lung, name));
    const sl_exam_clip *clip = zone->decisive >= 0 ? &self->exam->clip[zone->decisive] : NULL;
    if (zone->score >= 0) {
        json_object_set_new(object, "valueInteger", json_integer(zone->score));
        set_interval(self, object, info, zone->low, zone->high);
    } else {
        const char *reason = !clip ? sl_say(self->say, SL_P_STRIP_NO_CLIP) : sl_say_stated(self->say, clip->result.reason, why, sizeof why);
        set_unknown(object, *reason ? reason : sl_say(self->say, SL_P_RESCAN_NO_SCORE));
    }
    const sl_reading *reading = clip ? clip->result.reading : NULL;
    for (int i = 0; reading && i < reading->findings; i++)
        if (reading->finding[i].code != SL_SCORE)
            json_array_append_new(parts, component(self, &reading->finding[i]));
    if (json_array_size(parts))
        json_object_set(object, "component", parts);
    if (clip)
        add_evidence(self, clip, notes);
    if (json_array_size(notes))
        json_object_set(object, "note", notes);
    json_decref(parts);
    json_decref(notes);
    put(self, urn, object);
}

static void put_total(bundle *self, char urn[48])
{
    const sl_exam *exam = self->exam;
    const sl_finding_info *info = sl_finding_info_of(SL_SCORE);
    char text[160], a[32], b[32], c[32], d[32];
    make_urn(self, "total", urn);
    SL_SAY(self->say, SL_P_HEAD_TOTAL, text, sl_say_whole(exam->total, a), sl_say_whole(exam->total_of, b), sl_say_whole(exam->zones_scored, c),
           sl_say_whole(exam->zones, d));
    json_t *object = observation(self, "total-score", "sum of the scores of the zones that have one",
                                 exam->zones_scored ? text : sl_say(self->say, SL_P_HEAD_NO_SCORE));
    if (exam->zones_scored) {
        json_object_set_new(object, "valueInteger", json_integer(exam->total));
        set_interval(self, object, info, exam->total_low, exam->total_high);
    } else
        set_unknown(object, sl_say(self->say, SL_P_HEAD_NO_SCORE));
    json_object_set_new(object, "component",
                        json_pack("[{s:o,s:i},{s:o,s:i}]", "code", local_concept("zones-scored", "zones that have a score", NULL, NULL),
                                  "valueInteger", exam->zones_scored, "code", local_concept("zones", "zones of the scheme", NULL, NULL),
                                  "valueInteger", exam->zones));
    json_t *members = json_array();
    for (int i = 0; i < exam->zones; i++) {
        char zone[48];
        zone_urn(self, &exam->zone[i], zone);
        json_array_append_new(members, reference(zone));
    }
    if (json_array_size(members))
        json_object_set(object, "hasMember", members);
    json_decref(members);
    put(self, urn, object);
}

/* The clips are files, not DICOM instances of ours: the study is referred to, its series are not made up. */
static void put_study(bundle *self)
{
    const sl_exam *exam = self->exam;
    json_t *object = json_pack("{s:s,s:s,s:[o],s:i}", "resourceType", "ImagingStudy", "status", "available", "modality",
                               coding(&sl_fhir_ultrasound), "numberOfInstances", exam->clips),
           *identifiers = json_array();
    set_subject(self, object, true);
    if (is_date(exam->date))
        json_object_set_new(object, "started", json_string(exam->date));
    for (int i = 0; i < exam->clips; i++)
        if (exam->clip[i].content) {
            char content[24];
            snprintf(content, sizeof content, "%016" PRIx64, exam->clip[i].content);
            json_array_append_new(identifiers, json_pack("{s:s,s:s}", "system", "urn:strandline:clip-content", "value", content));
        }
    if (json_array_size(identifiers))
        json_object_set(object, "identifier", identifiers);
    json_decref(identifiers);
    if (*exam->question)
        json_object_set_new(object, "reasonCode", json_pack("[o]", concept(NULL, exam->question)));
    put(self, self->study, object);
}

static void put_device(bundle *self)
{
    put(self, self->device,
        json_pack("{s:s,s:s,s:[{s:s,s:s}],s:[{s:s}],s:[{s:s}]}", "resourceType", "Device", "status", "active", "deviceName", "name",
                  "strandline", "type", "user-friendly-name", "version", "value", SL_VERSION, "note", "text", sl_say(self->say, SL_P_CAUTION)));
}

static json_t *agent(const sl_code_of *type, json_t *who)
{
    return json_pack("{s:o,s:o}", "type", concept(type, NULL), "who", who);
}

static void put_provenance(bundle *self)
{
    char urn[48];
    const sl_exam *exam = self->exam;
    const sl_conclusion *last = exam->conclusions ? &exam->conclusion[exam->conclusions - 1] : NULL;
    make_urn(self, "provenance", urn);
    json_t *agents = json_array(),
           *object = json_pack("{s:s,s:[o]}", "resourceType", "Provenance", "target", reference(self->report));
    if (last && *last->signer)
        json_object_set_new(object, "recorded", json_string(last->signed_at));
    else /* no clock: the same examination gives the same bytes */
        json_object_set_new(object, "_recorded", json_pack("{s:[{s:s,s:s}]}", "extension", "url",
                                                           "http://hl7.org/fhir/StructureDefinition/data-absent-reason", "valueCode", "unknown"));
    json_array_append_new(agents, agent(&sl_fhir_assembler, reference(self->device)));
    if (last && *last->signer)
        json_array_append_new(agents, agent(&sl_fhir_attester, json_pack("{s:s}", "display", sl_say(self->say, SL_P_FHIR_SIGNER))));
    json_object_set_new(object, "agent", agents);
    json_object_set_new(object, "entity", json_pack("[{s:s,s:o}]", "role", "source", "what", reference(self->study)));
    put(self, urn, object);
}

static void put_report(bundle *self, const char *total)
{
    const sl_exam *exam = self->exam;
    const bool signed_now = exam->conclusions && *exam->conclusion[0].signer;
    sl_text text = {0};
    json_t *results = json_pack("[o]", reference(total)),
           *object = json_pack("{s:s,s:s,s:[o],s:o}", "resourceType", "DiagnosticReport", "status",
                               !signed_now ? "preliminary" : exam->conclusions > 1 ? "appended" : "final", "category",
                               concept(&sl_fhir_radiology, NULL), "code", concept(&sl_fhir_us_chest, sl_say(self->say, SL_P_TITLE)));
    set_subject(self, object, false);
    if (is_date(exam->date))
        json_object_set_new(object, "effectiveDateTime", json_string(exam->date));
    if (signed_now)
        json_object_set_new(object, "issued", json_string(exam->conclusion[exam->conclusions - 1].signed_at));
    for (int i = 0; i < exam->zones; i++) {
        char zone[48];
        zone_urn(self, &exam->zone[i], zone);
        json_array_append_new(results, reference(zone));
    }
    json_object_set_new(object, "result", results);
    json_object_set_new(object, "imagingStudy", json_pack("[o]", reference(self->study)));
    sl_report_paragraph(exam, &text);
    if (!text.failed && text.length)
        json_object_set_new(object, "conclusion", json_string(text.bytes));
    sl_text_free(&text);
    put(self, self->report, object);
}

/* The local codes, with what each means and by which source. */
static void put_codes(bundle *self)
{
    char urn[48];
    make_urn(self, "codes", urn);
    json_t *list = json_array();
    static const char *const more[][2] = {{"regional-score", "score of a zone, 0 to 3"},
                                          {"total-score", "sum of the scores of the zones that have one"},
                                          {"zones", "zones of the scheme"},
                                          {"zones-scored", "zones that have a score"},
                                          {"present", "seen"},
                                          {"absent", "not seen"}};
    for (size_t i = 0; i < sizeof more / sizeof *more; i++)
        json_array_append_new(list, json_pack("{s:s,s:s}", "code", more[i][0], "display", more[i][1]));
    for (int code = 0; code < SL_CODES; code++) {
        const sl_finding_info *info = sl_finding_info_of((sl_code)code);
        json_array_append_new(list, json_pack("{s:s,s:s,s:s}", "code", info->key, "display", info->name, "definition", info->source));
    }
    put(self, urn,
        json_pack("{s:s,s:s,s:s,s:s,s:s,s:b,s:s,s:o}", "resourceType", "CodeSystem", "url", SL_LOCAL, "version", SL_VERSION, "name",
                  "StrandlineFindings", "status", "active", "caseSensitive", 1, "content", "complete", "concept", list));
    json_t *object = json_object_get(json_array_get(self->entry, json_array_size(self->entry) - 1), "resource");
    json_object_set_new(object, "description",
                        json_string("Local codes of strandline, used where no code of a standard terminology was verified. They mean nothing "
                                    "outside it."));
}

sl_status sl_report_fhir(const sl_exam *exam, const char *out, const char *path, sl_error *error)
{
    char total[48];
    bundle self = {.exam = exam, .say = sl_language_for(exam), .out = out, .seed = {14695981039346656037u, 7809847782465536322u},
                   .entry = json_array()};
    mix(self.seed, exam->person);
    mix(self.seed, exam->date);
    for (int i = 0; i < exam->clips; i++) {
        char content[24];
        snprintf(content, sizeof content, "%016" PRIx64, exam->clip[i].content);
        mix(self.seed, content);
    }
    make_urn(&self, "report", self.report);
    make_urn(&self, "study", self.study);
    make_urn(&self, "device", self.device);
    make_urn(&self, "total", total);
    put_report(&self, total);
    put_total(&self, total);
    for (int i = 0; i < exam->zones; i++)
        put_zone(&self, &exam->zone[i]);
    put_study(&self);
    put_device(&self);
    put_provenance(&self);
    put_codes(&self);
    json_t *root = json_pack("{s:s,s:s,s:s,s:o}", "resourceType", "Bundle", "type", "collection", "language", sl_language_code(self.say),
                             "entry", self.entry);
    sl_status status = root ? sl_json_save(root, path, error) : sl_fail(error, SL_MEMORY, "Memory ran out while writing %s.", path);
    json_decref(root);
    return status;
}
