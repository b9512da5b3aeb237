#include "exam/order.h"

#include "clip/pseudonym.h"
#include "core/file.h"
#include "core/json.h"
#include "core/text.h"
#include "core/utf8.h"
#include "exam/zones.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

static const char *said(const json_t *object, const char *key, sl_arena *arena)
{
    const char *text = sl_json_text(object, key), *copy = *text ? sl_arena_text(arena, text) : NULL;
    const char *valid = copy ? sl_utf8_valid(arena, copy) : NULL;
    return valid ? valid : "";
}

static bool is_date(const char *text)
{
    return strlen(text) == 8 && strspn(text, "0123456789") == 8;
}

static bool is_uid(const char *text)
{
    return *text && strlen(text) <= 64 && strspn(text, "0123456789.") == strlen(text) && *text != '.';
}

const sl_exam_order *sl_exam_order_of(const json_t *root, sl_arena *arena)
{
    const json_t *patient = json_object_get(root, "patient"), *order = json_object_get(root, "order");
    sl_exam_order *made = json_is_object(patient) || json_is_object(order) ? SL_NEW(arena, 1, sl_exam_order) : NULL;
    if (!made)
        return NULL;
    *made = (sl_exam_order){.name = said(patient, "name", arena), .id = said(patient, "id", arena), .birth_date = said(patient, "born", arena),
                            .sex = said(patient, "sex", arena), .study_uid = said(order, "study", arena),
                            .accession = said(order, "accession", arena), .study_id = said(order, "number", arena),
                            .referring = said(order, "referring", arena), .procedure = said(order, "procedure", arena)};
    if (!is_date(made->birth_date))
        made->birth_date = "";
    if (!is_uid(made->study_uid))
        made->study_uid = "";
    if (strlen(made->sex) != 1 || !strchr("MFO", *made->sex))
        made->sex = "";
    return made;
}

/* "Family, Given" of a name's first group that is there. */
static void add_name(sl_text *text, const char *name)
{
    name += strspn(name, "=");
    const size_t group = strcspn(name, "=");
    size_t family = strcspn(name, "^");
    if (family > group)
        family = group;
    sl_text_add_bytes(text, name, family);
    const char *given = family < group ? name + family + 1 : "";
    size_t length = family < group ? strcspn(given, "^=") : 0;
    if (length)
        sl_text_add(text, ", ");
    sl_text_add_bytes(text, given, length);
}

void sl_exam_order_text(const sl_exam_order *order, const char *born, const char *ordered, char *text, size_t room)
{
    sl_text all = {0};
    if (order && *order->name)
        add_name(&all, order->name);
    if (order && *order->birth_date)
        sl_text_printf(&all, "%s%s%s%.4s-%.2s-%.2s", all.length ? ", " : "", born, *born ? " " : "", order->birth_date, order->birth_date + 4, order->birth_date + 6);
    if (order && *order->id)
        sl_text_printf(&all, "%sID %s", all.length ? ", " : "", order->id);
    if (order && *order->accession)
        sl_text_printf(&all, "%s%s%s%s", all.length ? ", " : "", ordered, *ordered ? " " : "", order->accession);
    size_t length = all.failed ? 0 : all.length < room ? all.length : room - 1;
    while (length && length < all.length && ((unsigned char)all.bytes[length] & 0xc0) == 0x80)
        length--;
    if (length)
        memcpy(text, all.bytes, length);
    text[length] = 0;
    sl_text_free(&all);
}

void sl_exam_order_person(const sl_exam_order *order, char person[16])
{
    sl_secret secret;
    uint8_t stands[16];
    const char *of = *order->id ? order->id : *order->accession ? order->accession : order->name;
    sl_secret_from("strandline order", strlen("strandline order"), &secret);
    sl_pseudonym(&secret, "person", of, stands);
    snprintf(person, 16, "P-%02x%02x%02x%02x%02x", stands[0], stands[1], stands[2], stands[3], stands[4]);
}

static sl_status save_info(const char *path, const sl_exam_order *order, const char *person, const char *date, const sl_protocol *protocol,
                           sl_error *error)
{
    json_t *root = json_pack("{s:s, s:s, s:s, s:s, s:s, s:{s:s, s:s, s:s, s:s}, s:{s:s, s:s, s:s, s:s, s:s}}", "title", "", "date", date, "person",
                             person, "question", "", "protocol", protocol->key, "patient", "name", order->name, "id", order->id, "born",
                             order->birth_date, "sex", order->sex, "order", "study", order->study_uid, "accession", order->accession, "number",
                             order->study_id, "referring", order->referring, "procedure", order->procedure);
    if (!root)
        return sl_fail(error, SL_MEMORY, "Memory ran out while preparing the examination.");
    sl_status status = sl_json_save(root, path, error);
    json_decref(root);
    return status;
}

static sl_status save_zones(const char *path, const sl_protocol *protocol, sl_error *error)
{
    sl_text text = {0};
    sl_text_add(&text, "file,zone,depth_cm,posture,notes\n");
    for (int i = 0; i < protocol->zones; i++)
        sl_text_printf(&text, ",%s,,,\n", protocol->zone[i]->key);
    sl_status status = text.failed ? sl_fail(error, SL_MEMORY, "Memory ran out while preparing the examination.")
                                   : sl_file_write(path, text.bytes, text.length, error);
    sl_text_free(&text);
    return status;
}

sl_status sl_exam_prepare(const char *folder, const sl_exam_order *order, const char *person, const char *date, const sl_protocol *protocol,
                          sl_error *error)
{
    sl_arena arena = {0};
    struct stat facts;
    const char *info = sl_path_join(&arena, folder, "exam-info.json"), *zones = sl_path_join(&arena, folder, "exam.csv");
    const bool fresh = stat(folder, &facts) != 0;
    sl_status status = info && zones ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out while preparing the examination.");
    if (!status && (!stat(info, &facts) || !stat(zones, &facts)))
        status = sl_fail(error, SL_USAGE, "An examination is described in %s already. Choose another folder, or move exam-info.json and exam.csv away.", folder);
    if (!status)
        status = sl_folder_make(folder, error);
    if (!status && fresh && chmod(folder, 0700))
        status = sl_fail(error, SL_IO, "%s cannot be closed to others: %s.", folder, strerror(errno));
    if (!status)
        status = save_info(info, order, person, date, protocol, error);
    if (!status && chmod(info, 0600))
        status = sl_fail(error, SL_IO, "%s cannot be closed to others: %s.", info, strerror(errno));
    if (!status)
        status = save_zones(zones, protocol, error);
    sl_arena_free(&arena);
    return status;
}
