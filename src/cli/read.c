#include "cli/command.h"

#include "cli/inputs.h"
#include "objects/exam.h"
#include "core/text.h"
#include "exam/change.h"
#include "exam/rescan.h"
#include "core/utf8.h"
#include "report/language.h"
#include "report/produce.h"
#include "store/keep.h"

#include <errno.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int run(int argc, char **argv);

const sl_command sl_command_read = {
    .name = "read",
    .summary = "Reads the clips of one examination and writes a report.",
    .usage = "FOLDER_OR_FILES... --out DIR [options]",
    .help =
        "Give the folder that holds the clips of one examination, or the files; an archive (zip, tar) or a DICOMDIR will do.\n"
        "Beside the clips may lie exam.csv (columns file, zone, depth_cm, posture, notes) and exam-info.json (title, date, person,\n"
        "question, posture, protocol, invented);\n"
        "zones are else taken from the names of files and folders: R1, L3, right upper anterior, RUA.\n"
        "\n"
        "Into DIR go report.pdf, readings.csv (one row a clip), audit.csv (one row a complaint about how a clip was acquired,\n"
        "with the remedy), exam.json (everything, with the frames and places behind each number) and evidence/ with a picture\n"
        "of each clip. What should be scanned again is printed first. Started again, it reads only what is new or changed.\n"
        "\n"
        "  --out DIR            where the report goes; made when it is not there\n"
        "  --question TEXT      the clinical question; else that of exam-info.json, else asked for at a terminal\n"
        "  --language CODE      of the report: en (without it) or de\n"
        "  --paper SIZE         of the report: a4 (without it) or letter\n"
        "  --depth-cm N         imaged depth of clips that neither say it nor have a ruler in the picture\n"
        "  --protocol WHICH     scheme of zones: 8-zones, 12-zones, 14-zones, 6-points, 8-bedside, or a file with your own\n"
        "                       (docs/protocol.schema.json); without it as exam-info.json says, or worked out from the clips\n"
        "  --before EXAM.JSON   of an earlier examination of this person: what changed since\n"
        "  --rules WHOSE        advice on depth and focus to judge by: practice (without it), consensus or least\n"
        "  --rescan-status      exit status 3 when a zone or clip must be scanned again\n"
        "  --annotated-clips    also each clip with its evidence drawn in, in DIR/annotated (with --dicom also as DICOM)\n"
        "  --workers N          clips read at once; without it, one for each core\n"
        "  --dicom              also OUT/dicom: the findings as a structured report, the PDF, clips as ultrasound multi-frame\n"
        "  --keep               also into the store, to be signed there (strandline help store)\n"
        "  --store DIR          where the store is, if not in your data folder\n"
        "\n"
        "Exit status: 0 if any clip was read, 1 if none or not kept, 2 for wrong use; with --rescan-status 3 as said there.\n",
    .run = run,
};

typedef struct read_request {
    const char **paths;
    int count;
    bool rescan_status;
    const char *protocol;
    sl_produce_options options;
    const char *question, *language;
    bool letter, keep, dicom;
    const char *store; /* NULL: the user's data folder */
} read_request;

/* The value of option `name` at argv[*at] ("--name V" or "--name=V"), or NULL when it is another word. Missing: "". */
static const char *value_of(const char *name, int argc, char **argv, int *at)
{
    size_t length = strlen(name);
    if (strncmp(argv[*at], name, length))
        return NULL;
    if (argv[*at][length] == '=')
        return argv[*at] + length + 1;
    if (argv[*at][length])
        return NULL;
    return *at + 1 < argc ? argv[++*at] : "";
}

static bool number_in(const char *text, double low, double high, double *value)
{
    char *end;
    *value = strtod(text, &end);
    return *text && !*end && *value >= low && *value <= high;
}

/* Returns SL_EXIT_OK when the words make sense. */
static int parse(int argc, char **argv, read_request *request)
{
    const double shallowest_cm = 1, deepest_cm = 40; /* the same limits as in exam.csv */
    const char *value;
    double number;
    bool only_paths = false;
    for (int i = 1; i < argc; i++) {
        if (only_paths || argv[i][0] != '-' || !argv[i][1])
            request->paths[request->count++] = argv[i];
        else if (!strcmp(argv[i], "--"))
            only_paths = true;
        else if ((value = value_of("--out", argc, argv, &i))) {
            if (!*value)
                return sl_usage_error(&sl_command_read, "--out needs a folder.");
            request->options.out = value;
        } else if ((value = value_of("--depth-cm", argc, argv, &i))) {
            if (!number_in(value, shallowest_cm, deepest_cm, &number))
                return sl_usage_error(&sl_command_read, "--depth-cm needs a number of centimetres from %g to %g.",
                                      shallowest_cm, deepest_cm);
            request->options.depth_cm = number;
        } else if ((value = value_of("--workers", argc, argv, &i))) {
            if (!number_in(value, 1, 64, &number) || number != (int)number)
                return sl_usage_error(&sl_command_read, "--workers needs a whole number from 1 to 64.");
            request->options.workers = (int)number;
        } else if ((value = value_of("--question", argc, argv, &i))) {
            request->question = value;
        } else if ((value = value_of("--language", argc, argv, &i))) {
            if (!*value || !sl_language_of(value))
                return sl_usage_error(&sl_command_read, "--language needs one of %s.", sl_language_codes());
            request->language = value;
        } else if ((value = value_of("--paper", argc, argv, &i))) {
            if (strcmp(value, "a4") && strcmp(value, "letter"))
                return sl_usage_error(&sl_command_read, "--paper needs a4 or letter.");
            request->letter = !strcmp(value, "letter");
        } else if ((value = value_of("--store", argc, argv, &i))) {
            if (!*value)
                return sl_usage_error(&sl_command_read, "--store needs a folder.");
            request->store = value;
        } else if ((value = value_of("--protocol", argc, argv, &i))) {
            if (!*value)
                return sl_usage_error(&sl_command_read, "--protocol needs a scheme of zones or a file with one.");
            request->protocol = value;
        } else if ((value = value_of("--before", argc, argv, &i))) {
            if (!*value)
                return sl_usage_error(&sl_command_read, "--before needs the exam.json of an earlier examination.");
            request->options.before = value;
        } else if ((value = value_of("--rules", argc, argv, &i))) {
            if (sl_rules_find(value) < 0)
                return sl_usage_error(&sl_command_read, "--rules needs practice, consensus or least.");
            request->options.rules = (sl_rules)sl_rules_find(value);
        } else if (!strcmp(argv[i], "--rescan-status"))
            request->rescan_status = true;
        else if (!strcmp(argv[i], "--annotated-clips"))
            request->options.annotated = true;
        else if (!strcmp(argv[i], "--keep"))
            request->keep = true;
        else if (!strcmp(argv[i], "--dicom"))
            request->dicom = true;
        else
            return sl_usage_error(&sl_command_read, "%s is not an option it knows.", argv[i]);
    }
    if (!request->count)
        return sl_usage_error(&sl_command_read, "name the folder with the clips, or the clips.");
    if (!request->options.out)
        return sl_usage_error(&sl_command_read, "--out DIR is missing: where shall the report go?");
    return SL_EXIT_OK;
}

static void show_progress(void *context, int done, int of, const char *name)
{
    (void)context;
    fprintf(stderr, "\r\033[K%d of %d clips: %s", done, of, name);
    fflush(stderr);
}

static void say(const char *sentence)
{
    fprintf(stderr, "strandline read: %s\n", sentence);
}

/* A sentence for each clip that could not be read or has a remark; it names the clip. */
static void say_clips(const sl_exam *exam)
{
    for (int i = 0; i < exam->clips; i++) {
        const sl_exam_clip *clip = &exam->clip[i];
        if (!*clip->result.reason)
            continue;
        bool named = strstr(clip->result.reason, clip->name) != NULL;
        fprintf(stderr, "strandline read: %s%s%s\n", named ? "" : clip->where, named ? "" : ": ", clip->result.reason);
    }
}

/* What to scan again while the patient is still there, before anything else. */
static void print_rescans(const sl_exam *exam, const char *out)
{
    if (exam->rescans)
        printf("Scan again first:\n");
    for (int i = 0; i < exam->rescans; i++) {
        const sl_rescan *r = &exam->rescan[i];
        const sl_audit_rule *rule = sl_rescan_rule(r);
        const char *clip = r->clip >= 0 ? exam->clip[r->clip].where : "";
        const char *found = sl_rescan_found(r); /* a clause, or the sentence why a clip could not be read */
        bool sentence = *found && found[strlen(found) - 1] == '.';
        printf("%3d. %s%s%s: %s%s%s%s%s%s\n", i + 1, r->zone ? r->zone->name : "", r->zone && *clip ? ", " : "", clip,
               r->complaint && r->complaint->suspected ? "suspected: " : "", rule->name, sentence ? ". " : " (", found,
               sentence ? " " : "). ", rule->remedy);
    }
    int weaker = 0;
    for (int i = 0; i < exam->clips; i++)
        weaker += exam->clip[i].audit.complaints && exam->clip[i].audit.worst == SL_GRADE_WEAK;
    if (!exam->rescans)
        printf("Nothing must be scanned again. ");
    if (weaker)
        printf("%d clip%s could be better acquired: %s/audit.csv says how. ", weaker, weaker == 1 ? "" : "s", out);
    if (!exam->rescans || weaker)
        printf("\n");
}

/* How the examination differs from the earlier one that was named. */
static void print_change(const sl_exam_change *c)
{
    if (!c)
        return;
    const char *since = *c->old->date ? c->old->date : "the earlier examination";
    if (!c->compared) {
        printf("Since %s: no zone has a level on both dates.\n", since);
        return;
    }
    printf("Since %s, by %s over %d of %d zones: %s (sum %+d; %.1f and more can be shown).", since, sl_scheme_info_of(c->scheme)->name,
           c->compared, c->zones, sl_change_name(c->word), c->total, c->least_total);
    if (c->scheme == SL_SCHEME_REGIONAL)
        printf(" Reaeration score %+d.", c->points);
    printf("\n%s\n", sl_caution);
}

static int report_end(const sl_produced *produced, const sl_exam *exam, const char *out)
{
    if (!produced->read) {
        fprintf(stderr, "strandline read: none of %d clip%s could be read; %s/readings.csv says why.\n", exam->clips,
                exam->clips == 1 ? "" : "s", out);
        return SL_EXIT_NOTHING;
    }
    print_rescans(exam, out);
    print_change(exam->change);
    printf("%d of %d clip%s read", produced->read, exam->clips, exam->clips == 1 ? "" : "s");
    if (produced->kept)
        printf(" (%d of them by an earlier run)", produced->kept);
    printf(". Report: %s/report.pdf\n", out);
    return SL_EXIT_OK;
}

/* How the report is to be, and the question it answers: as the words say, or asked for where someone can be asked. */
static void present(sl_exam *exam, const read_request *request, sl_arena *arena)
{
    char line[1000] = "";
    exam->language = request->language;
    exam->letter = request->letter;
    if (request->question)
        exam->question = sl_utf8_valid(arena, request->question);
    else if (!*exam->question && isatty(STDIN_FILENO) && isatty(STDERR_FILENO)) {
        fprintf(stderr, "What is the clinical question? (Enter leaves it open) ");
        if (fgets(line, sizeof line, stdin))
            line[strcspn(line, "\r\n")] = 0;
        const char *typed = sl_arena_text(arena, line);
        exam->question = typed ? sl_utf8_valid(arena, typed) : "";
    }
    if (!exam->question)
        exam->question = "";
}

/* Into the store; what was written to the folder stays whatever comes of it. */
static int keep(const sl_exam *exam, const read_request *request)
{
    sl_store *store;
    sl_error error;
    char uid[SL_STORE_UID];
    bool known;
    sl_status status = sl_store_open(&(sl_store_options){.folder = request->store, .make = true}, &store, &error);
    if (status == SL_OK)
        status = sl_keep(store, exam, request->options.out, NULL, NULL, uid, &known, &error);
    if (status == SL_OK)
        printf("%s %s\n", known ? "Known already in the store, completed:" : "Kept in the store as", uid);
    else
        say(error.text);
    sl_store_close(store);
    return status == SL_OK ? SL_EXIT_OK : SL_EXIT_NOTHING;
}

static int run(int argc, char **argv)
{
    sl_arena arena = {0};
    sl_exam exam;
    sl_error error;
    sl_produced produced;
    read_request request = {.paths = SL_NEW(&arena, argc, const char *), .options.rules = SL_RULES_PRACTICE};
    if (!request.paths)
        return SL_EXIT_NOTHING;
    int status = parse(argc, argv, &request);
    if (status != SL_EXIT_OK) {
        sl_arena_free(&arena);
        return status;
    }
    signal(SIGXFSZ, SIG_IGN); /* a limit on file sizes ends as a sentence, like a full disk */
    bool terminal = isatty(STDERR_FILENO);
    if (terminal)
        request.options.progress = show_progress;
    status = SL_EXIT_NOTHING;
    exam.remarks = 0;
    if (sl_inputs(request.paths, request.count, request.options.out, &arena, &error) != SL_OK ||
        sl_exam_collect(request.paths, request.count, &arena, &exam, &error) != SL_OK) {
        for (int i = 0; i < exam.remarks; i++)
            say(exam.remark[i]);
        say(error.text);
    } else {
        const sl_protocol *protocol = sl_protocol_by_key(request.protocol);
        if (request.protocol && !protocol && sl_protocol_load(request.protocol, &arena, &protocol, &error) != SL_OK) {
            say(error.text);
            sl_arena_free(&arena);
            return SL_EXIT_USAGE;
        }
        if (protocol)
            sl_exam_use_protocol(&exam, protocol);
        present(&exam, &request, &arena);
        sl_status made = sl_produce(&exam, &request.options, &arena, &produced, &error);
        if (terminal)
            fprintf(stderr, "\r\033[K");
        for (int i = 0; i < exam.remarks; i++)
            say(exam.remark[i]);
        if (made == SL_OK) {
            say_clips(&exam);
            status = report_end(&produced, &exam, request.options.out);
            if (request.dicom && status == SL_EXIT_OK && sl_exam_objects(&exam, request.options.out, sl_caution, request.options.annotated, &error)) {
                say(error.text);
                status = SL_EXIT_NOTHING;
            }
            if (request.keep && keep(&exam, &request) != SL_EXIT_OK)
                status = SL_EXIT_NOTHING;
            if (status == SL_EXIT_OK && request.rescan_status && exam.rescans)
                status = SL_EXIT_RESCAN;
        } else
            say(error.text);
    }
    sl_arena_free(&arena);
    return status;
}
