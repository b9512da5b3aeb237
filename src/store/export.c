#include "store/inner.h"

#include "core/file.h"
#include "core/json.h"
#include "core/text.h"
#include "core/units.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* A name that stays within the folder, whatever the record says. */
static const char *safe_name(sl_arena *arena, const char *name, int position)
{
    const char *last = sl_path_name(name);
    return *last && strcmp(last, ".") && strcmp(last, "..") ? last : sl_arena_printf(arena, "clip-%d", position + 1);
}

const char *sl_store_clip_name(sl_arena *arena, const sl_store_exam_all *all, int which)
{
    const char *name = safe_name(arena, all->clip[which].name, which);
    for (int i = 0; name && i < which; i++)
        if (!strcmp(safe_name(arena, all->clip[i].name, i), name))
            return sl_arena_printf(arena, "%d-%s", which + 1, name);
    return name;
}

static sl_status copy_out(sl_store *store, const char *hash, const char *folder, const char *name, sl_arena *arena, sl_error *error)
{
    char *from;
    const char *to = sl_path_join(arena, folder, name);
    sl_status status = sl_store_path(store, hash, arena, &from, error);
    return status == SL_OK ? sl_store_copy(from, to, hash, error) : status;
}

static sl_status write_papers(const sl_store_exam_all *all, const char *folder, sl_arena *arena, sl_error *error)
{
    sl_text csv = {0};
    sl_text_add(&csv, "file,zone,depth_cm,notes\n");
    for (int i = 0; i < all->clips; i++) {
        char depth[32] = "";
        if (sl_known(all->clip[i].depth_cm))
            snprintf(depth, sizeof depth, "%.4g", all->clip[i].depth_cm);
        sl_csv_add(&csv, sl_store_clip_name(arena, all, i), true);
        sl_csv_add(&csv, all->clip[i].zone, false);
        sl_csv_add(&csv, depth, false);
        sl_csv_add(&csv, all->clip[i].notes, false);
        sl_text_add(&csv, "\n");
    }
    sl_status status = csv.failed ? sl_fail(error, SL_MEMORY, "Memory ran out.")
                                  : sl_file_write(sl_path_join(arena, folder, "exam.csv"), csv.bytes, csv.length, error);
    sl_text_free(&csv);
    const sl_store_exam *exam = &all->exam;
    json_t *info = json_pack("{s:s, s:s, s:s, s:s, s:s, s:b}", "title", exam->title, "date", exam->date, "person", exam->person,
                             "question", exam->question, "protocol", exam->protocol, "invented", (int)exam->invented);
    if (status == SL_OK)
        status = sl_json_save(info, sl_path_join(arena, folder, "exam-info.json"), error);
    json_decref(info);
    return status;
}

static sl_status write_readings(const sl_store_exam_all *all, const char *folder, sl_arena *arena, sl_error *error)
{
    json_t *list = json_array();
    for (int i = 0; i < all->readings; i++) {
        const sl_store_reading *reading = &all->reading[i];
        json_t *result = json_loads(reading->result, JSON_DECODE_ANY, NULL);
        json_array_append_new(list, json_pack("{s:s, s:s, s:s, s:s, s:o}", "clip", sl_store_clip_name(arena, all, reading->position), "by", reading->by,
                                              "author", reading->author, "made", reading->made, "result", result ? result : json_null()));
    }
    sl_status status = sl_json_save(list, sl_path_join(arena, folder, "readings.json"), error);
    json_decref(list);
    return status;
}

static sl_status write_reports(sl_store *store, const sl_store_exam_all *all, const char *folder, sl_arena *arena, sl_error *error)
{
    sl_status status = SL_OK;
    for (int i = 0; i < all->reports && status == SL_OK; i++) {
        const sl_store_report *report = &all->report[i];
        const char *own = sl_arena_printf(arena, report->addendum ? "%s/signed-%d-addendum" : "%s/signed-%d-report", folder, i + 1);
        status = own ? sl_folder_make(own, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
        for (int k = 0; k < report->files && status == SL_OK; k++)
            status = copy_out(store, report->file[k].hash, own, safe_name(arena, report->file[k].name, k), arena, error);
        json_t *signature = json_pack("{s:s, s:s, s:s, s:s, s:s}", "report", report->uid, "signer", report->signer, "signed",
                                      report->signed_at, "text", report->text, "statement_sha256", report->hash);
        if (status == SL_OK)
            status = sl_json_save(signature, sl_path_join(arena, own, "signature.json"), error);
        json_decref(signature);
    }
    return status;
}

sl_status sl_store_export(sl_store *store, const char *uid, const char *folder, sl_error *error)
{
    sl_arena arena = {0};
    sl_store_exam_all all;
    struct stat facts;
    if (!stat(folder, &facts) && rmdir(folder))
        return sl_fail(error, SL_IO, "%s is there already. Name a folder that is not, so that nothing is overwritten.", folder);
    sl_status status = sl_store_exam_of(store, uid, &arena, &all, error);
    if (status == SL_OK)
        status = sl_folder_make(folder, error);
    for (int i = 0; i < all.clips && status == SL_OK; i++)
        status = copy_out(store, all.clip[i].hash, folder, sl_store_clip_name(&arena, &all, i), &arena, error);
    if (status == SL_OK)
        status = write_papers(&all, folder, &arena, error);
    if (status == SL_OK)
        status = write_readings(&all, folder, &arena, error);
    if (status == SL_OK)
        status = write_reports(store, &all, folder, &arena, error);
    sl_arena_free(&arena);
    return status;
}
