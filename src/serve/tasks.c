#include "serve/tasks.h"

#include "chest/chest.h"
#include "chest/scenario.h"
#include "clip/save.h"
#include "core/units.h"
#include "exam/rescan.h"
#include "exam/zones.h"
#include "report/audit_json.h"
#include "serve/api.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { HEIGHT = 360 };
static const double clip_s = 6.2; /* what the audit asks for, and a little */

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER; /* one judged at a time: each takes both cores */

/* What the audit says of each task's start: the same every time, so it is worked out once. Guarded by `lock`. */
static struct {
    bool known;
    sl_arena arena;
    sl_audit audit;
} begun[64];

static json_t *settings_json(const sl_task *task)
{
    json_t *set = json_object();
    for (const sl_task_setting *at = task->set; at->path && at < task->set + 4; at++)
        json_object_set_new(set, at->path, json_real(at->value));
    return set;
}

json_t *sl_tasks_json(void)
{
    int count;
    const sl_task *task = sl_tasks(&count);
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, json_pack("{s:s,s:s,s:s,s:s,s:o}", "key", task[i].key, "chest", task[i].chest, "zone", task[i].zone,
                                              "ask", task[i].ask, "set", settings_json(&task[i])));
    return list;
}

/* The clip as a file: the audit takes what the reader read, and the reader reads files. */
static sl_status draw_clip(const sl_scenario *scenario, const char *path, sl_error *error)
{
    sl_chest *chest = NULL;
    sl_clip_writer *writer = NULL;
    sl_status status = sl_chest_new(scenario, &chest, error);
    for (int i = 0; status == SL_OK && i < sl_chest_frames(chest); i++) {
        sl_gray picture;
        status = sl_chest_frame(chest, i, &picture, error);
        if (status == SL_OK && !writer)
            status = sl_clip_writer_open(path, picture.width, picture.height, sl_chest_frame_rate_hz(chest), 0.9, &writer, error);
        if (status == SL_OK)
            status = sl_clip_writer_gray(writer, picture, error);
    }
    if (writer) {
        sl_error ignored;
        sl_status closed = sl_clip_writer_close(&writer, status == SL_OK ? error : &ignored);
        status = status == SL_OK ? closed : status;
    }
    sl_chest_free(&chest);
    return status;
}

/* What a scanner would state in the file beside the picture. */
static void state_settings(const sl_scenario *scenario, sl_clip_result *result)
{
    result->info.acquisition.depth_mm = scenario->controls.depth_mm - scenario->controls.crop_top_mm;
    result->info.acquisition.freq_mhz = scenario->probe.freq_mhz;
    result->info.acquisition.focus_mm = scenario->controls.focus_mm;
    result->info.acquisition.frame_rate_hz = scenario->controls.frame_rate_hz;
}

static sl_status judge(sl_request *request, const sl_task *task, const json_t *set, sl_arena *arena, sl_audit *audit, sl_error *error)
{
    json_t *asked = json_pack("{s:s,s:i,s:O}", "chest", task->chest, "height", HEIGHT, "set", set);
    sl_scenario *scenario = malloc(sizeof *scenario);
    char folder[] = "/tmp/strandline-task-XXXXXX", path[64] = "";
    sl_status status = scenario && asked ? sl_live_wanted(request->server->bench, asked, scenario, error)
                                         : sl_fail(error, SL_MEMORY, "Memory ran out.");
    json_decref(asked);
    if (status == SL_OK && !mkdtemp(folder))
        status = sl_fail(error, SL_IO, "There is no room for temporary files in /tmp. Make room and try again.");
    else if (status == SL_OK) {
        snprintf(path, sizeof path, "%s/clip.mp4", folder);
        scenario->controls.duration_s = clip_s;
        status = draw_clip(scenario, path, error);
        if (status == SL_OK) {
            sl_clip_result *result = SL_NEW(arena, 1, sl_clip_result);
            sl_read_options options = {.stated_depth_cm = (scenario->controls.depth_mm - scenario->controls.crop_top_mm) / 10, .decode_threads = 1};
            sl_audit_purpose purpose = sl_zone_purpose(sl_zone_by_key(task->zone), SL_RULES_PRACTICE);
            if (result) {
                sl_read_clip(path, &options, arena, result);
                state_settings(scenario, result);
                status = sl_audit_clip(result, &purpose, arena, audit, error);
            } else
                status = sl_fail(error, SL_MEMORY, "Memory ran out.");
        }
        unlink(path);
        rmdir(folder);
    }
    free(scenario);
    return status;
}

static const sl_complaint *of_rule(const sl_audit *audit, sl_rule_id rule)
{
    for (int i = 0; i < audit->complaints; i++)
        if (audit->complaint[i].rule->id == rule)
            return &audit->complaint[i];
    return NULL;
}

/* Complaints of one audit that the controls can do something about, and that the other has, or has not. */
static json_t *compare(const sl_audit *audit, const sl_audit *other, bool in_both, bool *grave)
{
    json_t *all = sl_audit_to_json(audit, true), *list = json_array();
    for (int i = 0; i < audit->complaints; i++) {
        const sl_complaint *c = &audit->complaint[i];
        if (!sl_task_rule_counts(c->rule->id) || (of_rule(other, c->rule->id) != NULL) != in_both)
            continue;
        if (grave && c->grade != SL_GRADE_NOTE)
            *grave = true;
        json_array_append(list, json_array_get(all, (size_t)i));
    }
    json_decref(all);
    return list;
}

/* How many controls differ between two sets, those absent standing at the chest's own. */
static int differing(const json_t *a, const json_t *b)
{
    const char *path;
    json_t *value;
    int count = 0;
    json_object_foreach((json_t *)(uintptr_t)a, path, value)
    {
        const json_t *other = json_object_get(b, path);
        count += !other || (json_is_number(value) ? fabs(json_number_value(value) - json_number_value(other)) > 1e-6 : !json_equal(value, (json_t *)(uintptr_t)other));
    }
    json_object_foreach((json_t *)(uintptr_t)b, path, value)
        count += !json_object_get(a, path);
    return count;
}

enum MHD_Result sl_task_answer(sl_request *request, const json_t *asked)
{
    int count;
    const sl_task *task = sl_tasks(&count), *found = NULL;
    const char *key = json_string_value(json_object_get(asked, "task"));
    for (int i = 0; key && i < count; i++)
        if (!strcmp(task[i].key, key))
            found = &task[i];
    const json_t *set = json_object_get(asked, "set");
    if (!found || !json_is_object(set))
        return sl_reply_error(request, 404, "There is no task of that name.");
    json_t *start = settings_json(found);
    int index = (int)(found - task);
    sl_audit before = {0}, after = {0};
    sl_error error;
    pthread_mutex_lock(&lock);
    sl_status status = SL_OK;
    if (!begun[index].known)
        status = judge(request, found, start, &begun[index].arena, &begun[index].audit, &error);
    begun[index].known = begun[index].known || status == SL_OK;
    before = begun[index].audit;
    if (status == SL_OK)
        status = judge(request, found, set, &request->arena, &after, &error);
    pthread_mutex_unlock(&lock);
    if (status != SL_OK) {
        json_decref(start);
        return sl_reply_error(request, 400, "%s", error.text);
    }
    bool left = false, came = false;
    json_t *gone = compare(&before, &after, false, NULL), *stays = compare(&after, &before, true, &left), *fresh = compare(&after, &before, false, &came);
    json_t *json = json_pack("{s:b,s:b,s:o,s:o,s:o,s:i}", "solved", !of_rule(&after, found->aim) && !left && !came, "aim_seen",
                             of_rule(&before, found->aim) != NULL, "gone", gone, "left", stays, "new", fresh, "changed", differing(start, set));
    json_decref(start);
    return sl_reply_json(request, 200, json);
}
