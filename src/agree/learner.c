#include "agree/learning.h"

#include "agree/bootstrap.h"
#include "agree/statements.h"
#include "agree/study.h"
#include "agree/tolerance.h"
#include "core/file.h"
#include "core/json.h"
#include "core/units.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* ---- the file ---- */

static sl_attempt *new_attempt(sl_learner *l)
{
    if (l->attempts == l->attempt_room) {
        int room = l->attempt_room ? 2 * l->attempt_room : 256;
        sl_attempt *more = SL_NEW(l->arena, room, sl_attempt);
        if (!more)
            return NULL;
        if (l->attempts)
            memcpy(more, l->attempt, sizeof *more * (size_t)l->attempts);
        l->attempt = more;
        l->attempt_room = room;
    }
    return &l->attempt[l->attempts++];
}

static sl_session *new_session(sl_learner *l)
{
    if (l->sessions == l->session_room) {
        int room = l->session_room ? 2 * l->session_room : 32;
        sl_session *more = SL_NEW(l->arena, room, sl_session);
        if (!more)
            return NULL;
        if (l->sessions)
            memcpy(more, l->session, sizeof *more * (size_t)l->sessions);
        l->session = more;
        l->session_room = room;
    }
    return &l->session[l->sessions++];
}

static const char *text_in(sl_arena *arena, const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return sl_arena_text(arena, text ? text : "");
}

static bool take_session(sl_learner *l, const json_t *event)
{
    const json_t *codes = json_object_get(event, "findings"), *clips = json_object_get(event, "clips");
    sl_session session = {.number = (int)json_integer_value(json_object_get(event, "session")),
                          .pool = text_in(l->arena, event, "pool")};
    session.clip = SL_NEW(l->arena, json_array_size(clips) + 1, const char *);
    if (session.number < 1 || !session.clip)
        return false;
    for (size_t i = 0; i < json_array_size(codes); i++) {
        const char *key = json_string_value(json_array_get(codes, i));
        const sl_finding_info *info = sl_finding_info_by_key(key);
        if (info && session.codes < SL_CODES)
            session.code[session.codes++] = info->code;
    }
    for (size_t i = 0; i < json_array_size(clips); i++) {
        const char *clip = json_string_value(json_array_get(clips, i));
        if (clip)
            session.clip[session.clips++] = sl_arena_text(l->arena, clip);
    }
    sl_session *kept = new_session(l);
    if (kept)
        *kept = session;
    return kept != NULL;
}

static bool take_attempt(sl_learner *l, const json_t *event)
{
    const sl_finding_info *info = sl_finding_info_by_key(json_string_value(json_object_get(event, "finding")));
    sl_attempt *a = info && json_object_get(event, "right") ? new_attempt(l) : NULL;
    if (!a)
        return false;
    *a = (sl_attempt){(int)json_integer_value(json_object_get(event, "session")), text_in(l->arena, event, "clip"),
                      info->code, text_in(l->arena, event, "said"), text_in(l->arena, event, "truth"),
                      json_is_true(json_object_get(event, "right")), json_is_true(json_object_get(event, "first"))};
    return true;
}

static char *progress_path(const sl_learner *l)
{
    return sl_path_join(l->arena, l->folder, "progress.jsonl");
}

sl_status sl_learner_load(const char *folder, sl_arena *arena, sl_notes *notes, sl_learner *l, sl_error *error)
{
    *l = (sl_learner){.arena = arena, .folder = folder};
    char *path = progress_path(l), *bytes;
    size_t length;
    struct stat facts;
    if (!path)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (stat(path, &facts))
        return SL_OK;
    sl_status status = sl_file_read(path, (size_t)256 << 20, arena, &bytes, &length, error);
    if (status != SL_OK)
        return status;
    int number = 0;
    for (char *line = bytes, *end; *line; line = end) {
        end = line + strcspn(line, "\n");
        json_t *event = json_loadb(line, (size_t)(end - line), 0, NULL);
        const char *kind = json_string_value(json_object_get(event, "event"));
        number++;
        bool fine = kind && (!strcmp(kind, "session")  ? take_session(l, event)
                             : !strcmp(kind, "answer") ? take_attempt(l, event)
                                                       : true);
        if (!fine && end > line)
            sl_note(notes, "%s, line %d is damaged and was left out.", path, number);
        json_decref(event);
        end += *end == '\n';
    }
    return SL_OK;
}

static sl_status write_event(const sl_learner *l, json_t *event, sl_error *error)
{
    char *text = json_dumps(event, JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10));
    json_decref(event);
    sl_status status = text ? sl_folder_make(l->folder, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK)
        status = sl_append_line(progress_path(l), text, error);
    free(text);
    return status;
}

/* ---- the pool ---- */

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

sl_status sl_pool_load(const char *path, sl_arena *arena, sl_notes *notes, sl_reads *pool, sl_error *error)
{
    struct stat facts;
    if (stat(path, &facts) || !S_ISDIR(facts.st_mode))
        return sl_reads_load(path, SL_BY_LABELS, NULL, arena, notes, pool, error);
    DIR *folder = opendir(path);
    if (!folder)
        return sl_fail(error, SL_IO, "%s could not be opened.", path);
    const char **name = NULL;
    int names = 0, room = 0;
    const struct dirent *entry;
    while ((entry = readdir(folder))) {
        if (!sl_is_json(entry->d_name))
            continue;
        if (names == room) {
            int more = room ? 2 * room : 256;
            const char **list = SL_NEW(arena, more, const char *);
            if (!list)
                break;
            if (room)
                memcpy(list, name, sizeof *list * (size_t)room);
            name = list;
            room = more;
        }
        name[names++] = sl_arena_text(arena, entry->d_name);
    }
    closedir(folder);
    *pool = (sl_reads){0};
    if (names)
        qsort(name, (size_t)names, sizeof *name, by_text);
    for (int i = 0; i < names; i++) {
        sl_reads one;
        sl_error problem = {0};
        if (sl_reads_load(sl_path_join(arena, path, name[i]), SL_BY_LABELS, NULL, arena, notes, &one, &problem))
            sl_note(notes, "Left out of the pool: %s", problem.text);
        for (int r = 0; r < one.count; r++)
            if (!sl_reads_find(pool, one.reading[r]->clip) && !sl_reads_add(pool, one.reading[r], arena))
                return sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    return pool->count ? SL_OK
                       : sl_fail(error, SL_FORMAT, "%s holds no JSON of readings to draw from. Simulated clips come with "
                                                   "a .truth.json each.", path);
}

bool sl_truth_certain(const sl_finding *truth)
{
    return truth && truth->known &&
           (sl_finding_info_of(truth->code)->kind != SL_KIND_ANSWER || truth->answer != SL_UNCERTAIN);
}

/* ---- drawing ---- */

static bool same_clip(const char *a, const char *b)
{
    char x[512], y[512];
    sl_clip_key(a, x, sizeof x);
    sl_clip_key(b, y, sizeof y);
    return !strcmp(x, y);
}

static bool met_before(const sl_learner *l, const char *clip)
{
    for (int s = 0; s < l->sessions; s++)
        for (int c = 0; c < l->session[s].clips; c++)
            if (same_clip(l->session[s].clip[c], clip))
                return true;
    return false;
}

/* What the practised finding is in this clip, as a small number to balance by; -1: not certain. */
static int class_of(const sl_reading *reading, sl_code code)
{
    const sl_finding *truth = sl_reading_get(reading, code);
    if (!sl_truth_certain(truth))
        return -1;
    if (sl_finding_info_of(code)->kind == SL_KIND_ANSWER)
        return truth->answer == SL_PRESENT;
    return (int)fmin(fmax(truth->value, 0), 7);
}

static bool askable(const sl_reading *reading, const sl_code *code, int codes)
{
    for (int i = 0; i < codes; i++)
        if (sl_truth_certain(sl_reading_get(reading, code[i])))
            return true;
    return false;
}

static sl_code code_to_practise(const sl_learner *l, const sl_code *code, int codes, uint64_t seed)
{
    sl_curve *curve;
    int curves = sl_learner_curves(l, &curve), next = curves > 0 ? sl_practise_next(curve, curves) : -1;
    for (int i = 0; i < codes; i++)
        if (next >= 0 && curve[next].code == code[i])
            return code[i];
    return code[seed % (uint64_t)codes];
}

sl_status sl_learner_draw(sl_learner *l, const sl_reads *pool, const char *pool_path, int clips, const sl_code *code,
                          int codes, uint64_t seed, const char *when, sl_session **session, sl_error *error)
{
    int *order = SL_NEW(l->arena, pool->count + 1, int);
    bool *taken = SL_NEW(l->arena, pool->count + 1, bool), *met = SL_NEW(l->arena, pool->count + 1, bool);
    const char **drawn = SL_NEW(l->arena, clips + 1, const char *);
    if (!order || !taken || !met || !drawn)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_shuffled(seed + (uint64_t)l->sessions * 1000003, pool->count, order);
    for (int i = 0; i < pool->count; i++)
        met[i] = met_before(l, pool->reading[i]->clip);
    sl_code focus = code_to_practise(l, code, codes, seed);
    int count = 0, of_class[9] = {0};
    while (count < clips) {
        int best = -1, best_cost = 0;
        for (int i = 0; i < pool->count; i++) { /* new before met, the rarer class before the other, then the draw */
            int at = order[i];
            if (taken[at] || !askable(pool->reading[at], code, codes))
                continue;
            int class = class_of(pool->reading[at], focus);
            int cost = (met[at] ? 100000 : 0) + (class < 0 ? 10000 : of_class[class]);
            if (best < 0 || cost < best_cost) {
                best = at;
                best_cost = cost;
            }
        }
        if (best < 0)
            break;
        int class = class_of(pool->reading[best], focus);
        of_class[class < 0 ? 8 : class]++;
        taken[best] = true;
        drawn[count++] = pool->reading[best]->clip;
    }
    if (!count)
        return sl_fail(error, SL_USAGE, "%s says nothing certain of the findings asked for, so no session can be drawn.",
                       pool_path);
    /* shuffled again, or present and absent would take turns */
    sl_shuffled(seed * 7 + 1, count, order);
    sl_session *s = new_session(l);
    json_t *event = json_object(), *findings = json_array(), *list = json_array();
    if (!s)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    *s = (sl_session){.number = l->sessions, .pool = sl_arena_text(l->arena, pool_path), .codes = codes, .clips = count,
                      .clip = SL_NEW(l->arena, count, const char *)};
    for (int i = 0; i < count; i++)
        s->clip[i] = drawn[order[i]];
    for (int i = 0; i < codes; i++) {
        s->code[i] = code[i];
        json_array_append_new(findings, json_string(sl_finding_info_of(code[i])->key));
    }
    for (int i = 0; i < count; i++)
        json_array_append_new(list, json_string(s->clip[i]));
    json_object_set_new(event, "event", json_string("session"));
    json_object_set_new(event, "session", json_integer(s->number));
    json_object_set_new(event, "when", json_string(when));
    json_object_set_new(event, "pool", json_string(pool_path));
    json_object_set_new(event, "findings", findings);
    json_object_set_new(event, "clips", list);
    *session = s;
    return write_event(l, event, error);
}

/* ---- answering ---- */

bool sl_learner_answered(const sl_learner *l, int session, const char *clip, sl_code code)
{
    for (int i = 0; i < l->attempts; i++)
        if (l->attempt[i].session == session && l->attempt[i].code == code && same_clip(l->attempt[i].clip, clip))
            return true;
    return false;
}

static bool is_right(const sl_finding *said, const sl_finding *truth)
{
    if (!sl_truth_certain(said))
        return false;
    const sl_finding_info *info = sl_finding_info_of(truth->code);
    return info->kind == SL_KIND_ANSWER ? said->answer == truth->answer
                                        : fabs(said->value - truth->value) <=
                                              sl_tolerance(info, said->value, truth->value) + 1e-9;
}

sl_status sl_learner_answer(sl_learner *l, const sl_session *session, const char *clip, const sl_finding *said,
                            const sl_finding *truth, const char *when, const sl_attempt **attempt, sl_error *error)
{
    const sl_finding_info *info = sl_finding_info_of(truth->code);
    if (sl_learner_answered(l, session->number, clip, truth->code))
        return sl_fail(error, SL_USAGE, "Session %d holds an answer on %s of %s already; answers are not overwritten.",
                       session->number, info->name, clip);
    char said_text[40] = "could not tell", truth_text[40];
    if (said)
        sl_finding_text(said, said_text, sizeof said_text);
    sl_finding_text(truth, truth_text, sizeof truth_text);
    bool first = true;
    for (int i = 0; i < l->attempts; i++)
        first &= l->attempt[i].code != truth->code || !same_clip(l->attempt[i].clip, clip);
    sl_attempt *a = new_attempt(l);
    if (!a)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    *a = (sl_attempt){session->number, sl_arena_text(l->arena, clip), truth->code, sl_arena_text(l->arena, said_text),
                      sl_arena_text(l->arena, truth_text), is_right(said, truth), first};
    *attempt = a;
    json_t *event = json_object();
    json_object_set_new(event, "event", json_string("answer"));
    json_object_set_new(event, "session", json_integer(session->number));
    json_object_set_new(event, "when", json_string(when));
    json_object_set_new(event, "clip", json_string(clip));
    json_object_set_new(event, "finding", json_string(info->key));
    json_object_set_new(event, "said", json_string(said_text));
    json_object_set_new(event, "truth", json_string(truth_text));
    json_object_set_new(event, "right", json_boolean(a->right));
    json_object_set_new(event, "first", json_boolean(first));
    return write_event(l, event, error);
}

/* ---- feedback ---- */

static void add_span(sl_text *text, const double *share, const char *of)
{
    if (share[1] - share[0] < 0.005)
        sl_text_printf(text, ", at %.0f %% %s", 100 * share[0], of);
    else
        sl_text_printf(text, ", %.0f to %.0f %% %s", 100 * share[0], 100 * share[1], of);
}

static void add_place(const sl_evidence *e, sl_text *text)
{
    if (e->last_frame > e->first_frame)
        sl_text_printf(text, "frames %d to %d", e->first_frame, e->last_frame);
    else
        sl_text_printf(text, "frame %d", e->first_frame);
    if (sl_known(e->first_time_s) && sl_known(e->last_time_s) && e->last_frame > e->first_frame)
        sl_text_printf(text, " (%.2f to %.2f s)", e->first_time_s, e->last_time_s);
    else if (sl_known(e->first_time_s))
        sl_text_printf(text, " (%.2f s)", e->first_time_s);
    double beam[2] = {e->first_beam, e->last_beam}, depth[2] = {e->first_depth, e->last_depth};
    for (int i = 0; i < e->points; i++) {
        beam[0] = i ? fmin(beam[0], e->beam[i]) : e->beam[i];
        beam[1] = i ? fmax(beam[1], e->beam[i]) : e->beam[i];
        depth[0] = i ? fmin(depth[0], e->depth[i]) : e->depth[i];
        depth[1] = i ? fmax(depth[1], e->depth[i]) : e->depth[i];
    }
    if (sl_known(beam[0]) && sl_known(beam[1]))
        add_span(text, beam, "across the beams");
    if (sl_known(depth[0]) && sl_known(depth[1]))
        add_span(text, depth, "of the depth");
    if (e->label && *e->label)
        sl_text_printf(text, " [%s]", e->label);
}

void sl_feedback(const sl_attempt *a, const sl_finding *truth, sl_text *text)
{
    const sl_finding_info *info = sl_finding_info_of(a->code);
    sl_text_printf(text, "  %s %s: %s", a->right ? "Right." : "Not so.", info->name, a->truth);
    if (!a->right)
        sl_text_printf(text, " (you said: %s)", a->said);
    if (truth->reason && *truth->reason)
        sl_text_printf(text, "; %s", truth->reason);
    sl_text_add(text, ".\n");
    bool spread = truth->evidences > 6; /* a place a frame: first, middle and last say more than the first three */
    for (int i = 0; i < truth->evidences && i < 3; i++) {
        sl_text_add(text, "    Look at ");
        add_place(&truth->evidence[spread ? i * (truth->evidences - 1) / 2 : i], text);
        sl_text_add(text, ".\n");
    }
    if (truth->evidences > 3)
        sl_text_printf(text, "    And at %d further place%s.\n", truth->evidences - 3, truth->evidences == 4 ? "" : "s");
    bool has_place = info->kind == SL_KIND_ANSWER ? truth->answer == SL_PRESENT
                                                  : info->kind != SL_KIND_ORDERED && truth->value > 0;
    if (!truth->evidences && has_place)
        sl_text_add(text, "    The pool names no place for it.\n");
}
