/* strandline evaluate: readings against labels. */
#include "agree/results.h"
#include "cli/command.h"
#include "core/file.h"
#include "core/json.h"
#include "report/evaluation_pdf.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char help[] =
    "READINGS is readings.csv or exam.json of `strandline read`, or a file of reads of a second reader. LABELS is any\n"
    "CSV with a column that names the clips, or again a file of readings. Columns are recognised by their titles\n"
    "(A-lines, b_lines_noted, Severity Score, pleural depth mm ...); yes and no in any usual spelling. What is\n"
    "compared decides what is worked out: yes/no findings, ordered scores, counts and lengths. A statistic that has\n"
    "no value is left out with the reason, never made up.\n"
    "\n"
    "  --labels FILE        the labels\n"
    "  --by WHAT            whose clips belong together: a column's title, a pattern such as \"patient_<n>_\", person\n"
    "                       (a column or number in the file name, as found; this is also done without --by), or clip\n"
    "                       (each on its own). Intervals \"by person\" come from drawing persons with replacement.\n"
    "  --map COLUMN=CODE    compare this column with this finding, or with a column of the readings\n"
    "  --map COLUMN>=N=CODE the same with \"N or more\" as yes\n"
    "  --map COLUMN:WORD=CODE  the same with WORD as yes and any other as no\n"
    "  --map COLUMN=clip    this column names the clips\n"
    "  --beside FILE        a second set of readings of the same clips: is one better, or is it chance?\n"
    "  --out FOLDER         evaluation.json, evaluation.csv, cases.csv and evaluation.pdf go there\n"
    "  --seed N, --draws N  of the resampling (1, 2000)\n"
    "  --workers N          threads (one a core); the result does not depend on it\n"
    "  --quiet              print nothing but what goes wrong\n";

extern const sl_command sl_command_evaluate;

typedef struct options {
    const char *readings, *labels, *out, *beside;
    sl_label_options label;
    sl_resampling resampling;
    bool quiet;
} options;


static bool number_in(const char *text, long low, long high, long *value)
{
    char *end;
    *value = strtol(text, &end, 10);
    return *text && !*end && *value >= low && *value <= high;
}

/* 0 when fine, else the exit status. */
static int parse(int argc, char **argv, const char **map, options *o)
{
    *o = (options){.label = {NULL, map, 0}, .resampling = {SL_DRAWS, 1, 0}};
    for (int i = 1; i < argc; i++) {
        const char *word = argv[i], *value = i + 1 < argc ? argv[i + 1] : NULL;
        long number = 0;
        if (word[0] != '-' || !word[1]) {
            if (o->readings)
                return sl_usage_error(&sl_command_evaluate, "it takes one file of readings, not %s as well.", word);
            o->readings = word;
            continue;
        }
        if (!strcmp(word, "--quiet")) {
            o->quiet = true;
            continue;
        }
        static const char *const known[] = {"--labels", "--by", "--map", "--out", "--seed", "--draws", "--workers", "--beside"};
        int which = -1;
        for (int k = 0; k < 8; k++)
            if (!strcmp(word, known[k]))
                which = k;
        if (which < 0)
            return sl_usage_error(&sl_command_evaluate, "there is no option %s.", word);
        if (!value)
            return sl_usage_error(&sl_command_evaluate, "%s needs a word after it.", word);
        i++;
        if (which >= 4 && which <= 6 && !number_in(value, which == 4 ? 0 : which == 5 ? 0 : 1, which == 4 ? 2000000000 : which == 5
                                     ? 1000000 : 1024, &number))
            return sl_usage_error(&sl_command_evaluate, "%s %s is not a number it can take.", word, value);
        switch (which) {
        case 0: o->labels = value; break;
        case 1: o->label.by = value; break;
        case 2: map[o->label.maps++] = value; break;
        case 3: o->out = value; break;
        case 4: o->resampling.seed = (uint64_t)number; break;
        case 5: o->resampling.draws = (int)number; break;
        case 6: o->resampling.workers = (int)number; break;
        default: o->beside = value; break;
        }
    }
    if (!o->readings || !o->labels)
        return sl_usage_error(&sl_command_evaluate, "it needs a file of readings and --labels FILE.");
    return 0;
}

static sl_status save_text(sl_arena *arena, const char *folder, const char *name, sl_text *text, sl_error *error)
{
    char *path = sl_path_join(arena, folder, name);
    sl_status status = text->failed || !path ? sl_fail(error, SL_MEMORY, "Memory ran out while writing %s.", name)
                                             : sl_file_write(path, text->bytes, text->length, error);
    sl_text_free(text);
    return status;
}

static sl_status save(const sl_evaluation *e, const char *folder, sl_arena *arena, sl_error *error)
{
    sl_text csv = {0}, cases = {0};
    sl_status status = sl_folder_make(folder, error);
    if (status != SL_OK)
        return status;
    sl_evaluation_csv(e, &csv);
    sl_evaluation_cases_csv(e, &cases);
    status = save_text(arena, folder, "evaluation.csv", &csv, error);
    sl_status other = save_text(arena, folder, "cases.csv", &cases, status == SL_OK ? error : NULL);
    status = status == SL_OK ? other : status;
    if (status != SL_OK)
        return status;
    json_t *json = sl_evaluation_json(e);
    status = sl_json_save(json, sl_path_join(arena, folder, "evaluation.json"), error);
    json_decref(json);
    return status == SL_OK ? sl_report_evaluation(e, sl_path_join(arena, folder, "evaluation.pdf"), error) : status;
}

/* Lets the second set stream past the same labels; what the notes say of it names its file. */
static sl_status read_beside(const options *o, sl_statements *s, sl_evaluation *e, sl_error *error)
{
    const sl_statements before = *s;
    sl_beside *beside = SL_NEW(s->arena, s->uses, sl_beside);
    sl_label_row *row = SL_NEW(s->arena, s->rows, sl_label_row);
    if (!beside || !row)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    memcpy(row, s->row, sizeof *row * (size_t)s->rows); /* what the first set left of each clip stays */
    sl_note(s->notes, "What follows is of %s.", sl_path_name(o->beside));
    sl_status status = sl_readings_match(s, o->beside, error);
    for (int u = 0; status == SL_OK && u < s->uses; u++)
        status = sl_compare_beside(s, before.reading, s->reading, u, &o->resampling, &beside[u], error);
    memcpy(s->row, row, sizeof *row * (size_t)s->rows);
    s->reading = before.reading;
    s->readings_path = before.readings_path;
    s->readings = before.readings;
    s->readings_unlabelled = before.readings_unlabelled;
    s->readings_failed = before.readings_failed;
    e->beside_path = o->beside;
    e->beside = beside;
    return status;
}

static sl_status evaluate(const options *o, sl_arena *arena, sl_error *error)
{
    sl_notes notes = {.arena = arena};
    sl_statements statements;
    sl_status status = sl_labels_load(o->labels, &o->label, arena, &notes, &statements, error);
    if (status == SL_OK)
        status = sl_readings_match(&statements, o->readings, error);
    if (status != SL_OK)
        return status;
    sl_evaluation e = {.program = "strandline " SL_VERSION, .caution = sl_caution, .statements = &statements,
                       .resampling = o->resampling, .comparisons = statements.uses,
                       .comparison = SL_NEW(arena, statements.uses, sl_comparison), .notes = &notes};
    if (!e.comparison)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    int compared = 0;
    bool slow = statements.rows > 20000 && isatty(2) && !o->quiet;
    for (int u = 0; u < statements.uses; u++) {
        if (slow)
            fprintf(stderr, "\rcomparing %d of %d ", u + 1, statements.uses);
        status = sl_measure_use(&statements, u, &o->resampling, &e.comparison[u], error);
        if (status != SL_OK)
            return status;
        const sl_comparison *c = &e.comparison[u];
        compared += c->measures > 0;
        if (c->measures && c->persons == 1)
            sl_note(&notes, "%s: all clips are of one person, so there is no interval by person.", c->name);
        if (!c->cases && c->use->in_readings)
            sl_note(&notes, "%s: no clip has both a label and a reading.", c->name);
    }
    if (slow)
        fputs("\r                     \r", stderr);
    if (!compared) {
        for (int i = 0; i < notes.count && !o->quiet; i++) /* what was left out of the labels, and why */
            fprintf(stderr, "  %s\n", notes.text[i]);
        return sl_fail(error, SL_UNREADABLE, "%s and %s have nothing in common to compare%s%s", o->readings, o->labels,
                       notes.count ? ": " : ".", notes.count ? notes.text[notes.count - 1] : "");
    }
    if (o->beside && (status = read_beside(o, &statements, &e, error)) != SL_OK)
        return status;
    if (!o->quiet) {
        sl_text text = {0};
        sl_evaluation_text(&e, &text);
        fputs(text.bytes ? text.bytes : "", stdout);
        sl_text_free(&text);
    }
    return o->out ? save(&e, o->out, arena, error) : SL_OK;
}

static int run(int argc, char **argv)
{
    sl_arena arena = {0};
    sl_error error = {0};
    options o;
    const char **map = calloc((size_t)argc + 1, sizeof *map);
    int exit_status = map ? parse(argc, argv, map, &o) : SL_EXIT_NOTHING;
    if (map && !exit_status) {
        sl_status status = evaluate(&o, &arena, &error);
        if (status != SL_OK) {
            fprintf(stderr, "strandline evaluate: %s\n", error.text);
            exit_status = sl_exit_status(status);
        }
    }
    free(map);
    sl_arena_free(&arena);
    return exit_status;
}

const sl_command sl_command_evaluate = {
    "evaluate", "Compares readings with labels: agreement and accuracy, with their intervals.",
    "READINGS --labels FILE [--by WHAT] [--map COLUMN=CODE ...] [--out FOLDER]", help, run};
