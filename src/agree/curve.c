#include "agree/learning.h"

#include "agree/yesno.h"
#include "core/json.h"

#include <stdlib.h>
#include <string.h>

static int recent_right(const int *success, int n, int *of)
{
    int right = 0;
    *of = n < SL_RECENT ? n : SL_RECENT;
    for (int i = n - *of; i < n; i++)
        right += success[i];
    return right;
}

/* After competence was signalled, a standard CUSUM of the same rates and limit watches that it stays: attempt at which
 * it warns, 0 if it does not. */
static int slips_at(const sl_lc_plan *plan, const int *success, int n, int signal, sl_arena *arena)
{
    double *s = SL_NEW(arena, n + 1, double);
    int at = signal && s ? sl_cusum(plan->p1, plan->p0, plan->h, success + signal, n - signal, s) : 0;
    return at ? signal + at : 0;
}

static void count_errors(sl_curve *c, const sl_attempt *a)
{
    c->unsure += !strcmp(a->said, "could not tell");
    if (sl_finding_info_of(a->code)->kind == SL_KIND_ANSWER) {
        bool yes = !strcmp(a->truth, "present");
        c->yes += yes;
        c->no += !yes;
        c->missed += yes && !a->right;
        c->false_alarms += !yes && !a->right;
    } else if (!a->right && strcmp(a->said, "could not tell")) {
        double said = strtod(a->said, NULL), truth = strtod(a->truth, NULL);
        c->high += said > truth;
        c->low += said < truth;
    }
}

static bool make_curve(const sl_learner *l, sl_code code, sl_curve *c)
{
    int *success = SL_NEW(l->arena, l->attempts + 1, int);
    double *chart = SL_NEW(l->arena, l->attempts + 1, double);
    if (!success || !chart)
        return false;
    *c = (sl_curve){.code = code, .rule = sl_learning_rule_of(code), .success = success, .chart = chart};
    for (int i = 0; i < l->attempts; i++) {
        const sl_attempt *a = &l->attempt[i];
        if (a->code != code || !a->first)
            continue;
        success[c->attempts++] = a->right;
        c->right += a->right;
        count_errors(c, a);
    }
    int of, right = recent_right(success, c->attempts, &of);
    c->share = sl_share(c->right, c->attempts);
    c->recent = sl_share(right, of);
    const sl_learning_rule *rule = c->rule;
    c->plan = (sl_lc_plan){rule->inadequate, rule->adequate,
                           sl_lc_limit(rule->inadequate, rule->adequate, rule->attempts, rule->false_discovery),
                           rule->attempts};
    c->signal = sl_lc_cusum(&c->plan, success, c->attempts, chart);
    c->now = c->attempts ? chart[c->attempts - 1] : 0;
    c->over = c->attempts > rule->attempts ? c->attempts : rule->attempts;
    c->false_discovery = sl_lc_signal_probability(&c->plan, rule->inadequate, 0, c->over);
    c->power = sl_lc_signal_probability(&c->plan, rule->adequate, 0, c->over);
    c->fewest = c->signal ? 0 : sl_lc_fewest(&c->plan, c->now);
    c->median = c->signal ? 0 : sl_lc_median(&c->plan, rule->adequate, c->now, 500);
    c->slipped = slips_at(&c->plan, success, c->attempts, c->signal, l->arena);
    return true;
}

int sl_learner_curves(const sl_learner *l, sl_curve **curve)
{
    int count = 0;
    *curve = SL_NEW(l->arena, SL_CODES, sl_curve);
    for (int code = 0; *curve && code < SL_CODES; code++) {
        bool asked = false;
        for (int i = 0; i < l->attempts && !asked; i++)
            asked = l->attempt[i].code == (sl_code)code && l->attempt[i].first;
        if (asked && !make_curve(l, (sl_code)code, &(*curve)[count++]))
            return -1;
    }
    return *curve ? count : -1;
}

int sl_practise_next(const sl_curve *curve, int curves)
{
    int best = -1;
    for (int i = 0; i < curves; i++) {
        bool open = !curve[i].signal || curve[i].slipped;
        if (open && (best < 0 || curve[i].recent.value < curve[best].recent.value))
            best = i;
    }
    return best;
}

void sl_curve_text(const sl_curve *c, sl_text *text)
{
    const sl_finding_info *info = sl_finding_info_of(c->code);
    int of, right = recent_right(c->success, c->attempts, &of);
    sl_text_printf(text, "%s\n  Right at first sight: %d of %d (%.0f %%, interval %.0f to %.0f %%); of the last %d: %d.\n",
                   info->name, c->right, c->attempts, 100 * c->share.value, 100 * c->share.low, 100 * c->share.high, of,
                   right);
    if (c->slipped)
        sl_text_printf(text, "  Chart: adequate at attempt %d, but warned again at attempt %d.\n", c->signal, c->slipped);
    else if (c->signal)
        sl_text_printf(text, "  Chart: adequate (competent in the words of the LC-CUSUM) since attempt %d.\n", c->signal);
    else
        sl_text_printf(text, "  Chart: stands at %.2f, the limit is %.2f: not shown yet.\n", c->now, c->plan.h);
    sl_text_printf(text, "  What that means: p0 %.2f, p1 %.2f, n %d, limit %.2f.\n", c->plan.p0, c->plan.p1, c->plan.n,
                   c->plan.h);
    sl_text_printf(text, "  Of readers who fail %.0f %% of the time %.1f %% pass by luck within %d attempts; of those who "
                         "fail %.0f %%, %.0f %% pass.\n",
                   100 * c->plan.p0, 100 * c->false_discovery, c->over, 100 * c->plan.p1, 100 * c->power);
    if (!c->signal && c->fewest > 0)
        sl_text_printf(text, "  How many more: at least %d right in a row", c->fewest);
    if (!c->signal && c->fewest > 0 && c->median > 0)
        sl_text_printf(text, "; half of the readers who fail %.0f %% would get there within %d", 100 * c->plan.p1,
                       c->median);
    if (!c->signal && c->fewest > 0)
        sl_text_add(text, ".\n");
}

void sl_practise_text(const sl_curve *curve, int curves, sl_text *text)
{
    int next = curves > 0 ? sl_practise_next(curve, curves) : -1;
    if (next < 0) {
        sl_text_add(text, curves > 0 ? "Nothing stands out to practise: every finding asked so far is adequate by its "
                                       "chart.\n"
                                     : "Nothing was asked yet.\n");
        return;
    }
    const sl_curve *c = &curve[next];
    sl_text_printf(text, "Practise next: %s.", sl_finding_info_of(c->code)->name);
    if (c->yes + c->no > 0) {
        sl_text_printf(text, " Of %d clips that show it %d were missed; of %d without it %d were called present or not "
                             "told.", c->yes, c->missed, c->no, c->false_alarms);
        double miss = c->yes ? (double)c->missed / c->yes : 0, alarm = c->no ? (double)c->false_alarms / c->no : 0;
        if (miss != alarm)
            sl_text_printf(text, " %s are the greater part.", miss > alarm ? "Misses" : "False alarms");
    } else if (c->high + c->low > 0) {
        sl_text_printf(text, " %d answers were too high, %d too low.", c->high, c->low);
    }
    sl_text_add(text, "\n");
}

json_t *sl_curve_json(const sl_curve *c)
{
    json_t *o = json_object(), *success = json_array(), *chart = json_array();
    for (int i = 0; i < c->attempts; i++) {
        json_array_append_new(success, json_integer(c->success[i]));
        json_array_append_new(chart, sl_json_number(c->chart[i], 6));
    }
    json_object_set_new(o, "finding", json_string(sl_finding_info_of(c->code)->key));
    json_object_set_new(o, "attempts", json_integer(c->attempts));
    json_object_set_new(o, "right", json_integer(c->right));
    json_object_set_new(o, "share", json_pack("[o,o,o]", sl_json_number(c->share.value, 6),
                                              sl_json_number(c->share.low, 6), sl_json_number(c->share.high, 6)));
    json_object_set_new(o, "plan", json_pack("{s:o,s:o,s:i,s:o,s:o,s:o,s:i,s:s}", "p0", sl_json_number(c->plan.p0, 4),
                                             "p1", sl_json_number(c->plan.p1, 4), "n", c->plan.n, "limit",
                                             sl_json_number(c->plan.h, 4), "false_discovery",
                                             sl_json_number(c->false_discovery, 6), "power",
                                             sl_json_number(c->power, 6), "over", c->over, "source", c->rule->source));
    json_object_set_new(o, "chart_now", sl_json_number(c->now, 6));
    json_object_set_new(o, "adequate_at_attempt", c->signal ? json_integer(c->signal) : json_null());
    json_object_set_new(o, "warned_at_attempt", c->slipped ? json_integer(c->slipped) : json_null());
    json_object_set_new(o, "fewest_more", json_integer(c->fewest));
    json_object_set_new(o, "median_more", c->median >= 0 ? json_integer(c->median) : json_null());
    json_object_set_new(o, "success", success);
    json_object_set_new(o, "chart", chart);
    return o;
}
