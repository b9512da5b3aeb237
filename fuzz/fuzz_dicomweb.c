/* What DICOM's web services parse: multipart bodies, media types, what is searched for. The first line is taken for a Content-Type, an
 * Accept, a question "name=value&..." and a value; the rest is the body. The body is given whole, byte by byte and in pieces of odd
 * sizes: the same must come of it each time. */
#include "as_file.h"
#include "dicomweb/match.h"
#include "dicomweb/media.h"
#include "dicomweb/multipart.h"
#include "dicomweb/search.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct heard {
    uint64_t mark; /* of all that was told, whatever pieces it came in */
    int begun, ended;
    bool open;
} heard;

static void stir(heard *self, const void *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++)
        self->mark = (self->mark ^ ((const uint8_t *)bytes)[i]) * 1099511628211u;
}

static sl_status begin(void *context, const char *type, sl_error *error)
{
    heard *self = context;
    (void)error;
    if (self->open)
        abort();
    self->open = true;
    self->begun++;
    stir(self, type, strlen(type) + 1);
    return SL_OK;
}

static sl_status take(void *context, const void *bytes, size_t length, sl_error *error)
{
    heard *self = context;
    (void)error;
    if (!self->open || !length)
        abort();
    stir(self, bytes, length);
    return SL_OK;
}

static sl_status end(void *context, sl_error *error)
{
    heard *self = context;
    (void)error;
    if (!self->open)
        abort();
    self->open = false;
    self->ended++;
    stir(self, "end", 3);
    return SL_OK;
}

static sl_status hear(const char *boundary, const uint8_t *body, size_t size, size_t piece, heard *all)
{
    const sl_multipart_user user = {begin, take, end, all};
    sl_multipart *multipart;
    sl_error error;
    *all = (heard){.mark = 1469598103934665603u};
    sl_status status = sl_multipart_new(boundary, &user, &multipart, &error);
    if (status != SL_OK)
        return status;
    for (size_t at = 0; at < size && status == SL_OK; at += piece)
        status = sl_multipart_feed(multipart, body + at, size - at < piece ? size - at : piece, &error);
    if (status == SL_OK)
        status = sl_multipart_finish(multipart, &error);
    else if (sl_multipart_finish(multipart, &error) == SL_OK)
        abort(); /* what failed stays so */
    if (status == SL_OK && (all->open || all->begun != all->ended || !all->begun))
        abort();
    sl_multipart_free(&multipart);
    return status;
}

static void ask(const char *line)
{
    sl_search *search = calloc(1, sizeof *search);
    char *copy = strdup(line), *rest = NULL;
    sl_error error;
    if (search && copy) {
        search->level = line[0] & 1 ? SL_SEARCH_INSTANCES : SL_SEARCH_STUDIES;
        for (char *word = strtok_r(copy, "&", &rest); word; word = strtok_r(NULL, "&", &rest)) {
            char *value = strchr(word, '=');
            if (value)
                *value++ = 0;
            if (sl_search_add(search, word, value ? value : "", &error) != SL_OK)
                break;
        }
    }
    free(copy);
    free(search);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const uint8_t *line_end = memchr(data, '\n', size);
    size_t length = line_end ? (size_t)(line_end - data) : size, behind = line_end ? length + 1 : size;
    char *line = strndup((const char *)data, length), *value = strndup((const char *)data + behind, size - behind < 300 ? size - behind : 300);
    sl_media media[SL_MEDIA_MOST], one;
    if (line && value) {
        sl_media_accepts(line, media);
        ask(line);
        for (int kind = SL_MATCH_TEXT; kind <= SL_MATCH_EXACT; kind++)
            sl_match((sl_match_kind)kind, line, value);
        if (sl_media_parse(line, &one) && one.multipart && *one.boundary) {
            heard whole, pieces;
            static const size_t piece[] = {1, 3, 61, 4096};
            sl_status status = hear(one.boundary, data + behind, size - behind, size + 1, &whole);
            for (size_t i = 0; i < sizeof piece / sizeof *piece; i++)
                if (hear(one.boundary, data + behind, size - behind, piece[i], &pieces) != status || pieces.mark != whole.mark || pieces.ended != whole.ended)
                    abort();
        }
    }
    free(line);
    free(value);
    return 0;
}
