#include "report/words.h"

#include "core/units.h"

#include <stdio.h>
#include <string.h>

const char sl_words_caution[] =
    "Supports and does not replace a clinician\u2019s judgement. Not a medical device. Local protocols and licensed "
    "practice come first.";
const char sl_words_limits[] =
    "Lung ultrasound shows only what reaches the pleura under the probe. What was not scanned is unknown, and a sign not "
    "seen is no disease excluded.";

const char *sl_words_state(sl_clip_state state)
{
    return state == SL_CLIP_READ ? "read" : state == SL_CLIP_UNREADABLE ? "unreadable" : "failed";
}

/* A share that people say in per cent. */
static bool is_share(const sl_finding_info *info)
{
    return !strncmp(info->unit, "share", 5) && info->code != SL_PLEURA_DEPTH;
}

static bool is_mm(const sl_finding_info *info)
{
    return !strcmp(info->unit, "mm");
}

const char *sl_words_name(const sl_language *say, const sl_finding_info *info)
{
    char key[80];
    snprintf(key, sizeof key, "finding.%s.name", info->key);
    return sl_say_key(say, key, info->name);
}

const char *sl_words_source(const sl_language *say, const sl_finding_info *info)
{
    char key[80];
    snprintf(key, sizeof key, "finding.%s.source", info->key);
    return sl_say_key(say, key, info->source);
}

static const char *unit_in_words(const sl_language *say, const sl_finding *finding, const sl_view *view, char *room, size_t size)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    switch (finding->code) {
    case SL_B_LINE_COVERAGE:
        return sl_say(say, SL_P_UNIT_PERCENT_SPACE);
    case SL_B_LINE_COUNT:
        return sl_say(say, SL_P_UNIT_ONE_FRAME);
    case SL_A_LINE_COUNT:
        return sl_say(say, finding->value > 0.5 && finding->value < 1.5 ? SL_P_UNIT_REPEAT : SL_P_UNIT_REPEATS);
    case SL_A_LINE_SPACING: /* its row names two units */
        return sl_say(say, view->face_visible ? SL_P_UNIT_PLEURAL_DEPTHS : SL_P_UNIT_IMAGED_DEPTH);
    case SL_PLEURA_DEPTH:
        return sl_say(say, SL_P_UNIT_IMAGED_DEPTH);
    case SL_SCORE:
        return sl_say(say, SL_P_UNIT_OF_3);
    default:
        break;
    }
    if (is_share(info))
        return sl_say(say, !strcmp(info->unit, "share of the beams") ? SL_P_UNIT_PERCENT_BEAMS : SL_P_UNIT_PERCENT);
    return sl_say_stated(say, info->unit, room, size);
}

static int decimals_of(const sl_finding_info *info)
{
    if (is_share(info))
        return 0;
    return info->code == SL_PLEURA_DEPTH || info->code == SL_A_LINE_SPACING ? 2 : info->decimals;
}

static void say_interval(const sl_language *say, const sl_finding *finding, char *text, size_t room)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    text[0] = 0;
    if (!sl_known(finding->low) || !sl_known(finding->high))
        return;
    double factor = is_share(info) ? 100 : 1;
    char low[32], high[32], range[72];
    int decimals = decimals_of(info) + (decimals_of(info) == 2); /* shares of the depth have narrow intervals */
    sl_say_number(say, finding->low * factor, decimals, low);
    sl_say_number(say, finding->high * factor, decimals, high);
    if (!strcmp(low, high) && info->kind != SL_KIND_AMOUNT)
        return;
    SL_SAY(say, SL_P_NUMBER_TO, range, low, high);
    const char *const values[] = {range, NULL};
    if (info->kind == SL_KIND_ANSWER)
        sl_say_in(say, SL_P_INTERVAL_INDEX, text, room, values);
    else
        snprintf(text, room, "%s%s%s", range, is_share(info) || is_mm(info) ? " " : "",
                 is_share(info) ? sl_say(say, SL_P_UNIT_PERCENT) : is_mm(info) ? sl_say(say, SL_P_UNIT_MM) : "");
}

/* Two evidences of a frame each, as two frames rather than a stretch. */
static bool say_two(const sl_language *say, const sl_finding *finding, char *text, size_t room)
{
    const sl_evidence *early = &finding->evidence[0], *late = &finding->evidence[1];
    if (finding->evidences != 2 || early->first_frame != early->last_frame || late->first_frame != late->last_frame ||
        early->first_frame == late->first_frame)
        return false;
    if (late->first_frame < early->first_frame) {
        early = &finding->evidence[1];
        late = &finding->evidence[0];
    }
    char a[32], b[32], c[32], d[32], frames[80];
    SL_SAY(say, SL_P_EVIDENCE_FRAMES_TWO, frames, sl_say_whole(early->first_frame, a), sl_say_whole(late->first_frame, b));
    if (sl_known(early->first_time_s) && sl_known(late->first_time_s)) {
        const char *const values[] = {frames, sl_say_number(say, early->first_time_s, 2, c), sl_say_number(say, late->first_time_s, 2, d), NULL};
        sl_say_in(say, SL_P_EVIDENCE_TIMES_TWO, text, room, values);
    } else
        snprintf(text, room, "%s", frames);
    return true;
}

/* Where it comes from: the frames and seconds of all its evidence. */
static void say_evidence(const sl_language *say, const sl_finding *finding, char *text, size_t room)
{
    text[0] = 0;
    if (finding->evidences < 1 || (finding->evidences == 2 && say_two(say, finding, text, room)))
        return;
    const sl_evidence *first = &finding->evidence[0];
    int from = first->first_frame, to = first->last_frame;
    double begin = first->first_time_s, end = first->last_time_s;
    for (int i = 1; i < finding->evidences; i++) {
        const sl_evidence *other = &finding->evidence[i];
        if (other->first_frame < from) {
            from = other->first_frame;
            begin = other->first_time_s;
        }
        if (other->last_frame > to) {
            to = other->last_frame;
            end = other->last_time_s;
        }
    }
    char a[32], b[32], frames[80];
    if (from == to)
        SL_SAY(say, SL_P_EVIDENCE_FRAME, frames, sl_say_whole(from, a));
    else
        SL_SAY(say, SL_P_EVIDENCE_FRAMES, frames, sl_say_whole(from, a), sl_say_whole(to, b));
    const char *values[4] = {frames, NULL};
    if (sl_known(begin) && from == to) {
        values[1] = sl_say_number(say, begin, 2, a);
        sl_say_in(say, SL_P_EVIDENCE_TIME, text, room, values);
    } else if (sl_known(begin) && sl_known(end)) {
        values[1] = sl_say_number(say, begin, 1, a);
        values[2] = sl_say_number(say, end, 1, b);
        sl_say_in(say, SL_P_EVIDENCE_TIMES, text, room, values);
    } else
        snprintf(text, room, "%s", frames);
}

static void say_answer(const sl_language *say, const sl_finding *finding, char *text, size_t room)
{
    bool told = finding->known && finding->answer != SL_UNCERTAIN;
    const char *word = sl_say(say, !told ? SL_P_ANSWER_OPEN : finding->answer == SL_PRESENT ? SL_P_ANSWER_SEEN : SL_P_ANSWER_NONE_SEEN);
    char index[32];
    const char *const values[] = {word, sl_say_number(say, finding->value, 2, index), NULL};
    if (sl_known(finding->value))
        sl_say_in(say, SL_P_ANSWER_INDEX, text, room, values);
    else
        snprintf(text, room, "%s", word);
}

void sl_words_finding(const sl_language *say, const sl_finding *finding, const sl_view *view, sl_words *words)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    *words = (sl_words){{0}, {0}, {0}, {0}, {0}};
    snprintf(words->label, sizeof words->label, "%s", sl_words_name(say, info));
    sl_say_stated(say, finding->reason ? finding->reason : "", words->reason, sizeof words->reason);
    if (info->kind == SL_KIND_ANSWER)
        say_answer(say, finding, words->value, sizeof words->value);
    else if (!finding->known || !sl_known(finding->value))
        snprintf(words->value, sizeof words->value, "%s", sl_say(say, SL_P_ANSWER_OPEN));
    else if (info->kind == SL_KIND_COUNT && finding->value < 0.5)
        snprintf(words->value, sizeof words->value, "%s", sl_say(say, SL_P_ANSWER_NONE));
    else {
        char text[32], room[80];
        sl_say_number(say, finding->value * (is_share(info) ? 100 : 1), decimals_of(info), text);
        const char *unit = unit_in_words(say, finding, view, room, sizeof room);
        snprintf(words->value, sizeof words->value, "%s%s%s", text, *unit ? " " : "", unit);
    }
    say_interval(say, finding, words->interval, sizeof words->interval);
    say_evidence(say, finding, words->evidence, sizeof words->evidence);
}

void sl_words_short(const sl_language *say, const sl_reading *reading, sl_code code, char *text, size_t room)
{
    const sl_finding *finding = reading ? sl_reading_get(reading, code) : NULL;
    const sl_finding_info *info = sl_finding_info_of(code);
    text[0] = 0;
    if (!finding)
        return;
    bool told = finding->known && (info->kind == SL_KIND_ANSWER ? finding->answer != SL_UNCERTAIN : sl_known(finding->value));
    if (!told)
        snprintf(text, room, "%s", sl_say(say, SL_P_SHORT_OPEN));
    else if (info->kind == SL_KIND_ANSWER)
        snprintf(text, room, "%s", sl_say(say, finding->answer == SL_PRESENT ? SL_P_SHORT_SEEN : SL_P_SHORT_NONE_SEEN));
    else {
        char value[32];
        sl_say_number(say, finding->value * (is_share(info) ? 100 : 1), decimals_of(info), value);
        snprintf(text, room, "%s%s%s", value, is_share(info) || is_mm(info) ? " " : "",
                 is_share(info) ? sl_say(say, SL_P_UNIT_PERCENT) : is_mm(info) ? sl_say(say, SL_P_UNIT_MM) : "");
    }
}

static const char *shape_in_words(const sl_language *say, sl_shape shape)
{
    return sl_say(say, shape == SL_SHAPE_CONVEX ? SL_P_SHAPE_CONVEX : shape == SL_SHAPE_LINEAR ? SL_P_SHAPE_LINEAR : SL_P_SHAPE_SECTOR);
}

const char *sl_words_posture(const sl_language *say, sl_posture posture)
{
    char key[40];
    snprintf(key, sizeof key, "posture.%s", sl_posture_key(posture));
    return posture ? sl_say_key(say, key, sl_posture_key(posture)) : "";
}

void sl_words_clip(const sl_language *say, const sl_exam_clip *clip, char *text, size_t room)
{
    const sl_clip_result *result = &clip->result;
    char frames[80] = "", depth[100] = "", a[32], b[32];
    const char *shape = "";
    if (result->state != SL_CLIP_FAILED) {
        if (result->view.shape != SL_SHAPE_UNKNOWN)
            shape = shape_in_words(say, result->view.shape);
        if (result->frames == 1)
            snprintf(frames, sizeof frames, "%s", sl_say(say, SL_P_FACTS_ONE_FRAME));
        else if (sl_known(result->duration_s))
            SL_SAY(say, SL_P_FACTS_FRAMES, frames, sl_say_whole(result->frames, a), sl_say_number(say, result->duration_s, 1, b));
        else
            SL_SAY(say, SL_P_FACTS_FRAMES_UNTIMED, frames, sl_say_whole(result->frames, a));
    }
    double depth_mm = result->state == SL_CLIP_READ ? sl_view_depth_mm(&result->view) : SL_UNKNOWN;
    if (sl_known(depth_mm)) {
        static const sl_phrase by[] = {[SL_SCALE_NONE] = SL_P_FACTS_NO_SCALE, [SL_SCALE_DICOM] = SL_P_FACTS_BY_DICOM,
                                       [SL_SCALE_STATED] = SL_P_FACTS_BY_STATED, [SL_SCALE_RULER] = SL_P_FACTS_BY_RULER};
        SL_SAY(say, SL_P_FACTS_DEPTH, depth, sl_say_number(say, depth_mm / 10, 1, a), sl_say(say, by[result->view.scale_source]));
    } else if (result->state == SL_CLIP_READ)
        snprintf(depth, sizeof depth, "%s", sl_say(say, SL_P_FACTS_NO_SCALE));
    const char *posture = sl_words_posture(say, clip->posture);
    snprintf(text, room, "%s%s%s%s%s%s%s", shape, *shape ? ", " : "", frames, *depth ? ", " : "", depth, *posture ? ", " : "", posture);
}

const char *sl_words_place(const sl_language *say, const sl_zone *zone)
{
    char key[80];
    snprintf(key, sizeof key, "place.%s", strchr(zone->key, '-') ? strchr(zone->key, '-') + 1 : zone->key);
    return sl_say_key(say, key, zone->place);
}

void sl_words_zone(const sl_language *say, const sl_zone *zone, char *text, size_t room)
{
    if (!zone) {
        snprintf(text, room, "%s", sl_say(say, SL_P_ZONE_NONE));
        return;
    }
    const char *const values[] = {sl_say(say, zone->side == SL_SIDE_RIGHT ? SL_P_SIDE_RIGHT_LETTER : SL_P_SIDE_LEFT_LETTER),
                                  sl_words_place(say, zone), NULL};
    sl_say_in(say, SL_P_ZONE_FULL, text, room, values);
}

void sl_words_zone_full(const sl_language *say, const sl_zone *zone, char *text, size_t room)
{
    if (!zone) {
        snprintf(text, room, "%s", sl_say(say, SL_P_ROW_NO_ZONE));
        return;
    }
    const char *const values[] = {sl_say(say, zone->side == SL_SIDE_RIGHT ? SL_P_SIDE_RIGHT : SL_P_SIDE_LEFT), sl_words_place(say, zone), NULL};
    sl_say_in(say, SL_P_ZONE_FULL, text, room, values);
}

const char *sl_words_change(const sl_language *say, sl_change_word word)
{
    static const sl_phrase words[] = {[SL_CHANGE_OPEN] = SL_P_CHANGE_OPEN, [SL_CHANGE_NONE] = SL_P_CHANGE_NONE,
                                      [SL_CHANGE_MORE_AIR] = SL_P_CHANGE_MORE_AIR, [SL_CHANGE_LESS_AIR] = SL_P_CHANGE_LESS_AIR};
    return sl_say(say, words[word]);
}

const char *sl_words_signed(int value, char text[32])
{
    snprintf(text, 32, "%s%d", value > 0 ? "+" : value < 0 ? "\u2212" : "", value < 0 ? -value : value);
    return text;
}
