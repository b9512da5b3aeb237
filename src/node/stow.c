#include "node/stow.h"

#include "core/text.h"
#include "node/stow_answer.h"
#include "store/sha256.h"

#include <curl/curl.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { MOST_ANSWER = 4 << 20 };

typedef struct stow {
    const sl_destination *destination;
    CURL *curl;
    sl_arena arena;
    char said[CURL_ERROR_SIZE];
    const sl_stow_how *how;
    curl_off_t moved; /* bytes of this request, both ways */
    struct timespec last; /* when that last grew */
    bool silent;
} stow;

/* One request's body: what stands before the file, the file, what stands behind it. */
typedef struct body {
    FILE *file;
    char head[200], tail[100];
    size_t head_length, tail_length;
    curl_off_t bytes, at;
    sl_text answer;
    bool too_long;
} body;

static size_t piece_of(const char *from, size_t length, curl_off_t first, char *to, size_t room)
{
    const size_t left = length - (size_t)first, size = left < room ? left : room;
    memcpy(to, from + first, size);
    return size;
}

static size_t give(char *to, size_t size, size_t count, void *context)
{
    body *own = context;
    const curl_off_t file_at = (curl_off_t)own->head_length, tail_at = file_at + own->bytes;
    size_t room = size * count, given;
    if (own->at < file_at) {
        given = piece_of(own->head, own->head_length, own->at, to, room);
    } else if (own->at < tail_at) {
        const curl_off_t left = tail_at - own->at;
        given = fread(to, 1, left < (curl_off_t)room ? (size_t)left : room, own->file);
        if (!given)
            return CURL_READFUNC_ABORT; /* the file became shorter */
    } else {
        given = piece_of(own->tail, own->tail_length, own->at - tail_at, to, room);
    }
    own->at += (curl_off_t)given;
    return given;
}

/* It wants to begin anew, e.g. after a connection was closed between two requests. */
static int rewind_to(void *context, curl_off_t offset, int origin)
{
    body *own = context;
    if (offset || origin != SEEK_SET || fseek(own->file, 0, SEEK_SET))
        return CURL_SEEKFUNC_FAIL;
    own->at = 0;
    return CURL_SEEKFUNC_OK;
}

static size_t take(char *from, size_t size, size_t count, void *context)
{
    body *own = context;
    own->too_long |= own->answer.length + size * count > MOST_ANSWER;
    if (own->too_long)
        return 0;
    sl_text_add_bytes(&own->answer, from, size * count);
    return own->answer.failed ? 0 : size * count;
}

/* Called once a second or more often. Not zero: it breaks off. */
static int look(void *context, curl_off_t to_come, curl_off_t came, curl_off_t to_go, curl_off_t went)
{
    stow *own = context;
    struct timespec now;
    (void)to_come, (void)to_go;
    clock_gettime(CLOCK_MONOTONIC, &now);
    if (came + went > own->moved) {
        own->moved = came + went;
        own->last = now;
    }
    own->silent = now.tv_sec - own->last.tv_sec >= own->how->answer_s + (own->moved ? 0 : own->how->connect_s);
    return own->silent || (own->how->stop && *own->how->stop);
}

static bool open_body(body *own, const char *path, const char *boundary, const char *syntax)
{
    struct stat facts;
    *own = (body){.file = fopen(path, "rbe")};
    if (!own->file || fstat(fileno(own->file), &facts))
        return false;
    own->bytes = facts.st_size;
    own->head_length = (size_t)snprintf(own->head, sizeof own->head, "--%s\r\nContent-Type: application/dicom;transfer-syntax=%s\r\n\r\n", boundary, syntax);
    own->tail_length = (size_t)snprintf(own->tail, sizeof own->tail, "\r\n--%s--\r\n", boundary);
    return true;
}

static void close_body(body *own)
{
    if (own->file)
        fclose(own->file);
    sl_text_free(&own->answer);
}

/* What failed below HTTP, in words; whether it may pass by itself. */
static sl_dicom_hearing unheard(const stow *own, CURLcode code, sl_error *error)
{
    static const CURLcode lasting[] = {CURLE_PEER_FAILED_VERIFICATION, CURLE_SSL_CACERT_BADFILE, CURLE_SSL_CERTPROBLEM, CURLE_UNSUPPORTED_PROTOCOL, CURLE_URL_MALFORMAT};
    sl_dicom_hearing heard = SL_NOT_HEARD;
    for (size_t i = 0; i < sizeof lasting / sizeof *lasting; i++)
        if (code == lasting[i])
            heard = SL_TURNED_AWAY;
    if (own->silent)
        sl_fail(error, SL_IO, "%s: it did not answer in time.", own->destination->name);
    else
        sl_fail(error, SL_IO, "%s is not reached: %.200s.", own->destination->name, *own->said ? own->said : curl_easy_strerror(code));
    return heard;
}

static struct curl_slist *headers_of(const char *boundary)
{
    char line[200];
    struct curl_slist *list = NULL;
    snprintf(line, sizeof line, "Content-Type: multipart/related; type=\"application/dicom\"; boundary=%s", boundary);
    list = curl_slist_append(list, line);
    return curl_slist_append(list, "Accept: application/dicom+json, application/dicom+xml;q=0.5");
}

static void judge(long code, const body *sent, const char *uid, sl_delivery *delivery, unsigned *reason)
{
    sl_stow_answer answer;
    sl_stow_answer_read(sent->answer.bytes ? sent->answer.bytes : "", sent->answer.length, uid, &answer);
    *reason = answer.failed ? answer.reason : 0;
    if (answer.read && answer.failed && (code < 300 || code == 409)) {
        if (answer.reason)
            sl_delivery_of_status(answer.reason, "", delivery);
        else
            *delivery = (sl_delivery){SL_REFUSED, "it refused without a reason"};
        if (delivery->verdict == SL_DELIVERED) /* a failure with a warning's number is a failure */
            delivery->verdict = SL_REFUSED;
    } else if (answer.read && answer.stored && code < 300) {
        sl_delivery_of_status(answer.warning, "", delivery);
        delivery->verdict = SL_DELIVERED;
    } else {
        sl_delivery_of_http(code, delivery);
    }
}

/* One request. The status of HTTP in `code`, 0 when there was none. */
static sl_dicom_hearing post(stow *own, const char *path, const sl_dicom_outgoing *object, const char *syntax, sl_delivery *delivery, long *code, unsigned *reason,
                             sl_error *error)
{
    body sent;
    char hash[SL_STORE_HASH], boundary[64];
    sl_dicom_hearing heard = SL_HEARD;
    *code = 0;
    *reason = 0;
    sl_sha256(object->uid, strlen(object->uid), hash);
    snprintf(boundary, sizeof boundary, "part-%.48s", hash); /* 192 bits that no picture has by chance */
    if (!open_body(&sent, path, boundary, syntax)) {
        close_body(&sent);
        *delivery = (sl_delivery){SL_REFUSED, "its file cannot be read"};
        return SL_HEARD;
    }
    struct curl_slist *headers = headers_of(boundary);
    curl_easy_setopt(own->curl, CURLOPT_HTTPHEADER, headers);
    curl_easy_setopt(own->curl, CURLOPT_READDATA, &sent);
    curl_easy_setopt(own->curl, CURLOPT_SEEKDATA, &sent);
    curl_easy_setopt(own->curl, CURLOPT_WRITEDATA, &sent);
    curl_easy_setopt(own->curl, CURLOPT_POSTFIELDSIZE_LARGE, (curl_off_t)sent.head_length + sent.bytes + (curl_off_t)sent.tail_length);
    own->said[0] = 0;
    own->moved = 0;
    own->silent = false;
    clock_gettime(CLOCK_MONOTONIC, &own->last);
    const CURLcode result = curl_easy_perform(own->curl);
    curl_easy_getinfo(own->curl, CURLINFO_RESPONSE_CODE, code);
    if (result == CURLE_OK) {
        judge(*code, &sent, object->uid, delivery, reason);
    } else if (sent.too_long) {
        *delivery = (sl_delivery){SL_LATER, "its answer has no end"};
    } else if (sent.at) { /* it began to go */
        heard = unheard(own, result, error);
        *delivery = (sl_delivery){.verdict = SL_LATER};
        snprintf(delivery->words, sizeof delivery->words, "%.300s", error->text);
    } else {
        heard = unheard(own, result, error);
        *code = -1; /* the object was not tried */
    }
    curl_easy_setopt(own->curl, CURLOPT_HTTPHEADER, NULL);
    curl_slist_free_all(headers);
    close_body(&sent);
    return heard;
}

static bool secrets(stow *own, sl_error *error)
{
    char *secret;
    if (*own->destination->user_file) {
        if (sl_secret_read(own->destination->user_file, &own->arena, &secret, error) != SL_OK)
            return false;
        curl_easy_setopt(own->curl, CURLOPT_HTTPAUTH, CURLAUTH_BASIC);
        curl_easy_setopt(own->curl, CURLOPT_USERPWD, secret);
    } else if (*own->destination->token_file) {
        if (sl_secret_read(own->destination->token_file, &own->arena, &secret, error) != SL_OK)
            return false;
        curl_easy_setopt(own->curl, CURLOPT_HTTPAUTH, CURLAUTH_BEARER);
        curl_easy_setopt(own->curl, CURLOPT_XOAUTH2_BEARER, secret);
    }
    return true;
}

static void start_library(void)
{
    curl_global_init(CURL_GLOBAL_DEFAULT);
}

static bool prepare(stow *own, sl_error *error)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    const sl_destination *to = own->destination;
    pthread_once(&once, start_library);
    own->curl = curl_easy_init();
    if (!own->curl) {
        sl_fail(error, SL_MEMORY, "Memory ran out.");
        return false;
    }
    curl_easy_setopt(own->curl, CURLOPT_URL, to->address);
    curl_easy_setopt(own->curl, CURLOPT_PROTOCOLS_STR, strncasecmp(to->address, "https", 5) ? "http" : "https");
    curl_easy_setopt(own->curl, CURLOPT_PROXY, ""); /* what names a patient goes straight there */
    curl_easy_setopt(own->curl, CURLOPT_FOLLOWLOCATION, 0L);
    curl_easy_setopt(own->curl, CURLOPT_NOSIGNAL, 1L);
    curl_easy_setopt(own->curl, CURLOPT_USERAGENT, "strandline/" SL_VERSION);
    curl_easy_setopt(own->curl, CURLOPT_ERRORBUFFER, own->said);
    curl_easy_setopt(own->curl, CURLOPT_CONNECTTIMEOUT, (long)own->how->connect_s);
    curl_easy_setopt(own->curl, CURLOPT_NOPROGRESS, 0L);
    curl_easy_setopt(own->curl, CURLOPT_XFERINFOFUNCTION, look);
    curl_easy_setopt(own->curl, CURLOPT_XFERINFODATA, own);
    curl_easy_setopt(own->curl, CURLOPT_POST, 1L);
    curl_easy_setopt(own->curl, CURLOPT_READFUNCTION, give);
    curl_easy_setopt(own->curl, CURLOPT_SEEKFUNCTION, rewind_to);
    curl_easy_setopt(own->curl, CURLOPT_WRITEFUNCTION, take);
    curl_easy_setopt(own->curl, CURLOPT_SSLVERSION, CURL_SSLVERSION_TLSv1_2);
    if (*to->trust)
        curl_easy_setopt(own->curl, CURLOPT_CAINFO, to->trust);
    if (to->anyone) {
        curl_easy_setopt(own->curl, CURLOPT_SSL_VERIFYPEER, 0L);
        curl_easy_setopt(own->curl, CURLOPT_SSL_VERIFYHOST, 0L);
    }
    if (*to->certificate) {
        curl_easy_setopt(own->curl, CURLOPT_SSLCERT, to->certificate);
        curl_easy_setopt(own->curl, CURLOPT_SSLKEY, to->key);
    }
    return secrets(own, error);
}

/* The object, and where that is asked for once more uncompressed. */
static sl_dicom_hearing deliver(stow *own, const sl_dicom_outgoing *object, sl_delivery *delivery, long *code, sl_error *error)
{
    static const char plain[] = "1.2.840.10008.1.2.1";
    const char *scratch = own->how->scratch;
    unsigned reason;
    sl_dicom_hearing heard = post(own, object->path, object, object->syntax, delivery, code, &reason, error);
    const bool coding = *code == 415 || sl_status_of_coding(reason);
    if (heard != SL_HEARD || delivery->verdict != SL_REFUSED || !coding || !strcmp(object->syntax, plain))
        return heard;
    char why[160];
    if (!sl_dicom_uncompress(object->path, scratch, why, sizeof why)) {
        const size_t used = strlen(delivery->words);
        snprintf(delivery->words + used, sizeof delivery->words - used, "; %s", why);
        return heard;
    }
    heard = post(own, scratch, object, plain, delivery, code, &reason, error);
    unlink(scratch);
    if (heard == SL_HEARD && delivery->verdict == SL_DELIVERED && !*delivery->words)
        snprintf(delivery->words, sizeof delivery->words, "sent uncompressed, as it was not taken as it is coded");
    return heard;
}

sl_dicom_hearing sl_stow_send(const sl_destination *destination, const sl_dicom_outgoing *object, int count, const sl_stow_how *how, sl_stow_told told, void *context,
                              sl_error *error)
{
    stow own = {.destination = destination, .how = how};
    sl_dicom_hearing heard = prepare(&own, error) ? SL_HEARD : SL_TURNED_AWAY;
    for (int i = 0; i < count && heard == SL_HEARD; i++) {
        sl_delivery delivery = {SL_LATER, ""};
        long code = 0;
        heard = deliver(&own, &object[i], &delivery, &code, error);
        if (heard == SL_HEARD && sl_http_of_destination(code) && delivery.verdict != SL_DELIVERED) {
            sl_fail(error, SL_IO, "%s: %s.", destination->name, delivery.words); /* every other object would be answered the same */
            heard = delivery.verdict == SL_REFUSED ? SL_TURNED_AWAY : SL_NOT_HEARD;
        } else if (code >= 0 && !told(context, i, &delivery)) {
            break;
        }
    }
    curl_easy_cleanup(own.curl);
    sl_arena_free(&own.arena);
    return heard;
}
