/* For tests/oracle/check_agree.py: reads a JSON list of jobs from stdin, works each out with the program's own
 * statistics, prints a JSON list of results with 17 digits. */
#include "agree/bootstrap.h"
#include "agree/cusum.h"
#include "agree/icc.h"
#include "agree/kappa.h"
#include "agree/lengths.h"
#include "agree/raters.h"
#include "agree/roc.h"
#include "agree/yesno.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>

static double *numbers(sl_arena *arena, const json_t *job, const char *key, int *count)
{
    const json_t *list = json_object_get(job, key);
    int n = (int)json_array_size(list);
    double *x = SL_NEW(arena, n + 1, double);
    for (int i = 0; i < n; i++) {
        const json_t *item = json_array_get(list, (size_t)i);
        x[i] = json_is_number(item) ? json_number_value(item) : SL_UNKNOWN;
    }
    if (count)
        *count = n;
    return x;
}

static int *whole(sl_arena *arena, const json_t *job, const char *key)
{
    int n, *y;
    double *x = numbers(arena, job, key, &n);
    y = SL_NEW(arena, n + 1, int);
    for (int i = 0; i < n; i++)
        y[i] = (int)x[i];
    return y;
}

static int field(const json_t *job, const char *key)
{
    return (int)json_integer_value(json_object_get(job, key));
}

static json_t *number(double x)
{
    return sl_known(x) ? json_real(x) : json_null();
}

static void put(json_t *out, const char *key, double x)
{
    json_object_set_new(out, key, number(x));
}

static void put_estimate(json_t *out, const char *key, sl_estimate e)
{
    json_object_set_new(out, key, json_pack("[o,o,o,o]", number(e.value), number(e.low), number(e.high), number(e.se)));
}

static void put_kappa(json_t *out, const char *key, sl_kappa k)
{
    put_estimate(out, key, k.kappa);
    char name[64];
    snprintf(name, sizeof name, "%s_null", key);
    json_object_set_new(out, name, json_pack("[o,o,o]", number(k.se0), number(k.z), number(k.p)));
}

static void do_shares(sl_arena *arena, const json_t *job, json_t *out)
{
    double *t = numbers(arena, job, "table", NULL);
    sl_fourfold f = {t[0], t[1], t[2], t[3]};
    put_estimate(out, "sensitivity", sl_sensitivity(f));
    put_estimate(out, "specificity", sl_specificity(f));
    put_estimate(out, "ppv", sl_ppv(f));
    put_estimate(out, "npv", sl_npv(f));
    put_estimate(out, "lr_positive", sl_lr_positive(f));
    put_estimate(out, "lr_negative", sl_lr_negative(f));
}

static void do_roc(sl_arena *arena, const json_t *job, json_t *out)
{
    int n, *truth = whole(arena, job, "truth");
    double *a = numbers(arena, job, "a", &n), *b = numbers(arena, job, "b", NULL);
    sl_roc roc;
    put_estimate(out, "area", sl_roc_area(a, truth, n, arena, &roc));
    json_t *fpr = json_array(), *tpr = json_array();
    for (int i = 0; i < roc.points; i++) {
        json_array_append_new(fpr, json_real(roc.false_positive[i]));
        json_array_append_new(tpr, json_real(roc.true_positive[i]));
    }
    json_object_set_new(out, "fpr", fpr);
    json_object_set_new(out, "tpr", tpr);
    sl_roc_pair pair = sl_roc_compare(a, b, truth, n, arena);
    put_estimate(out, "difference", pair.difference);
    put(out, "p", pair.p);
    put_estimate(out, "brier", sl_brier(a, truth, n));
    sl_reliability_bin bin[10];
    sl_reliability(a, truth, n, 10, bin);
    json_t *bins = json_array();
    for (int i = 0; i < 10; i++)
        if (bin[i].n)
            json_array_append_new(bins, json_pack("[f,f]", bin[i].mean_index, bin[i].observed.value));
    json_object_set_new(out, "bins", bins);
}

static void do_kappa(sl_arena *arena, const json_t *job, json_t *out)
{
    int k = field(job, "k");
    double *table = numbers(arena, job, "table", NULL), *w = SL_NEW(arena, k * k, double);
    static const char *const names[] = {"none", "linear", "quadratic"}, *const ac[] = {"ac1", "ac2l", "ac2q"};
    for (int i = 0; i < 3; i++) {
        sl_agreement_weights((sl_weighting)i, k, w);
        put_kappa(out, names[i], sl_cohen_kappa(table, k, w));
        put_estimate(out, ac[i], sl_gwet_ac(table, k, w).kappa);
    }
}

static void do_raters(sl_arena *arena, const json_t *job, json_t *out)
{
    int items = field(job, "items"), readers = field(job, "readers"), classes = field(job, "classes");
    double *counts = numbers(arena, job, "counts", NULL), *value = numbers(arena, job, "value", NULL);
    put_estimate(out, "fleiss", sl_fleiss_kappa(counts, items, classes).kappa);
    put_estimate(out, "free", sl_free_marginal_kappa(counts, items, classes));
    static const char *const names[] = {"nominal", "ordinal", "interval", "ratio"};
    for (int m = 0; m < 4; m++)
        put_estimate(out, names[m], sl_krippendorff_alpha(value, items, readers, (sl_metric)m, NULL, arena));
}

static void do_icc(sl_arena *arena, const json_t *job, json_t *out)
{
    sl_icc r = sl_intraclass(numbers(arena, job, "value", NULL), field(job, "items"), field(job, "readers"));
    put_estimate(out, "ICC1", r.one_1);
    put_estimate(out, "ICC2", r.two_1);
    put_estimate(out, "ICC3", r.three_1);
    put_estimate(out, "ICC1k", r.one_k);
    put_estimate(out, "ICC2k", r.two_k);
    put_estimate(out, "ICC3k", r.three_k);
    put(out, "sem_agreement", r.sem_agreement);
    put(out, "sem_consistency", r.sem_consistency);
}

static void do_lengths(sl_arena *arena, const json_t *job, json_t *out)
{
    int n;
    double *a = numbers(arena, job, "a", &n), *b = numbers(arena, job, "b", NULL);
    sl_bland_altman r = sl_limits_of_agreement(a, b, n);
    put_estimate(out, "bias", r.bias);
    put_estimate(out, "lower", r.lower);
    put_estimate(out, "upper", r.upper);
    put(out, "correlation", r.correlation);
    put_estimate(out, "concordance", sl_concordance(a, b, n));
    put_estimate(out, "repeatability", sl_repeat_pairs(a, b, n).coefficient);
}

static void do_quantiles(sl_arena *arena, const json_t *job, json_t *out)
{
    int n;
    double *p = numbers(arena, job, "p", &n), *df1 = numbers(arena, job, "df1", NULL);
    double *df2 = numbers(arena, job, "df2", NULL);
    json_t *list = json_array();
    for (int i = 0; i < n; i++)
        json_array_append_new(list, json_pack("[f,f,f,f]", sl_normal_quantile(p[i]), sl_t_quantile(p[i], df1[i]),
                                              sl_f_quantile(p[i], df1[i], df2[i]), sl_chi2_quantile(p[i], df1[i])));
    json_object_set_new(out, "quantiles", list);
}

struct area_job {
    const double *index;
    const int *truth, *order;
    int n;
};

static void area(const void *context, const int *weight, double *value)
{
    const struct area_job *j = context;
    *value = sl_roc_weighted_area(j->index, j->truth, j->order, weight, j->n);
}

static void do_bootstrap(sl_arena *arena, const json_t *job, json_t *out)
{
    int n, groups = field(job, "groups"), draws = field(job, "draws"), seed = field(job, "seed");
    double *index = numbers(arena, job, "a", &n);
    int *order = SL_NEW(arena, n, int), *times = SL_NEW(arena, groups, int);
    sl_roc_order(index, n, order);
    struct area_job j = {index, whole(arena, job, "truth"), order, n};
    sl_resampling how = {draws, (uint64_t)seed, 2};
    sl_spread spread;
    sl_bootstrap(whole(arena, job, "group"), groups, n, 1, area, &j, &how, &spread, NULL);
    put(out, "low", spread.low);
    put(out, "high", spread.high);
    json_t *all = json_array();
    for (int d = 0; d < draws; d++) {
        sl_bootstrap_draw((uint64_t)seed, d, groups, times);
        json_t *row = json_array();
        for (int g = 0; g < groups; g++)
            json_array_append_new(row, json_integer(times[g]));
        json_array_append_new(all, row);
    }
    json_object_set_new(out, "times", all);
}

int main(void)
{
    static const struct {
        const char *name;
        void (*work)(sl_arena *, const json_t *, json_t *);
    } jobs[] = {{"shares", do_shares}, {"roc", do_roc},         {"kappa", do_kappa},         {"raters", do_raters},
                {"icc", do_icc},       {"lengths", do_lengths}, {"quantiles", do_quantiles}, {"bootstrap", do_bootstrap}};
    json_error_t where;
    json_t *list = json_loadf(stdin, 0, &where), *results = json_array();
    size_t i;
    json_t *job;
    if (!json_is_array(list))
        return 2;
    json_array_foreach(list, i, job)
    {
        sl_arena arena = {0};
        json_t *out = json_object();
        const char *what = json_string_value(json_object_get(job, "what"));
        for (size_t k = 0; k < sizeof jobs / sizeof *jobs; k++)
            if (what && !strcmp(what, jobs[k].name))
                jobs[k].work(&arena, job, out);
        json_array_append_new(results, out);
        sl_arena_free(&arena);
    }
    json_dumpf(results, stdout, JSON_REAL_PRECISION(17));
    json_decref(results);
    json_decref(list);
    return 0;
}
