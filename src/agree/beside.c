#include "agree/beside.h"

#include "agree/kappa.h"
#include "core/units.h"

typedef struct both {
    int n, *truth, *person, *first_order, *second_order;
    double *label, *first, *second;
    int low, k;
    double weight[SL_CLASSES * SL_CLASSES];
} both;

static void areas_resampled(const void *context, const int *weight, double *value)
{
    const both *b = context;
    *value = sl_roc_weighted_area(b->first, b->truth, b->first_order, weight, b->n) -
             sl_roc_weighted_area(b->second, b->truth, b->second_order, weight, b->n);
}

static double kappa_of(const both *b, const double *reading, const int *weight)
{
    double table[SL_CLASSES * SL_CLASSES] = {0};
    for (int i = 0; i < b->n; i++)
        table[((int)b->label[i] - b->low) * b->k + (int)reading[i] - b->low] += weight ? weight[i] : 1;
    return sl_cohen_kappa(table, b->k, b->weight).kappa.value;
}

static void kappas_resampled(const void *context, const int *weight, double *value)
{
    const both *b = context;
    *value = kappa_of(b, b->first, weight) - kappa_of(b, b->second, weight);
}

static bool fits(const sl_use *use, double number)
{
    return sl_known(number) && (use->scale != SL_SCALE_ORDERED || (number == floor(number) && number >= use->info->low &&
                                                                   number <= use->info->high));
}

static bool gather(const sl_statements *s, const sl_statement *first, const sl_statement *second, int u, both *b,
                   sl_beside *r)
{
    const sl_use *use = &s->use[u];
    sl_arena *arena = s->arena;
    b->truth = SL_NEW(arena, s->rows, int);
    b->person = SL_NEW(arena, s->rows, int);
    b->first_order = SL_NEW(arena, s->rows, int);
    b->second_order = SL_NEW(arena, s->rows, int);
    b->label = SL_NEW(arena, s->rows, double);
    b->first = SL_NEW(arena, s->rows, double);
    b->second = SL_NEW(arena, s->rows, double);
    int *number = SL_NEW(arena, s->persons + 1, int);
    if (!b->truth || !b->person || !b->first_order || !b->second_order || !b->label || !b->first || !b->second || !number)
        return false;
    for (int i = 0; i < s->rows; i++) {
        int at = i * s->uses + u, person = s->row[i].person;
        sl_statement label = s->label[at];
        bool labelled = use->scale == SL_SCALE_YES_NO ? label.word == SL_WORD_YES || label.word == SL_WORD_NO
                                                      : fits(use, label.number);
        if (s->row[i].contradicted || !labelled || !fits(use, first[at].number) || !fits(use, second[at].number))
            continue;
        if (person >= 0 && !number[person])
            number[person] = ++r->persons;
        b->truth[b->n] = label.word == SL_WORD_YES;
        b->label[b->n] = label.number;
        b->first[b->n] = first[at].number;
        b->second[b->n] = second[at].number;
        b->person[b->n++] = person >= 0 ? number[person] - 1 : r->persons++;
    }
    r->clips = b->n;
    return true;
}

sl_status sl_compare_beside(const sl_statements *s, const sl_statement *first, const sl_statement *second, int u,
                            const sl_resampling *how, sl_beside *r, sl_error *error)
{
    const sl_use *use = &s->use[u];
    *r = (sl_beside){.use = use, .difference = sl_undefined("no clip with a label and both readings"), .p = SL_UNKNOWN,
                     .person = {SL_UNKNOWN, SL_UNKNOWN, 0, "nothing to compare"}};
    both *b = SL_NEW(s->arena, 1, both);
    if (!b || !gather(s, first, second, u, b, r))
        return sl_fail(error, SL_MEMORY, "Memory ran out while comparing %s.", use->title);
    if (!b->n || (use->scale != SL_SCALE_YES_NO && use->scale != SL_SCALE_ORDERED))
        return SL_OK;
    sl_resampled statistic = areas_resampled;
    if (use->scale == SL_SCALE_YES_NO) {
        sl_roc_pair pair = sl_roc_compare(b->first, b->second, b->truth, b->n, s->arena);
        sl_roc_order(b->first, b->n, b->first_order);
        sl_roc_order(b->second, b->n, b->second_order);
        r->measure = "auc";
        r->first = pair.first.value;
        r->second = pair.second.value;
        r->difference = pair.difference;
        r->p = pair.p;
    } else {
        b->low = (int)use->info->low;
        b->k = (int)fmin(use->info->high - use->info->low + 1, SL_CLASSES);
        sl_agreement_weights(SL_WEIGHT_QUADRATIC, b->k, b->weight);
        r->measure = "kappa_quadratic";
        r->first = kappa_of(b, b->first, NULL);
        r->second = kappa_of(b, b->second, NULL);
        r->difference = sl_known(r->first) && sl_known(r->second) ? sl_point(r->first - r->second)
                                                                  : sl_undefined("kappa is not defined for one of them");
        statistic = kappas_resampled;
    }
    if (!s->persons) {
        r->person.why = "persons are not known";
        r->persons = 0;
        return SL_OK;
    }
    return sl_bootstrap(b->person, r->persons, b->n, 1, statistic, b, how, &r->person, error);
}
