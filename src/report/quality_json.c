/* What the audit needs of the pixels, as part of a clip's result in exam.json and in the records. */
#include "report/quality_json.h"

#include "core/json.h"
#include "core/units.h"

#include <stddef.h>

enum { DECIMALS = 5 };

typedef struct field {
    const char *key;
    size_t at;
    int bands; /* 0: a number */
} field;

#define GREY(name) {#name, offsetof(sl_grey_quality, name), 0}
#define BAND(name) {#name, offsetof(sl_grey_quality, name), SL_QUALITY_BANDS}
#define HOLD(name) {#name, offsetof(sl_hold_quality, name), 0}

static const field grey_fields[] = {GREY(frames), GREY(top), BAND(mean), BAND(strong), BAND(black), BAND(white), GREY(grain_lower),
                                    GREY(grain_upper), GREY(grain_windows), BAND(lateral), BAND(grain_rows), BAND(grain_beams), GREY(step_one), GREY(step_two)};
static const field hold_fields[] = {HOLD(frames), HOLD(found), HOLD(clear), HOLD(space), HOLD(rib), HOLD(dark), HOLD(dark_first),
                                    HOLD(dark_last), HOLD(widest), HOLD(central), HOLD(caps), HOLD(tilt_deg), HOLD(tilt_widest_deg), HOLD(tilt_rms), HOLD(echo),
                                    HOLD(wall_shift), HOLD(wall_kept)};
enum { GREY_FIELDS = sizeof grey_fields / sizeof *grey_fields, HOLD_FIELDS = sizeof hold_fields / sizeof *hold_fields };

static json_t *to_json(const void *base, const field *fields, int count)
{
    json_t *object = json_object();
    for (int i = 0; i < count; i++) {
        const double *value = (const double *)(const void *)((const char *)base + fields[i].at);
        if (!fields[i].bands) {
            json_object_set_new(object, fields[i].key, sl_json_number(*value, DECIMALS));
            continue;
        }
        json_t *list = json_array();
        for (int b = 0; b < fields[i].bands; b++)
            json_array_append_new(list, sl_json_number(value[b], DECIMALS));
        json_object_set_new(object, fields[i].key, list);
    }
    return object;
}

static double real(const json_t *value)
{
    return json_is_number(value) ? json_number_value(value) : SL_UNKNOWN;
}

static void from_json(const json_t *object, const field *fields, int count, void *base)
{
    for (int i = 0; i < count; i++) {
        double *value = (double *)(void *)((char *)base + fields[i].at);
        const json_t *stated = json_object_get(object, fields[i].key);
        if (!fields[i].bands)
            *value = real(stated);
        for (int b = 0; b < fields[i].bands; b++)
            value[b] = real(json_array_get(stated, (size_t)b));
    }
}

json_t *sl_quality_to_json(const sl_quality *quality)
{
    json_t *object = json_object();
    json_object_set_new(object, "grey", to_json(&quality->grey, grey_fields, GREY_FIELDS));
    json_object_set_new(object, "hold", to_json(&quality->hold, hold_fields, HOLD_FIELDS));
    return object;
}

void sl_quality_from_json(const json_t *object, sl_quality *quality)
{
    sl_quality_clear(quality);
    from_json(json_object_get(object, "grey"), grey_fields, GREY_FIELDS, &quality->grey);
    from_json(json_object_get(object, "hold"), hold_fields, HOLD_FIELDS, &quality->hold);
}
