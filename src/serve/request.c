#include "serve/request.h"

#include "serve/api.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

double sl_now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

const char *sl_request_argument(const sl_request *request, const char *name)
{
    return MHD_lookup_connection_value(request->connection, MHD_GET_ARGUMENT_KIND, name);
}

long sl_request_number(const sl_request *request, const char *name, long low, long high, long otherwise)
{
    const char *text = sl_request_argument(request, name);
    if (!text || !*text)
        return otherwise;
    char *end;
    errno = 0;
    long value = strtol(text, &end, 10);
    return errno || *end || value < low || value > high ? otherwise : value;
}

int sl_request_numbers(const sl_request *request, const char *name, char apart, char groups, double *value, int most)
{
    const char *text = sl_request_argument(request, name);
    int count = 0;
    while (text && *text) {
        char *end;
        double one = strtod(text, &end);
        if (end == text || !isfinite(one) || count == most)
            return -1;
        value[count++] = one;
        char due = groups && count % 2 == 0 ? groups : apart;
        if (*end && (*end != due || !end[1]))
            return -1;
        text = *end ? end + 1 : end;
    }
    return groups && count % 2 ? -1 : count;
}

bool sl_request_is(const sl_request *request, int part, const char *text)
{
    return part < request->parts && !strcmp(request->part[part], text);
}

const char *sl_request_who(const sl_request *request)
{
    return request->entered ? request->user.name : NULL;
}

json_t *sl_request_json(const sl_request *request)
{
    return json_loadb(request->body.bytes ? request->body.bytes : "", request->body.length, JSON_REJECT_DUPLICATES, NULL);
}

/* Everything comes from this program and nothing may run that it did not bring. Styles are set through the document's
 * own interface, which this policy allows; style attributes and inline scripts are not used. */
static const char *const headers[][2] = {
    {"Content-Security-Policy",
     "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; font-src 'self'; connect-src 'self'; "
     "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
    {"X-Content-Type-Options", "nosniff"},
    {"X-Frame-Options", "DENY"},
    {"Referrer-Policy", "no-referrer"},
    {"Cross-Origin-Opener-Policy", "same-origin"},
    {"Cross-Origin-Resource-Policy", "same-origin"},
    {"Permissions-Policy", "camera=(), microphone=(), geolocation=()"},
};

enum MHD_Result sl_reply(sl_request *request, unsigned status, const char *type, struct MHD_Response *response)
{
    if (!response)
        return MHD_NO;
    for (size_t i = 0; i < sizeof headers / sizeof *headers; i++)
        MHD_add_response_header(response, headers[i][0], headers[i][1]);
    MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_TYPE, type);
    if (!MHD_get_response_header(response, MHD_HTTP_HEADER_CACHE_CONTROL))
        MHD_add_response_header(response, MHD_HTTP_HEADER_CACHE_CONTROL, "no-store");
    if (request->machine && status == 401)
        MHD_add_response_header(response, MHD_HTTP_HEADER_WWW_AUTHENTICATE, "Basic realm=\"strandline\", charset=\"UTF-8\"");
    if (request->server->door)
        MHD_add_response_header(response, MHD_HTTP_HEADER_STRICT_TRANSPORT_SECURITY, "max-age=31536000");
    request->status = status;
    enum MHD_Result queued = MHD_queue_response(request->connection, status, response);
    MHD_destroy_response(response);
    return queued;
}

enum MHD_Result sl_reply_json(sl_request *request, unsigned status, json_t *json)
{
    char *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(10)) : NULL;
    json_decref(json);
    if (!text)
        return sl_reply_error(request, 500, "Memory ran out while answering. Close other programs and try again.");
    return sl_reply(request, status, "application/json",
                    MHD_create_response_from_buffer(strlen(text), text, MHD_RESPMEM_MUST_FREE));
}

enum MHD_Result sl_reply_error(sl_request *request, unsigned status, const char *format, ...)
{
    char sentence[600];
    va_list args;
    va_start(args, format);
    vsnprintf(sentence, sizeof sentence, format, args);
    va_end(args);
    json_t *json = json_object();
    if (json_object_set_new(json, "error", json_string(sentence)))
        json_object_set_new(json, "error", json_string("Something went wrong that could not be put in words."));
    char *text = json_dumps(json, JSON_COMPACT);
    json_decref(json);
    if (!text)
        return MHD_NO;
    return sl_reply(request, status, "application/json",
                    MHD_create_response_from_buffer(strlen(text), text, MHD_RESPMEM_MUST_FREE));
}

enum MHD_Result sl_reply_failed(sl_request *request, sl_status status, const sl_error *error)
{
    return sl_reply_error(request, status == SL_IO || status == SL_MEMORY ? 507 : 400, "%s", error->text);
}

enum MHD_Result sl_reply_stream(sl_request *request, MHD_ContentReaderCallback pull, void *context, void (*drop)(void *context))
{
    enum { PIECE = 512 * 1024 };
    struct MHD_Response *response = MHD_create_response_from_callback(MHD_SIZE_UNKNOWN, PIECE, pull, context, drop);
    if (!response) {
        drop(context);
        return MHD_NO;
    }
    return sl_reply(request, 200, "application/octet-stream", response);
}

enum MHD_Result sl_reply_bytes(sl_request *request, const char *type, const void *bytes, size_t length)
{
    return sl_reply(request, 200, type,
                    MHD_create_response_from_buffer(length, (void *)(uintptr_t)bytes, MHD_RESPMEM_MUST_COPY));
}

enum MHD_Result sl_reply_file(sl_request *request, const char *path, const char *type, const char *download)
{
    int file = open(path, O_RDONLY | O_CLOEXEC);
    struct stat facts;
    if (file < 0 || fstat(file, &facts) || !S_ISREG(facts.st_mode)) {
        if (file >= 0)
            close(file);
        return sl_reply_error(request, 404, "That is not there yet; it is made when all clips are read.");
    }
    struct MHD_Response *response = MHD_create_response_from_fd64((uint64_t)facts.st_size, file);
    if (!response) {
        close(file);
        return MHD_NO;
    }
    if (download) {
        char value[160];
        snprintf(value, sizeof value, "attachment; filename=\"%s\"", download);
        MHD_add_response_header(response, MHD_HTTP_HEADER_CONTENT_DISPOSITION, value);
    }
    return sl_reply(request, 200, type, response);
}
