/* report.txt: the examination in one paragraph, for the patient record. */
#include "report/report.h"

#include "core/file.h"
#include "core/units.h"
#include "report/volumes_words.h"
#include "report/words.h"

#include <stdio.h>
#include <string.h>

/* Numbers that belong to an answer and are said with it. */
static const struct {
    sl_code answer, amount;
} with[] = {{SL_B_LINES, SL_B_LINE_COUNT},         {SL_B_LINES, SL_B_LINE_COVERAGE},       {SL_EFFUSION, SL_EFFUSION_DEPTH},
            {SL_CONSOLIDATION, SL_CONSOLIDATION_EXTENT}, {SL_SLIDING, SL_SLIDING_AMPLITUDE_MM}};

static void add_sentence(sl_text *text, const char *sentence)
{
    sl_text_printf(text, "%s%s", text->length ? " " : "", sentence);
}

/* "B-lines (5 in one frame, 35 % of the space)" for what is seen; sliding also when none is seen, for that is a finding. */
static void add_findings(const sl_language *say, const sl_clip_result *result, sl_text *text)
{
    const char *between = "";
    for (int code = 0; result->reading && code < SL_CODES; code++) {
        const sl_finding *finding = sl_reading_get(result->reading, (sl_code)code);
        const sl_finding_info *info = sl_finding_info_of((sl_code)code);
        if (!finding || info->kind != SL_KIND_ANSWER || !finding->known || finding->answer == SL_UNCERTAIN ||
            (finding->answer == SL_ABSENT && code != SL_SLIDING))
            continue;
        sl_text_printf(text, "%s%s", between, sl_words_name(say, info));
        between = ", ";
        if (finding->answer == SL_ABSENT) {
            sl_text_printf(text, " %s", sl_say(say, SL_P_TEXT_NOT_SEEN));
            continue;
        }
        const char *open = " (";
        for (size_t i = 0; i < sizeof with / sizeof *with; i++) {
            const sl_finding *amount = with[i].answer == (sl_code)code ? sl_reading_get(result->reading, with[i].amount) : NULL;
            if (!amount || !amount->known || !sl_known(amount->value))
                continue;
            sl_words words;
            sl_words_finding(say, amount, &result->view, &words);
            sl_text_printf(text, "%s%s", open, words.value);
            open = ", ";
        }
        if (open[0] == ',')
            sl_text_add(text, ")");
    }
}

/* One side: its zones with score and what is seen in each. */
static void add_side(const sl_language *say, const sl_exam *exam, sl_side side, sl_text *text)
{
    sl_text zones = {0};
    for (int i = 0; i < exam->zones; i++) {
        const sl_zone_score *zone = &exam->zone[i];
        if (zone->zone->side != side || zone->score < 0)
            continue;
        sl_text found = {0};
        char one[1200], score[32];
        add_findings(say, &exam->clip[zone->decisive].result, &found);
        SL_SAY(say, SL_P_TEXT_ZONE, one, sl_words_place(say, zone->zone), sl_say_whole(zone->score, score),
               found.length ? found.bytes : sl_say(say, SL_P_TEXT_NO_SIGN));
        sl_text_printf(&zones, "%s%s", zones.length ? "; " : "", one);
        sl_text_free(&found);
    }
    if (zones.length) {
        sl_text_printf(text, " %s: %s.", sl_say(say, side == SL_SIDE_RIGHT ? SL_P_TEXT_RIGHT : SL_P_TEXT_LEFT), zones.bytes);
    }
    sl_text_free(&zones);
}

/* The volume of each effusion, by all formulas that apply; why there is none. */
static void add_volumes(const sl_language *say, const sl_exam *exam, sl_text *text)
{
    for (int i = 0; i < exam->clips; i++) {
        sl_exam_fluid fluid;
        char zone[120], one[600], whole[2600];
        bool quiet = false;
        if (!sl_exam_fluid_of(exam, &exam->clip[i], &exam->clip[i].result, &fluid))
            continue;
        sl_text lines = {0};
        for (int line = 0; sl_volumes_line(say, &fluid, line, one, sizeof one, &quiet) && (!quiet || !fluid.applying); line++)
            sl_text_printf(&lines, "%s%s", lines.length ? " " : "", one);
        if (fluid.large[0])
            sl_text_printf(&lines, " %s.", fluid.large);
        sl_words_zone_full(say, exam->clip[i].zone, zone, sizeof zone);
        if (lines.bytes)
            add_sentence(text, SL_SAY(say, SL_P_TEXT_FLUID, whole, zone, lines.bytes));
        sl_text_free(&lines);
    }
}

/* The zones for which `wanted` holds, in one sentence. */
static void add_zones(const sl_language *say, const sl_exam *exam, sl_phrase sentence, bool without_clip, sl_text *text)
{
    sl_text list = {0};
    for (int i = 0; i < exam->zones; i++) {
        const sl_zone_score *zone = &exam->zone[i];
        char name[120];
        if (zone->score >= 0 || (zone->clips == 0) != without_clip)
            continue;
        sl_words_zone_full(say, zone->zone, name, sizeof name);
        sl_text_printf(&list, "%s%s", list.length ? ", " : "", name);
    }
    if (list.length) {
        char line[2000];
        add_sentence(text, SL_SAY(say, sentence, line, list.bytes));
    }
    sl_text_free(&list);
}

void sl_report_paragraph(const sl_exam *exam, sl_text *text)
{
    const sl_language *say = sl_language_for(exam);
    char line[3000], a[32], b[32], c[32], d[32];
    int read = 0;
    for (int i = 0; i < exam->clips; i++)
        read += exam->clip[i].result.state == SL_CLIP_READ;
    if (exam->invented)
        sl_text_printf(text, "%s.", sl_say(say, SL_P_INVENTED_PAGE));
    add_sentence(text, *exam->date ? SL_SAY(say, SL_P_TEXT_DATED, line, exam->date) : sl_say(say, SL_P_TEXT_UNDATED));
    add_sentence(text, SL_SAY(say, SL_P_SIGN_QUESTION, line, *exam->question ? exam->question : sl_say(say, SL_P_SIGN_NO_QUESTION)));
    if (!strchr(".?!", text->bytes ? text->bytes[text->length - 1] : '.'))
        sl_text_add(text, ".");
    add_sentence(text, SL_SAY(say, SL_P_TEXT_CLIPS, line, sl_say_whole(read, a), sl_say_whole(exam->clips, b)));
    sl_posture posture = sl_exam_posture(exam);
    bool stated = posture != SL_POSTURE_UNKNOWN;
    for (int i = 0; i < exam->clips; i++)
        stated |= exam->clip[i].posture != SL_POSTURE_UNKNOWN;
    add_sentence(text, posture   ? SL_SAY(say, SL_P_TEXT_POSTURE, line, sl_words_posture(say, posture))
                       : stated ? sl_say(say, SL_P_TEXT_POSTURE_MIXED)
                                : sl_say(say, SL_P_TEXT_POSTURE_UNKNOWN));
    if (exam->zones_scored) {
        add_sentence(text, SL_SAY(say, SL_P_TEXT_TOTAL, line, sl_say_whole(exam->total, a), sl_say_whole(exam->total_of, b),
                                  sl_say_whole(exam->zones_scored, c), sl_say_whole(exam->zones, d)));
        if (exam->total_low < exam->total_high)
            add_sentence(text, SL_SAY(say, SL_P_TEXT_RANGE, line, sl_say_number(say, exam->total_low, 0, a),
                                      sl_say_number(say, exam->total_high, 0, b), sl_say_whole(3 * exam->zones, c)));
    } else
        add_sentence(text, sl_say(say, SL_P_TEXT_NO_SCORE));
    add_side(say, exam, SL_SIDE_RIGHT, text);
    add_side(say, exam, SL_SIDE_LEFT, text);
    add_volumes(say, exam, text);
    add_zones(say, exam, SL_P_TEXT_NOT_SCANNED, true, text);
    add_zones(say, exam, SL_P_TEXT_OPEN, false, text);
    if (exam->change && exam->change->compared)
        add_sentence(text, SL_SAY(say, SL_P_TEXT_CHANGE, line, *exam->change->old->date ? exam->change->old->date : sl_say(say, SL_P_CHANGE_UNDATED),
                                  sl_words_change(say, exam->change->word), sl_words_signed(exam->change->total, a),
                                  sl_say_whole(exam->change->compared, b), sl_say_number(say, exam->change->least_total, 1, c)));
    for (int i = 0; i < exam->conclusions; i++) {
        const sl_conclusion *one = &exam->conclusion[i];
        if (i)
            sl_text_printf(text, " %s:", SL_SAY(say, SL_P_SIGN_HEADING_ADDENDUM, line, sl_say_whole(i, a)));
        else
            sl_text_printf(text, " %s:", sl_say(say, SL_P_SIGN_HEADING_CONCLUSION));
        add_sentence(text, one->text);
        if (!*one->text || !strchr(".?!", one->text[strlen(one->text) - 1]))
            sl_text_add(text, ".");
    }
    if (!exam->conclusions)
        add_sentence(text, sl_say(say, SL_P_TEXT_NOT_CONCLUDED));
    add_sentence(text, sl_say(say, SL_P_LIMITS));
    add_sentence(text, sl_say(say, SL_P_CAUTION));
}

sl_status sl_report_text(const sl_exam *exam, const char *path, sl_error *error)
{
    sl_text text = {0};
    sl_report_paragraph(exam, &text);
    for (size_t i = 0; i < text.length; i++) /* one paragraph, whatever was typed */
        if (text.bytes[i] == '\n' || text.bytes[i] == '\r')
            text.bytes[i] = ' ';
    sl_text_add(&text, "\n");
    sl_status status = text.failed ? sl_fail(error, SL_MEMORY, "Memory ran out while writing %s.", path)
                                   : sl_file_write(path, text.bytes, text.length, error);
    sl_text_free(&text);
    return status;
}
