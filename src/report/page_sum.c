/* What the examination shows as a whole: scores by published schemes, patterns, and what such a pattern is described with. */
#include "report/pages.h"

#include "core/text.h"
#include "core/units.h"
#include "exam/synthesis.h"
#include "report/synthesis_json.h"
#include "report/volumes_words.h"
#include "report/words.h"

#include <stdio.h>

typedef struct sheet {
    sl_pen *pen;
    const sl_language *say;
    double x, width, y;
} sheet;

static void heading(sheet *s, sl_phrase phrase)
{
    sl_pen_text(s->pen, s->x, s->y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, s->width, sl_say(s->say, phrase));
    s->y += 15;
}

static void body(sheet *s, int type, uint32_t colour, const char *text)
{
    s->y += sl_pen_paragraph(s->pen, s->x, s->y, s->width, 0, type, colour, text) + 2.5;
}

static void draw_schemes(sheet *s, const sl_exam *exam, const sl_synthesis *all)
{
    char text[400], n[6][32], key[64];
    heading(s, SL_P_SUM_SCHEMES);
    for (int i = 0; i < SL_SCHEMES; i++) {
        const sl_scheme_info *info = sl_scheme_info_of((sl_scheme)i);
        const sl_scheme_total *t = &all->scheme[i];
        snprintf(key, sizeof key, "scheme.%s.name", info->key);
        SL_SAY(s->say, SL_P_SUM_SCHEME, text, sl_say_key(s->say, key, info->name), sl_say_whole(t->total, n[0]), sl_say_whole(t->of, n[1]),
               sl_say_whole(t->zones, n[2]), sl_say_whole(exam->zones, n[3]), sl_say_number(s->say, t->low, 0, n[4]),
               sl_say_number(s->say, t->high, 0, n[5]));
        body(s, SL_TYPE_BODY, LOOK_COLOUR_INK, text);
        body(s, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, info->source);
    }
    body(s, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, sl_say(s->say, SL_P_SUM_NEVER_ADDED));
    s->y += 6;
}

static void draw_patterns(sheet *s, const sl_synthesis *all)
{
    static const sl_phrase names[SL_PATTERNS] = {SL_P_PATTERN_0, SL_P_PATTERN_1, SL_P_PATTERN_2, SL_P_PATTERN_3, SL_P_PATTERN_4, SL_P_PATTERN_5};
    char zone[64], line[400], n[3][32];
    heading(s, SL_P_SUM_PATTERNS);
    for (int p = SL_PATTERNS - 1; p >= 0; p--) {
        sl_text text = {0};
        int zones = 0;
        for (int i = 0; i < all->zones; i++)
            if (all->zone[i].pattern == (sl_pattern)p) {
                sl_words_zone(s->say, all->zone[i].zone, zone, sizeof zone);
                sl_text_printf(&text, "%s%s", zones++ ? ", " : "", zone);
            }
        if (zones && text.bytes) {
            snprintf(line, sizeof line, "%s: %s", sl_say(s->say, names[p]), text.bytes);
            body(s, SL_TYPE_BODY, LOOK_COLOUR_INK, line);
        }
        sl_text_free(&text);
    }
    int told = all->judged_right + all->judged_left, positive = all->positive_right + all->positive_left;
    bool diffuse = all->positive_right >= 2 && all->positive_left >= 2;
    SL_SAY(s->say, !told ? SL_P_SUM_LINES_OPEN : diffuse ? SL_P_SUM_DIFFUSE : positive ? SL_P_SUM_FOCAL : SL_P_SUM_NO_LINES, line,
           sl_say_whole(all->positive_right, n[0]), sl_say_whole(all->positive_left, n[1]), sl_say_whole(told, n[2]));
    body(s, SL_TYPE_BODY, LOOK_COLOUR_INK, line);
    s->y += 6;
}

/* Of the clip with the deepest effusion on each side: the page has room for two; all stand in exam.json. */
static void draw_volumes(sheet *s, const sl_exam *exam)
{
    const sl_exam_clip *deepest[2] = {NULL, NULL};
    sl_exam_fluid fluid, most[2];
    for (int i = 0; i < exam->clips; i++) {
        const sl_exam_clip *clip = &exam->clip[i];
        int side = clip->zone && clip->zone->side == SL_SIDE_LEFT;
        if (!sl_exam_fluid_of(exam, clip, &clip->result, &fluid))
            continue;
        if (!deepest[side] || fluid.separation_mm > most[side].separation_mm ||
            (!sl_known(most[side].separation_mm) && sl_known(fluid.separation_mm))) {
            deepest[side] = clip;
            most[side] = fluid;
        }
    }
    if (!deepest[0] && !deepest[1])
        return;
    heading(s, SL_P_FLUID_HEADING);
    for (int side = 0; side < 2; side++) {
        char text[700];
        bool quiet = false;
        if (!deepest[side])
            continue;
        sl_volumes_head(s->say, deepest[side], &most[side], text, sizeof text);
        body(s, SL_TYPE_BODY, LOOK_COLOUR_INK, text);
        for (int line = 0; sl_volumes_line(s->say, &most[side], line, text, sizeof text, &quiet); line++)
            body(s, SL_TYPE_SMALL, quiet ? LOOK_COLOUR_QUIET : LOOK_COLOUR_INK, text);
        if (most[side].large[0])
            body(s, SL_TYPE_SMALL, LOOK_COLOUR_INK, most[side].large);
    }
    s->y += 6;
}

typedef struct profile_words {
    const char *pattern, *diagnosis, *needs;
} profile_words;

static profile_words words_of(const sl_language *say, const sl_profile *p)
{
    char key[96];
    profile_words w;
    snprintf(key, sizeof key, "profile.%s.pattern", p->word);
    w.pattern = sl_say_key(say, key, p->pattern);
    snprintf(key, sizeof key, "profile.%s.diagnosis", p->word);
    w.diagnosis = sl_say_key(say, key, p->diagnosis);
    snprintf(key, sizeof key, "profile.%s.needs", p->word);
    w.needs = sl_say_key(say, key, p->needs);
    return w;
}

static void draw_profiles(sheet *s, const sl_synthesis *all)
{
    char line[500], sens[80], spec[80];
    heading(s, SL_P_SUM_DESCRIBED);
    for (int i = 0; i < all->profiles; i++) {
        const sl_profile *p = all->profile[i].profile;
        profile_words w = words_of(s->say, p);
        SL_SAY(s->say, SL_P_SUM_DESCRIBED_WITH, line, w.pattern, w.diagnosis);
        body(s, SL_TYPE_BODY, LOOK_COLOUR_INK, line);
        if (p->ill > 0) {
            sl_words_share(p->true_positive, p->ill, sens, sizeof sens);
            sl_words_share(p->true_negative, p->well, spec, sizeof spec);
            body(s, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_SAY(s->say, SL_P_SUM_SHARES, line, sens, spec));
        }
        if (*p->needs)
            body(s, SL_TYPE_SMALL, LOOK_COLOUR_INK, SL_SAY(s->say, SL_P_SUM_NEEDS, line, w.needs));
        body(s, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, p->source);
    }
    body(s, SL_TYPE_SMALL, LOOK_COLOUR_INK, sl_say(s->say, all->profiles ? SL_P_SUM_NO_DIAGNOSIS : SL_P_SUM_NO_PROFILE));
    s->y += 6;
}

int sl_draw_sum_page(sl_pen *pen, const sl_exam *exam, int first)
{
    const sl_paper *paper = sl_paper_for(exam);
    const double gap = 26, half = (paper->width - 2 * sl_page_margin - gap) / 2;
    (void)first;
    sl_pen_text(pen, sl_page_margin, 54, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_say(pen->say, SL_P_SUM_PAGE));
    sheet left = {pen, pen->say, sl_page_margin, half, 68}, right = {pen, pen->say, sl_page_margin + half + gap, half, 68};
    draw_schemes(&left, exam, exam->synthesis);
    draw_patterns(&left, exam->synthesis);
    draw_volumes(&left, exam);
    draw_profiles(&right, exam->synthesis);
    heading(&right, SL_P_SUM_EXCLUDED);
    body(&right, SL_TYPE_SMALL, LOOK_COLOUR_INK, sl_say(pen->say, SL_P_SUM_CANNOT));
    return 1;
}
