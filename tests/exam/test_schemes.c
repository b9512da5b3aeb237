/* Regional scores, reaeration, patterns and the decision tree against the published tables and their worked examples
 * (evidence sheet, sections 2 and 3; the page of each is named beside it). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "core/file.h"
#include "core/units.h"
#include "exam/change.h"
#include "exam/rescan.h"
#include "exam/synthesis.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static sl_arena arena;

static sl_lung_signs told(sl_answer a, sl_answer b, double count, double coverage)
{
    return (sl_lung_signs){.read = true, .a_lines = a, .b_lines = b, .white_lung = SL_ABSENT, .consolidation = SL_ABSENT,
                           .effusion = SL_ABSENT, .consolidation_sought = true, .count = count, .count_low = count, .count_high = count,
                           .coverage = coverage, .coverage_low = coverage, .coverage_high = coverage, .consolidation_mm = SL_UNKNOWN};
}

/* Bouhemad et al. 2010: 0 A-lines or at most two B-lines, 1 three and more, 2 merged or a small subpleural consolidation,
 * 3 consolidation. */
static void regional(void **state)
{
    (void)state;
    sl_lung_signs s = told(SL_PRESENT, SL_ABSENT, 0, 0);
    assert_int_equal(sl_level_regional(&s).level, 0);
    s = told(SL_PRESENT, SL_PRESENT, 2, 0.1);
    assert_int_equal(sl_level_regional(&s).level, 0);
    s = told(SL_ABSENT, SL_PRESENT, 3, 0.15);
    assert_int_equal(sl_level_regional(&s).level, 1);
    s.white_lung = SL_PRESENT;
    assert_int_equal(sl_level_regional(&s).level, 2);
    s.consolidation = SL_PRESENT;
    s.consolidation_mm = 6;
    assert_int_equal(sl_level_regional(&s).level, 2);
    s.consolidation_mm = 30;
    assert_int_equal(sl_level_regional(&s).level, 3);
    s = told(SL_ABSENT, SL_UNCERTAIN, SL_UNKNOWN, SL_UNKNOWN);
    sl_level open = sl_level_regional(&s);
    assert_true(open.level == -1 && open.low == 0 && open.high == 2); /* solid lung was looked for and is not there */
    s.read = false;
    assert_true(sl_level_regional(&s).high == 3);
    s = told(SL_ABSENT, SL_ABSENT, 0, 0);
    s.consolidation = SL_UNCERTAIN;
    assert_true(sl_level_regional(&s).high == 3);
}

/* Mongodi et al. 2021 as the evidence sheet computes it: 49 % -> 1, 50 % -> 1, 51 % -> 2; four separate lines over 20 % -> 1. */
static void coverage(void **state)
{
    (void)state;
    const double share[] = {0.49, 0.50, 0.51};
    const int level[] = {1, 1, 2};
    for (int i = 0; i < 3; i++) {
        sl_lung_signs s = told(SL_ABSENT, SL_PRESENT, 1, share[i]);
        assert_int_equal(sl_level_coverage(&s).level, level[i]);
    }
    sl_lung_signs s = told(SL_ABSENT, SL_PRESENT, 4, 0.2);
    assert_int_equal(sl_level_coverage(&s).level, 1);
}

/* The points of one, two and three levels: +1/+3/+5 and -1/-3/-5; the sheet's example C->N, B2->B1, N->B1, C->B1 gives +8. */
static void reaeration(void **state)
{
    (void)state;
    assert_int_equal(sl_reaeration_points(3, 0), 5);
    assert_int_equal(sl_reaeration_points(2, 0), 3);
    assert_int_equal(sl_reaeration_points(3, 1), 3);
    assert_int_equal(sl_reaeration_points(1, 0), 1);
    assert_int_equal(sl_reaeration_points(0, 3), -5);
    assert_int_equal(sl_reaeration_points(1, 3), -3);
    assert_int_equal(sl_reaeration_points(2, 3), -1);
    assert_int_equal(sl_reaeration_points(2, 2), 0);
    assert_int_equal(sl_reaeration_points(3, 0) + sl_reaeration_points(2, 1) + sl_reaeration_points(0, 1) + sl_reaeration_points(3, 1), 8);
}

/* 5 none, 6 mild, 15 mild, 16 moderate, 30 moderate, 31 severe (from memory, as the sheet says); 30 % -> 3 has no lines to
 * merge, 70 % -> 7, 100 % -> 10. */
static void counts(void **state)
{
    (void)state;
    assert_string_equal(sl_b_line_class(5), "none");
    assert_string_equal(sl_b_line_class(6), "mild");
    assert_string_equal(sl_b_line_class(15), "mild");
    assert_string_equal(sl_b_line_class(16), "moderate");
    assert_string_equal(sl_b_line_class(30), "moderate");
    assert_string_equal(sl_b_line_class(31), "severe");
    sl_lung_signs s = told(SL_ABSENT, SL_PRESENT, 2, 0.7);
    assert_int_equal(sl_b_line_count_of(&s), 7);
    s = told(SL_ABSENT, SL_PRESENT, 2, 1);
    assert_int_equal(sl_b_line_count_of(&s), 10);
    s = told(SL_ABSENT, SL_PRESENT, 14, 0.4);
    assert_int_equal(sl_b_line_count_of(&s), 10); /* one zone at most ten */
}

/* ---- an examination of twelve zones whose levels are known ---- */

static void put(sl_reading *reading, sl_code code, sl_answer answer, double value)
{
    sl_finding *f = sl_reading_put(reading, code);
    f->known = answer != SL_UNCERTAIN;
    f->answer = answer;
    f->value = value;
}

static sl_reading *reading_of(int level)
{
    sl_reading *r = sl_reading_new(&arena, SL_BY_PERSON, "test", "clip");
    put(r, SL_A_LINES, level == 0 ? SL_PRESENT : SL_ABSENT, 0.9);
    put(r, SL_B_LINES, level == 1 || level == 2 ? SL_PRESENT : SL_ABSENT, 0.9);
    put(r, SL_B_LINE_COUNT, SL_PRESENT, level == 1 ? 4 : level == 2 ? 8 : 0);
    put(r, SL_B_LINE_COVERAGE, SL_PRESENT, level == 1 ? 0.2 : level == 2 ? 0.8 : 0);
    put(r, SL_WHITE_LUNG, level == 2 ? SL_PRESENT : SL_ABSENT, 0.9);
    put(r, SL_CONSOLIDATION, level == 3 ? SL_PRESENT : SL_ABSENT, 0.9);
    put(r, SL_EFFUSION, SL_ABSENT, 0.1);
    put(r, SL_SLIDING, SL_PRESENT, 0.9);
    put(r, SL_SCORE, SL_PRESENT, level);
    return r;
}

/* Levels in the scheme's order, right side first; -1: no clip. */
static void exam_of(const char *protocol, const int *level, sl_exam *exam)
{
    const sl_protocol *p = sl_protocol_by_key(protocol);
    *exam = (sl_exam){.title = "", .date = "2031-05-01", .person = "Quay 3 (invented)", .question = "", .stated_protocol = protocol};
    exam->clip = SL_NEW(&arena, p->zones, sl_exam_clip);
    for (int i = 0; i < p->zones; i++)
        if (level[i] >= 0) {
            sl_exam_clip *clip = &exam->clip[exam->clips++];
            *clip = (sl_exam_clip){.path = "x", .name = "x", .where = "x", .stem = "x", .zone = p->zone[i], .zone_from = "exam.csv", .notes = ""};
            clip->result = (sl_clip_result){.state = SL_CLIP_READ, .reason = "", .frames = 120, .reading = reading_of(level[i])};
            sl_quality_clear(&clip->result.quality);
        }
    assert_int_equal(sl_exam_score(exam, &arena, NULL), SL_OK);
}

/* The sheet's example: R 0,1,2,3,1,2 L 0,0,1,3,2,2 -> 9 + 8 = 17 of 36. And never a zero for a missing region. */
static void total(void **state)
{
    (void)state;
    int level[] = {0, 1, 2, 3, 1, 2, 0, 0, 1, 3, 2, 2};
    sl_exam exam;
    sl_scheme_total t;
    exam_of("12-zones", level, &exam);
    assert_int_equal(sl_exam_scheme(&exam, SL_SCHEME_REGIONAL, &arena, &t, NULL), SL_OK);
    assert_true(t.total == 17 && t.of == 36 && t.zones == 12 && t.low == 17 && t.high == 17);
    level[3] = level[9] = -1;
    exam_of("12-zones", level, &exam);
    assert_int_equal(sl_exam_scheme(&exam, SL_SCHEME_REGIONAL, &arena, &t, NULL), SL_OK);
    assert_true(t.total == 11 && t.of == 30 && t.zones == 10 && t.low == 11 && t.high == 17);
}

static sl_synthesis summed(const char *protocol, const int *level)
{
    sl_exam exam;
    sl_synthesis all;
    exam_of(protocol, level, &exam);
    assert_int_equal(sl_exam_synthesis(&exam, &arena, &all, NULL), SL_OK);
    return all;
}

/* Volpicelli et al. 2012: two positive zones and more on each side of eight; R {1,3} L {2} -> not diffuse. */
static void interstitial(void **state)
{
    (void)state;
    const int focal[] = {1, 0, 1, 0, 0, 1, 0, 0}, diffuse[] = {1, 0, 1, 0, 0, 1, 1, 0}, none[8] = {0};
    assert_non_null(strstr(summed("8-zones", focal).interstitial, "focal, 2 positive zones right and 1 left"));
    assert_non_null(strstr(summed("8-zones", diffuse).interstitial, "diffuse"));
    assert_non_null(strstr(summed("8-zones", none).interstitial, "none seen in 8 of 8"));
}

/* Lichtenstein and Meziere 2008, the sheet's vectors. Points: upper and lower anterior, posterolateral, right then left. */
static void tree(void **state)
{
    (void)state;
    const int oedema[] = {1, 1, 0, 2, 1, 0}, one_side[] = {0, 0, 0, 1, 1, 0}, nude[6] = {0}, posterior[] = {0, 0, 3, 0, 0, 0},
              anterior[] = {3, 0, 0, 0, 0, 0}, half[] = {0, 0, 0, -1, -1, -1}, without_base[] = {0, 0, -1, 0, 0, -1};
    sl_synthesis s = summed("6-points", oedema);
    assert_true(s.profiles == 1 && !strcmp(s.profile[0].profile->diagnosis, "pulmonary oedema"));
    assert_int_equal(s.profile[0].profile->true_positive, 62);
    s = summed("6-points", one_side);
    assert_true(s.profiles == 1 && !strcmp(s.profile[0].profile->key, "A/B") && s.profile[0].complete);
    s = summed("6-points", nude);
    assert_true(s.profiles == 1 && !strcmp(s.profile[0].profile->diagnosis, "COPD or asthma") && !s.profile[0].complete);
    assert_non_null(strstr(s.profile[0].profile->needs, "leg veins"));
    s = summed("6-points", posterior);
    assert_true(s.profiles == 1 && !strcmp(s.profile[0].profile->diagnosis, "pneumonia"));
    s = summed("6-points", anterior);
    assert_true(s.profiles == 1 && !strcmp(s.profile[0].profile->key, "C"));
    s = summed("6-points", half); /* any point missing: no profile, and why */
    assert_true(s.profiles == 0 && strstr(s.no_profile, "the left is not told"));
    assert_non_null(strstr(s.not_looked_at, "left posterolateral"));
    s = summed("6-points", without_base);
    assert_true(s.profiles == 0 && strstr(s.no_profile, "posterolateral"));
}

/* ---- change ---- */

static const char *write_old(char *path, const char *text)
{
    strcpy(path, "/tmp/sl-old-XXXXXX");
    int file = mkstemp(path);
    assert_true(file >= 0);
    close(file);
    assert_int_equal(sl_file_write(path, text, strlen(text), NULL), SL_OK);
    return path;
}

static const char old_text[] =
    "{\"strandline\":\"0.1.0\",\"format\":1,\"examination\":{\"date\":\"2031-04-29\",\"person\":\"Quay 3 (invented)\",\"protocol\":\"6-points\"},"
    "\"zones\":[{\"zone\":\"R-upper-anterior\",\"score\":3,\"low\":3,\"high\":3},{\"zone\":\"R-lower-anterior\",\"score\":2,\"low\":2,\"high\":2},"
    "{\"zone\":\"R-posterolateral\",\"score\":3,\"low\":3,\"high\":3},{\"zone\":\"L-upper-anterior\",\"score\":0,\"low\":0,\"high\":0},"
    "{\"zone\":\"L-lower-anterior\",\"score\":null,\"low\":0,\"high\":3}],\"synthesis\":{\"schemes\":[{\"scheme\":\"regional\",\"zones\":["
    "{\"zone\":\"R-upper-anterior\",\"score\":3,\"low\":3,\"high\":3},{\"zone\":\"R-lower-anterior\",\"score\":2,\"low\":2,\"high\":2},"
    "{\"zone\":\"R-posterolateral\",\"score\":3,\"low\":3,\"high\":3},{\"zone\":\"L-upper-anterior\",\"score\":0,\"low\":0,\"high\":0}]}]}}";

static void change(void **state)
{
    (void)state;
    char path[64];
    sl_old_exam old;
    sl_exam exam;
    sl_exam_change c;
    sl_error error;
    assert_int_equal(sl_old_exam_load(write_old(path, old_text), &arena, &old, &error), SL_OK);
    unlink(path);
    const int now[] = {0, 1, 1, 1, 0, 0}; /* C->N +5, B2->B1 +1, C->B1 +3, N->B1 -1: +8, the sheet's example */
    exam_of("6-points", now, &exam);
    assert_int_equal(sl_exam_compare(&exam, &old, &arena, &c, &error), SL_OK);
    assert_true(c.same_protocol && c.compared == 4 && c.points == 8 && c.total == -5);
    assert_int_equal(c.zone[0].word, SL_CHANGE_MORE_AIR);
    assert_int_equal(c.zone[4].word, SL_CHANGE_OPEN);
    assert_true(c.word == SL_CHANGE_MORE_AIR && c.least_total < 5);
    /* another scheme of zones: a sentence, and what both have is compared */
    const int eight[] = {0, 1, 0, 0, 1, 0, 0, 0};
    exam_of("8-zones", eight, &exam);
    exam.person = "Quay 4 (invented)";
    assert_int_equal(sl_exam_compare(&exam, &old, &arena, &c, &error), SL_OK);
    assert_true(!c.same_protocol && c.compared == 3);
    bool scheme = false, person = false;
    for (int i = 0; i < c.remarks; i++) {
        scheme |= strstr(c.remark[i], "another scheme of zones (6-points, this one 8-zones)") != NULL;
        person |= strstr(c.remark[i], "Quay 4") != NULL;
    }
    assert_true(scheme && person);
}

static void bad_old(void **state)
{
    (void)state;
    char path[64];
    sl_old_exam old;
    sl_error error;
    const char *const texts[] = {"nothing", "[1, 2]", "{\"a\": 1}", "{\"strandline\": \"0.1.0\", \"zones\": 7}"};
    for (int i = 0; i < 4; i++) {
        assert_int_not_equal(sl_old_exam_load(write_old(path, texts[i]), &arena, &old, &error), SL_OK);
        assert_non_null(strstr(error.text, path));
        unlink(path);
    }
    assert_int_not_equal(sl_old_exam_load("/nowhere/exam.json", &arena, &old, &error), SL_OK);
    const char odd[] = "{\"strandline\":\"0.1.0\",\"zones\":[{\"zone\":\"R-kneecap\",\"score\":9},{\"zone\":\"R-anterior\",\"score\":99}]}";
    assert_int_equal(sl_old_exam_load(write_old(path, odd), &arena, &old, &error), SL_OK);
    unlink(path);
    assert_true(old.zones == 1 && old.level[0][0].level == -1);
}

/* ---- the user's own scheme ---- */

static void own_protocol(void **state)
{
    (void)state;
    char path[64];
    const sl_protocol *own;
    sl_error error;
    const char good[] = "{\"key\": \"our-3\", \"name\": \"ours\", \"zones\": [\"R-posterolateral\", \"L-posterolateral\", \"L-anterior\"],"
                        " \"numbers\": [\"posterolateral\"]}";
    assert_int_equal(sl_protocol_load(write_old(path, good), &arena, &own, &error), SL_OK);
    unlink(path);
    assert_true(own->zones == 3 && own->numbers == 1);
    assert_string_equal(sl_zone_in_words("R1", own)->key, "R-posterolateral");
    static const struct {
        const char *text, *says;
    } bad[] = {{"{\"key\": \"a\", \"zones\": [\"R-kneecap\"]}", "\"R-kneecap\""}, {"{\"key\": \"a\", \"zones\": []}", "zones"},
               {"{\"key\": \"8-zones\", \"zones\": [\"R-anterior\"]}", "key"}, {"[]", "object"}, {"{", "JSON"},
               {"{\"key\": \"a\", \"zones\": [\"R-anterior\", \"R-anterior\"]}", "twice"},
               {"{\"key\": \"a\", \"zones\": [\"R-anterior\"], \"numbers\": [\"knee\"]}", "knee"}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_not_equal(sl_protocol_load(write_old(path, bad[i].text), &arena, &own, &error), SL_OK);
        unlink(path);
        if (!strstr(error.text, bad[i].says) || !strstr(error.text, path))
            fail_msg("%s", error.text);
        assert_null(own);
    }
    /* its zones are counted, whatever else was scanned */
    const int level[] = {0, 1, 0, 0, 0, 0};
    sl_exam exam;
    exam_of("6-points", level, &exam);
    assert_int_equal(sl_protocol_load(write_old(path, good), &arena, &own, &error), SL_OK);
    unlink(path);
    sl_exam_use_protocol(&exam, own);
    assert_int_equal(sl_exam_score(&exam, &arena, NULL), SL_OK);
    bool left = false;
    for (int i = 0; i < exam.zones; i++)
        left |= !strcmp(exam.zone[i].zone->key, "L-anterior");
    assert_true(left);
}

/* What a DICOM file says of itself names the zone where nothing else does. */
static void zone_from_file(void **state)
{
    (void)state;
    const int level[] = {0, 0, 0, 0, 0, 0};
    sl_exam exam;
    exam_of("6-points", level, &exam);
    sl_exam_clip *clip = &exam.clip[0];
    clip->zone = NULL;
    clip->zone_from = "";
    strcpy(clip->result.info.acquisition.laterality, "L");
    strcpy(clip->result.info.acquisition.view_name, "Posterolateral");
    sl_exam_zones_from_files(&exam);
    assert_string_equal(clip->zone->key, "L-posterolateral");
    assert_string_equal(clip->zone_from, "DICOM attributes");
}

/* ---- what to scan again ---- */

static void rescans(void **state)
{
    (void)state;
    const int level[] = {0, 1, 0, -1, 0, 0, -1, 0};
    sl_exam exam;
    exam_of("8-zones", level, &exam);
    exam.clip[2].result.state = SL_CLIP_FAILED;
    exam.clip[2].result.reading = NULL;
    exam.clip[2].result.reason = "broken.";
    strcpy(exam.clip[0].result.info.acquisition.laterality, "L"); /* named right */
    assert_int_equal(sl_exam_score(&exam, &arena, NULL), SL_OK);
    assert_int_equal(sl_exam_audit(&exam, SL_RULES_PRACTICE, &arena, NULL), SL_OK);
    assert_true(exam.rescans >= 4);
    assert_string_equal(exam.rescan[0].zone->key, "R-basal-lateral"); /* deep ones first among those that leave most open */
    assert_string_equal(sl_rescan_rule(&exam.rescan[0])->key, "zone-missing");
    for (int i = 1; i < exam.rescans; i++)
        assert_true(exam.rescan[i - 1].adds >= exam.rescan[i].adds);
    bool side = false;
    for (int k = 0; k < exam.clip[0].audit.complaints; k++)
        side |= !strcmp(exam.clip[0].audit.complaint[k].rule->key, "side-disagrees");
    assert_true(side);
    for (int of = 0; of < 2; of++) { /* the heart under a name of the right side, and of the left */
        sl_exam_clip *clip = NULL;
        for (int i = 0; i < exam.clips && !clip; i++)
            if (exam.clip[i].zone && exam.clip[i].zone->side == (of ? SL_SIDE_LEFT : SL_SIDE_RIGHT) && exam.clip[i].result.reading)
                clip = &exam.clip[i];
        assert_non_null(clip);
        sl_finding *rate = sl_reading_put(clip->result.reading, SL_HEART_RATE);
        rate->known = true;
        rate->value = 80;
        assert_int_equal(sl_exam_audit(&exam, SL_RULES_PRACTICE, &arena, NULL), SL_OK);
        bool told = false;
        for (int k = 0; k < clip->audit.complaints; k++)
            told |= !strcmp(clip->audit.complaint[k].rule->key, "organ-side");
        assert_int_equal(told, !of);
    }
    const int whole[8] = {0};
    exam_of("8-zones", whole, &exam);
    exam.question = "?";
    assert_int_equal(sl_exam_audit(&exam, SL_RULES_PRACTICE, &arena, NULL), SL_OK);
    assert_int_equal(exam.audit.complaints, 0);
    exam.clip[1].content = exam.clip[5].content = 99; /* one recording under two names */
    exam.clip[2].content = 98;
    assert_int_equal(sl_exam_audit(&exam, SL_RULES_PRACTICE, &arena, NULL), SL_OK);
    for (int i = 0; i < 8; i++) {
        bool same = false;
        for (int k = 0; k < exam.clip[i].audit.complaints; k++)
            same |= exam.clip[i].audit.complaint[k].rule->id == SL_RULE_SAME_CLIP;
        assert_int_equal(same, i == 1 || i == 5);
    }
}

static int clear(void **state)
{
    (void)state;
    sl_arena_free(&arena);
    return 0;
}

#define CASE(name) cmocka_unit_test_teardown(name, clear)

int main(void)
{
    const struct CMUnitTest tests[] = {CASE(regional), CASE(coverage),     CASE(reaeration), CASE(counts),  CASE(total),
                                       CASE(interstitial), CASE(tree), CASE(change),     CASE(bad_old), CASE(own_protocol), CASE(zone_from_file), CASE(rescans)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
