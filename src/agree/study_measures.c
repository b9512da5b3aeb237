#include "agree/study_measures.h"

#include "agree/icc.h"
#include "agree/kappa.h"
#include "agree/lengths.h"
#include "agree/names.h"
#include "agree/raters.h"
#include "agree/yesno.h"
#include "core/units.h"

#include <stdio.h>
#include <string.h>

/* What first sittings say of one code: value[clip * readers + reader], NAN where nothing certain is said. */
typedef struct matrix {
    const sl_study *s;
    sl_arena *arena;
    const sl_finding_info *info;
    int clips, readers, *sitting;
    double *value;
    int persons, *person; /* persons 0: not known */
    sl_study_result *result;
} matrix;

static double certain_value(const sl_finding *f, const sl_finding_info *info)
{
    if (!f || !f->known || (info->kind == SL_KIND_ANSWER && f->answer == SL_UNCERTAIN))
        return SL_UNKNOWN;
    return info->kind == SL_KIND_ANSWER ? f->answer == SL_PRESENT : f->value;
}

static void add(matrix *m, const char *key, const char *name, const char *who, int clips, bool percent, sl_estimate of,
                const sl_spread *person)
{
    sl_study_result *r = m->result;
    if (r->rows == r->room) {
        int room = r->room ? 2 * r->room : 64;
        sl_study_row *more = SL_NEW(m->arena, room, sl_study_row);
        if (!more)
            return;
        if (r->rows)
            memcpy(more, r->row, sizeof *more * (size_t)r->rows);
        r->row = more;
        r->room = room;
    }
    r->row[r->rows++] = (sl_study_row){m->info->code, key, name, who, clips, percent, of, person != NULL,
                                       person ? *person : (sl_spread){SL_UNKNOWN, SL_UNKNOWN, 0, NULL}};
}

/* Two columns of certain values side by side. */
static int side_by_side(const double *a, const double *b, int step, int clips, double *x, double *y)
{
    int n = 0;
    for (int i = 0; i < clips; i++)
        if (sl_known(a[i * step]) && sl_known(b[i * step])) {
            x[n] = a[i * step];
            y[n++] = b[i * step];
        }
    return n;
}

static void compare_two(matrix *m, const double *x, const double *y, int n, const char *who, bool same_reader)
{
    if (m->info->kind == SL_KIND_COUNT || m->info->kind == SL_KIND_AMOUNT) {
        sl_bland_altman limits = sl_limits_of_agreement(x, y, n);
        add(m, "bias", "bias", who, n, false, limits.bias, NULL);
        add(m, "lower_limit", "lower limit of agreement", who, n, false, limits.lower, NULL);
        add(m, "upper_limit", "upper limit of agreement", who, n, false, limits.upper, NULL);
        add(m, "concordance", "Lin's concordance", who, n, false, sl_concordance(x, y, n), NULL);
        if (same_reader)
            add(m, "repeatability", "repeatability coefficient", who, n, false, sl_repeat_pairs(x, y, n).coefficient,
                NULL);
        return;
    }
    int low = (int)m->info->low, k = (int)fmin(m->info->high - m->info->low + 1, SL_CLASSES);
    double table[SL_CLASSES * SL_CLASSES] = {0}, w[SL_CLASSES * SL_CLASSES], same = 0;
    for (int i = 0; i < n; i++) {
        int a = (int)x[i] - low, b = (int)y[i] - low;
        if (a >= 0 && a < k && b >= 0 && b < k)
            table[a * k + b]++;
        same += x[i] == y[i];
    }
    add(m, "same", "same answer", who, n, true, sl_share(same, n), NULL);
    add(m, "kappa", "Cohen's kappa", who, n, false, sl_cohen_kappa(table, k, NULL).kappa, NULL);
    if (m->info->kind == SL_KIND_ANSWER) {
        add(m, "ac1", "Gwet's AC1", who, n, false, sl_gwet_ac(table, k, NULL).kappa, NULL);
        return;
    }
    sl_agreement_weights(SL_WEIGHT_LINEAR, k, w);
    add(m, "kappa_linear", "kappa, linear weights", who, n, false, sl_cohen_kappa(table, k, w).kappa, NULL);
    sl_agreement_weights(SL_WEIGHT_QUADRATIC, k, w);
    add(m, "kappa_quadratic", "kappa, quadratic weights", who, n, false, sl_cohen_kappa(table, k, w).kappa, NULL);
    add(m, "ac2_quadratic", "Gwet's AC2, quadratic", who, n, false, sl_gwet_ac(table, k, w).kappa, NULL);
}

/* ---- all readers ---- */

typedef struct alpha_job {
    const matrix *m;
    sl_metric metric;
} alpha_job;

static void alpha_resampled(const void *context, const int *weight, double *value)
{
    const alpha_job *j = context;
    sl_arena arena = {0};
    *value = sl_krippendorff_alpha(j->m->value, j->m->clips, j->m->readers, j->metric, weight, &arena).value;
    sl_arena_free(&arena);
}

static sl_status all_readers(matrix *m, const sl_resampling *how, sl_error *error)
{
    const char *who = sl_arena_printf(m->arena, m->readers == 2 ? "both readers" : "all %d readers", m->readers);
    double *complete = SL_NEW(m->arena, m->clips * m->readers + 1, double);
    if (!who || !complete)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    int n = 0, paired = 0;
    for (int i = 0; i < m->clips; i++) {
        int known = 0;
        for (int r = 0; r < m->readers; r++)
            known += sl_known(m->value[i * m->readers + r]);
        paired += known >= 2;
        if (known == m->readers)
            memcpy(complete + m->readers * n++, m->value + i * m->readers, sizeof *complete * (size_t)m->readers);
    }
    bool classes = m->info->kind == SL_KIND_ANSWER || m->info->kind == SL_KIND_ORDERED;
    if (classes && m->readers > 2) {
        int low = (int)m->info->low, k = (int)(m->info->high - m->info->low) + 1;
        double *counts = SL_NEW(m->arena, n * k + 1, double);
        for (int i = 0; counts && i < n; i++)
            for (int r = 0; r < m->readers; r++) {
                int c = (int)complete[i * m->readers + r] - low;
                if (c >= 0 && c < k)
                    counts[i * k + c]++;
            }
        if (counts)
            add(m, "fleiss", "Fleiss' kappa", who, n, false, sl_fleiss_kappa(counts, n, k).kappa, NULL);
    }
    if (!classes) {
        sl_icc icc = sl_intraclass(complete, n, m->readers);
        add(m, "icc_2_1", "ICC (2,1)", who, n, false, icc.two_1, NULL);
        add(m, "icc_2_k", "ICC (2,k), mean of all", who, n, false, icc.two_k, NULL);
        add(m, "smallest_change", "smallest detectable change", who, n, false,
            sl_known(icc.sem_agreement) ? sl_point(sl_smallest_detectable_change(icc.sem_agreement))
                                        : sl_undefined("needs two or more clips that all read"),
            NULL);
    }
    sl_metric metric = m->info->kind == SL_KIND_ANSWER    ? SL_NOMINAL
                       : m->info->kind == SL_KIND_ORDERED ? SL_ORDINAL
                                                          : SL_INTERVAL;
    static const char *const names[] = {"Krippendorff's alpha, nominal", "Krippendorff's alpha, ordinal",
                                        "Krippendorff's alpha, interval"};
    alpha_job job = {m, metric};
    sl_spread person = {SL_UNKNOWN, SL_UNKNOWN, 0, "persons are not known"};
    if (m->persons) {
        sl_status status = sl_bootstrap(m->person, m->persons, m->clips, 1, alpha_resampled, &job, how, &person, error);
        if (status != SL_OK)
            return status;
    }
    add(m, "alpha", names[metric], who, paired, false,
        sl_krippendorff_alpha(m->value, m->clips, m->readers, metric, NULL, m->arena), &person);
    return SL_OK;
}

/* ---- the study ---- */

static void find_persons(matrix *m)
{
    sl_names names = {.arena = m->arena};
    char person[256];
    bool all = true;
    for (int i = 0; i < m->clips && all; i++) {
        all = sl_person_in_name(m->s->clip[i], NULL, person, sizeof person);
        int number = all ? sl_names_add(&names, person, m->persons) : -1;
        m->persons += number == m->persons;
        m->person[i] = number;
    }
    if (!all)
        m->persons = 0;
}

static sl_status one_code(matrix *m, const sl_resampling *how, double *x, double *y, sl_error *error)
{
    const sl_study *s = m->s;
    m->readers = 0;
    for (int t = 0; t < s->sittings; t++) {
        bool said = false;
        for (int c = 0; c < s->clips && !said; c++)
            said = sl_study_says(s, t, s->clip[c], m->info->code) != NULL;
        if (said && s->sitting[t].number == 1)
            m->sitting[m->readers++] = t;
    }
    for (int c = 0; c < s->clips; c++)
        for (int r = 0; r < m->readers; r++)
            m->value[c * m->readers + r] =
                certain_value(sl_study_says(s, m->sitting[r], s->clip[c], m->info->code), m->info);
    for (int a = 0; a < m->readers; a++)
        for (int b = a + 1; b < m->readers; b++) {
            const char *who = sl_arena_printf(m->arena, "%s and %s", s->sitting[m->sitting[a]].reader,
                                              s->sitting[m->sitting[b]].reader);
            int n = side_by_side(m->value + a, m->value + b, m->readers, s->clips, x, y);
            compare_two(m, x, y, n, who, false);
        }
    for (int t = 0; t + 1 < s->sittings; t++) {
        if (strcmp(s->sitting[t].reader, s->sitting[t + 1].reader))
            continue;
        int n = 0;
        for (int c = 0; c < s->clips; c++) {
            double a = certain_value(sl_study_says(s, t, s->clip[c], m->info->code), m->info);
            double b = certain_value(sl_study_says(s, t + 1, s->clip[c], m->info->code), m->info);
            if (sl_known(a) && sl_known(b)) {
                x[n] = a;
                y[n++] = b;
            }
        }
        if (n)
            compare_two(m, x, y, n, sl_arena_printf(m->arena, "%s, sittings %d and %d", s->sitting[t].reader,
                                                    s->sitting[t].number, s->sitting[t + 1].number), true);
    }
    return m->readers >= 2 ? all_readers(m, how, error) : SL_OK;
}

sl_status sl_study_measure(const sl_study *s, const sl_resampling *how, sl_study_result *result, sl_error *error)
{
    *result = (sl_study_result){0};
    matrix m = {s, s->arena, NULL, s->clips, 0, SL_NEW(s->arena, s->sittings + 1, int),
                SL_NEW(s->arena, s->clips * s->sittings + 1, double), 0, SL_NEW(s->arena, s->clips + 1, int), result};
    double *x = SL_NEW(s->arena, s->clips + 1, double), *y = SL_NEW(s->arena, s->clips + 1, double);
    if (!m.sitting || !m.value || !m.person || !x || !y)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    find_persons(&m);
    for (int code = 0; code < SL_CODES; code++) {
        m.info = sl_finding_info_of((sl_code)code);
        sl_status status = one_code(&m, how, x, y, error);
        if (status != SL_OK)
            return status;
    }
    return SL_OK;
}
