/* Collecting clips, exam.csv whole and broken, exam-info.json, scores. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "core/file.h"
#include "exam/exam.h"
#include "core/utf8.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <unistd.h>

typedef struct place {
    sl_arena arena;
    char folder[64];
    sl_exam exam;
} place;

static int set_up(void **state)
{
    place *self = calloc(1, sizeof *self);
    strcpy(self->folder, "/tmp/sl-collect-XXXXXX");
    *state = self;
    return mkdtemp(self->folder) ? 0 : -1;
}

static int tear_down(void **state)
{
    place *self = *state;
    char command[128];
    snprintf(command, sizeof command, "rm -rf '%s'", self->folder);
    int status = system(command);
    sl_arena_free(&self->arena);
    free(self);
    return status;
}

static void put(place *self, const char *name, const char *text)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%s", self->folder, name);
    char *slash = strrchr(path, '/');
    *slash = 0;
    assert_int_equal(sl_folder_make(path, NULL), SL_OK);
    *slash = '/';
    assert_int_equal(sl_file_write(path, text, strlen(text), NULL), SL_OK);
}

static sl_status collect(place *self, sl_error *error)
{
    const char *paths[] = {self->folder};
    return sl_exam_collect(paths, 1, &self->arena, &self->exam, error);
}

static const sl_exam_clip *clip(const place *self, const char *name)
{
    for (int i = 0; i < self->exam.clips; i++)
        if (!strcmp(self->exam.clip[i].name, name))
            return &self->exam.clip[i];
    fail_msg("no clip %s", name);
    return NULL;
}

static bool remarked(const place *self, const char *words)
{
    for (int i = 0; i < self->exam.remarks; i++)
        if (strstr(self->exam.remark[i], words))
            return true;
    return false;
}

static void assert_zone(const place *self, const char *name, const char *key, const char *from)
{
    const sl_exam_clip *found = clip(self, name);
    assert_string_equal(found->zone ? found->zone->key : "", key);
    assert_string_equal(found->zone_from, from);
}

static void order_and_leaving_out(void **state)
{
    place *self = *state;
    put(self, "b.mp4", "x");
    put(self, "a.avi", "x");
    put(self, ".hidden.mp4", "x");
    put(self, "letter.pdf", "x");
    put(self, "IM0001", "x");
    put(self, "sub/a.avi", "x");
    put(self, "old report/.records/a.record", "x");
    put(self, "old report/evidence/a.png", "x");
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_int_equal(self->exam.clips, 4);
    const char *const where[] = {"IM0001", "a.avi", "b.mp4", "sub/a.avi"};
    const char *const stem[] = {"IM0001", "a", "b", "a-2"};
    for (int i = 0; i < 4; i++) {
        assert_string_equal(self->exam.clip[i].where, where[i]);
        assert_string_equal(self->exam.clip[i].stem, stem[i]);
    }
    assert_true(remarked(self, "letter.pdf"));
}

static void names_that_collide(void **state)
{
    place *self = *state;
    put(self, "a.avi", "x");
    put(self, "a.mp4", "x");
    put(self, "A.gif", "x");
    put(self, "a-2.mp4", "x");
    put(self, "a-2-2.mp4", "x");
    assert_int_equal(collect(self, NULL), SL_OK);
    for (int i = 0; i < 5; i++)
        for (int k = 0; k < i; k++)
            assert_int_not_equal(strcasecmp(self->exam.clip[i].stem, self->exam.clip[k].stem), 0);
}

static void nothing_there(void **state)
{
    place *self = *state;
    sl_error error;
    assert_int_equal(collect(self, &error), SL_IO);
    assert_non_null(strstr(error.text, self->folder));
    assert_int_equal(sl_exam_collect(NULL, 0, &self->arena, &self->exam, &error), SL_USAGE);
    const char *absent[] = {"/nowhere/clip.mp4"}; /* stays in the list, so that its row says why */
    assert_int_equal(sl_exam_collect(absent, 1, &self->arena, &self->exam, &error), SL_OK);
    assert_int_equal(self->exam.clips, 1);
}

static void given_twice(void **state)
{
    place *self = *state;
    put(self, "a.mp4", "x");
    char file[128];
    snprintf(file, sizeof file, "%s/a.mp4", self->folder);
    const char *paths[] = {self->folder, file};
    assert_int_equal(sl_exam_collect(paths, 2, &self->arena, &self->exam, NULL), SL_OK);
    assert_int_equal(self->exam.clips, 1);
}

static void a_link_that_leads_back(void **state)
{
    place *self = *state;
    char link[128];
    put(self, "a.mp4", "x");
    snprintf(link, sizeof link, "%s/loop", self->folder);
    assert_int_equal(symlink(self->folder, link), 0);
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_int_equal(self->exam.clips, 1);
}

static void table_in_order(void **state)
{
    place *self = *state;
    put(self, "R1.mp4", "x");
    put(self, "b.mp4", "x");
    put(self, "c d\xc3\xa9j\xc3\xa0.mp4", "x");
    put(self, "exam.csv",
        "\xef\xbb\xbf"
        "File , ZONE,Depth_CM,Notes,Posture\r\nR1.mp4,left upper lateral,12.5,\"sat, upright\",Sitting\r\n"
        " B.MP4 ,R2,\"9,5\",,\r\nc d\xc3\xa9j\xc3\xa0,PLAPS left,160 mm,,left side\r\n");
    put(self, "exam-info.json", "{\"posture\": \"supine\", \"breathing\": \"Ventilated\"}");
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_zone(self, "R1.mp4", "L-upper-lateral", "exam.csv");
    assert_zone(self, "b.mp4", "R-lower-anterior", "exam.csv");
    assert_zone(self, "c d\xc3\xa9j\xc3\xa0.mp4", "L-posterolateral", "exam.csv");
    assert_true(clip(self, "R1.mp4")->stated_depth_cm == 12.5);
    assert_true(clip(self, "b.mp4")->stated_depth_cm == 9.5);
    assert_true(clip(self, "c d\xc3\xa9j\xc3\xa0.mp4")->stated_depth_cm == 16);
    assert_string_equal(clip(self, "R1.mp4")->notes, "sat, upright");
    assert_int_equal(clip(self, "R1.mp4")->posture, SL_POSTURE_SITTING);
    assert_int_equal(clip(self, "b.mp4")->posture, SL_POSTURE_SUPINE); /* the examination's */
    assert_int_equal(clip(self, "c d\xc3\xa9j\xc3\xa0.mp4")->posture, SL_POSTURE_LEFT_SIDE);
    assert_int_equal(sl_exam_posture(&self->exam), SL_POSTURE_UNKNOWN); /* they differ */
    assert_int_equal(self->exam.breathing, SL_BREATHING_VENTILATED);
    assert_int_equal(self->exam.remarks, 0);
}

static void table_with_faults(void **state)
{
    place *self = *state;
    put(self, "R1.mp4", "x");
    put(self, "L2.mp4", "x");
    put(self, "x.mp4", "x");
    put(self, "exam.csv", "file;zone;depth_cm;posture\nR1.mp4;the moon;12;upside down\nnone.mp4;R2;11\nL2.mp4;;twelve\nL2.mp4;L1;\n;R3;9\n;R4;\nx.mp4;"
                          "R3;120\n\xe9t\xe9.mp4;R1;\n");
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_zone(self, "R1.mp4", "R-upper-anterior", "file name"); /* the name still speaks */
    assert_true(clip(self, "R1.mp4")->stated_depth_cm == 12);
    assert_zone(self, "L2.mp4", "L-lower-anterior", "file name");
    assert_zone(self, "x.mp4", "R-upper-lateral", "exam.csv");
    assert_true(remarked(self, "row 2: \"the moon\" is no zone"));
    assert_true(remarked(self, "row 3: there is no clip none.mp4"));
    assert_true(remarked(self, "row 4: the depth \"twelve\""));
    assert_true(remarked(self, "row 5: L2.mp4 was already named in row 4"));
    assert_true(remarked(self, "row 6 names no file"));
    assert_true(remarked(self, "row 8: the depth \"120\"")); /* mm taken for cm */
    assert_true(remarked(self, "no clip \xc3\xa9t\xc3\xa9.mp4")); /* Latin-1 made readable */
    assert_true(remarked(self, "row 2: the posture \"upside down\" of R1.mp4 is none of supine,"));
    assert_int_equal(clip(self, "R1.mp4")->posture, SL_POSTURE_UNKNOWN);
    assert_int_equal(self->exam.remarks, 8);
}

static void tables_of_no_use(void **state)
{
    static const char *const tables[] = {"", "\n\n", "name,place\nR1.mp4,R2\n", "file,zone\n\"R1.mp4,R2\n", "\x01\x02\x03"};
    place *self = *state;
    put(self, "R1.mp4", "x");
    for (size_t i = 0; i < sizeof tables / sizeof *tables; i++) {
        put(self, "exam.csv", tables[i]);
        assert_int_equal(collect(self, NULL), SL_OK);
        assert_zone(self, "R1.mp4", "R-upper-anterior", "file name");
        assert_true(remarked(self, "exam.csv"));
    }
    put(self, "exam.csv", "file,zone\n"); /* nothing said, nothing to remark */
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_int_equal(self->exam.remarks, 0);
}

static void many_bad_rows(void **state)
{
    place *self = *state;
    put(self, "R1.mp4", "x");
    char table[8000] = "file,zone\n";
    for (int i = 0; i < 200; i++)
        snprintf(table + strlen(table), sizeof table - strlen(table), "no%d.mp4,R1\n", i);
    put(self, "exam.csv", table);
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_true(self->exam.remarks < 30 && remarked(self, "180 more rows"));
}

static void what_is_said_of_the_examination(void **state)
{
    place *self = *state;
    put(self, "L3.mp4", "x");
    put(self, "exam-info.json", "{\"title\": \"Second\", \"date\": \"2031-03-03\", \"person\": \"P 7\", \"question\": \"wet?\","
                                "\"protocol\": \"6-points\", \"invented\": true}");
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_string_equal(self->exam.title, "Second");
    assert_true(self->exam.invented);
    assert_zone(self, "L3.mp4", "L-posterolateral", "file name");
    put(self, "exam-info.json", "{\"title\": 7, \"protocol\": \"99-zones\"}");
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_string_equal(self->exam.title, "");
    assert_true(remarked(self, "99-zones"));
    put(self, "exam-info.json", "not json");
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_true(remarked(self, "not valid JSON"));
    assert_false(self->exam.invented);
}

static void folders_name_zones(void **state)
{
    place *self = *state;
    put(self, "right/upper anterior/clip.mp4", "x");
    put(self, "left/L1.mp4", "x");
    assert_int_equal(collect(self, NULL), SL_OK);
    assert_zone(self, "clip.mp4", "R-upper-anterior", "folder name");
    assert_zone(self, "L1.mp4", "L-upper-anterior", "file name");
}

static void give_score(place *self, int index, const char *zone, double value, double low, double high)
{
    sl_exam_clip *at = &self->exam.clip[index];
    at->zone = sl_zone_by_key(zone);
    assert_non_null(at->zone);
    at->result.reading = sl_reading_new(&self->arena, SL_BY_PROGRAM, "test", "clip");
    sl_finding *score = sl_reading_put(at->result.reading, SL_SCORE);
    score->known = value >= 0;
    score->value = value;
    score->low = low;
    score->high = high;
}

/* Clinical sheet 3.1: the worst pattern in a region counts; missing regions are never 0; "R 0,1,2,3,1,2 L 0,0,1,3,2,2
 * gives 9 + 8 = 17" (worked example there). */
static void twelve_zones_worked_example(void **state)
{
    static const char *const places[] = {"upper-anterior", "lower-anterior", "upper-lateral", "basal-lateral",
                                         "upper-posterior", "lower-posterior"};
    static const int right[] = {0, 1, 2, 3, 1, 2}, left[] = {0, 0, 1, 3, 2, 2};
    place *self = *state;
    self->exam = (sl_exam){.clips = 12, .clip = SL_NEW(&self->arena, 12, sl_exam_clip), .stated_protocol = ""};
    for (int i = 0; i < 12; i++) {
        char key[40];
        snprintf(key, sizeof key, "%s-%s", i < 6 ? "R" : "L", places[i % 6]);
        int value = i < 6 ? right[i] : left[i - 6];
        give_score(self, i, key, value, value, value);
    }
    assert_int_equal(sl_exam_score(&self->exam, &self->arena, NULL), SL_OK);
    assert_string_equal(self->exam.protocol->key, "12-zones");
    assert_int_equal(self->exam.total, 17);
    assert_int_equal(self->exam.total_of, 36);
    assert_true(self->exam.total_low == 17 && self->exam.total_high == 17);
}

static void missing_zones_stay_open(void **state)
{
    place *self = *state;
    self->exam = (sl_exam){.clips = 4, .clip = SL_NEW(&self->arena, 4, sl_exam_clip), .stated_protocol = ""};
    give_score(self, 0, "R-upper-anterior", 1, 0, 2);
    give_score(self, 1, "R-upper-anterior", 2, 1, 2); /* the worst counts */
    give_score(self, 2, "L-upper-anterior", -1, 0, 0); /* could not tell */
    give_score(self, 3, "L-basal-lateral", 3, 3, 3);
    assert_int_equal(sl_exam_score(&self->exam, &self->arena, NULL), SL_OK);
    assert_string_equal(self->exam.protocol->key, "8-zones");
    assert_int_equal(self->exam.total, 5);
    assert_int_equal(self->exam.total_of, 6);
    assert_int_equal(self->exam.zones_scored, 2);
    assert_int_equal(self->exam.zones, 8);
    assert_int_equal(self->exam.zone[0].decisive, 1);
    assert_int_equal(self->exam.zone[0].clips, 2);
    assert_true(self->exam.total_low == 1 + 3);
    assert_true(self->exam.total_high == 2 + 3 + 6 * 3);
}

static void zones_as_scanned(void **state)
{
    place *self = *state;
    self->exam = (sl_exam){.clips = 3, .clip = SL_NEW(&self->arena, 3, sl_exam_clip), .stated_protocol = ""};
    give_score(self, 0, "R-lateral", 2, 2, 2);
    give_score(self, 1, "R-posterolateral", 3, 3, 3);
    give_score(self, 2, "L-upper-anterior", 0, 0, 0);
    assert_int_equal(sl_exam_score(&self->exam, &self->arena, NULL), SL_OK);
    assert_string_equal(self->exam.protocol->key, "as-scanned");
    assert_int_equal(self->exam.zones, 8); /* right: two anterior, lateral, posterolateral; left: the base four */
}

static void text_made_valid(void **state)
{
    place *self = *state;
    assert_string_equal(sl_utf8_valid(&self->arena, "d\xc3\xa9j\xc3\xa0"), "d\xc3\xa9j\xc3\xa0");
    assert_string_equal(sl_utf8_valid(&self->arena, "d\xe9j\xe0"), "d\xc3\xa9j\xc3\xa0");
    assert_string_equal(sl_utf8_valid(&self->arena, "a\nb\x1b["), "a b [");
    assert_string_equal(sl_utf8_valid(&self->arena, "\xed\xa0\x80"), "\xc3\xad\xc2\xa0?"); /* a lone surrogate */
    assert_string_equal(sl_utf8_valid(&self->arena, "cut \xc3"), "cut \xc3\x83");
}

#define T(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        T(order_and_leaving_out), T(names_that_collide), T(nothing_there), T(given_twice), T(a_link_that_leads_back),
        T(table_in_order), T(table_with_faults), T(tables_of_no_use), T(many_bad_rows),
        T(what_is_said_of_the_examination), T(folders_name_zones), T(twelve_zones_worked_example),
        T(missing_zones_stay_open), T(zones_as_scanned), T(text_made_valid)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
