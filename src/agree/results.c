#include "agree/results.h"

#include "core/json.h"

#include <stdio.h>
#include <string.h>

void sl_measure_value_text(const sl_measure *m, double value, char *text, size_t room)
{
    if (!sl_known(value))
        snprintf(text, room, "not defined");
    else if (m->percent)
        snprintf(text, room, "%.0f %%", 100 * value);
    else
        snprintf(text, room, "%.*f", fabs(value) >= 100 ? 0 : fabs(value) >= 10 ? 1 : 2, fabs(value) < 0.005 ? 0 : value);
}

void sl_measure_range_text(const sl_measure *m, double low, double high, char *text, size_t room)
{
    char a[32], b[32];
    if (!sl_known(low) || !sl_known(high)) {
        snprintf(text, room, "%s", "");
        return;
    }
    sl_measure_value_text(m, low, a, sizeof a);
    sl_measure_value_text(m, high, b, sizeof b);
    if (m->percent)
        snprintf(text, room, "%.0f to %s", 100 * low, b);
    else
        snprintf(text, room, "%s to %s", a, b);
}

void sl_comparison_text(const sl_comparison *c, char *text, size_t room)
{
    int used = snprintf(text, room, "against \"%s\": %d clips", c->use->title, c->labelled);
    if (c->persons && used < (int)room)
        used += snprintf(text + used, room - (size_t)used, " of %d person%s", c->persons, c->persons == 1 ? "" : "s");
    if (c->use->scale == SL_SCALE_YES_NO && used < (int)room)
        snprintf(text + used, room - (size_t)used, ", %d yes", c->yes);
}

static void text_of_measure(const sl_measure *m, sl_text *text)
{
    char value[32], range[64], person[64];
    sl_measure_value_text(m, m->of.value, value, sizeof value);
    sl_measure_range_text(m, m->of.low, m->of.high, range, sizeof range);
    sl_measure_range_text(m, m->person.low, m->person.high, person, sizeof person);
    if (!sl_known(m->of.value)) {
        sl_text_printf(text, "  %-34s not defined: %s\n", m->name, m->of.why ? m->of.why : "nothing to work it out from");
        return;
    }
    sl_text_printf(text, "  %-34s %8s   %-17s %s\n", m->name, value, range, person);
}

static void text_of_fourfold(const sl_comparison *c, sl_text *text)
{
    int unsure[2] = {0, 0};
    for (int i = 0; i < c->cases; i++)
        if (c->word[i] != SL_WORD_YES && c->word[i] != SL_WORD_NO)
            unsure[c->reference[i] > 0.5]++;
    sl_text_printf(text, "  %-34s %8s %8s   %s\n", "", "present", "absent", "could not tell");
    sl_text_printf(text, "  %-34s %8.0f %8.0f   %d\n", "labelled yes", c->table.tp, c->table.fn, unsure[1]);
    sl_text_printf(text, "  %-34s %8.0f %8.0f   %d\n", "labelled no", c->table.fp, c->table.tn, unsure[0]);
}

static void text_of_confusion(const sl_comparison *c, sl_text *text)
{
    sl_text_printf(text, "  %-34s", "reading");
    for (int j = 0; j < c->classes; j++)
        sl_text_printf(text, " %6d", j + c->first_class);
    for (int i = 0; i < c->classes; i++) {
        char label[40];
        snprintf(label, sizeof label, "label %d", i + c->first_class);
        sl_text_printf(text, "\n  %-34s", label);
        for (int j = 0; j < c->classes; j++)
            sl_text_printf(text, " %6.0f", c->confusion[i * c->classes + j]);
    }
    sl_text_add(text, "\n");
}

static void text_of_beside(const sl_evaluation *e, sl_text *text)
{
    sl_text_printf(text, "\nBeside %s\n  %-34s %8s %8s %8s   %-17s %s\n", sl_path_name(e->beside_path), "", "first",
                   "second", "differ", "95 % interval", "by person");
    for (int k = 0; k < e->comparisons; k++) {
        const sl_beside *b = &e->beside[k];
        sl_measure plain = {0};
        char name[120], first[32], second[32], apart[32], range[64], person[64];
        if (!b->measure)
            continue;
        snprintf(name, sizeof name, "%s, %s", e->comparison[k].name, !strcmp(b->measure, "auc") ? "area" : "quadratic kappa");
        sl_measure_value_text(&plain, b->first, first, sizeof first);
        sl_measure_value_text(&plain, b->second, second, sizeof second);
        sl_measure_value_text(&plain, b->difference.value, apart, sizeof apart);
        sl_measure_range_text(&plain, b->difference.low, b->difference.high, range, sizeof range);
        sl_measure_range_text(&plain, b->person.low, b->person.high, person, sizeof person);
        sl_text_printf(text, "  %-34s %8s %8s %8s   %-17s %s", name, first, second, apart, range, person);
        if (sl_known(b->p))
            sl_text_printf(text, "   p %.3f", b->p);
        sl_text_printf(text, "   (%d clips)\n", b->clips);
    }
}

void sl_evaluation_text(const sl_evaluation *e, sl_text *text)
{
    const sl_statements *s = e->statements;
    sl_text_printf(text, "Readings %s, labels %s: %d readings, %d labelled clips", sl_path_name(s->readings_path),
                   sl_path_name(s->labels_path), s->readings, s->rows);
    sl_text_printf(text, "%s%s\n", s->persons ? "; persons by " : "; persons not known", s->persons ? s->by : "");
    for (int k = 0; k < e->comparisons; k++) {
        const sl_comparison *c = &e->comparison[k];
        char what[300];
        if (!c->measures)
            continue;
        sl_comparison_text(c, what, sizeof what);
        sl_text_printf(text, "\n%s, %s\n  %-34s %8s   %-17s %s\n", c->name, what, "", "value", "95 % interval",
                       "by person");
        for (int i = 0; i < c->measures; i++)
            text_of_measure(&c->measure[i], text);
        if (c->has_answers)
            text_of_fourfold(c, text);
        if (c->classes)
            text_of_confusion(c, text);
    }
    if (e->beside)
        text_of_beside(e, text);
    if (e->notes->count)
        sl_text_add(text, "\nRemarks\n");
    for (int i = 0; i < e->notes->count; i++)
        sl_text_printf(text, "  %s\n", e->notes->text[i]);
    sl_text_printf(text, "\n%s\n", e->caution);
}

/* ---- CSV ---- */

static void number_field(sl_text *text, double value)
{
    char field[40] = "";
    if (sl_known(value))
        snprintf(field, sizeof field, "%.6g", value + 0.0);
    sl_csv_add(text, field, false);
}

static void count_field(sl_text *text, int value)
{
    char field[16];
    snprintf(field, sizeof field, "%d", value);
    sl_csv_add(text, field, false);
}

void sl_evaluation_csv(const sl_evaluation *e, sl_text *text)
{
    sl_text_add(text, "comparison,label_column,measure,value,low,high,interval,person_low,person_high,clips,answered,"
                      "persons,why_not\n");
    for (int k = 0; k < e->comparisons; k++) {
        const sl_comparison *c = &e->comparison[k];
        for (int i = 0; i < c->measures; i++) {
            const sl_measure *m = &c->measure[i];
            sl_csv_add(text, c->key, true);
            sl_csv_add(text, c->use->title, false);
            sl_csv_add(text, m->key, false);
            number_field(text, m->of.value);
            number_field(text, m->of.low);
            number_field(text, m->of.high);
            sl_csv_add(text, sl_known(m->of.low) ? m->method : "", false);
            number_field(text, m->person.low);
            number_field(text, m->person.high);
            count_field(text, c->labelled);
            count_field(text, c->answered);
            count_field(text, c->persons);
            sl_csv_add(text, m->of.why ? m->of.why : m->person.why ? m->person.why : "", false);
            sl_text_add(text, "\n");
        }
    }
}

void sl_evaluation_cases_csv(const sl_evaluation *e, sl_text *text)
{
    static const char *const words[] = {"", "no", "yes", "could not tell", ""};
    sl_text_add(text, "clip,person,comparison,label,reading,index,agree,remark\n");
    for (int k = 0; k < e->comparisons; k++) {
        const sl_comparison *c = &e->comparison[k];
        bool yes_no = c->use->scale == SL_SCALE_YES_NO;
        for (int i = 0; i < c->cases; i++) {
            const sl_label_row *row = &e->statements->row[c->row[i]];
            char label[40], person[16] = "";
            if (yes_no)
                snprintf(label, sizeof label, "%s", c->reference[i] > 0.5 ? "yes" : "no");
            else
                snprintf(label, sizeof label, "%g", c->reference[i]);
            if (c->persons)
                snprintf(person, sizeof person, "%d", c->person[i] + 1);
            bool answered = yes_no ? c->word[i] == SL_WORD_YES || c->word[i] == SL_WORD_NO : sl_known(c->reading[i]);
            bool agree = yes_no ? (c->word[i] == SL_WORD_YES) == (c->reference[i] > 0.5)
                                : c->reading[i] == c->reference[i];
            sl_csv_add(text, row->clip, true);
            sl_csv_add(text, person, false);
            sl_csv_add(text, c->key, false);
            sl_csv_add(text, label, false);
            if (yes_no)
                sl_csv_add(text, words[c->word[i]], false);
            else
                number_field(text, c->reading[i]);
            number_field(text, yes_no ? c->reading[i] : SL_UNKNOWN);
            sl_csv_add(text, !answered ? "" : agree ? "yes" : "no", false);
            sl_csv_add(text, row->unread ? row->unread : "", false);
            sl_text_add(text, "\n");
        }
    }
}

/* ---- JSON ---- */

enum { DIGITS = 6 };

static json_t *measure_json(const sl_measure *m)
{
    json_t *o = json_object();
    json_object_set_new(o, "measure", json_string(m->key));
    json_object_set_new(o, "name", json_string(m->name));
    json_object_set_new(o, "value", sl_json_number(m->of.value, DIGITS));
    json_object_set_new(o, "interval", json_pack("[o,o]", sl_json_number(m->of.low, DIGITS),
                                                 sl_json_number(m->of.high, DIGITS)));
    json_object_set_new(o, "interval_by", json_string(sl_known(m->of.low) ? m->method : ""));
    if (m->resampled) {
        json_object_set_new(o, "interval_by_person", json_pack("[o,o]", sl_json_number(m->person.low, DIGITS),
                                                               sl_json_number(m->person.high, DIGITS)));
        json_object_set_new(o, "draws_undefined", json_integer(m->person.undefined));
    }
    const char *why = m->of.why ? m->of.why : m->person.why;
    if (why)
        json_object_set_new(o, "why_not", json_string(why));
    return o;
}

static json_t *numbers_json(const double *value, int n)
{
    json_t *list = json_array();
    for (int i = 0; i < n; i++)
        json_array_append_new(list, sl_json_number(value[i], DIGITS));
    return list;
}

static void yes_no_json(const sl_comparison *c, json_t *o)
{
    if (c->has_answers)
        json_object_set_new(o, "fourfold", json_pack("{s:f,s:f,s:f,s:f}", "true_positive", c->table.tp,
                                                     "false_positive", c->table.fp, "false_negative", c->table.fn,
                                                     "true_negative", c->table.tn));
    if (c->roc.points) {
        json_t *roc = json_object();
        json_object_set_new(roc, "threshold", numbers_json(c->roc.threshold, c->roc.points));
        json_object_set_new(roc, "false_positive", numbers_json(c->roc.false_positive, c->roc.points));
        json_object_set_new(roc, "true_positive", numbers_json(c->roc.true_positive, c->roc.points));
        json_object_set_new(o, "roc", roc);
    }
    if (!c->has_index || !c->index_is_share)
        return;
    json_t *bins = json_array();
    for (int i = 0; i < SL_RELIABILITY_BINS; i++)
        json_array_append_new(bins, json_pack("{s:i,s:o,s:o,s:o,s:o}", "clips", c->bin[i].n, "mean_index",
                                              sl_json_number(c->bin[i].mean_index, DIGITS), "observed",
                                              sl_json_number(c->bin[i].observed.value, DIGITS), "low",
                                              sl_json_number(c->bin[i].observed.low, DIGITS), "high",
                                              sl_json_number(c->bin[i].observed.high, DIGITS)));
    json_object_set_new(o, "reliability", bins);
    json_object_set_new(o, "surest", json_pack("{s:o,s:o}", "answered", numbers_json(c->sure_share, SL_SURE_STEPS),
                                               "right", numbers_json(c->sure_right, SL_SURE_STEPS)));
}

static json_t *comparison_json(const sl_comparison *c)
{
    static const char *const scales[] = {"", "yes/no", "ordered", "number"};
    json_t *o = json_object();
    json_object_set_new(o, "comparison", json_string(c->key));
    json_object_set_new(o, "name", json_string(c->name));
    json_object_set_new(o, "label_column", json_string(c->use->title));
    json_object_set_new(o, "scale", json_string(scales[c->use->scale]));
    json_object_set_new(o, "clips", json_integer(c->labelled));
    json_object_set_new(o, "answered", json_integer(c->answered));
    json_object_set_new(o, "persons", json_integer(c->persons));
    if (c->use->scale == SL_SCALE_YES_NO)
        json_object_set_new(o, "labelled_yes", json_integer(c->yes));
    json_t *measures = json_array();
    for (int i = 0; i < c->measures; i++)
        json_array_append_new(measures, measure_json(&c->measure[i]));
    json_object_set_new(o, "measures", measures);
    if (c->use->scale == SL_SCALE_YES_NO)
        yes_no_json(c, o);
    if (c->classes) {
        json_t *table = json_array();
        for (int i = 0; i < c->classes; i++)
            json_array_append_new(table, numbers_json(c->confusion + i * c->classes, c->classes));
        json_object_set_new(o, "first_class", json_integer(c->first_class));
        json_object_set_new(o, "confusion", table);
    }
    return o;
}

static json_t *beside_json(const sl_comparison *c, const sl_beside *b)
{
    json_t *o = json_object();
    json_object_set_new(o, "comparison", json_string(c->key));
    json_object_set_new(o, "measure", json_string(b->measure));
    json_object_set_new(o, "clips", json_integer(b->clips));
    json_object_set_new(o, "first", sl_json_number(b->first, DIGITS));
    json_object_set_new(o, "second", sl_json_number(b->second, DIGITS));
    json_object_set_new(o, "difference", sl_json_number(b->difference.value, DIGITS));
    json_object_set_new(o, "interval", json_pack("[o,o]", sl_json_number(b->difference.low, DIGITS),
                                                 sl_json_number(b->difference.high, DIGITS)));
    json_object_set_new(o, "interval_by_person", json_pack("[o,o]", sl_json_number(b->person.low, DIGITS),
                                                           sl_json_number(b->person.high, DIGITS)));
    json_object_set_new(o, "p", sl_json_number(b->p, DIGITS));
    const char *why = b->difference.why ? b->difference.why : b->person.why;
    if (why)
        json_object_set_new(o, "why_not", json_string(why));
    return o;
}

json_t *sl_evaluation_json(const sl_evaluation *e)
{
    const sl_statements *s = e->statements;
    json_t *root = json_object(), *list = json_array(), *notes = json_array();
    json_object_set_new(root, "program", json_string(e->program));
    json_object_set_new(root, "caution", json_string(e->caution));
    json_object_set_new(root, "readings", json_string(sl_path_name(s->readings_path)));
    json_object_set_new(root, "labels", json_string(sl_path_name(s->labels_path)));
    json_object_set_new(root, "persons_by", json_string(s->persons ? s->by : ""));
    json_object_set_new(root, "persons", json_integer(s->persons));
    json_object_set_new(root, "labelled_clips", json_integer(s->rows));
    json_object_set_new(root, "readings_seen", json_integer(s->readings));
    json_object_set_new(root, "readings_without_label", json_integer(s->readings_unlabelled));
    json_object_set_new(root, "readings_not_read", json_integer(s->readings_failed));
    json_object_set_new(root, "level", json_real(SL_LEVEL));
    json_object_set_new(root, "draws", json_integer(e->resampling.draws));
    json_object_set_new(root, "seed", json_integer((json_int_t)e->resampling.seed));
    for (int i = 0; i < e->comparisons; i++)
        json_array_append_new(list, comparison_json(&e->comparison[i]));
    json_object_set_new(root, "comparisons", list);
    if (e->beside) {
        json_t *beside = json_array();
        for (int i = 0; i < e->comparisons; i++)
            if (e->beside[i].measure)
                json_array_append_new(beside, beside_json(&e->comparison[i], &e->beside[i]));
        json_object_set_new(root, "beside_readings", json_string(sl_path_name(e->beside_path)));
        json_object_set_new(root, "beside", beside);
    }
    for (int i = 0; i < e->notes->count; i++)
        json_array_append_new(notes, json_string(e->notes->text[i]));
    json_object_set_new(root, "remarks", notes);
    return root;
}
