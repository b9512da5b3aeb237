/* The audit's measured design: chests acquired well, and with one thing wrong at a time.
 *
 *   audit_design CASES SEED [--kind KEY] [--workers N] [--numbers] [--silent] [--seconds S]
 *                [--floor FOUND FALSE]
 *
 * Prints a row a case: kind, case, deep point or not, the complaints' keys. --kind: one kind only ("well": acquired well).
 * --numbers adds what was measured; --silent leaves out what a DICOM file would say;
 * --seconds scans no longer than that. With --floor it fails when fewer than
 * FOUND of the spoilt or more than FALSE of the well acquired ones are told so. */
#include "audit_cases.h"
#include "audit/audit.h"
#include "core/pool.h"
#include "reading/read_clip.h"
#include "scenario_clip.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef struct design {
    int cases, first, kinds;
    long seed;
    double seconds; /* at most; 0: as the case has it */
    bool numbers;
    int spoilt, told, well, blamed;
    char folder[64];
    pthread_mutex_t lock;
} design;

static void print_numbers(const char *key, int item, bool deep, const sl_scenario *s, const sl_clip_result *r)
{
    const sl_grey_quality *g = &r->quality.grey;
    const sl_hold_quality *h = &r->quality.hold;
    const sl_finding *p = r->reading ? sl_reading_get(r->reading, SL_PLEURA_DEPTH_MM) : NULL;
    printf(",%s,%d,%d,%d,%.1f,%.1f,%.0f,", *key ? key : "well", item, deep, r->state == SL_CLIP_READ, sl_scenario_pleura_mm(s), p ? p->value : 0.0, g->top);
    for (int b = 0; b < SL_QUALITY_BANDS; b++)
        printf("%.1f,%.1f,%.3f,%.4f,%.2f,", g->mean[b], g->strong[b], g->black[b], g->white[b], g->lateral[b]);
    printf("%.2f,%.2f,%.0f,%.3f,%.3f,", g->grain_lower, g->grain_upper, g->grain_windows, g->step_one, g->step_two);
    printf("%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.2f,%.1f,%.1f,%.2f,%.1f,%.2f,%.2f,%d,%.1f,%.4f,%d,%.0f,%.4f,%.4f,%.4f", h->found, h->clear, h->space, h->rib, h->dark, h->dark_first,
           h->dark_last, h->widest, h->central * 100, h->tilt_deg, h->echo, h->wall_shift, h->wall_kept, r->signs.sway, r->view.mirrored, sl_view_depth_mm(&r->view), h->tilt_rms, s->controls.grey_map, h->caps,
           r->signs.flicker, r->signs.coherence, r->signs.decay);
    printf(",%.1f,%.1f,%.1f", 57.29578 * r->view.first_angle, 57.29578 * r->view.last_angle, s->probe.field_deg);
}

/* What the complaints say of a case. Notes are no alarm. */
static void judge(design *self, const audit_fault *fault, int item, bool deep, const sl_audit *audit)
{
    bool told = false, blamed = false;
    printf("%s,%d,%d,", *fault->key ? fault->key : "well", item, deep);
    for (int i = 0; i < audit->complaints; i++) {
        const char *key = audit->complaint[i].rule->key;
        told |= !strcmp(key, fault->key) || !strcmp(key, fault->also);
        blamed |= audit->complaint[i].grade > SL_GRADE_NOTE;
        printf("%s%s", i ? " " : "", key);
    }
    for (int i = 0; self->numbers && i < audit->complaints; i++)
        fprintf(stderr, "%s %d %s: %s\n", fault->key, item, audit->complaint[i].rule->key, audit->complaint[i].found);
    self->spoilt += *fault->key != 0;
    self->told += *fault->key && told;
    self->well += !*fault->key;
    self->blamed += !*fault->key && blamed;
}

static void one_case(void *context, int item, int worker)
{
    (void)worker;
    design *self = context;
    const audit_fault *fault = &audit_faults[self->first + item / self->cases];
    int index = item % self->cases;
    bool deep = index % 2 || fault->deep;
    sl_scenario s;
    sl_arena arena = {0};
    sl_error error;
    char path[128];
    audit_chest((uint64_t)(self->seed + 1000 * (self->first + item / self->cases) + index), deep, &s);
    fault->spoil(&s, (index + 0.5) / self->cases);
    if (self->seconds > 0 && s.controls.duration_s > self->seconds)
        s.controls.duration_s = self->seconds;
    double most = sl_scenario_frame_rate_most_hz(&s);
    if (s.controls.frame_rate_hz > most)
        s.controls.parallel_beams = (int)(s.controls.parallel_beams * s.controls.frame_rate_hz / most) + 1;
    snprintf(path, sizeof path, "%s/%d.json", self->folder, item);
    json_t *json = sl_scenario_to_json(&s);
    json_dump_file(json, path, 0);
    json_decref(json);
    sl_clip_result result;
    sl_read_clip(path, NULL, &arena, &result);
    unlink(path);
    sl_audit audit;
    sl_audit_purpose purpose = {true, deep, deep ? SL_PLAN_PLACE_POSTEROLATERAL : SL_PLAN_PLACE_ANTERIOR, SL_RULES_PRACTICE};
    if (sl_audit_clip(&result, &purpose, &arena, &audit, &error) != SL_OK)
        audit = (sl_audit){0};
    pthread_mutex_lock(&self->lock);
    if (result.state != SL_CLIP_READ)
        fprintf(stderr, "%s %d: %s\n", fault->key, index, result.reason);
    judge(self, fault, index, deep, &audit);
    if (self->numbers)
        print_numbers(fault->key, index, deep, &s, &result);
    putchar('\n');
    fflush(stdout);
    pthread_mutex_unlock(&self->lock);
    sl_arena_free(&arena);
}

int main(int argc, char **argv)
{
    if (argc < 3)
        return 2;
    design self = {.cases = (int)strtol(argv[1], NULL, 10), .seed = strtol(argv[2], NULL, 10), .kinds = audit_fault_count};
    int workers = 1;
    double floor_told = 0, floor_blamed = 1;
    for (int i = 3; i < argc; i++) {
        if (!strcmp(argv[i], "--kind") && i + 1 < argc) {
            i++;
            for (int k = 0; k < audit_fault_count; k++)
                if (!strcmp(audit_faults[k].key, !strcmp(argv[i], "well") ? "" : argv[i])) {
                    self.first = k;
                    self.kinds = 1;
                }
        } else if (!strcmp(argv[i], "--workers") && i + 1 < argc)
            workers = (int)strtol(argv[++i], NULL, 10);
        else if (!strcmp(argv[i], "--seconds") && i + 1 < argc)
            self.seconds = strtod(argv[++i], NULL);
        else if (!strcmp(argv[i], "--silent"))
            scenario_clip_silent(true);
        else if (!strcmp(argv[i], "--numbers"))
            self.numbers = true;
        else if (!strcmp(argv[i], "--floor") && i + 2 < argc) {
            floor_told = strtod(argv[i + 1], NULL);
            floor_blamed = strtod(argv[i + 2], NULL);
            i += 2;
        }
    }
    strcpy(self.folder, "/tmp/sl-audit-XXXXXX");
    if (!mkdtemp(self.folder))
        return 1;
    pthread_mutex_init(&self.lock, NULL);
    scenario_clip_join();
    sl_pool_run(workers, self.cases * self.kinds, one_case, &self);
    rmdir(self.folder);
    bool good = self.told >= floor_told * self.spoilt && self.blamed <= floor_blamed * self.well;
    fprintf(stderr, "%d of %d spoilt ones told, %d of %d well acquired ones blamed\n", self.told, self.spoilt, self.blamed, self.well);
    return good ? 0 : 1;
}
