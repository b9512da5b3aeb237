/* Agreement among the readers of a study, for the page: figures with their intervals, the pairs behind the plots, and the
 * points on which they differ. */
#include "serve/readers.h"

#include "agree/study_measures.h"
#include "core/json.h"
#include "core/units.h"
#include "serve/desk.h"

#include <string.h>

enum { DRAWS = 500 }; /* persons drawn again: fewer than on the command line, for an answer at once */

static json_t *number(double value)
{
    return sl_json_number(value, 4);
}

static json_t *rows_json(const sl_study_result *result)
{
    json_t *rows = json_array();
    for (int i = 0; i < result->rows; i++) {
        const sl_study_row *row = &result->row[i];
        const char *why = !sl_known(row->of.value) ? row->of.why : row->resampled ? row->person.why : NULL;
        json_t *one = json_pack("{s:s,s:s,s:s,s:s,s:i,s:b,s:o,s:o,s:o,s:o,s:o,s:s*}", "finding", sl_finding_info_of(row->code)->key, "who",
                                row->who, "measure", row->key, "name", row->name, "clips", row->clips, "percent", row->percent,
                                "value", number(row->of.value), "low", number(row->of.low), "high", number(row->of.high),
                                "person_low", number(row->resampled ? row->person.low : SL_UNKNOWN), "person_high",
                                number(row->resampled ? row->person.high : SL_UNKNOWN), "why", why);
        if (one)
            json_array_append_new(rows, one);
    }
    return rows;
}

static double certain(const sl_finding *f)
{
    if (!f || !f->known)
        return SL_UNKNOWN;
    if (sl_finding_info_of(f->code)->kind != SL_KIND_ANSWER)
        return f->value;
    return f->answer == SL_UNCERTAIN ? SL_UNKNOWN : f->answer == SL_PRESENT;
}

/* What two readers say of the same clips, code by code. */
static json_t *pairs_json(const sl_study *s)
{
    json_t *pairs = json_array();
    for (int code = 0; code < SL_CODES; code++)
        for (int a = 0; a < s->sittings; a++)
            for (int b = a + 1; b < s->sittings; b++) {
                if (s->sitting[a].number != 1 || s->sitting[b].number != 1)
                    continue;
                json_t *points = json_array();
                for (int c = 0; c < s->clips; c++) {
                    double x = certain(sl_study_says(s, a, s->clip[c], (sl_code)code)),
                           y = certain(sl_study_says(s, b, s->clip[c], (sl_code)code));
                    if (sl_known(x) && sl_known(y))
                        json_array_append_new(points, json_pack("[o,o]", number(x), number(y)));
                }
                if (json_array_size(points))
                    json_array_append_new(pairs, json_pack("{s:s,s:s,s:s,s:O}", "finding", sl_finding_info_of((sl_code)code)->key, "a",
                                                           s->sitting[a].reader, "b", s->sitting[b].reader, "points", points));
                json_decref(points);
            }
    return pairs;
}

static json_t *finding_json(const sl_finding *f)
{
    char word[40];
    sl_finding_text(f, word, sizeof word);
    return json_pack("{s:s,s:b,s:s,s:o}", "word", word, "known", f->known, "answer", sl_answer_name(f->answer), "value", number(f->value));
}

static json_t *differences_json(const sl_study *s, const sl_disagreement *list, int count)
{
    json_t *all = json_array();
    for (int i = 0; i < count; i++) {
        const sl_disagreement *d = &list[i];
        json_t *says = json_array();
        for (int t = 0; t < s->sittings; t++) {
            const sl_finding *f = s->sitting[t].number == 1 ? sl_study_says(s, t, d->clip, d->code) : NULL;
            if (!f)
                continue;
            json_t *one = finding_json(f);
            json_object_set_new(one, "reader", json_string(s->sitting[t].reader));
            json_array_append_new(says, one);
        }
        json_t *settled = json_null();
        if (d->settled) {
            settled = finding_json(d->settled->finding);
            json_object_set_new(settled, "by", json_string(d->settled->by ? d->settled->by : ""));
            json_object_set_new(settled, "why", json_string(d->settled->why ? d->settled->why : ""));
            json_object_set_new(settled, "when", json_string(d->settled->when ? d->settled->when : ""));
        }
        char id[17];
        sl_desk_name(d->clip, id);
        json_array_append_new(all, json_pack("{s:s,s:s,s:s,s:o,s:o}", "id", id, "clip", d->clip, "finding", sl_finding_info_of(d->code)->key,
                                             "says", says, "settled", settled));
    }
    return all;
}

json_t *sl_readers_agreement(const char *folder, sl_arena *arena, sl_error *error)
{
    sl_notes notes = {.arena = arena};
    sl_study study;
    sl_study_result result;
    sl_resampling how = {DRAWS, 1, 1};
    sl_disagreement *differ = NULL;
    if (sl_study_load(folder, arena, &notes, &study, error) != SL_OK || sl_study_measure(&study, &how, &result, error) != SL_OK)
        return NULL;
    int count = sl_study_disagreements(&study, &differ);
    if (count < 0) {
        sl_fail(error, SL_MEMORY, "Memory ran out.");
        return NULL;
    }
    json_t *remarks = json_array(), *readers = json_array();
    for (int i = 0; i < notes.count; i++)
        json_array_append_new(remarks, json_string(notes.text[i]));
    for (int i = 0; i < study.sittings; i++)
        json_array_append_new(readers, json_pack("{s:s,s:i,s:i}", "reader", study.sitting[i].reader, "sitting", study.sitting[i].number,
                                                 "clips", study.sitting[i].reads.count));
    return json_pack("{s:i,s:o,s:o,s:o,s:o,s:o}", "clips", study.clips, "readers", readers, "rows", rows_json(&result), "pairs",
                     pairs_json(&study), "differences", differences_json(&study, differ, count), "remarks", remarks);
}
