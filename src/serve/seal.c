#include "serve/seal.h"

#include "core/json.h"
#include "report/produce.h"
#include "serve/api.h"
#include "store/keep.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* {uid, last: number of the journal's last entry at the first signature, reports: [...]}; NULL with a sentence. */
static json_t *seal_json(sl_store *store, const char *uid, json_int_t last, sl_arena *arena, sl_error *error)
{
    sl_store_exam_all all;
    if (sl_store_exam_of(store, uid, arena, &all, error) != SL_OK)
        return NULL;
    json_t *reports = json_array();
    for (int i = 0; i < all.reports; i++) {
        const sl_store_report *r = &all.report[i];
        json_array_append_new(reports, json_pack("{s:s,s:s,s:s,s:s,s:b}", "text", r->text, "signer", r->signer, "signed_at", r->signed_at,
                                                 "hash", r->hash, "addendum", r->addendum));
    }
    return json_pack("{s:s,s:I,s:o}", "uid", uid, "last", last, "reports", reports);
}

sl_status sl_seal_note(sl_store *store, const char *uid, json_int_t last, const char *out, sl_arena *arena, sl_error *error)
{
    json_t *seal = seal_json(store, uid, last, arena, error);
    sl_status status = seal ? sl_json_save(seal, sl_path_join(arena, out, "signed.json"), error) : error->status;
    json_decref(seal);
    return status;
}

void sl_seal_look(sl_desk *desk, const char *folder)
{
    sl_arena arena = {0};
    sl_error error = {0};
    sl_store *store = NULL;
    json_t *kept = sl_json_load(sl_desk_file(desk, "signed.json", &arena), NULL), *seal = NULL;
    if (kept) {
        const json_int_t last = json_integer_value(json_object_get(kept, "last"));
        if (sl_store_open(&(sl_store_options){.folder = folder}, &store, &error) == SL_OK)
            seal = seal_json(store, sl_json_text(kept, "uid"), last, &arena, &error);
        sl_store_close(store);
        if (!seal) /* the store is elsewhere: what was noted beside the clips, and why it could not be looked at */
            seal = json_pack("{s:s,s:I,s:O,s:s}", "uid", sl_json_text(kept, "uid"), "last", last, "reports", json_object_get(kept, "reports"),
                             "trouble", error.text);
        sl_desk_set_signed(desk, seal);
    }
    json_decref(kept);
    sl_arena_free(&arena);
}

/* ---- signing ---- */

typedef struct job {
    sl_store *store;
    const char *name, *text; /* the addendum; NULL: the conclusion that stands */
    const json_t *before;    /* what was signed already, or NULL */
    json_int_t last;
    json_t *seal;            /* made */
} job;

static sl_status look_at(const char *text, const char *name, sl_error *error)
{
    if (sl_words_blank(text))
        return sl_fail(error, SL_USAGE, "A report is not signed without a conclusion. Write one, even if it is that nothing can be concluded.");
    if (sl_words_blank(name) || strlen(name) > SL_SIGNER_BYTES)
        return sl_fail(error, SL_USAGE, "A signature needs a name of at most %d letters.", SL_SIGNER_BYTES);
    if (!sl_words_fit(text, name))
        return sl_fail(error, SL_USAGE, "Words to sign have at most %d bytes in %d lines: nothing that is signed is cut off on paper. Put the rest "
                                        "into an addendum.", SL_SIGNED_BYTES, SL_SIGNED_LINES);
    return SL_OK;
}

/* What the signer said of each clip, as readings of theirs. */
static sl_status put_readings(const job *s, const sl_exam *exam, const char *uid, sl_arena *arena, sl_error *error)
{
    sl_store_exam_all all;
    sl_status status = sl_store_exam_of(s->store, uid, arena, &all, error);
    for (int i = 0; i < exam->clips && status == SL_OK; i++) {
        const sl_exam_clip *clip = &exam->clip[i];
        int position = -1;
        for (int k = 0; k < all.clips && position < 0; k++)
            if (!strcmp(all.clip[k].name, clip->where))
                position = k;
        if (!clip->own || position < 0)
            continue;
        json_t *whole = json_pack("{s:s,s:s,s:o}", "clip", clip->name, "zone", clip->zone ? clip->zone->key : "", "reading",
                                  sl_reading_to_json(clip->own));
        char *text = whole ? json_dumps(whole, JSON_COMPACT | JSON_REAL_PRECISION(10)) : NULL;
        json_decref(whole);
        status = text ? sl_store_put_reading(s->store, uid, position, "person", s->name, text, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
        free(text);
    }
    return status;
}

static sl_status sign(void *context, sl_exam *exam, const char *out, sl_arena *arena, sl_error *error)
{
    job *s = context;
    char uid[SL_STORE_UID] = "", report[SL_STORE_UID], now[32];
    bool known, addendum = json_array_size(json_object_get(s->before, "reports")) > 0;
    int conclusions = addendum ? exam->conclusions : 0;
    sl_conclusion *words = SL_NEW(arena, conclusions + 1, sl_conclusion);
    const char *text = s->text ? s->text : exam->conclusions ? exam->conclusion[0].text : "";
    sl_store_file_in file[SL_SIGNED_FILES];
    sl_status status = words ? look_at(text, s->name, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status != SL_OK)
        return status;
    sl_store_now(now);
    if (conclusions)
        memcpy(words, exam->conclusion, (size_t)conclusions * sizeof *words);
    words[conclusions] = (sl_conclusion){text, s->name, now, false};
    exam->conclusion = words;
    exam->conclusions = conclusions + 1;
    if (addendum)
        snprintf(uid, sizeof uid, "%s", sl_json_text(s->before, "uid"));
    else {
        status = sl_keep(s->store, exam, out, NULL, NULL, uid, &known, error);
        if (status == SL_OK && known) {
            sl_store_exam_all all;
            status = sl_store_exam_of(s->store, uid, arena, &all, error);
            if (status == SL_OK && all.reports)
                status = sl_fail(error, SL_USAGE, "These clips of this person and day are signed in the store already. Add to that report with: "
                                                  "strandline store addendum %.8s.", uid);
        }
    }
    if (status == SL_OK)
        status = put_readings(s, exam, uid, arena, error);
    if (status == SL_OK)
        status = sl_produce_files(exam, out, arena, error);
    sl_store_signing signing = {.uid = uid, .signer = s->name, .text = text, .time = now, .file = file};
    if (status == SL_OK)
        signing.files = sl_signed_files(out, arena, file);
    if (status == SL_OK)
        status = sl_store_sign(s->store, &signing, addendum, report, error);
    if (status == SL_OK && !(s->seal = seal_json(s->store, uid, s->last, arena, error)))
        status = error->status;
    if (status == SL_OK) /* signed it is, even if the note beside the clips cannot be written */
        status = sl_json_save(s->seal, sl_path_join(arena, out, "signed.json"), error);
    return status;
}

enum MHD_Result sl_seal_answer(sl_request *request, sl_desk *desk)
{
    json_t *asked = sl_request_json(request);
    json_t *before = sl_desk_signed(desk);
    const json_t *entries = json_object_get(asked, "last"); /* of the journal, as the page that signs knows it */
    bool again = json_array_size(json_object_get(before, "reports")) > 0;
    sl_error error = {0};
    job s = {.name = sl_json_text(asked, "name"), .text = again ? sl_json_text(asked, "text") : NULL, .before = before,
                 .last = again ? json_integer_value(json_object_get(before, "last")) : json_integer_value(entries)};
    json_int_t now = 0;
    char *text = sl_desk_text(desk, -1, 0);
    json_t *state = text ? json_loads(text, 0, NULL) : NULL;
    now = json_integer_value(json_object_get(json_object_get(state, "says"), "last"));
    bool ready = !strcmp(sl_json_text(state, "state"), "ready");
    json_decref(state);
    free(text);
    sl_status status = SL_OK;
    if (!json_is_object(asked))
        status = sl_fail(&error, SL_USAGE, "What to sign could not be read as JSON.");
    else if (!ready)
        status = sl_fail(&error, SL_USAGE, "The report is signed when all clips are read.");
    else if (!again && json_integer_value(entries) != now) /* another tab entered something that this one has not shown yet */
        status = sl_fail(&error, SL_USAGE, "Something was entered elsewhere that this page did not show yet. Look at it and sign again.");
    if (status == SL_OK)
        status = sl_place_open_store(request->server->place, sl_request_who(request), true, &s.store, &error);
    if (status == SL_OK)
        status = sl_desk_with(desk, json_string_value(json_object_get(asked, "language")), sign, &s, &error);
    sl_store_close(s.store);
    json_decref(before);
    if (s.seal)
        sl_desk_set_signed(desk, s.seal);
    json_decref(asked);
    if (status != SL_OK)
        return sl_reply_error(request, status == SL_USAGE ? 400 : 507, "%s", error.text);
    return sl_reply_json(request, 201, json_object());
}

enum MHD_Result sl_seal_pdf(sl_request *request, sl_desk *desk)
{
    json_t *seal = sl_desk_signed(desk);
    sl_store *store = NULL;
    sl_store_exam_all all;
    sl_error error = {0};
    char *path = NULL;
    sl_status status = seal ? sl_place_open_store(request->server->place, NULL, false, &store, &error)
                            : sl_fail(&error, SL_IO, "This examination is not signed.");
    if (status == SL_OK)
        status = sl_store_exam_of(store, sl_json_text(seal, "uid"), &request->arena, &all, &error);
    if (status == SL_OK && all.reports)
        for (int i = 0; i < all.report[all.reports - 1].files; i++)
            if (!strcmp(all.report[all.reports - 1].file[i].name, "report.pdf"))
                status = sl_store_path(store, all.report[all.reports - 1].file[i].hash, &request->arena, &path, &error);
    sl_store_close(store);
    json_decref(seal);
    return path ? sl_reply_file(request, path, "application/pdf", "strandline-report-signed.pdf")
                : sl_reply_error(request, 404, "%s", *error.text ? error.text : "The signed report is not in the store.");
}
