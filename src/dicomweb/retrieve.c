#include "dicomweb/retrieve.h"

#include "dicom/item.h"
#include "dicom/recode.h"
#include "dicomweb/retrieval.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <unistd.h>

unsigned sl_retrieve_status(sl_status status)
{
    return status == SL_USAGE ? 404 : status == SL_UNSUPPORTED || status == SL_LIMIT ? 406 : status == SL_IO || status == SL_MEMORY ? 507 : 422;
}

/* ---- sending ---- */

void sl_retrieval_part(sl_retrieval *self, const char *type, const char *syntax)
{
    if (!self->multipart)
        return;
    sl_text_printf(&self->text, "%s--%s\r\nContent-Type: %s%s%s\r\n\r\n", self->begun ? "\r\n" : "", self->boundary, type,
                   syntax ? "; transfer-syntax=" : "", syntax ? syntax : "");
    self->begun = true;
}

sl_status sl_retrieval_send(sl_retrieval *self, const char *path, bool made, sl_error *error)
{
    self->file = open(path, O_RDONLY | O_CLOEXEC);
    int cause = errno;
    if (made)
        unlink(path);
    if (self->file >= 0)
        posix_fadvise(self->file, 0, 0, POSIX_FADV_SEQUENTIAL);
    return self->file >= 0 ? SL_OK : sl_fail(error, SL_IO, "An object could not be read from the store: %s.", strerror(cause));
}

/* From the text, the bytes or the file that are there; 0: nothing is. */
static ssize_t give(sl_retrieval *self, char *buffer, size_t most)
{
    size_t part;
    if (self->text_at < self->text.length) {
        part = self->text.length - self->text_at < most ? self->text.length - self->text_at : most;
        memcpy(buffer, self->text.bytes + self->text_at, part);
        self->text_at += part;
        return (ssize_t)part;
    }
    self->text.length = self->text_at = 0;
    if (self->length) {
        part = self->length < most ? self->length : most;
        memcpy(buffer, self->bytes, part);
        self->bytes += part;
        self->length -= part;
        return (ssize_t)part;
    }
    if (self->file < 0)
        return 0;
    ssize_t got;
    while ((got = read(self->file, buffer, most)) < 0 && errno == EINTR)
        ;
    if (got <= 0) {
        close(self->file);
        self->file = -1;
    }
    return got;
}

/* Makes the next piece; at the end the line that closes the parts. */
static sl_status go_on(sl_retrieval *self, bool *ended, sl_error *error)
{
    *ended = false;
    if (!self->next) {
        *ended = true;
        return SL_OK;
    }
    sl_status status = self->next(self, ended, error);
    if (status == SL_OK && *ended) {
        self->next = NULL;
        *ended = !self->multipart;
        if (self->multipart)
            sl_text_printf(&self->text, "\r\n--%s--\r\n", self->boundary);
    }
    if (status == SL_OK && self->text.failed)
        status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    return status;
}

ssize_t sl_retrieval_pull(sl_retrieval *self, char *buffer, size_t most)
{
    for (;;) {
        bool ended;
        sl_error error;
        ssize_t got = give(self, buffer, most);
        if (got)
            return got;
        if (go_on(self, &ended, &error) != SL_OK)
            return -1;
        if (ended)
            return 0;
    }
}

const char *sl_retrieval_type(const sl_retrieval *self)
{
    return self->type;
}

void sl_retrieval_free(sl_retrieval **retrieval)
{
    sl_retrieval *self = *retrieval;
    if (!self)
        return;
    if (self->file >= 0)
        close(self->file);
    sl_dicom_file_close(&self->frames);
    free(self->samples);
    sl_text_free(&self->text);
    sl_arena_free(&self->arena);
    free(self);
    *retrieval = NULL;
}

/* ---- whole objects ---- */

static sl_status next_object(sl_retrieval *self, bool *ended, sl_error *error)
{
    if (self->at == self->objects) {
        *ended = true;
        return SL_OK;
    }
    int at = self->at++;
    sl_status status = self->recode[at] ? sl_dicom_recode(self->path[at], self->scratch, error) : SL_OK;
    if (status != SL_OK)
        return status;
    sl_retrieval_part(self, "application/dicom", self->recode[at] ? SL_SYNTAX_EXPLICIT : self->object[at].syntax);
    return sl_retrieval_send(self, self->recode[at] ? self->scratch : self->path[at], self->recode[at], error);
}

static bool is_video(const char *syntax)
{
    long number = !strncmp(syntax, "1.2.840.10008.1.2.4.", 20) ? strtol(syntax + 20, NULL, 10) : 0;
    return number >= 100 && number <= 108;
}

static bool is_coded(const char *syntax)
{
    return !strncmp(syntax, "1.2.840.10008.1.2.4.", 20) || !strcmp(syntax, "1.2.840.10008.1.2.5");
}

/* Whether the object can be given so: 0 not, 1 as it is, 2 in explicit little endian, which is what is meant where nothing is said
 * (PS3.18 8.7.3.5.2). "Anything" is as it is. */
static int way_of(const sl_media *media, const sl_store_object *object)
{
    const bool any = !strcmp(media->type, "*/*") || !strcmp(media->type, "application/*");
    if (!sl_media_is(media, "application/dicom"))
        return 0;
    if (!strcmp(media->syntax, "*") || (any && !*media->syntax) || !strcmp(media->syntax, object->syntax))
        return 1;
    if (*media->syntax && strcmp(media->syntax, SL_SYNTAX_EXPLICIT) != 0)
        return 0;
    return !strcmp(object->syntax, SL_SYNTAX_EXPLICIT) ? 1 : is_video(object->syntax) ? 0 : 2;
}

static unsigned open_objects(sl_retrieval *self, const sl_media *media, int count, sl_error *error)
{
    self->recode = SL_NEW(&self->arena, self->objects, bool);
    if (!self->recode) {
        sl_fail(error, SL_MEMORY, "Memory ran out.");
        return 507;
    }
    bool single = false;
    for (int i = 0; i < self->objects; i++) {
        int way = 0;
        for (int k = 0; k < count && !way; k++) {
            const bool any = !strcmp(media[k].type, "*/*");
            single = !media[k].multipart && !any;
            way = single && self->objects > 1 ? 0 : way_of(&media[k], &self->object[i]);
        }
        if (!way) {
            sl_fail(error, SL_UNSUPPORTED, "Objects are given as multipart/related; type=\"application/dicom\", as they are stored (transfer-syntax=*) or, "
                                           "but for video, in explicit little endian; one of them is stored as %s.", self->object[i].syntax);
            return 406;
        }
        self->recode[i] = way == 2;
    }
    self->multipart = !single;
    if (self->multipart)
        snprintf(self->type, sizeof self->type, "multipart/related; type=\"application/dicom\"; boundary=%s", self->boundary);
    else
        snprintf(self->type, sizeof self->type, "application/dicom; transfer-syntax=%s", self->recode[0] ? SL_SYNTAX_EXPLICIT : self->object[0].syntax);
    self->next = next_object;
    return 0;
}

/* ---- metadata ---- */

static sl_status next_metadata(sl_retrieval *self, bool *ended, sl_error *error)
{
    if (self->at == self->objects) {
        *ended = true;
        return SL_OK;
    }
    const sl_store_object *object = &self->object[self->at];
    sl_dicom_item *item;
    char bulk[1200];
    size_t length;
    sl_status status = sl_dicom_item_load(self->path[self->at], false, &item, error);
    if (status != SL_OK)
        return status;
    snprintf(bulk, sizeof bulk, "%s/studies/%s/series/%s/instances/%s/bulkdata/", self->ask->root, object->study_uid, object->series_uid, object->uid);
    char *text = sl_dicom_item_json(item, bulk, &length);
    sl_dicom_item_free(&item);
    if (!text)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_text_add(&self->text, self->at ? "," : "[");
    sl_text_add_bytes(&self->text, text, object->rows && object->frames ? length - 1 : length);
    free(text);
    if (object->rows && object->frames)
        sl_text_printf(&self->text, ",\"7FE00010\":{\"vr\":\"%s\",\"BulkDataURI\":\"%s7FE00010\"}}", is_coded(object->syntax) ? "OB" : "OW", bulk);
    if (++self->at == self->objects)
        sl_text_add(&self->text, "]");
    return SL_OK;
}

static unsigned open_metadata(sl_retrieval *self, const sl_media *media, int count, sl_error *error)
{
    for (int i = 0; i < count; i++)
        if (!media[i].multipart && (sl_media_is(&media[i], "application/dicom+json") || sl_media_is(&media[i], "application/json"))) {
            snprintf(self->type, sizeof self->type, "application/dicom+json");
            self->next = next_metadata;
            return 0;
        }
    sl_fail(error, SL_UNSUPPORTED, "Metadata are given as application/dicom+json.");
    return 406;
}

/* ---- which, and how ---- */

/* Of objects under one UID the first that came is the one. */
static sl_status find_objects(sl_retrieval *self, sl_store *store, sl_error *error)
{
    const sl_retrieve *ask = self->ask;
    const sl_store_object_query query = {.study_uid = ask->study, .series_uid = ask->series, .uid = ask->uid};
    const sl_store_object *all;
    int count;
    sl_status status = sl_store_objects(store, &query, &self->arena, &all, &count, error);
    sl_store_object *object = SL_NEW(&self->arena, count + 1, sl_store_object);
    self->path = SL_NEW(&self->arena, count + 1, char *);
    char *scratch = sl_arena_alloc(&self->arena, 1, 4096);
    if (status == SL_OK && (!object || !self->path || !scratch))
        status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    for (int i = 0; i < count && status == SL_OK; i++) {
        if (i && !strcmp(all[i].uid, all[i - 1].uid))
            continue;
        object[self->objects] = all[i];
        status = sl_store_path(store, all[i].hash, &self->arena, &self->path[self->objects++], error);
    }
    if (status == SL_OK && !self->objects)
        status = sl_fail(error, SL_USAGE, "There is no such object.");
    if (status == SL_OK)
        status = sl_store_object_part(store, scratch, 4096, error);
    self->scratch = scratch;
    self->object = object;
    return status;
}

static bool copy_ask(sl_retrieval *self, const sl_retrieve *ask)
{
    sl_retrieve *copy = SL_NEW(&self->arena, 1, sl_retrieve);
    if (!copy)
        return false;
    *copy = *ask;
    const char **texts[] = {&copy->study, &copy->series, &copy->uid, &copy->list, &copy->accept, &copy->root, &copy->quality, &copy->viewport, &copy->window};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        if (*texts[i] && !(*texts[i] = sl_arena_text(&self->arena, *texts[i])))
            return false;
    self->ask = copy;
    return true;
}

/* No part holds it by chance. */
static bool choose_boundary(char boundary[48])
{
    unsigned char chance[16];
    if (getrandom(chance, sizeof chance, 0) != (ssize_t)sizeof chance)
        return false;
    for (size_t i = 0; i < sizeof chance; i++)
        snprintf(boundary + 2 * i, 3, "%02x", chance[i]);
    return true;
}

static unsigned open_what(sl_retrieval *self, sl_error *error)
{
    sl_media media[SL_MEDIA_MOST];
    int count = sl_media_accepts(self->ask->accept, media);
    if (count < 0) {
        sl_fail(error, SL_USAGE, "What is accepted (Accept) cannot be read.");
        return 400;
    }
    switch (self->ask->what) {
    case SL_RETRIEVE_OBJECTS:
        return open_objects(self, media, count, error);
    case SL_RETRIEVE_METADATA:
        return open_metadata(self, media, count, error);
    case SL_RETRIEVE_FRAMES:
        return sl_retrieve_frames(self, media, count, error);
    case SL_RETRIEVE_BULK:
        return sl_retrieve_bulk(self, media, count, error);
    default:
        return sl_retrieve_picture(self, media, count, error);
    }
}

sl_status sl_retrieve_open(const sl_retrieve *ask, sl_store *store, sl_retrieval **retrieval, unsigned *http, sl_error *error)
{
    bool ended;
    sl_retrieval *self = calloc(1, sizeof *self);
    *retrieval = NULL;
    *http = 507;
    if (!self)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    self->file = -1;
    sl_status status = copy_ask(self, ask) && choose_boundary(self->boundary) ? find_objects(self, store, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status != SL_OK)
        *http = sl_retrieve_status(status);
    else if ((*http = open_what(self, error)) != 0)
        status = SL_USAGE;
    else if ((status = go_on(self, &ended, error)) != SL_OK) /* what fails at once is told in words */
        *http = sl_retrieve_status(status);
    if (status != SL_OK)
        sl_retrieval_free(&self);
    *retrieval = self;
    return status;
}
