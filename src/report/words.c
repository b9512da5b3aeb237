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
const char sl_words_method[] =
    "Read by strandline " SL_VERSION ": imaged area found, straightened to beam and depth, signs measured in each frame; "
    "intervals are 95 %.";

const char *sl_words_state(sl_clip_state state)
{
    return state == SL_CLIP_READ ? "read" : state == SL_CLIP_UNREADABLE ? "unreadable" : "failed";
}

/* A share that people say in per cent. */
static bool is_share(const sl_finding_info *info)
{
    return !strncmp(info->unit, "share", 5) && info->code != SL_PLEURA_DEPTH;
}

static const char *unit_in_words(const sl_finding *finding, const sl_view *view)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    switch (finding->code) {
    case SL_B_LINE_COVERAGE:
        return "% of the space";
    case SL_B_LINE_COUNT:
        return "in one frame";
    case SL_A_LINE_COUNT:
        return finding->value > 0.5 && finding->value < 1.5 ? "repeat" : "repeats";
    case SL_A_LINE_SPACING: /* its row names two units */
        return view->face_visible ? "pleural depths" : "of the imaged depth";
    case SL_PLEURA_DEPTH:
        return "of the imaged depth";
    case SL_SCORE:
        return "of 3";
    default:
        break;
    }
    if (is_share(info))
        return !strcmp(info->unit, "share of the beams") ? "% of the beams" : "%";
    return info->unit;
}

static int decimals_of(const sl_finding_info *info)
{
    if (is_share(info))
        return 0;
    return info->code == SL_PLEURA_DEPTH || info->code == SL_A_LINE_SPACING ? 2 : info->decimals;
}

static void number(double value, int decimals, char *text, size_t room)
{
    snprintf(text, room, "%.*f", decimals, value == 0 ? 0.0 : value);
    if (text[0] == '-' && strspn(text, "-0.") == strlen(text)) /* no minus before a zero */
        memmove(text, text + 1, strlen(text));
}

static void say_interval(const sl_finding *finding, char *text, size_t room)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    text[0] = 0;
    if (!sl_known(finding->low) || !sl_known(finding->high))
        return;
    double factor = is_share(info) ? 100 : 1;
    char low[24], high[24];
    int decimals = decimals_of(info) + (decimals_of(info) == 2); /* shares of the depth have narrow intervals */
    number(finding->low * factor, decimals, low, sizeof low);
    number(finding->high * factor, decimals, high, sizeof high);
    if (!strcmp(low, high) && info->kind != SL_KIND_AMOUNT)
        return;
    const char *unit = is_share(info) ? " %" : !strcmp(info->unit, "mm") ? " mm" : "";
    snprintf(text, room, "%s%s to %s%s", info->kind == SL_KIND_ANSWER ? "index " : "", low, high, unit);
}

/* Where it comes from: the frames and seconds of all its evidence. */
static void say_evidence(const sl_finding *finding, char *text, size_t room)
{
    text[0] = 0;
    if (finding->evidences < 1)
        return;
    const sl_evidence *first = &finding->evidence[0];
    int from = first->first_frame, to = first->last_frame;
    if (finding->evidences == 2 && from == to && finding->evidence[1].first_frame == finding->evidence[1].last_frame &&
        finding->evidence[1].first_frame != from) {
        const sl_evidence *second = &finding->evidence[1];
        const sl_evidence *early = second->first_frame < from ? second : first, *late = early == first ? second : first;
        int used = snprintf(text, room, "frames %d and %d", early->first_frame, late->first_frame);
        if (sl_known(early->first_time_s) && sl_known(late->first_time_s))
            snprintf(text + used, room - (size_t)used, ", %.2f and %.2f s", early->first_time_s, late->first_time_s);
        return;
    }
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
    if (from == to)
        snprintf(text, room, "frame %d", from);
    else
        snprintf(text, room, "frames %d to %d", from, to);
    size_t used = strlen(text);
    if (sl_known(begin) && from == to)
        snprintf(text + used, room - used, ", %.2f s", begin);
    else if (sl_known(begin) && sl_known(end))
        snprintf(text + used, room - used, ", %.1f to %.1f s", begin, end);
}

static void say_answer(const sl_finding *finding, char *text, size_t room)
{
    bool told = finding->known && finding->answer != SL_UNCERTAIN;
    const char *word = !told ? "could not tell" : finding->answer == SL_PRESENT ? "seen" : "none seen";
    if (sl_known(finding->value))
        snprintf(text, room, "%s (index %.2f)", word, finding->value);
    else
        snprintf(text, room, "%s", word);
}

void sl_words_finding(const sl_finding *finding, const sl_view *view, sl_words *words)
{
    const sl_finding_info *info = sl_finding_info_of(finding->code);
    *words = (sl_words){{0}, {0}, {0}, {0}, {0}};
    snprintf(words->label, sizeof words->label, "%s", info->name);
    snprintf(words->reason, sizeof words->reason, "%s", finding->reason ? finding->reason : "");
    if (info->kind == SL_KIND_ANSWER)
        say_answer(finding, words->value, sizeof words->value);
    else if (!finding->known || !sl_known(finding->value))
        snprintf(words->value, sizeof words->value, "could not tell");
    else if (info->kind == SL_KIND_COUNT && finding->value < 0.5)
        snprintf(words->value, sizeof words->value, "none");
    else {
        char text[24];
        number(finding->value * (is_share(info) ? 100 : 1), decimals_of(info), text, sizeof text);
        const char *unit = unit_in_words(finding, view);
        snprintf(words->value, sizeof words->value, "%s%s%s", text, *unit ? " " : "", unit);
    }
    say_interval(finding, words->interval, sizeof words->interval);
    say_evidence(finding, words->evidence, sizeof words->evidence);
}

void sl_words_short(const sl_reading *reading, sl_code code, char *text, size_t room)
{
    const sl_finding *finding = reading ? sl_reading_get(reading, code) : NULL;
    const sl_finding_info *info = sl_finding_info_of(code);
    text[0] = 0;
    if (!finding)
        return;
    if (info->kind == SL_KIND_ANSWER) {
        bool told = finding->known && finding->answer != SL_UNCERTAIN;
        snprintf(text, room, "%s", !told ? "not told" : finding->answer == SL_PRESENT ? "seen" : "none seen");
    } else if (!finding->known || !sl_known(finding->value))
        snprintf(text, room, "not told");
    else {
        char value[24];
        number(finding->value * (is_share(info) ? 100 : 1), decimals_of(info), value, sizeof value);
        snprintf(text, room, "%s%s", value, is_share(info) ? " %" : !strcmp(info->unit, "mm") ? " mm" : "");
    }
}

void sl_words_clip(const sl_exam_clip *clip, char *text, size_t room)
{
    const sl_clip_result *result = &clip->result;
    size_t used = 0;
    text[0] = 0;
    if (result->state != SL_CLIP_FAILED) {
        if (result->view.shape != SL_SHAPE_UNKNOWN)
            used += (size_t)snprintf(text + used, room - used, "%s, ", sl_shape_name(result->view.shape));
        if (result->frames == 1)
            used += (size_t)snprintf(text + used, room - used, "one frame");
        else if (sl_known(result->duration_s))
            used += (size_t)snprintf(text + used, room - used, "%d frames in %.1f s", result->frames, result->duration_s);
        else
            used += (size_t)snprintf(text + used, room - used, "%d frames, times unknown", result->frames);
    }
    if (result->state != SL_CLIP_READ || used >= room)
        return;
    double depth_mm = sl_view_depth_mm(&result->view);
    if (sl_known(depth_mm)) {
        static const char *const by[] = {[SL_SCALE_NONE] = "", [SL_SCALE_DICOM] = "by the file's calibration",
                                         [SL_SCALE_STATED] = "as stated", [SL_SCALE_RULER] = "by the ruler in the picture"};
        snprintf(text + used, room - used, ", %.1f cm deep (%s)", depth_mm / 10, by[result->view.scale_source]);
    } else
        snprintf(text + used, room - used, ", scale unknown: depths as shares");
}

void sl_words_zone(const sl_zone *zone, char *text, size_t room)
{
    if (zone)
        snprintf(text, room, "%s %s", zone->side == SL_SIDE_RIGHT ? "R" : "L", zone->place);
    else
        snprintf(text, room, "no zone");
}
