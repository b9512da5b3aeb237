/* Ordered classes, and numbers. */
#include "agree/icc.h"
#include "agree/measure_parts.h"
#include "agree/raters.h"

/* ---- ordered ---- */

enum { EXACT, WITHIN_ONE, KAPPA, LINEAR, QUADRATIC, AC1, AC2, ALPHA, ORDERED_ALL };

typedef struct ordered {
    const sl_comparison *c;
    int k, low;
    double linear[SL_CLASSES * SL_CLASSES], quadratic[SL_CLASSES * SL_CLASSES];
} ordered;

static int class_of(const ordered *o, double value)
{
    int at = sl_known(value) && value == floor(value) ? (int)value - o->low : -1;
    return at >= 0 && at < o->k ? at : -1;
}

static double fill(const ordered *o, const int *weight, double *table)
{
    double n = 0;
    for (int i = 0; i < o->k * o->k; i++)
        table[i] = 0;
    for (int i = 0; i < o->c->cases; i++) {
        int a = class_of(o, o->c->reference[i]), b = class_of(o, o->c->reading[i]);
        if (a < 0 || b < 0)
            continue;
        table[a * o->k + b] += weight ? weight[i] : 1;
        n += weight ? weight[i] : 1;
    }
    return n;
}

static double apart_at_most(const double *table, int k, int most)
{
    double sum = 0;
    for (int i = 0; i < k; i++)
        for (int j = 0; j < k; j++)
            sum += i - j <= most && j - i <= most ? table[i * k + j] : 0;
    return sum;
}

/* Krippendorff's alpha for two readers without gaps, on ordered classes, from the table. */
static double ordinal_alpha(const double *table, int k)
{
    double marginal[SL_CLASSES] = {0}, below[SL_CLASSES], n = 0, observed = 0, expected = 0;
    for (int i = 0; i < k; i++)
        for (int j = 0; j < k; j++) {
            marginal[i] += table[i * k + j];
            marginal[j] += table[i * k + j];
        }
    for (int i = 0; i < k; i++) {
        below[i] = n;
        n += marginal[i];
    }
    for (int i = 0; i < k; i++)
        for (int j = i + 1; j < k; j++) {
            double d = below[j] + marginal[j] - below[i] - 0.5 * (marginal[i] + marginal[j]);
            observed += 2 * (table[i * k + j] + table[j * k + i]) * d * d;
            expected += 2 * marginal[i] * marginal[j] * d * d;
        }
    return n > 1 && expected > 0 ? 1 - (n - 1) * observed / expected : SL_UNKNOWN;
}

static void ordered_resampled(const void *context, const int *weight, double *value)
{
    const ordered *o = context;
    double table[SL_CLASSES * SL_CLASSES], n = fill(o, weight, table);
    value[EXACT] = n > 0 ? apart_at_most(table, o->k, 0) / n : SL_UNKNOWN;
    value[WITHIN_ONE] = n > 0 ? apart_at_most(table, o->k, 1) / n : SL_UNKNOWN;
    value[KAPPA] = sl_cohen_kappa(table, o->k, NULL).kappa.value;
    value[LINEAR] = sl_cohen_kappa(table, o->k, o->linear).kappa.value;
    value[QUADRATIC] = sl_cohen_kappa(table, o->k, o->quadratic).kappa.value;
    value[AC1] = sl_gwet_ac(table, o->k, NULL).kappa.value;
    value[AC2] = sl_gwet_ac(table, o->k, o->quadratic).kappa.value;
    value[ALPHA] = ordinal_alpha(table, o->k);
}

sl_status sl_measure_ordered(sl_comparison *c, const sl_resampling *how, sl_arena *arena, sl_error *error)
{
    ordered *o = SL_NEW(arena, 1, ordered);
    double *table = SL_NEW(arena, SL_CLASSES * SL_CLASSES, double);
    if (!o || !table)
        return sl_fail(error, SL_MEMORY, "Memory ran out while comparing %s.", c->name);
    o->c = c;
    o->low = (int)c->use->info->low;
    o->k = (int)fmin(c->use->info->high - c->use->info->low + 1, SL_CLASSES);
    sl_agreement_weights(SL_WEIGHT_LINEAR, o->k, o->linear);
    sl_agreement_weights(SL_WEIGHT_QUADRATIC, o->k, o->quadratic);
    double n = fill(o, NULL, table);
    c->classes = o->k;
    c->first_class = o->low;
    c->confusion = table;
    c->answered = (int)n;
    if (!c->cases)
        return SL_OK;
    sl_spread *by = sl_measure_resample(c, ORDERED_ALL, ordered_resampled, o, how, arena, error);
    if (!by)
        return SL_MEMORY;
    double alpha = ordinal_alpha(table, o->k);
    sl_measure_add(c, "answered", "answered", "Wilson", true, sl_share(n, c->cases), NULL);
    sl_measure_add(c, "exact", "same class", "Wilson", true, sl_share(apart_at_most(table, o->k, 0), n), &by[EXACT]);
    sl_measure_add(c, "within_one", "within one class", "Wilson", true, sl_share(apart_at_most(table, o->k, 1), n),
                   &by[WITHIN_ONE]);
    sl_measure_add(c, "kappa", "Cohen's kappa", "Fleiss-Cohen-Everitt", false, sl_cohen_kappa(table, o->k, NULL).kappa,
                   &by[KAPPA]);
    sl_measure_add(c, "kappa_linear", "kappa, linear weights", "Fleiss-Cohen-Everitt", false,
                   sl_cohen_kappa(table, o->k, o->linear).kappa, &by[LINEAR]);
    sl_measure_add(c, "kappa_quadratic", "kappa, quadratic weights", "Fleiss-Cohen-Everitt", false,
                   sl_cohen_kappa(table, o->k, o->quadratic).kappa, &by[QUADRATIC]);
    sl_measure_add(c, "ac1", "Gwet's AC1", "Student's t", false, sl_gwet_ac(table, o->k, NULL).kappa, &by[AC1]);
    sl_measure_add(c, "ac2_quadratic", "Gwet's AC2, quadratic", "Student's t", false,
                   sl_gwet_ac(table, o->k, o->quadratic).kappa, &by[AC2]);
    sl_measure_add(c, "alpha_ordinal", "Krippendorff's alpha, ordinal", "", false,
                   sl_known(alpha) ? sl_point(alpha) : sl_undefined("all values are the same"), &by[ALPHA]);
    return SL_OK;
}

/* ---- numbers ---- */

enum { BIAS, LOWER, UPPER, ABSOLUTE, CONCORDANCE, NUMBERS_ALL };

typedef struct numbers {
    int n, *case_of, *weight;
    double *first, *second;
} numbers;

static void numbers_resampled(const void *context, const int *weight, double *value)
{
    const numbers *x = context;
    double all = 0, bias = 0, squares = 0, absolute = 0, ma = 0, mb = 0, saa = 0, sbb = 0, sab = 0;
    for (int i = 0; i < x->n; i++) {
        double w = weight[x->case_of[i]];
        all += w;
        ma += w * x->first[i];
        mb += w * x->second[i];
        absolute += w * fabs(x->first[i] - x->second[i]);
    }
    ma /= all;
    mb /= all;
    bias = ma - mb;
    for (int i = 0; i < x->n; i++) {
        double w = weight[x->case_of[i]], d = x->first[i] - x->second[i] - bias;
        squares += w * d * d;
        saa += w * (x->first[i] - ma) * (x->first[i] - ma);
        sbb += w * (x->second[i] - mb) * (x->second[i] - mb);
        sab += w * (x->first[i] - ma) * (x->second[i] - mb);
    }
    double sd = all > 1 ? sqrt(squares / (all - 1)) : SL_UNKNOWN, z = sl_level_z();
    double below = (saa + sbb) / all + bias * bias;
    value[BIAS] = all > 0 ? bias : SL_UNKNOWN;
    value[LOWER] = bias - z * sd;
    value[UPPER] = bias + z * sd;
    value[ABSOLUTE] = all > 0 ? absolute / all : SL_UNKNOWN;
    value[CONCORDANCE] = below > 0 ? 2 * sab / all / below : SL_UNKNOWN;
}

static void add_icc(sl_comparison *c, const numbers *x, sl_arena *arena)
{
    double *both = SL_NEW(arena, 2 * x->n + 1, double);
    if (!both)
        return;
    for (int i = 0; i < x->n; i++) {
        both[2 * i] = x->first[i];
        both[2 * i + 1] = x->second[i];
    }
    sl_icc r = sl_intraclass(both, x->n, 2);
    sl_measure_add(c, "icc_1_1", "ICC (1,1)", "F", false, r.one_1, NULL);
    sl_measure_add(c, "icc_2_1", "ICC (2,1)", "F, Satterthwaite", false, r.two_1, NULL);
    sl_measure_add(c, "icc_3_1", "ICC (3,1)", "F", false, r.three_1, NULL);
    sl_measure_add(c, "icc_1_k", "ICC (1,k), mean of both", "F", false, r.one_k, NULL);
    sl_measure_add(c, "icc_2_k", "ICC (2,k), mean of both", "F, Satterthwaite", false, r.two_k, NULL);
    sl_measure_add(c, "icc_3_k", "ICC (3,k), mean of both", "F", false, r.three_k, NULL);
    sl_repeatability repeat = sl_repeat_pairs(x->first, x->second, x->n);
    sl_measure_add(c, "repeatability", "repeatability coefficient", "chi-square", false, repeat.coefficient, NULL);
    sl_measure_add(c, "smallest_change", "smallest detectable change", "", false,
                   sl_known(r.sem_agreement) ? sl_point(sl_smallest_detectable_change(r.sem_agreement))
                                             : sl_undefined("needs two or more cases measured both ways"),
                   NULL);
}

sl_status sl_measure_numbers(sl_comparison *c, const sl_resampling *how, sl_arena *arena, sl_error *error)
{
    numbers x = {0, SL_NEW(arena, c->cases + 1, int), NULL, SL_NEW(arena, c->cases + 1, double),
                 SL_NEW(arena, c->cases + 1, double)};
    if (!x.case_of || !x.first || !x.second)
        return sl_fail(error, SL_MEMORY, "Memory ran out while comparing %s.", c->name);
    for (int i = 0; i < c->cases; i++)
        if (sl_known(c->reading[i])) {
            x.first[x.n] = c->reading[i];
            x.second[x.n] = c->reference[i];
            x.case_of[x.n++] = i;
        }
    c->answered = c->numbers = x.n;
    c->first = x.first;
    c->second = x.second;
    if (!c->cases)
        return SL_OK;
    sl_measure_add(c, "answered", "answered", "Wilson", true, sl_share(x.n, c->cases), NULL);
    if (!x.n)
        return SL_OK;
    sl_spread *by = sl_measure_resample(c, NUMBERS_ALL, numbers_resampled, &x, how, arena, error);
    if (!by)
        return SL_MEMORY;
    c->limits = sl_limits_of_agreement(x.first, x.second, x.n);
    double absolute = 0;
    for (int i = 0; i < x.n; i++)
        absolute += fabs(x.first[i] - x.second[i]) / x.n;
    sl_measure_add(c, "bias", "bias (reading - reference)", "Student's t", false, c->limits.bias, &by[BIAS]);
    sl_measure_add(c, "lower_limit", "lower limit of agreement", "Student's t", false, c->limits.lower, &by[LOWER]);
    sl_measure_add(c, "upper_limit", "upper limit of agreement", "Student's t", false, c->limits.upper, &by[UPPER]);
    sl_measure_add(c, "absolute", "mean absolute difference", "", false, sl_point(absolute), &by[ABSOLUTE]);
    sl_measure_add(c, "error_grows", "correlation of difference and mean", "", false,
                   sl_known(c->limits.correlation) ? sl_point(c->limits.correlation)
                                                   : sl_undefined("the differences or the means are all the same"),
                   NULL);
    sl_measure_add(c, "concordance", "Lin's concordance", "Z", false, sl_concordance(x.first, x.second, x.n),
                   &by[CONCORDANCE]);
    add_icc(c, &x, arena);
    return SL_OK;
}
