#include "dicomweb/multipart.h"

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

typedef enum state {
    BEFORE,  /* what stands before the first boundary says nothing */
    BEHIND,  /* behind a boundary: "--", or blanks to the line's end */
    HEAD,
    BODY,
    AFTER    /* nor does what comes after the last */
} state;

struct sl_multipart {
    sl_multipart_user user;
    char mark[SL_MULTIPART_BOUNDARY + 5]; /* CR LF "--" boundary */
    size_t length;                        /* of it */
    size_t matched;                       /* bytes of it that came last */
    size_t unsaid;                        /* how many of them did not really come: a body may begin with its boundary */
    state state;
    char head[SL_MULTIPART_HEAD];
    size_t used;                          /* of `head`: in BEHIND and HEAD */
    size_t line;                          /* where the line begins in it */
    char type[256];
    int types, parts;
    sl_error why;                         /* status other than SL_OK: it failed */
};

static bool is_boundary(const char *text)
{
    size_t length = strlen(text);
    return length > 0 && length <= SL_MULTIPART_BOUNDARY && text[length - 1] != ' ' &&
           strspn(text, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789'()+_,-./:=? ") == length;
}

sl_status sl_multipart_new(const char *boundary, const sl_multipart_user *user, sl_multipart **multipart, sl_error *error)
{
    *multipart = NULL;
    if (!boundary || !is_boundary(boundary))
        return sl_fail(error, SL_USAGE, "The body must say its boundary: 1 to 70 letters as RFC 2046 allows them.");
    sl_multipart *self = calloc(1, sizeof *self);
    if (!self)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    self->user = *user;
    self->length = (size_t)snprintf(self->mark, sizeof self->mark, "\r\n--%s", boundary);
    self->matched = self->unsaid = 2;
    *multipart = self;
    return SL_OK;
}

void sl_multipart_free(sl_multipart **multipart)
{
    free(*multipart);
    *multipart = NULL;
}

static sl_status tell(sl_multipart *self, const char *bytes, size_t length)
{
    return self->state == BODY && length ? self->user.bytes(self->user.context, bytes, length, &self->why) : SL_OK;
}

static sl_status at_mark(sl_multipart *self)
{
    sl_status status = self->state == BODY ? self->user.end(self->user.context, &self->why) : SL_OK;
    self->state = BEHIND;
    self->matched = self->unsaid = self->used = 0;
    return status;
}

/* A mark that began in an earlier piece. CR stands in it only at its start, so that what breaks it can begin another only itself. */
static size_t go_on_with_mark(sl_multipart *self, const char *bytes, size_t length, sl_status *status)
{
    size_t at = 0;
    while (at < length && self->matched < self->length && bytes[at] == self->mark[self->matched]) {
        self->matched++;
        at++;
    }
    if (self->matched == self->length)
        *status = at_mark(self);
    else if (at < length) {
        *status = tell(self, self->mark + self->unsaid, self->matched - self->unsaid);
        self->matched = self->unsaid = 0;
    }
    return at;
}

/* In BEFORE and BODY: tells what stands before a mark in as few pieces as it came. Returns how many bytes were taken; stops behind a
 * mark. */
static size_t take_body(sl_multipart *self, const char *bytes, size_t length, sl_status *status)
{
    if (self->matched)
        return go_on_with_mark(self, bytes, length, status);
    const char *found = bytes, *end = bytes + length;
    while ((found = memchr(found, '\r', (size_t)(end - found)))) {
        size_t there = (size_t)(end - found) < self->length ? (size_t)(end - found) : self->length;
        if (!memcmp(found, self->mark, there)) {
            *status = tell(self, bytes, (size_t)(found - bytes));
            self->matched = there;
            if (*status == SL_OK && there == self->length)
                *status = at_mark(self);
            return (size_t)(found - bytes) + there;
        }
        found++;
    }
    *status = tell(self, bytes, length);
    return length;
}

static sl_status begin_part(sl_multipart *self)
{
    if (++self->parts > SL_MULTIPART_PARTS)
        return sl_fail(&self->why, SL_LIMIT, "More than %d parts in one body. Send them in several requests.", SL_MULTIPART_PARTS);
    sl_status status = self->user.begin(self->user.context, self->type, &self->why);
    self->state = BODY;
    self->matched = self->unsaid = 2; /* an empty part may end right here */
    return status;
}

static const char *value_of(const char *line, const char *name)
{
    size_t length = strlen(name);
    return strncasecmp(line, name, length) ? NULL : line + length + strspn(line + length, " \t");
}

/* A header line without its end. */
static sl_status take_line(sl_multipart *self, const char *line)
{
    static const char letters[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789!#$%&'*+-.^_`|~"; /* RFC 9110 5.6.2 */
    size_t name = strspn(line, letters);
    if (!name || line[name] != ':')
        return sl_fail(&self->why, SL_FORMAT, "Part %d has a header line that is none.", self->parts + 1);
    const char *type = value_of(line, "Content-Type:"), *coded = value_of(line, "Content-Transfer-Encoding:");
    if (type && (self->types++ || strlen(type) >= sizeof self->type))
        return sl_fail(&self->why, SL_FORMAT, "Part %d says twice, or at too great length, what it is.", self->parts + 1);
    if (type)
        snprintf(self->type, sizeof self->type, "%s", type);
    if (coded && strcasecmp(coded, "binary") && strcasecmp(coded, "8bit") && strcasecmp(coded, "7bit"))
        return sl_fail(&self->why, SL_UNSUPPORTED, "Part %d is coded as %.40s. Send it as it is (binary).", self->parts + 1, coded);
    return SL_OK;
}

static sl_status take_head(sl_multipart *self, char byte)
{
    if (self->used == sizeof self->head)
        return sl_fail(&self->why, SL_LIMIT, "The header lines of part %d are too long: %d bytes at most.", self->parts + 1, SL_MULTIPART_HEAD);
    self->head[self->used++] = byte;
    if (!byte || (byte == '\n' && (self->used - self->line < 2 || self->head[self->used - 2] != '\r')))
        return sl_fail(&self->why, SL_FORMAT, "The header lines of part %d do not end with CR LF, or hold a zero byte.", self->parts + 1);
    if (byte != '\n') {
        bool bare = self->used - self->line >= 2 && self->head[self->used - 2] == '\r';
        return bare ? sl_fail(&self->why, SL_FORMAT, "A CR stands alone in the header lines of part %d.", self->parts + 1) : SL_OK;
    }
    self->head[self->used - 2] = 0;
    const char *line = self->head + self->line;
    self->line = self->used;
    return *line ? take_line(self, line) : begin_part(self);
}

/* Behind a boundary: its line must end, or "--" say that it was the last. */
static sl_status take_behind(sl_multipart *self, char byte)
{
    size_t dashes = byte == '-' && !self->matched ? ++self->used : self->used;
    if (byte == '-' && dashes > 0) {
        if (dashes == 2)
            self->state = AFTER;
        return SL_OK;
    }
    if (!dashes && (byte == ' ' || byte == '\t') && self->matched == 0)
        return SL_OK;
    if (!dashes && byte == '\r' && self->matched == 0) {
        self->matched = 1;
        return SL_OK;
    }
    if (!dashes && byte == '\n' && self->matched == 1) {
        self->state = HEAD;
        self->matched = self->used = self->line = 0;
        self->types = 0;
        self->type[0] = 0;
        return SL_OK;
    }
    return sl_fail(&self->why, SL_FORMAT, "A line begins with the boundary and goes on. Choose a boundary that does not occur in the parts.");
}

sl_status sl_multipart_feed(sl_multipart *self, const void *bytes, size_t length, sl_error *error)
{
    const char *at = bytes, *end = at + length;
    sl_status status = self->why.status;
    while (at < end && status == SL_OK) {
        if (self->state == HEAD)
            status = take_head(self, *at++);
        else if (self->state == BEHIND)
            status = take_behind(self, *at++);
        else if (self->state == AFTER)
            at = end;
        else
            at += take_body(self, at, (size_t)(end - at), &status);
    }
    if (status != SL_OK) {
        self->why.status = status;
        if (error)
            *error = self->why;
    }
    return status;
}

sl_status sl_multipart_finish(sl_multipart *self, sl_error *error)
{
    if (self->why.status != SL_OK) {
        if (error)
            *error = self->why;
        return self->why.status;
    }
    if (self->state == BEFORE)
        return sl_fail(error, SL_FORMAT, "The boundary that was announced does not occur in the body.");
    if (self->state != AFTER)
        return sl_fail(error, SL_FORMAT, "The body breaks off in part %d: its last boundary is not there.", self->parts ? self->parts : 1);
    if (!self->parts)
        return sl_fail(error, SL_FORMAT, "The body holds no part.");
    return SL_OK;
}
