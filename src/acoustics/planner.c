/* Putting a plan together. */
#include "acoustics/planner.h"

#include "acoustics/planner_lines.h"
#include "acoustics/planner_path.h"
#include "acoustics/planner_rules.h"
#include "core/units.h"

#include <stdarg.h>
#include <stdio.h>

const char *sl_plan_text(sl_plan_writer *writer, const char *format, ...)
{
    char bytes[1024];
    va_list args;
    va_start(args, format);
    int length = vsnprintf(bytes, sizeof bytes, format, args);
    va_end(args);
    char *text = length < 0 ? NULL : sl_arena_text(writer->arena, bytes);
    if (!text)
        writer->failed = true;
    return text ? text : "";
}

void sl_plan_add(sl_plan_writer *writer, sl_plan_line line)
{
    if (writer->plan->lines < SL_PLAN_MOST_LINES)
        writer->plan->line[writer->plan->lines++] = line;
    else
        writer->failed = true;
}

void sl_plan_note(sl_plan_writer *writer, const char *text)
{
    if (writer->plan->notes < SL_PLAN_MOST_NOTES)
        writer->plan->note[writer->plan->notes++] = text;
    else
        writer->failed = true;
}

/* The other rule sets on the same body, target and probe; what the user fixed stays fixed in all of them. */
static void add_alternatives(sl_plan_writer *writer)
{
    sl_plan *plan = writer->plan;
    for (int i = 0; i < SL_RULES; i++) {
        sl_plan_alternative *alternative = &plan->alternative[i];
        sl_plan_request request = plan->request;
        request.rules = (sl_rules)i;
        request.probe = (int)plan->setting.probe->kind;
        request.frame_rate_hz = SL_UNKNOWN;
        alternative->rules = (sl_rules)i;
        alternative->chosen = i == (int)plan->request.rules;
        if (sl_plan_set(&request, &alternative->setting, NULL) != SL_OK)
            alternative->setting = plan->setting; /* cannot differ in what was refused: everything is fixed */
        alternative->depth_source =
            sl_rules_depth((sl_rules)i, plan->setting.probe, request.target, (sl_plan_place)request.place)
                .source;
        sl_focus_rule focus = sl_rules_focus((sl_rules)i, request.target);
        alternative->focus_source = sl_rules_focus_sources[focus == SL_FOCUS_TARGET ? SL_RULES_LEAST : i];
    }
}

sl_status sl_plan_make(const sl_plan_request *request, sl_arena *arena, sl_plan *plan, sl_error *error)
{
    *plan = (sl_plan){.request = *request};
    sl_status status = sl_plan_complete(&plan->request, error);
    if (status == SL_OK)
        status = sl_plan_set(&plan->request, &plan->setting, error);
    if (status != SL_OK)
        return status;
    plan->title = sl_target_rule_get(plan->request.target)->title;
    sl_plan_writer writer = {.plan = plan, .arena = arena};
    sl_plan_add_choices(&writer);
    sl_plan_add_consequences(&writer);
    sl_plan_add_switches(&writer);
    sl_plan_add_checks(&writer);
    add_alternatives(&writer);
    sl_plan_note(&writer,
                 "Reckoned for one speed of sound (1540 m/s), straight beams and a still wall; refraction, "
                 "aberration by fat "
                 "and what a machine does inside are left out, so real pictures are somewhat worse.");
    return writer.failed ? sl_fail(error, SL_MEMORY, "memory ran out while the plan was written.") : SL_OK;
}
