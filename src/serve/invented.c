#include "serve/invented.h"

#include "chest/scenario.h"
#include "core/json.h"

#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { FRAME_HEAD = 16, MOST_AT_ONCE = 6, HEIGHT = 420 };
static const double longest_s = 5; /* about a breath: what a question on one clip needs, and quick to draw */

json_t *sl_chest_head(const sl_chest *chest, const sl_gray *picture)
{
    sl_view v;
    sl_chest_view(chest, &v);
    json_t *view = v.shape == SL_SHAPE_LINEAR
                       ? json_pack("{s:s,s:f,s:f,s:f,s:f}", "shape", "linear", "first_x", v.first_x, "last_x", v.last_x, "near_y",
                                   v.near_y, "far_y", v.far_y)
                       : json_pack("{s:s,s:f,s:f,s:f,s:f,s:f,s:f}", "shape", sl_shape_name(v.shape), "apex_x", v.apex_x, "apex_y",
                                   v.apex_y, "first_angle_rad", v.first_angle, "last_angle_rad", v.last_angle, "near_r", v.near_r,
                                   "far_r", v.far_r);
    json_object_set_new(view, "aspect", json_real(1));
    json_object_set_new(view, "width", json_integer(picture->width));
    json_object_set_new(view, "height", json_integer(picture->height));
    return json_pack("{s:i,s:i,s:i,s:i,s:i,s:{s:i,s:i},s:i,s:f,s:f,s:o}", "width", picture->width, "height", picture->height, "x0", 0,
                     "y0", 0, "step", 1, "full", "width", picture->width, "height", picture->height, "frames",
                     sl_chest_frames(chest), "rate_hz", sl_chest_frame_rate_hz(chest), "mm_per_px", v.mm_per_px, "view", view);
}

size_t sl_chest_piece(json_t *head, double time_s, int index, const sl_gray *picture, unsigned char **piece, size_t *room)
{
    char *text = head ? json_dumps(head, JSON_COMPACT | JSON_REAL_PRECISION(8)) : NULL;
    size_t words = text ? strlen(text) : 0, before = text ? 4 + words : 0;
    size_t length = before + FRAME_HEAD + (size_t)picture->width * (size_t)picture->height;
    bool failed = head && !text;
    json_decref(head);
    if (!failed && length > *room) {
        free(*piece);
        *piece = malloc(length);
        *room = *piece ? length : 0;
    }
    if (failed || !*piece) {
        free(text);
        return 0;
    }
    for (int i = 0; i < 4 && text; i++)
        (*piece)[i] = (unsigned char)(words >> (8 * i));
    if (text)
        memcpy(*piece + 4, text, words);
    free(text);
    unsigned char *to = *piece + before;
    int64_t number = index;
    memcpy(to, &time_s, 8);
    memcpy(to + 8, &number, 8);
    for (int y = 0; y < picture->height; y++)
        memcpy(to + FRAME_HEAD + (size_t)y * (size_t)picture->width, picture->pixel + (ptrdiff_t)y * picture->stride, (size_t)picture->width);
    return length;
}

static bool parse(const char *clip, int *level, unsigned long *seed)
{
    char end[8];
    return sscanf(clip, "invented-%1d-%9lu.%3s", level, seed, end) == 3 && !strcmp(end, "sim") && *level >= 1 && *level <= 3;
}

bool sl_invented_is(const char *clip)
{
    int level;
    unsigned long seed;
    return parse(clip, &level, &seed);
}

static sl_scenario *scenario_of(int level, unsigned long seed)
{
    sl_scenario *scenario = malloc(sizeof *scenario);
    if (!scenario)
        return NULL;
    sl_scenario_random(seed, level, scenario);
    scenario->controls.picture_height = HEIGHT;
    scenario->controls.duration_s = fmin(scenario->controls.duration_s, longest_s);
    return scenario;
}

sl_status sl_invented_pool(const char *path, int level, int count, sl_arena *arena, sl_error *error)
{
    json_t *root = sl_json_load(path, NULL), *list = json_object_get(root, "readings");
    if ((int)json_array_size(list) >= count) {
        json_decref(root);
        return SL_OK;
    }
    json_decref(root);
    root = json_object();
    list = json_array();
    sl_status status = SL_OK;
    for (int i = 0; i < count && status == SL_OK; i++) {
        unsigned long seed = (unsigned long)(level * 10000 + i + 1);
        sl_scenario *scenario = scenario_of(level, seed);
        sl_chest *chest = NULL;
        status = scenario ? sl_chest_new(scenario, &chest, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
        sl_reading *truth = status == SL_OK ? sl_chest_truth(chest, arena) : NULL;
        for (int f = 0; truth && f < truth->findings; f++)
            if (truth->finding[f].confidence < 0.5) { /* these settings cannot show it: nobody is asked for it */
                truth->finding[f].known = false;
                truth->finding[f].reason = "these settings cannot show it";
            }
        if (truth) {
            truth->clip = sl_arena_printf(arena, "invented-%d-%lu.sim", level, seed);
            json_array_append_new(list, sl_reading_to_json(truth));
        } else if (status == SL_OK)
            status = sl_fail(error, SL_MEMORY, "Memory ran out.");
        sl_chest_free(&chest);
        free(scenario);
    }
    json_object_set_new(root, "invented", json_true());
    json_object_set_new(root, "readings", list);
    if (status == SL_OK)
        status = sl_json_save(root, path, error);
    json_decref(root);
    return status;
}

/* ---- the clip, drawn while it is watched ---- */

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int under_way;

typedef struct stream {
    sl_scenario *scenario;
    sl_chest *chest;
    unsigned char *piece;
    size_t length, at, room;
    int next;
} stream;

static void drop(void *context)
{
    stream *self = context;
    sl_chest_free(&self->chest);
    free(self->scenario);
    free(self->piece);
    free(self);
    pthread_mutex_lock(&lock);
    under_way--;
    pthread_mutex_unlock(&lock);
}

static bool put_frame(stream *self)
{
    sl_gray picture;
    if (self->next >= sl_chest_frames(self->chest) || sl_chest_frame(self->chest, self->next, &picture, NULL) != SL_OK)
        return false;
    json_t *head = self->next ? NULL : sl_chest_head(self->chest, &picture);
    if (!self->next && !head)
        return false;
    self->length = sl_chest_piece(head, self->next / sl_chest_frame_rate_hz(self->chest), self->next, &picture, &self->piece, &self->room);
    self->at = 0;
    self->next++;
    return self->length > 0;
}

static ssize_t pull(void *context, uint64_t position, char *buffer, size_t most)
{
    stream *self = context;
    (void)position;
    if (self->at == self->length && !put_frame(self))
        return MHD_CONTENT_READER_END_OF_STREAM;
    size_t part = self->length - self->at < most ? self->length - self->at : most;
    memcpy(buffer, self->piece + self->at, part);
    self->at += part;
    return (ssize_t)part;
}

enum MHD_Result sl_reply_invented(sl_request *request, const char *clip)
{
    int level;
    unsigned long seed;
    sl_error error;
    if (!parse(clip, &level, &seed))
        return sl_reply_error(request, 404, "There is no such clip.");
    pthread_mutex_lock(&lock);
    bool room = under_way < MOST_AT_ONCE;
    under_way += room;
    pthread_mutex_unlock(&lock);
    if (!room)
        return sl_reply_error(request, 503, "As many invented clips as this machine can draw at once are being watched. Try again in a moment.");
    stream *self = calloc(1, sizeof *self);
    if (!self) {
        pthread_mutex_lock(&lock);
        under_way--;
        pthread_mutex_unlock(&lock);
        return sl_reply_error(request, 500, "Memory ran out. Close other programs and try again.");
    }
    self->scenario = scenario_of(level, seed);
    if (!self->scenario || sl_chest_new(self->scenario, &self->chest, &error) != SL_OK) {
        drop(self);
        return sl_reply_error(request, 500, "Memory ran out. Close other programs and try again.");
    }
    return sl_reply_stream(request, pull, self, drop);
}
