#include "acoustics/planner.h"
#include "acoustics/planner_rules.h"
#include "cli/command.h"
#include "core/units.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int run(int argc, char **argv);

const sl_command sl_command_plan = {
    .name = "plan",
    .summary = "Says how to set the machine for a probe, a body, a target and a zone, and why.",
    .usage = "TARGET [--zone ZONE] [--wall-mm N] [--probe PROBE] [--rules RULES] [...] [--json]",
    .help = "For the target it chooses probe, depth, frequency, focus, frame rate and filters from physics "
            "and practice, and\n"
            "says what resolution and penetration follow and what would be lost otherwise, each line with "
            "its formula and\n"
            "source. Whatever you set yourself stays as you set it, and the rest follows from it. Where the "
            "literature\n"
            "disagrees (depth, focus), --rules chooses, and all rule sets are shown side by side.\n"
            "\n"
            "TARGET is one of\n"
            "  pleura          pleural line and sliding\n"
            "  a-lines         A-lines\n"
            "  b-lines         B-lines\n"
            "  consolidation   consolidation\n"
            "  effusion        pleural effusion\n"
            "  excursion       excursion of the diaphragm\n"
            "  thickness       thickness of the diaphragm\n"
            "  spine           spine above the diaphragm\n"
            "\n"
            "The body and the place:\n"
            "  --zone ZONE           anterior, lateral, posterolateral or subcostal (usual for the target)\n"
            "  --wall-mm N           skin to pleura, or to the liver when subcostal (20)\n"
            "  --extent-mm N         how far behind the pleura the target may reach (usual for the target)\n"
            "\n"
            "The rules:\n"
            "  --rules consensus     shallow picture, focus on the pleura (the default)\n"
            "  --rules practice      deeper picture, the structure of interest mid-screen\n"
            "  --rules least         no deeper than the target needs, focus on the target\n"
            "\n"
            "What you set yourself:\n"
            "  --probe PROBE         convex, microconvex, linear, phased or choose (choose)\n"
            "  --depth-mm N          depth of the picture\n"
            "  --freq-mhz N          frequency of the picture\n"
            "  --focus-mm N          depth of the focus\n"
            "  --frame-rate-hz N     frame rate wanted\n"
            "  --beams N             beams a frame (usual for the probe)\n"
            "  --focal-zones N       transmit foci (1)\n"
            "  --angles N            compounding angles (1 = off)\n"
            "  --parallel N          receive beams from one transmission (1)\n"
            "  --harmonics           second harmonic by pulse inversion\n"
            "  --dynamic-range-db N  of the display (60)\n"
            "  --budget-db N         strongest echo to noise (100)\n"
            "\n"
            "  --json                the same as JSON on standard output\n",
    .run = run,
};

enum { COLUMNS = 100, INDENT = 17 };

/* ---- the words ---- */

typedef struct plan_option {
    const char *name;
    double *real;
    int *whole;
} plan_option;

/* Sets an option's number from `text`; false when it is no number. */
static bool set_number(const plan_option *option, const char *text)
{
    char *end;
    errno = 0;
    double value = strtod(text, &end);
    if (end == text || *end || errno || !sl_known(value))
        return false;
    if (option->real)
        *option->real = value;
    else if (value != floor(value) || value < 1 ||
             value > 1e6) /* 0 means "choose" inside, never when said aloud */
        return false;
    else
        *option->whole = (int)value;
    return true;
}

/* Finds one of the named words; says which there are when it is none of them. */
static int word(const char *what, const char *given, int (*find)(const char *), const char *allowed,
                int *value)
{
    *value = find(given);
    return *value >= 0 ? SL_EXIT_OK
                       : sl_usage_error(&sl_command_plan, "%s %s is not known; it is one of: %s.", what,
                                        given, allowed);
}

static int parse(int argc, char **argv, sl_plan_request *request, bool *json)
{
    static const char targets[] =
        "pleura, a-lines, b-lines, consolidation, effusion, excursion, thickness, spine";
    if (argc < 2 || argv[1][0] == '-')
        return sl_usage_error(&sl_command_plan, "name the target first: %s.", targets);
    int value, status = word("target", argv[1], sl_target_find, targets, &value);
    if (status != SL_EXIT_OK)
        return status;
    *request = sl_plan_default((sl_target)value);
    const plan_option options[] = {
        {"--wall-mm", &request->wall_mm, NULL},     {"--extent-mm", &request->extent_mm, NULL},
        {"--depth-mm", &request->depth_mm, NULL},   {"--freq-mhz", &request->freq_mhz, NULL},
        {"--focus-mm", &request->focus_mm, NULL},   {"--frame-rate-hz", &request->frame_rate_hz, NULL},
        {"--budget-db", &request->budget_db, NULL}, {"--dynamic-range-db", &request->dynamic_range_db, NULL},
        {"--beams", NULL, &request->beams},         {"--focal-zones", NULL, &request->focal_zones},
        {"--angles", NULL, &request->angles},       {"--parallel", NULL, &request->parallel},
    };
    const int count = (int)(sizeof options / sizeof options[0]);
    for (int i = 2; i < argc && status == SL_EXIT_OK; i++) {
        const char *name = argv[i];
        if (!strcmp(name, "--json")) {
            *json = true;
            continue;
        }
        if (!strcmp(name, "--harmonics")) {
            request->harmonics = true;
            continue;
        }
        int found = -1;
        for (int j = 0; j < count; j++)
            if (!strcmp(options[j].name, name))
                found = j;
        bool named = !strcmp(name, "--zone") || !strcmp(name, "--probe") || !strcmp(name, "--rules");
        if (found < 0 && !named)
            return sl_usage_error(&sl_command_plan, "%s is not an option of it.", name);
        if (i + 1 >= argc)
            return sl_usage_error(&sl_command_plan, "%s wants a value.", name);
        const char *given = argv[++i];
        if (found >= 0) {
            if (!set_number(&options[found], given))
                return sl_usage_error(&sl_command_plan, "%s wants a %snumber, not \"%s\".", name,
                                      options[found].whole ? "whole positive " : "", given);
        } else if (!strcmp(name, "--zone")) {
            status = word("zone", given, sl_plan_place_find, "anterior, lateral, posterolateral, subcostal",
                          &request->place);
        } else if (!strcmp(name, "--rules")) {
            status = word("rule set", given, sl_rules_find, "consensus, practice, least", &value);
            request->rules = status == SL_EXIT_OK ? (sl_rules)value : request->rules;
        } else if (strcmp(given, "choose") != 0) {
            status = word("probe", given, sl_transducer_find, "convex, microconvex, linear, phased, choose",
                          &request->probe);
        }
    }
    return status;
}

/* ---- the page ---- */

/* Prints `text` with a hanging indent, broken at blanks; `used` columns of the first line are taken. */
static void print_wrapped(const char *text, int used, int indent)
{
    int column = used;
    while (*text) {
        int length = (int)strcspn(text, " ");
        if (column > indent && column + 1 + length > COLUMNS) {
            printf("\n%*s", indent, "");
            column = indent;
        } else if (column > indent) {
            putchar(' ');
            column++;
        }
        printf("%.*s", length, text);
        column += length;
        text += length;
        while (*text == ' ')
            text++;
    }
    putchar('\n');
}

static void print_part(const char *label, const char *text)
{
    if (!*text)
        return;
    printf("  %-*s", INDENT - 2, label);
    print_wrapped(text, INDENT, INDENT);
}

static void print_line(const sl_plan_line *line)
{
    int used = printf("%-*s", INDENT, line->topic);
    printf("%s%s\n", line->choice, line->chosen_by_user ? "  (as you set it)" : "");
    (void)used;
    print_part("reckoned", line->formula);
    print_part("source", line->source);
    print_part("otherwise", line->otherwise);
}

static void print_alternatives(const sl_plan *plan)
{
    printf("\nRule sets side by side (--rules)\n\n");
    printf("  %-12s %9s %9s %9s %16s %16s %10s\n", "", "depth", "focus", "frequency", "across, pleura",
           "across, far end", "frames/s");
    for (int i = 0; i < SL_RULES; i++) {
        const sl_plan_alternative *a = &plan->alternative[i];
        printf("%s %-12s %6.0f mm %6.0f mm %5.1f MHz %13.2f mm %13.2f mm %10.0f\n", a->chosen ? ">" : " ",
               sl_rules_name(a->rules), a->setting.depth_mm, a->setting.focus_mm, a->setting.freq_mhz,
               a->setting.lateral_pleura_mm, a->setting.lateral_far_mm, a->setting.frame_rate_hz);
    }
    for (int i = 0; i < SL_RULES; i++) {
        const sl_plan_alternative *a = &plan->alternative[i];
        printf("  %-*s", INDENT - 2, sl_rules_name(a->rules));
        print_wrapped(a->depth_source, INDENT, INDENT);
        printf("%*s", INDENT, "");
        print_wrapped(a->focus_source, INDENT, INDENT);
    }
}

static void print_plan(const sl_plan *plan)
{
    printf("Plan for %s, %s, wall %g mm, target to %g mm behind it\n", plan->title,
           sl_plan_place_name((sl_plan_place)plan->request.place), plan->request.wall_mm, plan->request.extent_mm);
    printf("Rules: %s\n\n", sl_rules_titles[plan->request.rules]);
    for (int i = 0; i < plan->lines; i++)
        print_line(&plan->line[i]);
    print_alternatives(plan);
    printf("\nHeld against common practice, no source\n\n");
    for (int i = 0; i < plan->checks; i++) {
        int agrees = plan->check[i].agrees;
        printf("  %-10s", agrees < 0 ? "-" : agrees ? "agrees" : "differs");
        print_wrapped(plan->check[i].practice, 12, 12);
        printf("%*s", 12, "");
        print_wrapped(plan->check[i].plan, 12, 12);
    }
    printf("\nTo bear in mind\n\n");
    for (int i = 0; i < plan->notes; i++) {
        printf("  - ");
        print_wrapped(plan->note[i], 4, 4);
    }
    printf("  - ");
    print_wrapped(sl_caution, 4, 4);
}

static int print_json(const sl_plan *plan)
{
    json_t *root = sl_plan_json(plan);
    json_object_set_new(root, "caution", json_string(sl_caution));
    int failed = json_dumpf(root, stdout, JSON_INDENT(2));
    putchar('\n');
    json_decref(root);
    return failed ? SL_EXIT_NOTHING : SL_EXIT_OK;
}

static int run(int argc, char **argv)
{
    sl_plan_request request;
    bool json = false;
    int status = parse(argc, argv, &request, &json);
    if (status != SL_EXIT_OK)
        return status;
    sl_arena arena = {0};
    sl_plan plan;
    sl_error error = {0};
    sl_status made = sl_plan_make(&request, &arena, &plan, &error);
    if (made != SL_OK)
        status = made == SL_USAGE ? sl_usage_error(&sl_command_plan, "%s", error.text)
                                  : (fprintf(stderr, "strandline plan: %s\n", error.text), SL_EXIT_NOTHING);
    else if (json)
        status = print_json(&plan);
    else
        print_plan(&plan);
    sl_arena_free(&arena);
    return status;
}
