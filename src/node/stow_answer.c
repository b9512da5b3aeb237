#include "node/stow_answer.h"

#include <expat.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* Failed SOP Sequence, Referenced SOP Sequence, Other Failures Sequence; Referenced SOP Instance UID, Failure Reason, Warning Reason */
#define FAILED "00081198"
#define REFERENCED "00081199"
#define OTHER "0008119A"
#define UID "00081155"
#define REASON "00081197"
#define WARNING "00081196"

/* ---- JSON ---- */

static const json_t *values(const json_t *set, const char *tag)
{
    return json_object_get(json_object_get(set, tag), "Value");
}

static unsigned number(const json_t *item, const char *tag)
{
    const json_t *value = json_array_get(values(item, tag), 0);
    if (json_is_string(value))
        return (unsigned)strtoul(json_string_value(value), NULL, 10) & 0xffff;
    const double real = json_number_value(value); /* some write 272.0; 0 for what is no number */
    return real >= 0 && real <= 0xffff ? (unsigned)real : 0;
}

static void read_set(const json_t *set, const char *uid, sl_stow_answer *answer)
{
    static const char *const failures[] = {FAILED, OTHER};
    for (int k = 0; k < 2; k++)
        for (size_t i = 0; i < json_array_size(values(set, failures[k])); i++) {
            answer->failed = true;
            answer->reason = number(json_array_get(values(set, failures[k]), i), REASON);
        }
    for (size_t i = 0; i < json_array_size(values(set, REFERENCED)); i++) {
        const json_t *item = json_array_get(values(set, REFERENCED), i);
        const char *name = json_string_value(json_array_get(values(item, UID), 0));
        if (name && !strcmp(name, uid)) {
            answer->stored = true;
            answer->warning = number(item, WARNING);
        }
    }
}

static bool read_json(const char *bytes, size_t length, const char *uid, sl_stow_answer *answer)
{
    json_t *root = json_loadb(bytes, length, JSON_REJECT_DUPLICATES, NULL);
    if (!root)
        return false;
    if (json_is_array(root))
        for (size_t i = 0; i < json_array_size(root); i++)
            read_set(json_array_get(root, i), uid, answer);
    else
        read_set(root, uid, answer);
    json_decref(root);
    return true;
}

/* ---- XML ---- */

enum { DEEPEST = 32, LONGEST = 80 };

typedef struct reader {
    XML_Parser parser;
    sl_stow_answer *answer;
    const char *uid;
    int depth, tags;
    char tag[4][9]; /* of the attributes that enclose */
    int tag_depth[4];
    char value[LONGEST];
    size_t length;
    bool native, named; /* named: the item that is read is our object */
    unsigned warning;
} reader;

static void XMLCALL opened(void *context, const char *name, const char **facts)
{
    reader *own = context;
    if (++own->depth > DEEPEST) {
        XML_StopParser(own->parser, XML_FALSE);
        return;
    }
    const char *local = strrchr(name, ':');
    local = local ? local + 1 : name;
    own->native |= own->depth == 1 && !strcmp(local, "NativeDicomModel");
    if (!strcmp(local, "DicomAttribute") && own->tags < 4) {
        const char *tag = "";
        for (int i = 0; facts[i]; i += 2)
            if (!strcmp(facts[i], "tag"))
                tag = facts[i + 1];
        strncpy(own->tag[own->tags], tag, 8);
        own->tag[own->tags][8] = 0;
        own->tag_depth[own->tags++] = own->depth;
    } else if (!strcmp(local, "Item") && own->tags == 1) {
        own->named = false;
        own->warning = 0;
        own->answer->failed |= !strcmp(own->tag[0], FAILED) || !strcmp(own->tag[0], OTHER);
    }
    own->length = 0;
}

static void XMLCALL letters(void *context, const char *text, int length)
{
    reader *own = context;
    for (int i = 0; i < length && own->length + 1 < LONGEST; i++)
        own->value[own->length++] = text[i];
}

static void took_value(reader *own)
{
    own->value[own->length] = 0;
    const char *first = own->value + strspn(own->value, " \r\n\t");
    own->value[(size_t)(first - own->value) + strcspn(first, " \r\n\t")] = 0;
    if (own->tags != 2)
        return;
    if (!strcmp(own->tag[1], UID))
        own->named = !strcmp(first, own->uid);
    else if (!strcmp(own->tag[1], WARNING))
        own->warning = (unsigned)strtoul(first, NULL, 10);
    else if (!strcmp(own->tag[1], REASON) && (!strcmp(own->tag[0], FAILED) || !strcmp(own->tag[0], OTHER)))
        own->answer->reason = (unsigned)strtoul(first, NULL, 10) & 0xffff;
}

static void XMLCALL closed(void *context, const char *name)
{
    reader *own = context;
    const char *local = strrchr(name, ':');
    local = local ? local + 1 : name;
    if (!strcmp(local, "Value"))
        took_value(own);
    else if (!strcmp(local, "Item") && own->tags == 1 && !strcmp(own->tag[0], REFERENCED) && own->named) {
        own->answer->stored = true;
        own->answer->warning = own->warning & 0xffff;
    }
    if (own->tags && own->tag_depth[own->tags - 1] == own->depth)
        own->tags--;
    own->depth--;
    own->length = 0;
}

/* No answer needs one, and entities are how a short answer becomes an endless one. */
static void XMLCALL doctype(void *context, const char *name, const char *system, const char *public, int internal)
{
    reader *own = context;
    (void)name, (void)system, (void)public, (void)internal;
    XML_StopParser(own->parser, XML_FALSE);
}

static bool read_xml(const char *bytes, size_t length, const char *uid, sl_stow_answer *answer)
{
    reader own = {.parser = XML_ParserCreate(NULL), .answer = answer, .uid = uid};
    if (!own.parser)
        return false;
    XML_SetUserData(own.parser, &own);
    XML_SetElementHandler(own.parser, opened, closed);
    XML_SetCharacterDataHandler(own.parser, letters);
    XML_SetStartDoctypeDeclHandler(own.parser, doctype);
    const bool whole = length < (1u << 30) && XML_Parse(own.parser, bytes, (int)length, 1) == XML_STATUS_OK;
    XML_ParserFree(own.parser);
    return whole && own.native;
}

void sl_stow_answer_read(const char *bytes, size_t length, const char *uid, sl_stow_answer *answer)
{
    size_t first = 0;
    *answer = (sl_stow_answer){0};
    while (first < length && (bytes[first] == ' ' || bytes[first] == '\n' || bytes[first] == '\r' || bytes[first] == '\t' || (unsigned char)bytes[first] >= 0x80))
        first++; /* blanks, a byte order mark */
    if (first == length)
        return;
    sl_stow_answer found = {0};
    found.read = bytes[first] == '<' ? read_xml(bytes + first, length - first, uid, &found) : read_json(bytes + first, length - first, uid, &found);
    if (found.read)
        *answer = found;
}
