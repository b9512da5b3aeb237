/* Tables of the program for the page, and the settings planner. */
#include "serve/api.h"

#include "acoustics/planner.h"
#include "core/json.h"
#include "core/units.h"
#include "exam/zones.h"
#include "reading/reading.h"
#include "report/words.h"

#include <stdlib.h>
#include <string.h>

static json_t *findings(void)
{
    static const char *const kinds[] = {"answer", "ordered", "count", "amount"};
    json_t *list = json_array();
    for (int i = 0; i < SL_CODES; i++) {
        const sl_finding_info *info = sl_finding_info_of((sl_code)i);
        json_t *one = json_pack("{s:s,s:s,s:s,s:s,s:f,s:f,s:i,s:s}", "key", info->key, "name", info->name, "unit", info->unit,
                                "kind", kinds[info->kind], "low", info->low, "high", info->high, "decimals", info->decimals,
                                "source", info->source);
        if (one)
            json_array_append_new(list, one);
    }
    return list;
}

static json_t *zones(void)
{
    int count;
    const sl_zone *zone = sl_zones(&count);
    json_t *list = json_array();
    for (int i = 0; i < count; i++) {
        json_t *one = json_pack("{s:s,s:s,s:s,s:s,s:f,s:f,s:f,s:f}", "key", zone[i].key, "name", zone[i].name, "place",
                                zone[i].place, "side", zone[i].side == SL_SIDE_RIGHT ? "right" : "left", "from", zone[i].from,
                                "to", zone[i].to, "top", zone[i].top, "bottom", zone[i].bottom);
        if (one)
            json_array_append_new(list, one);
    }
    return list;
}

static json_t *schemes(void)
{
    json_t *list = json_array();
    for (const sl_protocol *const *at = sl_protocols(); *at; at++) {
        json_t *keys = json_array();
        for (int i = 0; i < (*at)->zones; i++)
            json_array_append_new(keys, json_string((*at)->zone[i]->key));
        json_t *one = json_pack("{s:s,s:s,s:o}", "key", (*at)->key, "name", (*at)->name, "zones", keys);
        if (one)
            json_array_append_new(list, one);
    }
    return list;
}

json_t *sl_api_tables(void)
{
    return json_pack("{s:o,s:o,s:o,s:s,s:s,s:s}", "findings", findings(), "zones", zones(), "schemes", schemes(), "caution",
                     sl_words_caution, "limits", sl_words_limits, "version", SL_VERSION);
}

/* Leaves `*value` as it is when the argument is absent. */
static void real_argument(const sl_request *request, const char *name, double *value)
{
    const char *text = sl_request_argument(request, name);
    char *end;
    if (!text || !*text)
        return;
    double given = strtod(text, &end);
    if (!*end && sl_known(given))
        *value = given;
}

enum MHD_Result sl_api_plan(sl_request *request)
{
    const char *target = sl_request_argument(request, "target"), *place = sl_request_argument(request, "place"),
               *rules = sl_request_argument(request, "rules"), *probe = sl_request_argument(request, "probe"),
               *harmonics = sl_request_argument(request, "harmonics");
    int found = target ? sl_target_find(target) : SL_TARGET_PLEURA;
    if (found < 0)
        return sl_reply_error(request, 400, "The planner does not know that target.");
    sl_plan_request ask = sl_plan_default((sl_target)found);
    if (place && (found = sl_plan_place_find(place)) >= 0)
        ask.place = found;
    if (rules && (found = sl_rules_find(rules)) >= 0)
        ask.rules = (sl_rules)found;
    if (probe && (found = sl_transducer_find(probe)) >= 0)
        ask.probe = found;
    ask.harmonics = harmonics && !strcmp(harmonics, "1");
    real_argument(request, "wall_mm", &ask.wall_mm);
    real_argument(request, "depth_mm", &ask.depth_mm);
    real_argument(request, "freq_mhz", &ask.freq_mhz);
    real_argument(request, "focus_mm", &ask.focus_mm);
    sl_plan *plan = SL_NEW(&request->arena, 1, sl_plan);
    sl_error error;
    if (!plan)
        return sl_reply_error(request, 500, "Memory ran out.");
    if (sl_plan_make(&ask, &request->arena, plan, &error) != SL_OK)
        return sl_reply_error(request, 400, "%s", error.text);
    return sl_reply_json(request, 200, sl_plan_json(plan));
}
