/* The user's own scheme of zones, from a JSON file (docs/protocol.schema.json). */
#include "core/json.h"
#include "core/utf8.h"
#include "exam/zones.h"

#include <stdio.h>
#include <string.h>

static const char *text(const json_t *root, const char *key, sl_arena *arena)
{
    const char *value = json_string_value(json_object_get(root, key)), *copy = value ? sl_arena_text(arena, value) : NULL;
    const char *valid = copy ? sl_utf8_valid(arena, copy) : NULL;
    return valid ? valid : "";
}

/* Every zone of the table, for the sentence: "upper-anterior, lower-anterior, ...". */
static const char *places(char *list, size_t room)
{
    int count;
    const sl_zone *zones = sl_zones(&count);
    size_t used = 0;
    list[0] = 0;
    for (int i = 0; i < count && used < room; i++)
        if (zones[i].side == SL_SIDE_RIGHT)
            used += (size_t)snprintf(list + used, room - used, "%s%s", used ? ", " : "", zones[i].key + 2);
    return list;
}

static bool holds(const sl_protocol *protocol, const sl_zone *zone)
{
    for (int i = 0; i < protocol->zones; i++)
        if (protocol->zone[i] == zone)
            return true;
    return false;
}

static sl_status read_zones(const json_t *root, const char *path, sl_protocol *protocol, sl_error *error)
{
    const json_t *zones = json_object_get(root, "zones");
    char list[300];
    if (!json_array_size(zones) || json_array_size(zones) > SL_ZONES_MOST)
        return sl_fail(error, SL_FORMAT, "%s: \"zones\" must list 1 to %d zones, for example \"R-upper-anterior\".", path, SL_ZONES_MOST);
    for (size_t i = 0; i < json_array_size(zones); i++) {
        const char *key = json_string_value(json_array_get(zones, i));
        const sl_zone *zone = sl_zone_by_key(key);
        if (!zone)
            return sl_fail(error, SL_FORMAT, "%s: zone %zu, \"%.40s\", is none that is known here. A zone is R- or L- and one of: %s.", path, i + 1,
                           key ? key : "(no text)", places(list, sizeof list));
        if (holds(protocol, zone))
            return sl_fail(error, SL_FORMAT, "%s: zone %zu, %s, is listed twice.", path, i + 1, zone->key);
        protocol->zone[protocol->zones++] = zone;
    }
    return SL_OK;
}

static sl_status read_numbers(const json_t *root, const char *path, sl_arena *arena, sl_protocol *protocol, sl_error *error)
{
    const json_t *numbers = json_object_get(root, "numbers");
    const size_t most = sizeof protocol->place / sizeof *protocol->place;
    char list[300];
    if (json_array_size(numbers) > most)
        return sl_fail(error, SL_FORMAT, "%s: \"numbers\" names more than %zu places of a side.", path, most);
    for (size_t i = 0; i < json_array_size(numbers); i++) {
        const char *stated = json_string_value(json_array_get(numbers, i));
        char key[64];
        snprintf(key, sizeof key, "R-%s", stated ? stated : "");
        const sl_zone *zone = sl_zone_by_key(key);
        if (!zone)
            return sl_fail(error, SL_FORMAT, "%s: number %zu, \"%.40s\", is no place known here; one of: %s.", path, i + 1, stated ? stated : "",
                           places(list, sizeof list));
        protocol->place[protocol->numbers++] = zone->place;
    }
    (void)arena;
    return SL_OK;
}

sl_status sl_protocol_load(const char *path, sl_arena *arena, const sl_protocol **out, sl_error *error)
{
    *out = NULL;
    json_t *root = sl_json_load(path, error);
    if (!root)
        return error ? error->status : SL_IO;
    sl_protocol *protocol = SL_NEW(arena, 1, sl_protocol);
    sl_status status = protocol ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out while %s was read.", path);
    if (status == SL_OK && !json_is_object(root))
        status = sl_fail(error, SL_FORMAT, "%s is not a JSON object with \"key\", \"name\" and \"zones\".", path);
    if (status == SL_OK) {
        protocol->key = text(root, "key", arena);
        protocol->name = text(root, "name", arena);
        if (!*protocol->key || sl_protocol_by_key(protocol->key) || !strcmp(protocol->key, "as-scanned"))
            status = sl_fail(error, SL_FORMAT, "%s: \"key\" must be a short name of its own, not one of the schemes known here.", path);
        else if (!*protocol->name)
            protocol->name = protocol->key;
    }
    const char *posture = status == SL_OK ? text(root, "posture", arena) : "";
    if (status == SL_OK)
        protocol->posture = sl_posture_by_key(posture);
    if (*posture && protocol->posture == SL_POSTURE_UNKNOWN)
        status = sl_fail(error, SL_FORMAT, "%s: \"posture\" is \"%.40s\"; it is one of %s.", path, posture, sl_posture_keys);
    if (status == SL_OK)
        status = read_zones(root, path, protocol, error);
    if (status == SL_OK)
        status = read_numbers(root, path, arena, protocol, error);
    json_decref(root);
    if (status == SL_OK)
        *out = protocol;
    return status;
}
