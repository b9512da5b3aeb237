/* audit.csv: one row a complaint, the examination's own first (clip empty). Columns may be added, never renamed. */
#include "report/report.h"

#include "core/file.h"
#include "core/text.h"
#include "core/units.h"
#include "report/words.h"

#include <stdio.h>

static const char header[] = "clip,zone,complaint,grade,remedy,rule,suspected,found,reason,value,unit,asked_low,asked_high,"
                             "first_frame,last_frame,first_beam,last_beam,first_depth,last_depth,source,path\n";

static void add_number(sl_text *text, double value, int decimals)
{
    char field[40] = "";
    if (sl_known(value))
        snprintf(field, sizeof field, "%.*f", decimals, value == 0 ? 0.0 : value);
    sl_csv_add(text, field, false);
}

static void add_row(sl_text *text, const sl_exam_clip *clip, const sl_complaint *c)
{
    sl_csv_add(text, clip ? clip->name : "", true);
    sl_csv_add(text, clip && clip->zone ? clip->zone->key : "", false);
    sl_csv_add(text, c->rule->name, false);
    sl_csv_add(text, sl_grade_name(c->grade), false);
    sl_csv_add(text, c->rule->remedy, false);
    sl_csv_add(text, c->rule->key, false);
    sl_csv_add(text, c->suspected ? "1" : "0", false);
    sl_csv_add(text, c->found, false);
    sl_csv_add(text, c->rule->reason, false);
    add_number(text, c->value, 4);
    sl_csv_add(text, c->unit, false);
    add_number(text, c->low, 4);
    add_number(text, c->high, 4);
    add_number(text, clip ? c->where.first_frame : SL_UNKNOWN, 0);
    add_number(text, clip ? c->where.last_frame : SL_UNKNOWN, 0);
    add_number(text, clip ? c->where.first_beam : SL_UNKNOWN, 4);
    add_number(text, clip ? c->where.last_beam : SL_UNKNOWN, 4);
    add_number(text, clip ? c->where.first_depth : SL_UNKNOWN, 4);
    add_number(text, clip ? c->where.last_depth : SL_UNKNOWN, 4);
    sl_csv_add(text, c->source, false);
    sl_csv_add(text, clip ? clip->where : "", false);
    sl_text_add(text, "\n");
}

sl_status sl_report_audit_csv(const sl_exam *exam, const char *path, sl_error *error)
{
    sl_text text = {0};
    sl_text_add(&text, header);
    for (int i = 0; i < exam->audit.complaints; i++)
        add_row(&text, NULL, &exam->audit.complaint[i]);
    for (int i = 0; i < exam->clips; i++)
        for (int k = 0; k < exam->clip[i].audit.complaints; k++)
            add_row(&text, &exam->clip[i], &exam->clip[i].audit.complaint[k]);
    sl_status status = text.failed ? sl_fail(error, SL_MEMORY, "Memory ran out while writing %s.", path)
                                   : sl_file_write(path, text.bytes, text.length, error);
    sl_text_free(&text);
    return status;
}
