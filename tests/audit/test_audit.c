/* One thing wrong at a time in what was measured, and the complaint it must bring; what is well brings none. Against the
 * evidence named beside each value. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "audit/audit.h"
#include "core/units.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

typedef struct desk {
    sl_arena arena;
    sl_clip_result result;
    sl_audit_purpose purpose;
    sl_audit audit;
} desk;

static desk self;

static void put(sl_code code, double value)
{
    sl_finding *finding = sl_reading_put(self.result.reading, code);
    finding->known = true;
    finding->value = value;
    finding->answer = SL_PRESENT;
}

/* A convex picture 120 mm deep of a pleura at 24 mm, six seconds at 20 pictures a second, as it should be. */
static int well(void **state)
{
    (void)state;
    memset(&self, 0, sizeof self);
    sl_clip_result *r = &self.result;
    r->state = SL_CLIP_READ;
    r->reason = "";
    r->frames = 121;
    r->duration_s = 6;
    sl_acquisition *how = &r->info.acquisition;
    how->depth_mm = how->focus_mm = how->freq_mhz = how->mechanical_index = how->thermal_index = how->gain_db = how->frame_rate_hz = SL_UNKNOWN;
    r->info.frame_rate_hz = 20;
    r->info.times_known = true;
    r->view = (sl_view){.shape = SL_SHAPE_CONVEX, .width = 600, .height = 480, .first_angle = -0.5, .last_angle = 0.5, .near_r = 150,
                        .far_r = 450, .aspect = 1, .face_visible = true, .mm_per_px = 0.4, .mm_per_px_sd = 0.004,
                        .scale_source = SL_SCALE_RULER};
    r->reading = sl_reading_new(&self.arena, SL_BY_PROGRAM, "test", "clip");
    put(SL_PLEURA_DEPTH, 0.2);
    put(SL_PLEURA_DEPTH_MM, 24);
    sl_quality_clear(&r->quality);
    sl_grey_quality *g = &r->quality.grey;
    g->frames = r->quality.hold.frames = 121;
    g->top = 230;
    for (int b = 0; b < SL_QUALITY_BANDS; b++) {
        g->mean[b] = 60;
        g->strong[b] = 100;
        g->black[b] = 0.1;
        g->white[b] = 0.001;
    }
    g->grain_lower = 10;
    g->grain_upper = 15.5;
    g->step_one = -0.5;
    g->step_two = 0;
    sl_hold_quality *h = &r->quality.hold;
    h->found = h->clear = 0.95;
    h->space = 0.6;
    h->rib = 0.4;
    h->central = 0.9;
    h->dark = h->dark_first = h->dark_last = 0;
    h->tilt_deg = h->tilt_widest_deg = 1;
    h->tilt_rms = 0.002;
    h->wall_shift = 1;
    h->wall_kept = 0.9;
    self.purpose = (sl_audit_purpose){true, false, SL_PLAN_PLACE_ANTERIOR, SL_RULES_PRACTICE};
    return 0;
}

static int done(void **state)
{
    (void)state;
    sl_arena_free(&self.arena);
    return 0;
}

static const sl_complaint *judged(const char *key)
{
    sl_error error;
    assert_int_equal(sl_audit_clip(&self.result, &self.purpose, &self.arena, &self.audit, &error), SL_OK);
    for (int i = 0; i < self.audit.complaints; i++)
        if (!strcmp(self.audit.complaint[i].rule->key, key))
            return &self.audit.complaint[i];
    return NULL;
}

/* This complaint and no other. */
static const sl_complaint *alone(const char *key)
{
    const sl_complaint *found = judged(key);
    for (int i = 0; i < self.audit.complaints; i++)
        if (strcmp(self.audit.complaint[i].rule->key, key))
            fail_msg("also %s: %s", self.audit.complaint[i].rule->key, self.audit.complaint[i].found);
    if (!found)
        fail_msg("no complaint %s", key);
    assert_true(strlen(found->found) > 5 && strlen(found->source) > 5);
    return found;
}

static void nothing_wrong(void **state)
{
    (void)state;
    assert_null(judged(""));
    assert_int_equal(self.audit.complaints, 0);
}

static void set_depth(double mm)
{
    self.result.view.far_r = 150 + mm / 0.4;
    put(SL_PLEURA_DEPTH, 24 / mm);
}

static void depth(void **state)
{
    (void)state;
    /* common practice, no source: 11 to 13 cm at anterior points, 16 to 19 cm at deep ones */
    set_depth(80);
    const sl_complaint *c = alone("depth-shallow");
    assert_true(fabs(c->value - 80) < 1e-6 && c->low == 110);
    assert_non_null(strstr(c->source, "common practice"));
    assert_int_equal(c->grade, SL_GRADE_WEAK); /* pleura and 4 cm behind it are there */
    set_depth(55);
    assert_int_equal(alone("depth-shallow")->grade, SL_GRADE_RESCAN);
    set_depth(160);
    alone("depth-deep");
    self.purpose.deep = true;
    self.purpose.place = SL_PLAN_PLACE_POSTEROLATERAL;
    set_depth(170);
    nothing_wrong(NULL);
    set_depth(120);
    assert_int_equal(alone("depth-shallow")->grade, SL_GRADE_RESCAN);
    /* Rocca et al. 2023 (second-hand): 6 to 8 cm for anterior regions; the caller chooses and the complaint names it */
    self.purpose = (sl_audit_purpose){true, false, SL_PLAN_PLACE_ANTERIOR, SL_RULES_CONSENSUS};
    set_depth(70);
    nothing_wrong(NULL);
    set_depth(120);
    assert_non_null(strstr(alone("depth-deep")->source, "Rocca"));
    self.purpose.placed = false; /* no zone, no rule */
    nothing_wrong(NULL);
}

static void depth_without_scale(void **state)
{
    (void)state;
    self.result.view.scale_source = SL_SCALE_NONE;
    self.result.view.mm_per_px = SL_UNKNOWN;
    nothing_wrong(NULL);
    put(SL_PLEURA_DEPTH, 0.6);
    assert_non_null(strstr(alone("depth-shallow")->found, "no scale"));
}

static void probe_and_frequency(void **state)
{
    (void)state;
    self.result.view.shape = SL_SHAPE_LINEAR;
    self.result.view.near_y = 0;
    self.result.view.far_y = 300;
    self.result.view.last_x = 300;
    alone("probe-target"); /* 120 mm with a linear probe */
    self.result.view.far_y = 165; /* 66 mm: pleura and 4 cm behind it */
    put(SL_PLEURA_DEPTH, 24 / 66.0);
    nothing_wrong(NULL);
    self.result.view.shape = SL_SHAPE_CONVEX;
    set_depth(120);
    self.result.info.acquisition.freq_mhz = 3.5;
    nothing_wrong(NULL);
    self.result.info.acquisition.freq_mhz = 9;
    alone("frequency-high");
    self.result.info.acquisition.freq_mhz = 1.2;
    alone("frequency-low");
}

static void focus(void **state)
{
    (void)state;
    self.result.info.acquisition.focus_mm = 26;
    nothing_wrong(NULL);
    self.result.info.acquisition.focus_mm = 60;
    nothing_wrong(NULL);
    self.result.info.acquisition.focus_mm = 110;
    const sl_complaint *c = alone("focus-off");
    assert_true(c->value == 110 && fabs(c->where.first_depth - 110 / 120.0) < 1e-6);
    self.purpose.rules = SL_RULES_CONSENSUS; /* on the pleura */
    set_depth(70);
    self.result.info.acquisition.focus_mm = 24;
    nothing_wrong(NULL);
    self.result.info.acquisition.focus_mm = 60;
    alone("focus-off");
}

static void grey(void **state)
{
    (void)state;
    sl_grey_quality *g = &self.result.quality.grey, kept = *g;
    for (int b = 0; b < SL_QUALITY_BANDS; b++)
        g->strong[b] = 210;
    alone("gain-high");
    for (int b = 6; b < SL_QUALITY_BANDS; b++)
        g->strong[b] = 20;
    alone("near-bright");
    for (int b = 0; b < SL_QUALITY_BANDS; b++)
        g->strong[b] = 15;
    assert_int_equal(alone("gain-low")->grade, SL_GRADE_RESCAN);
    *g = kept;
    for (int b = 12; b < SL_QUALITY_BANDS; b++) {
        g->strong[b] = 2;
        g->black[b] = 0.95;
    }
    nothing_wrong(NULL); /* behind aerated lung at the front nothing need come back */
    self.purpose.deep = true;
    self.purpose.place = SL_PLAN_PLACE_POSTEROLATERAL;
    set_depth(170);
    alone("far-empty");
    g->strong[SL_QUALITY_BANDS - 1] = 12; /* noise that grows towards the end was amplified: the depth gain is right */
    nothing_wrong(NULL);
    g->strong[SL_QUALITY_BANDS - 1] = 2;
    *g = kept;
    self.purpose.deep = true;
    /* plain speckle: 5.21 dB from the median to the 90th percentile; 255 levels over 50 dB make 26.6 */
    g->grain_upper = 5.214 * 255 / 50;
    g->grain_lower = g->grain_upper / 1.37;
    assert_non_null(strstr(alone("range-low")->found, "about 50 dB"));
    g->grain_upper = 9;
    g->grain_lower = 6;
    nothing_wrong(NULL); /* a video coded again: its grain says nothing */
    self.result.view.scale_source = SL_SCALE_DICOM;
    assert_true(alone("range-high")->suspected);
    g->grain_lower = 5;
    alone("compounding");
    *g = kept;
    g->step_one = -0.25; /* a first-order average of factor one half: -(1 - a) / 2 and -a (1 - a) / 2 */
    g->step_two = -0.125;
    alone("persistence");
}

static void hold(void **state)
{
    (void)state;
    sl_hold_quality *h = &self.result.quality.hold, kept = *h;
    h->tilt_deg = h->tilt_widest_deg = -15;
    assert_non_null(strstr(alone("tilted")->found, "left side deeper"));
    h->tilt_widest_deg = 2; /* one space was misread, the widest is level */
    nothing_wrong(NULL);
    h->tilt_widest_deg = -15;
    h->tilt_rms = 0.05; /* no straight line: nothing is said of its tilt */
    nothing_wrong(NULL);
    *h = kept;
    h->rib = 0.7;
    nothing_wrong(NULL); /* wide shadows beside a space in the middle */
    h->central = 0.2;
    alone("ribs");
    *h = kept;
    h->central = 0.1;
    alone("not-between-ribs");
    *h = kept;
    h->dark = h->dark_last = 0.35;
    assert_true(fabs(alone("contact")->where.first_beam - 0.65) < 1e-9);
    *h = kept;
    h->wall_shift = 30;
    assert_int_equal(alone("moving")->grade, SL_GRADE_RESCAN);
    *h = kept;
    h->wall_kept = 0.05;
    alone("moving");
    *h = kept;
    h->found = 0.05;
    h->tilt_deg = 20; /* of what is no pleura */
    alone("pleura-unseen");
    put(SL_EFFUSION, 0.9); /* fluid takes the line away: a finding, no fault */
    nothing_wrong(NULL);
    h->rib = 0.95; /* the dark behind bone is no fluid */
    alone("pleura-unseen");
    put(SL_ORGAN, 0.9);
    assert_true(alone("no-lung")->suspected);
    *h = kept;
    static sl_evidence wide = {.first_beam = 0.05, .last_beam = 0.95, .last_depth = 1};
    put(SL_ORGAN, 0.9);
    for (int i = 0; i < self.result.reading->findings; i++)
        if (self.result.reading->finding[i].code == SL_ORGAN) {
            self.result.reading->finding[i].evidence = &wide;
            self.result.reading->finding[i].evidences = 1;
        }
    nothing_wrong(NULL); /* an organ beside lung is no fault */
    put(SL_DIAPHRAGM, 0.9);
    assert_int_equal(alone("no-lung")->grade, SL_GRADE_NOTE); /* from below: it may be the diaphragm that was looked at */
    *h = kept;
    self.result.info.acquisition.depth_mm = 3 * sl_view_depth_mm(&self.result.view);
    judged("pleura-unseen"); /* nothing comes back from most of the depth */
}

static void time(void **state)
{
    (void)state;
    self.result.duration_s = 3.5;
    self.result.frames = 71;
    assert_int_equal(alone("length")->grade, SL_GRADE_NOTE);
    self.result.duration_s = 1.5;
    assert_int_equal(alone("length")->grade, SL_GRADE_WEAK);
    self.result.duration_s = 6;
    self.result.info.frame_rate_hz = 4;
    assert_true(alone("frame-rate")->low > 4);
    self.result.info.frame_rate_hz = 20;
    self.result.frames = 1;
    self.result.info.is_still = true;
    alone("still");
}

static void stated(void **state)
{
    (void)state;
    self.result.view.mirrored = true;
    alone("orientation");
    self.result.view.mirrored = false;
    strcpy(self.result.info.acquisition.processing, "Tissue Harmonic Imaging");
    assert_false(alone("harmonics")->suspected);
    self.result.info.acquisition.processing[0] = 0;
    self.result.info.acquisition.mechanical_index = 1.1; /* evidence sheet 11: start at or below 0.4 */
    assert_int_equal(alone("output")->grade, SL_GRADE_NOTE);
    self.result.info.acquisition.mechanical_index = 0.4;
    nothing_wrong(NULL);
}

/* Reverberation geometry (physics sheet A7): repeats at whole multiples of the distance from the probe's face. */
static void spacing(void **state)
{
    (void)state;
    put(SL_A_LINE_COUNT, 3);
    put(SL_A_LINE_SPACING, 1.02);
    nothing_wrong(NULL);
    put(SL_A_LINE_SPACING, 1.3);
    const sl_complaint *c = alone("spacing");
    assert_non_null(strstr(c->found, "31.2 mm apart, the pleura lies at 24.0 mm"));
    put(SL_A_LINE_COUNT, 1);
    nothing_wrong(NULL); /* one repeat may be any border */
    put(SL_A_LINE_COUNT, 3);
    self.result.view.face_visible = false; /* spacing now in shares of the depth; the top may be cut off */
    put(SL_A_LINE_SPACING, 0.26);
    nothing_wrong(NULL);
    put(SL_A_LINE_SPACING, 0.15); /* but a pleura farther from the cut than from the face cannot be */
    alone("spacing");
}

static void unreadable(void **state)
{
    (void)state;
    self.result.state = SL_CLIP_FAILED;
    self.result.reason = "clip.mp4 is no clip.";
    self.result.quality.grey.top = NAN; /* no picture was decoded */
    assert_string_equal(alone("unreadable")->found, "clip.mp4 is no clip.");
    self.result.quality.grey.top = 40;
    assert_int_equal(judged("gain-low")->grade, SL_GRADE_RESCAN); /* too dark to be read */
}

static void order(void **state)
{
    (void)state;
    self.result.view.mirrored = true;
    self.result.quality.hold.wall_shift = 40;
    self.result.quality.hold.tilt_deg = self.result.quality.hold.tilt_widest_deg = 14;
    judged("moving");
    assert_int_equal(self.audit.complaints, 3);
    assert_string_equal(self.audit.complaint[0].rule->key, "moving");
    assert_string_equal(self.audit.complaint[1].rule->key, "tilted");
    assert_string_equal(self.audit.complaint[2].rule->key, "orientation");
    assert_int_equal(self.audit.worst, SL_GRADE_RESCAN);
}

static void table(void **state)
{
    (void)state;
    for (int i = 0; i < SL_RULES_COUNT; i++) {
        const sl_audit_rule *rule = sl_audit_rule_of((sl_rule_id)i);
        assert_int_equal(rule->id, i);
        for (int k = 0; k < i; k++)
            assert_string_not_equal(rule->key, sl_audit_rule_of((sl_rule_id)k)->key);
        assert_true(strlen(rule->name) > 3 && strlen(rule->source) > 5);
        const char *const sentences[] = {rule->reason, rule->remedy};
        for (int k = 0; k < 2; k++)
            assert_true(strlen(sentences[k]) > 20 && sentences[k][strlen(sentences[k]) - 1] == '.');
    }
    assert_string_equal(sl_grade_name(SL_GRADE_RESCAN), "scan again");
}

#define CASE(name) cmocka_unit_test_setup_teardown(name, well, done)

int main(void)
{
    const struct CMUnitTest tests[] = {CASE(nothing_wrong), CASE(depth),  CASE(depth_without_scale), CASE(probe_and_frequency),
                                       CASE(focus),         CASE(grey),   CASE(hold),                CASE(time),
                                       CASE(stated),        CASE(spacing), CASE(unreadable),         CASE(order),
                                       CASE(table)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
