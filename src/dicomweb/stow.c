#include "dicomweb/stow.h"

#include "dicom/item.h"
#include "dicom/syntaxes.h"
#include "dicomweb/media.h"
#include "dicomweb/multipart.h"
#include "node/shelf.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Failure reasons (PS3.18 2024c I.2.2; the words are those of PS3.4 B.2.3 and PS3.3 C.14.1.1). */
enum { NO_ROOM = 0xa700, NOT_OF_STUDY = 0xa900, NOT_UNDERSTOOD = 0xc000, SYNTAX_UNKNOWN = 0xc122, CLASS_UNKNOWN = 0x0122, FAILED = 0x0110 };

enum {
    RETRIEVE_URL = 0x00081190, REFERENCED_SOP = 0x00081199, FAILED_SOP = 0x00081198, OTHER_FAILURES = 0x0008119a, FAILURE_REASON = 0x00081197,
    REFERENCED_CLASS = 0x00081150, REFERENCED_UID = 0x00081155
};

typedef struct result {
    char uid[65], class_uid[65], series_uid[65], study_uid[65];
    int reason; /* 0: kept */
} result;

struct sl_stow {
    sl_store *store;
    sl_multipart *multipart;
    char part_type[80]; /* what the body says its parts are */
    char study[65], from[80];
    char path[4096];    /* of the object that comes; "" none */
    int file;
    int reason;         /* why the present part will not be kept; 0 */
    uint64_t bytes;
    result *result;
    int results, room;
    int kept, known, beside, refused;
    char first_refusal[300];
};

/* ---- one part ---- */

static void drop_part(sl_stow *self)
{
    if (self->file >= 0)
        close(self->file);
    self->file = -1;
    if (*self->path)
        unlink(self->path);
    *self->path = 0;
}

static void refuse(sl_stow *self, int reason, const char *sentence)
{
    self->reason = reason;
    if (!*self->first_refusal)
        snprintf(self->first_refusal, sizeof self->first_refusal, "%.299s", sentence);
    drop_part(self);
}

static sl_status begin(void *context, const char *content_type, sl_error *error)
{
    sl_stow *self = context;
    sl_media media;
    sl_error why;
    self->reason = 0;
    self->bytes = 0;
    const char *type = *content_type ? content_type : self->part_type;
    if (self->results == self->room) {
        int room = self->room ? 2 * self->room : 64;
        result *more = realloc(self->result, (size_t)room * sizeof *more);
        if (!more)
            return sl_fail(error, SL_MEMORY, "Memory ran out while the objects came in.");
        self->result = more;
        self->room = room;
    }
    if (!sl_media_parse(type, &media) || media.multipart || strcmp(media.type, "application/dicom") != 0)
        refuse(self, NOT_UNDERSTOOD, "A part is no DICOM object (application/dicom). Metadata with bulk data apart is not taken; send whole objects.");
    else if (!sl_keeper_has_room(sl_store_folder(self->store), sl_stow_keep_free))
        refuse(self, NO_ROOM, "Less than 1 GiB of the store's disk is free. Make room and send again.");
    else if (sl_store_object_part(self->store, self->path, sizeof self->path, &why) != SL_OK)
        refuse(self, NO_ROOM, why.text);
    else if ((self->file = open(self->path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600)) < 0)
        refuse(self, NO_ROOM, "The object could not be written to the store's disk.");
    return SL_OK;
}

static sl_status take(void *context, const void *bytes, size_t length, sl_error *error)
{
    sl_stow *self = context;
    const char *at = bytes;
    (void)error;
    self->bytes += length;
    if (!self->reason && self->bytes > sl_stow_most_object)
        refuse(self, NO_ROOM, "An object is larger than 4 GiB. Send it in parts or bring it in as a file.");
    while (length && !self->reason) {
        ssize_t wrote = write(self->file, at, length);
        if (wrote < 0 && errno == EINTR)
            continue;
        if (wrote <= 0) {
            refuse(self, NO_ROOM, "The store's disk is full or fails. Make room and send again.");
            break;
        }
        at += wrote;
        length -= (size_t)wrote;
    }
    return SL_OK;
}

static bool is_listed(const char *const *list, const char *uid)
{
    while (*list && strcmp(*list, uid) != 0)
        list++;
    return *list != NULL;
}

/* What speaks against keeping an object that was understood. */
static void judge(sl_stow *self, const sl_dicom_words *words)
{
    char sentence[300];
    if (*self->study && strcmp(self->study, words->study_uid) != 0) {
        snprintf(sentence, sizeof sentence, "An object is of study %.64s, which is not the one in the address.", words->study_uid);
        refuse(self, NOT_OF_STUDY, sentence);
    } else if (!is_listed(sl_dicom_classes, words->class_uid)) {
        snprintf(sentence, sizeof sentence, "Objects of the class %.64s are not taken.", words->class_uid);
        refuse(self, CLASS_UNKNOWN, sentence);
    } else if (!is_listed(sl_dicom_syntaxes, words->syntax)) {
        snprintf(sentence, sizeof sentence, "The transfer syntax %.64s is not taken.", words->syntax);
        refuse(self, SYNTAX_UNKNOWN, sentence);
    } else if (!*words->series_uid)
        refuse(self, NOT_UNDERSTOOD, "An object does not say its series.");
}

static void keep(sl_stow *self, sl_dicom_words *words)
{
    sl_store_fate fate;
    sl_error why;
    sl_status status = sl_shelf_put(self->store, self->path, self->from, words, &fate, &why);
    *self->path = 0; /* consumed */
    if (status != SL_OK) {
        refuse(self, status == SL_FORMAT ? NOT_UNDERSTOOD : status == SL_IO || status == SL_MEMORY ? NO_ROOM : FAILED, why.text);
        return;
    }
    self->kept += fate == SL_FATE_KEPT;
    self->known += fate == SL_FATE_KNOWN;
    self->beside += fate == SL_FATE_BESIDE;
}

static sl_status end(void *context, sl_error *error)
{
    sl_stow *self = context;
    sl_dicom_words words = {0};
    sl_error why;
    (void)error;
    if (!self->reason) {
        bool closed = !close(self->file);
        self->file = -1;
        if (!closed)
            refuse(self, NO_ROOM, "The store's disk is full or fails. Make room and send again.");
        else if (sl_dicom_describe(self->path, &words, &why) != SL_OK)
            refuse(self, NOT_UNDERSTOOD, "A part is no DICOM object that can be kept: it is no file of PS3.10, breaks off, or lacks the "
                                         "identifiers of its study, its class, its transfer syntax or its own.");
        else
            judge(self, &words);
        if (!self->reason)
            keep(self, &words);
    }
    result *one = &self->result[self->results++];
    *one = (result){.reason = self->reason};
    snprintf(one->uid, sizeof one->uid, "%s", words.uid);
    snprintf(one->class_uid, sizeof one->class_uid, "%s", words.class_uid);
    snprintf(one->series_uid, sizeof one->series_uid, "%s", words.series_uid);
    snprintf(one->study_uid, sizeof one->study_uid, "%s", words.study_uid);
    self->refused += one->reason != 0;
    return SL_OK;
}

/* ---- the whole ---- */

sl_status sl_stow_open(sl_store *store, const char *type, const char *study, const char *from, sl_stow **stow, sl_error *error)
{
    sl_media media;
    *stow = NULL;
    if (!type || !sl_media_parse(type, &media) || !media.multipart ||
        (strcmp(media.type, "application/dicom") != 0 && strcmp(media.type, "*/*") != 0))
        return sl_fail(error, SL_UNSUPPORTED, "The body must be multipart/related; type=\"application/dicom\".");
    if (!sl_keeper_has_room(sl_store_folder(store), sl_stow_keep_free))
        return sl_fail(error, SL_IO, "Less than 1 GiB of the store's disk is free, so nothing is taken. Make room and send again.");
    sl_stow *self = calloc(1, sizeof *self);
    if (!self)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    self->file = -1;
    self->store = store;
    snprintf(self->part_type, sizeof self->part_type, "%s", strcmp(media.type, "*/*") ? media.type : "application/dicom");
    snprintf(self->study, sizeof self->study, "%s", study ? study : "");
    snprintf(self->from, sizeof self->from, "%s", from);
    const sl_multipart_user user = {begin, take, end, self};
    sl_status status = sl_multipart_new(media.boundary, &user, &self->multipart, error);
    if (status != SL_OK)
        sl_stow_free(&self);
    *stow = self;
    return status;
}

sl_status sl_stow_add(sl_stow *self, const void *bytes, size_t length, sl_error *error)
{
    return sl_multipart_feed(self->multipart, bytes, length, error);
}

static void put_result(sl_dicom_item *answer, const result *one, uint32_t sequence, int at, const char *root)
{
    char text[1024];
    if (sequence != OTHER_FAILURES) {
        sl_dicom_item_put_in(answer, sequence, at, REFERENCED_CLASS, one->class_uid);
        sl_dicom_item_put_in(answer, sequence, at, REFERENCED_UID, one->uid);
    }
    if (one->reason) {
        snprintf(text, sizeof text, "%d", one->reason);
        sl_dicom_item_put_in(answer, sequence, at, FAILURE_REASON, text);
        return;
    }
    snprintf(text, sizeof text, "%s/studies/%s/series/%s/instances/%s", root, one->study_uid, one->series_uid, one->uid);
    sl_dicom_item_put_in(answer, sequence, at, RETRIEVE_URL, text);
}

/* PS3.18 I: what was kept, what was not, and what was not even known by name. */
static sl_dicom_item *module_of(const sl_stow *self, const char *root)
{
    int count[3] = {0};
    static const uint32_t sequence[3] = {REFERENCED_SOP, FAILED_SOP, OTHER_FAILURES};
    const char *study = NULL;
    bool one_study = true;
    char text[1024] = "";
    sl_dicom_item *answer = sl_dicom_item_new();
    for (int i = 0; i < self->results && answer; i++) {
        const result *one = &self->result[i];
        int which = !one->reason ? 0 : *one->uid && *one->class_uid ? 1 : 2;
        put_result(answer, one, sequence[which], count[which]++, root);
        if (!one->reason) {
            one_study = one_study && (!study || !strcmp(study, one->study_uid));
            study = one->study_uid;
        }
    }
    if (study && one_study)
        snprintf(text, sizeof text, "%s/studies/%s", root, study);
    if (answer)
        sl_dicom_item_put(answer, RETRIEVE_URL, text);
    return answer;
}

static unsigned status_of(const sl_stow *self, bool whole)
{
    bool any = self->refused < self->results, full = false, all_full = self->results > 0;
    for (int i = 0; i < self->results; i++) {
        full = self->result[i].reason == NO_ROOM;
        all_full = all_full && full;
    }
    return !any && all_full ? 507 : !any ? 409 : self->refused || !whole ? 202 : 200;
}

sl_status sl_stow_finish(sl_stow *self, const char *root, bool xml, sl_stow_answer *answer, sl_error *error)
{
    *answer = (sl_stow_answer){.kept = self->kept, .known = self->known, .beside = self->beside, .refused = self->refused};
    sl_status status = sl_multipart_finish(self->multipart, error);
    drop_part(self);
    if (status != SL_OK && self->refused == self->results)
        return status;
    if (status != SL_OK && error && !*self->first_refusal)
        snprintf(self->first_refusal, sizeof self->first_refusal, "%.299s", error->text);
    memcpy(answer->first_refusal, self->first_refusal, sizeof answer->first_refusal);
    answer->status = status_of(self, status == SL_OK);
    sl_dicom_item *module = module_of(self, root);
    if (module)
        answer->text = xml ? sl_dicom_item_xml(module, &answer->length) : sl_dicom_item_json(module, NULL, &answer->length);
    sl_dicom_item_free(&module);
    return answer->text ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out while answering; what was sent is kept all the same.");
}

void sl_stow_free(sl_stow **stow)
{
    if (!*stow)
        return;
    drop_part(*stow);
    sl_multipart_free(&(*stow)->multipart);
    free((*stow)->result);
    free(*stow);
    *stow = NULL;
}
