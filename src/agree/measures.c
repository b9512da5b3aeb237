/* The frame of a comparison: which cases count, in which order, of which persons; then the statistics of its scale. */
#include "agree/measures.h"

#include "agree/measure_parts.h"
#include "core/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const sl_measure *sl_measure_of(const sl_comparison *comparison, const char *key)
{
    for (int i = 0; i < comparison->measures; i++)
        if (!strcmp(comparison->measure[i].key, key))
            return &comparison->measure[i];
    return NULL;
}

void sl_measure_add(sl_comparison *c, const char *key, const char *name, const char *method, bool percent,
                    sl_estimate of, const sl_spread *person)
{
    if (c->measures == SL_MEASURES)
        return;
    sl_measure *m = &c->measure[c->measures++];
    *m = (sl_measure){key, name, method, of, person != NULL, {SL_UNKNOWN, SL_UNKNOWN, 0, NULL}, percent};
    if (person)
        m->person = *person;
}

static bool in_range(const sl_use *use, double number)
{
    return sl_known(number) && (!use->info || (number >= use->info->low && number <= use->info->high));
}

static bool usable(const sl_statements *s, int row, int u)
{
    const sl_label_row *r = &s->row[row];
    sl_statement label = s->label[row * s->uses + u];
    if (!r->read || r->contradicted || r->read_twice_differently)
        return false;
    if (s->use[u].scale == SL_SCALE_YES_NO)
        return label.word == SL_WORD_YES || label.word == SL_WORD_NO;
    return label.word != SL_WORD_UNSURE && sl_known(label.number);
}

typedef struct sorted_row {
    const char *clip;
    int row;
} sorted_row;

static int by_clip(const void *a, const void *b)
{
    const sorted_row *x = a, *y = b;
    int order = strcmp(x->clip, y->clip);
    return order ? order : (x->row > y->row) - (x->row < y->row);
}

/* Cases in the order of their clips' names, persons numbered as they come. */
static bool gather(const sl_statements *s, int u, sl_comparison *c)
{
    sorted_row *sorted = SL_NEW(s->arena, s->rows, sorted_row);
    int *row = SL_NEW(s->arena, s->rows, int), *person = SL_NEW(s->arena, s->rows, int);
    double *reference = SL_NEW(s->arena, s->rows, double), *reading = SL_NEW(s->arena, s->rows, double);
    unsigned char *word = SL_NEW(s->arena, s->rows, unsigned char);
    int *number = SL_NEW(s->arena, s->persons + 1, int);
    if (!sorted || !row || !person || !reference || !reading || !word || !number)
        return false;
    int n = 0, known = 0;
    for (int r = 0; r < s->rows; r++)
        if (usable(s, r, u))
            sorted[n++] = (sorted_row){s->row[r].clip, r};
    qsort(sorted, (size_t)n, sizeof *sorted, by_clip);
    for (int p = 0; p < s->persons; p++)
        number[p] = -1;
    for (int i = 0; i < n; i++) {
        int r = sorted[i].row, at = r * s->uses + u, stated = s->row[r].person;
        row[i] = r;
        reference[i] = s->use[u].scale == SL_SCALE_YES_NO ? s->label[at].word == SL_WORD_YES : s->label[at].number;
        reading[i] = s->reading[at].number;
        word[i] = s->reading[at].word;
        c->yes += s->label[at].word == SL_WORD_YES;
        if (stated >= 0 && number[stated] < 0)
            number[stated] = c->persons++;
        person[i] = stated >= 0 ? number[stated] : -1;
        known += stated >= 0;
    }
    if (known) {
        for (int i = 0; i < n; i++)
            if (person[i] < 0)
                person[i] = c->persons++;
    } else {
        c->persons = 0;
    }
    c->cases = c->labelled = n;
    c->row = row;
    c->person = person;
    c->reference = reference;
    c->reading = reading;
    c->word = word;
    return true;
}

static void name_it(const sl_statements *s, int u, sl_comparison *c)
{
    const sl_use *use = &s->use[u];
    char key[160], plain[80];
    const char *base = use->info ? use->info->key : use->target;
    c->name = use->info ? use->info->name : use->target;
    if (use->test == SL_TEST_AT_LEAST) {
        snprintf(key, sizeof key, "%s_at_least_%g", base, use->threshold);
        c->name = sl_arena_printf(s->arena, "%s for %s of %g or more", c->name, use->title, use->threshold);
    } else if (use->test == SL_TEST_EQUALS) {
        sl_plain_word(use->word, plain, sizeof plain);
        snprintf(key, sizeof key, "%s_of_%s", base, plain);
        c->name = sl_arena_printf(s->arena, "%s for %s = %s", c->name, use->title, use->word);
    } else {
        snprintf(key, sizeof key, "%s", base);
    }
    int same = 1;
    for (int v = 0; v < u; v++)
        same += !strcmp(s->use[v].target, use->target) && s->use[v].test == use->test &&
                (use->test != SL_TEST_AT_LEAST || s->use[v].threshold == use->threshold);
    c->key = same > 1 ? sl_arena_printf(s->arena, "%s_%d", key, same) : sl_arena_text(s->arena, key);
    if (same > 1)
        c->name = sl_arena_printf(s->arena, "%s (%s)", c->name, use->title);
    c->unit = use->info ? use->info->unit : "";
}

sl_spread *sl_measure_resample(const sl_comparison *c, int statistics, sl_resampled statistic, const void *context,
                               const sl_resampling *how, sl_arena *arena, sl_error *error)
{
    sl_spread *spread = SL_NEW(arena, statistics, sl_spread);
    if (!spread) {
        sl_fail(error, SL_MEMORY, "Memory ran out while comparing %s.", c->name);
        return NULL;
    }
    if (!c->persons) {
        for (int i = 0; i < statistics; i++)
            spread[i] = (sl_spread){SL_UNKNOWN, SL_UNKNOWN, 0, "persons are not known"};
        return spread;
    }
    return sl_bootstrap(c->person, c->persons, c->cases, statistics, statistic, context, how, spread, error) == SL_OK
               ? spread
               : NULL;
}

sl_status sl_measure_use(const sl_statements *s, int u, const sl_resampling *resampling, sl_comparison *c,
                         sl_error *error)
{
    *c = (sl_comparison){.use = &s->use[u]};
    name_it(s, u, c);
    if (!c->key || !c->name || !gather(s, u, c))
        return sl_fail(error, SL_MEMORY, "Memory ran out while comparing %s.", s->use[u].title);
    for (int i = 0; i < c->cases; i++) /* a number outside the finding's range is no answer */
        if (c->use->scale != SL_SCALE_YES_NO && !in_range(c->use, c->reading[i]))
            ((double *)c->reading)[i] = SL_UNKNOWN;
    switch (c->use->scale) {
    case SL_SCALE_YES_NO:
        return sl_measure_yes_no(c, resampling, s->arena, error);
    case SL_SCALE_ORDERED:
        return sl_measure_ordered(c, resampling, s->arena, error);
    default:
        return sl_measure_numbers(c, resampling, s->arena, error);
    }
}
