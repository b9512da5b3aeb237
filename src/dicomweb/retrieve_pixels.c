/* Frames, large values and pictures of one object. */
#include "dicomweb/retrieval.h"

#include "dicom/item.h"
#include "dicom/recode.h"
#include "dicom/render.h"
#include "dicom/samples.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST_FRAMES = 4096, THUMBNAIL = 192, QUALITY = 90 };

static const char octets[] = "application/octet-stream";

/* What a frame in coded form is called (PS3.18 2024c Table 8.7.3-5). */
static const char *type_of(const char *syntax)
{
    static const char *const types[][2] = {{"50", "image/jpeg"}, {"51", "image/jpeg"}, {"57", "image/jpeg"}, {"70", "image/jpeg"},
                                           {"80", "image/jls"},  {"81", "image/jls"},  {"90", "image/jp2"},  {"91", "image/jp2"},
                                           {"201", "image/jphc"}, {"202", "image/jphc"}, {"203", "image/jphc"}};
    if (!strcmp(syntax, "1.2.840.10008.1.2.5"))
        return "image/dicom-rle";
    for (size_t i = 0; i < sizeof types / sizeof *types; i++)
        if (!strncmp(syntax, "1.2.840.10008.1.2.4.", 20) && !strcmp(syntax + 20, types[i][0]))
            return types[i][1];
    return NULL;
}

/* ---- frames ---- */

static sl_status next_frame(sl_retrieval *self, bool *ended, sl_error *error)
{
    if (self->at == self->frame_count) {
        *ended = true;
        return SL_OK;
    }
    int frame = self->frame[self->at++];
    size_t size = sl_dicom_file_frame_size(self->frames);
    char photometric[17];
    sl_status status = self->coded ? sl_dicom_file_coded(self->frames, frame, &self->bytes, &self->length, error)
                                   : sl_dicom_frame_samples(self->frames, frame, self->samples, size, photometric, error);
    if (status != SL_OK)
        return status;
    if (!self->coded) {
        self->bytes = self->samples;
        self->length = size;
    }
    sl_retrieval_part(self, self->frame_type, self->coded ? self->object->syntax : SL_SYNTAX_EXPLICIT);
    return SL_OK;
}

static sl_status read_list(sl_retrieval *self, int there, sl_error *error)
{
    self->frame = SL_NEW(&self->arena, MOST_FRAMES, int);
    if (!self->frame)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    for (const char *at = self->ask->list;; at++) {
        char *end;
        errno = 0;
        long number = *at >= '0' && *at <= '9' ? strtol(at, &end, 10) : 0;
        if (errno || number < 1 || (*end && *end != ','))
            return sl_fail(error, SL_USAGE, "Frames are asked for by their numbers, from 1, with commas between them.");
        if (number > there)
            return sl_fail(error, SL_USAGE, "The object has %d frame%s; there is no frame %ld.", there, there == 1 ? "" : "s", number);
        if (self->frame_count == MOST_FRAMES)
            return sl_fail(error, SL_LIMIT, "More than %d frames at once. Ask in several requests.", MOST_FRAMES);
        self->frame[self->frame_count++] = (int)number - 1;
        at = end;
        if (!*at)
            return SL_OK;
    }
}

static bool choose_form(sl_retrieval *self, const sl_media *media, int count)
{
    const char *syntax = self->object->syntax, *coded = type_of(syntax);
    for (int i = 0; i < count; i++) {
        const bool any_syntax = !*media[i].syntax || !strcmp(media[i].syntax, "*");
        self->multipart = media[i].multipart || !strcmp(media[i].type, "*/*");
        if (!self->multipart && self->frame_count > 1)
            continue;
        /* uncompressed where nothing is said (8.7.3.5.2) */
        if (sl_media_is(&media[i], octets) && (any_syntax || !strcmp(media[i].syntax, SL_SYNTAX_EXPLICIT))) {
            self->frame_type = octets;
            return true;
        }
        if (coded && (sl_media_is(&media[i], coded) || sl_media_is(&media[i], octets)) && (any_syntax || !strcmp(media[i].syntax, syntax))) {
            self->frame_type = coded;
            self->coded = true;
            return true;
        }
    }
    return false;
}

static unsigned open_frames(sl_retrieval *self, const sl_media *media, int count, sl_error *error)
{
    if (!choose_form(self, media, count)) {
        const char *coded = type_of(self->object->syntax);
        sl_fail(error, SL_UNSUPPORTED, "The frames are given as multipart/related; type=\"%s\"%s%s.", octets, coded ? " or as they are stored, type=" : "",
                coded ? coded : "");
        return 406;
    }
    if (!self->coded && !(self->samples = malloc(sl_dicom_file_frame_size(self->frames) + 8))) {
        sl_fail(error, SL_MEMORY, "Memory ran out.");
        return 507;
    }
    if (self->multipart)
        snprintf(self->type, sizeof self->type, "multipart/related; type=\"%s\"; boundary=%s", self->frame_type, self->boundary);
    else
        snprintf(self->type, sizeof self->type, "%s", self->frame_type);
    self->next = next_frame;
    return 0;
}

static unsigned open_pixels(sl_retrieval *self, sl_error *error)
{
    sl_status status = sl_dicom_file_open(self->path[0], &self->frames, error);
    if (status == SL_OK && sl_dicom_file_facts(self->frames)->coding == SL_DICOM_VIDEO)
        status = sl_fail(error, SL_UNSUPPORTED, "The object is a video: its frames are not given one by one. Take the object (transfer-syntax=*) or its pictures (rendered).");
    return status == SL_OK ? 0 : sl_retrieve_status(status);
}

unsigned sl_retrieve_frames(sl_retrieval *self, const sl_media *media, int count, sl_error *error)
{
    unsigned refused = open_pixels(self, error);
    if (refused)
        return refused;
    sl_status status = read_list(self, sl_dicom_file_facts(self->frames)->frames, error);
    return status == SL_OK ? open_frames(self, media, count, error) : status == SL_LIMIT ? 400 : sl_retrieve_status(status);
}

/* ---- large values ---- */

/* One piece that was made at `scratch`. */
static sl_status next_made(sl_retrieval *self, bool *ended, sl_error *error)
{
    if (self->at) {
        *ended = true;
        return SL_OK;
    }
    self->at = 1;
    sl_retrieval_part(self, self->frame_type, NULL);
    return sl_retrieval_send(self, self->scratch, true, error);
}

static sl_status copy_value(sl_retrieval *self, bool decode, sl_error *error)
{
    sl_dicom_item *item = NULL;
    FILE *to = fopen(self->scratch, "wxb");
    if (!to)
        return sl_fail(error, SL_IO, "There is no room on the store's disk for a copy of the value.");
    sl_status status = decode ? sl_dicom_all_samples(self->path[0], to, error) : sl_dicom_item_load(self->path[0], true, &item, error);
    if (status == SL_OK && !decode)
        status = sl_dicom_item_bulk(item, self->ask->list, to, error);
    sl_dicom_item_free(&item);
    if (fclose(to) && status == SL_OK)
        status = sl_fail(error, SL_IO, "There is no room on the store's disk for a copy of the value.");
    if (status != SL_OK)
        unlink(self->scratch);
    return status;
}

/* Pixels in coded form are given frame by frame in that form, else decoded in one piece. */
unsigned sl_retrieve_bulk(sl_retrieval *self, const sl_media *media, int count, sl_error *error)
{
    const bool pixels = !strcmp(self->ask->list, "7FE00010"), coded = pixels && type_of(self->object->syntax);
    for (int i = 0; i < count; i++) {
        self->multipart = media[i].multipart || !strcmp(media[i].type, "*/*");
        if (coded && self->multipart && sl_media_is(&media[i], type_of(self->object->syntax)) && strcmp(media[i].type, "*/*") != 0) {
            unsigned refused = open_pixels(self, error);
            int there = refused ? 0 : sl_dicom_file_facts(self->frames)->frames;
            self->frame = SL_NEW(&self->arena, there + 1, int);
            for (self->frame_count = 0; self->frame && self->frame_count < there; self->frame_count++)
                self->frame[self->frame_count] = self->frame_count;
            return refused ? refused : open_frames(self, &media[i], 1, error);
        }
        if (!sl_media_is(&media[i], octets))
            continue;
        sl_status status = copy_value(self, coded, error);
        if (status != SL_OK)
            return sl_retrieve_status(status);
        self->frame_type = octets;
        if (self->multipart)
            snprintf(self->type, sizeof self->type, "multipart/related; type=\"%s\"; boundary=%s", octets, self->boundary);
        else
            snprintf(self->type, sizeof self->type, "%s", octets);
        self->next = next_made;
        return 0;
    }
    sl_fail(error, SL_UNSUPPORTED, "The value is given as %s.", octets);
    return 406;
}

/* ---- pictures ---- */

/* Numbers with commas between them; how many, -1 when it is something else. */
static int numbers(const char *text, double number[4])
{
    int count = 0;
    for (const char *at = text; count < 4; at++) {
        char *end;
        number[count] = strtod(at, &end);
        if (end == at || (*end && *end != ','))
            return -1;
        count++;
        at = end;
        if (!*at)
            return count;
    }
    return -1;
}

static sl_status read_manner(const sl_retrieve *ask, sl_dicom_rendering *how, sl_error *error)
{
    double number[4];
    char window[80];
    if (ask->quality) {
        if (numbers(ask->quality, number) != 1 || !(number[0] >= 1 && number[0] <= 100))
            return sl_fail(error, SL_USAGE, "quality is a number from 1 to 100.");
        how->quality = (int)number[0];
    }
    if (ask->viewport) {
        if (numbers(ask->viewport, number) != 2 || !(number[0] >= 1 && number[0] <= 8192 && number[1] >= 1 && number[1] <= 8192))
            return sl_fail(error, SL_USAGE, "viewport is a width and a height, in pixels from 1 to 8192, without a part of the picture.");
        how->width = (int)number[0];
        how->height = (int)number[1];
    }
    if (ask->window) { /* "center,width,linear" */
        snprintf(window, sizeof window, "%.79s", ask->window);
        char *last = strrchr(window, ',');
        bool linear = last && !strcmp(last, ",linear");
        if (linear)
            *last = 0;
        if (!linear || numbers(window, number) != 2 || !(number[1] >= 1 && number[1] <= 65536) || !(number[0] >= -65536 && number[0] <= 65536))
            return sl_fail(error, SL_USAGE, "window is a center, a width of at least 1 and the word linear, with commas between them.");
        how->center = number[0];
        how->window = number[1];
    }
    return SL_OK;
}

static sl_status which_frame(const sl_retrieval *self, int *frame, sl_error *error)
{
    char *end = NULL;
    const bool small = self->ask->what == SL_RETRIEVE_THUMBNAIL;
    if (!self->ask->list) {
        *frame = small && self->object->frames > 2 ? (int)(self->object->frames / 2) : 0;
        return SL_OK;
    }
    long number = *self->ask->list >= '0' && *self->ask->list <= '9' ? strtol(self->ask->list, &end, 10) : 0;
    if (number < 1 || number > 1000000000 || *end)
        return sl_fail(error, SL_USAGE, "A picture is given of one frame, by its number from 1.");
    *frame = (int)number - 1;
    return SL_OK;
}

unsigned sl_retrieve_picture(sl_retrieval *self, const sl_media *media, int count, sl_error *error)
{
    const bool small = self->ask->what == SL_RETRIEVE_THUMBNAIL;
    sl_dicom_rendering how = {.quality = QUALITY, .width = small ? THUMBNAIL : 0, .height = small ? THUMBNAIL : 0};
    for (int i = 0; i < count; i++) {
        bool jpeg = sl_media_is(&media[i], "image/jpeg");
        if (media[i].multipart || !(jpeg || sl_media_is(&media[i], "image/png")))
            continue;
        how.png = !jpeg;
        if (read_manner(self->ask, &how, error) != SL_OK)
            return 400;
        sl_status status = which_frame(self, &how.frame, error);
        if (status == SL_OK)
            status = sl_dicom_render(self->path[0], &how, self->scratch, error);
        if (status != SL_OK)
            return sl_retrieve_status(status);
        snprintf(self->type, sizeof self->type, "%s", jpeg ? "image/jpeg" : "image/png");
        self->next = next_made;
        return 0;
    }
    sl_fail(error, SL_UNSUPPORTED, "Pictures are given as image/jpeg or image/png.");
    return 406;
}
