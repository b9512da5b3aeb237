#include "dicomweb/media.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789!#$%&'*+-.^_`|~/"; /* token, and '/' */

static const char *skip(const char *text)
{
    return text + strspn(text, " \t");
}

/* A token or a quoted string; too long: kept as "". NULL when the quotes do not end. */
static const char *take_value(const char *text, char *to, size_t room)
{
    size_t used = 0;
    bool fits = true, quoted = *text == '"';
    if (quoted)
        text++;
    while (quoted ? *text && *text != '"' : *text && (strchr(letters, *text) || strchr(":=?@", *text))) {
        if (quoted && *text == '\\' && text[1])
            text++;
        if (used + 1 < room)
            to[used++] = *text;
        else
            fits = false;
        text++;
    }
    to[fits ? used : 0] = 0;
    return !quoted ? text : *text == '"' ? text + 1 : NULL;
}

static const char *take_parameter(const char *text, sl_media *media, char type[80])
{
    char name[32], value[80];
    size_t length = strcspn(text, "=;, \t");
    snprintf(name, sizeof name, "%.*s", (int)(length < sizeof name ? length : 0), text);
    text = skip(text + length);
    if (*text != '=')
        return text; /* a word alone says nothing to us */
    text = take_value(skip(text + 1), value, sizeof value);
    if (!strcasecmp(name, "type"))
        memcpy(type, value, sizeof value);
    else if (!strcasecmp(name, "boundary"))
        snprintf(media->boundary, sizeof media->boundary, "%s", value);
    else if (!strcasecmp(name, "transfer-syntax"))
        snprintf(media->syntax, sizeof media->syntax, "%.65s", value);
    else if (!strcasecmp(name, "q"))
        media->quality = strtod(value, NULL);
    return text;
}

const char *sl_media_parse(const char *text, sl_media *media)
{
    char type[80] = "";
    *media = (sl_media){.quality = 1};
    text = skip(text);
    size_t length = strspn(text, letters);
    if (!length || length >= sizeof media->type)
        return NULL;
    memcpy(media->type, text, length);
    text = skip(text + length);
    while (text && *text == ';')
        if ((text = take_parameter(skip(text + 1), media, type)))
            text = skip(text);
    if (!text || (*text && *text != ','))
        return NULL;
    if (!strcasecmp(media->type, "multipart/related")) {
        media->multipart = true;
        memcpy(media->type, *type ? type : "*/*", *type ? sizeof type : 4);
    }
    for (char *at = media->type; *at; at++)
        *at = (char)tolower((unsigned char)*at);
    return text;
}

static int by_quality(const void *a, const void *b)
{
    const sl_media *x = *(const sl_media *const *)a, *y = *(const sl_media *const *)b;
    return x->quality != y->quality ? (x->quality < y->quality ? 1 : -1) : (x > y) - (x < y);
}

int sl_media_accepts(const char *text, sl_media media[SL_MEDIA_MOST])
{
    sl_media found[SL_MEDIA_MOST], *order[SL_MEDIA_MOST];
    int count = 0;
    if (!text || !*skip(text))
        text = "*/*";
    while (text && count < SL_MEDIA_MOST) {
        text = sl_media_parse(text, &found[count]);
        if (!text)
            return -1;
        if (found[count].quality > 0)
            count++;
        if (!*text)
            break;
        text++;
    }
    for (int i = 0; i < count; i++)
        order[i] = &found[i];
    qsort(order, (size_t)count, sizeof *order, by_quality);
    for (int i = 0; i < count; i++)
        media[i] = *order[i];
    return count;
}

bool sl_media_is(const sl_media *media, const char *type)
{
    size_t length = strlen(media->type);
    if (!strcmp(media->type, "*/*"))
        return true;
    if (length > 2 && !strcmp(media->type + length - 2, "/*"))
        return !strncmp(media->type, type, length - 1);
    return !strcmp(media->type, type);
}
