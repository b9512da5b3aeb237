#include "cli/deidentify_report.h"

#include "core/file.h"
#include "core/json.h"
#include "core/text.h"

static void csv_row(sl_text *csv, const sl_deid_result *own, const char *where, const char *done)
{
    sl_csv_add(csv, own->in, true);
    sl_csv_add(csv, own->status ? "" : own->name, false);
    sl_csv_add(csv, where, false);
    sl_csv_add(csv, done, false);
    sl_text_add(csv, "\r\n");
}

static sl_status write_csv(const char *path, const sl_deid_result *result, int count, sl_error *error)
{
    sl_text csv = {0};
    sl_text_add(&csv, "original,copy,where,what was done\r\n");
    for (int i = 0; i < count; i++) {
        const sl_deid_result *own = &result[i];
        csv_row(&csv, own, "file", own->status ? own->error.text : "copied, read again and verified");
        for (int k = 0; k < own->notes.count && !own->status; k++)
            csv_row(&csv, own, own->notes.note[k].where, own->notes.note[k].done);
    }
    sl_status status = csv.failed ? sl_fail(error, SL_MEMORY, "Memory ran out while writing the report.")
                                  : sl_file_write(path, csv.bytes, csv.length, error);
    sl_text_free(&csv);
    return status;
}

static json_t *json_of(const sl_deid_result *own)
{
    json_t *changes = json_array();
    for (int k = 0; k < own->notes.count && !own->status; k++)
        json_array_append_new(changes, json_pack("{s:s, s:s}", "where", own->notes.note[k].where, "done",
                                                 own->notes.note[k].done));
    json_t *file = json_pack("{s:s, s:b, s:b, s:i, s:o}", "original", own->in, "copied", !own->status, "verified",
                             own->notes.verified, "boxes", own->notes.boxes, "blackened_share",
                             sl_json_number(own->notes.blackened_share, 4));
    json_object_set_new(file, own->status ? "why_not" : "copy", json_string(own->status ? own->error.text : own->name));
    json_object_set_new(file, "changes", changes);
    return file;
}

sl_status sl_deid_report_write(const char *name, const sl_deid_result *result, int count, sl_error *error)
{
    sl_text path = {0};
    sl_text_printf(&path, "%s.csv", name);
    if (path.failed)
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing the report.");
    sl_status status = write_csv(path.bytes, result, count, error);
    sl_text_free(&path);
    json_t *files = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(files, json_of(&result[i]));
    json_t *root = json_pack("{s:s, s:s, s:s, s:o}", "program", "strandline " SL_VERSION, "profile",
                             "DICOM PS3.15 2026c Annex E, basic profile; options: clean pixel data, clean descriptors, retain "
                             "longitudinal modified dates, retain device identity",
                             "caution", "Keep this file with the originals: it holds their names.", "files", files);
    sl_text_printf(&path, "%s.json", name);
    if (!status)
        status = root && !path.failed ? sl_json_save(root, path.bytes, error)
                                      : sl_fail(error, SL_MEMORY, "Memory ran out while writing the report.");
    json_decref(root);
    sl_text_free(&path);
    return status;
}
