#include "cli/store.h"

#include "core/text.h"
#include "core/units.h"
#include "node/queue.h"
#include "store/keep.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static int run(int argc, char **argv);

const sl_command sl_command_store = {
    .name = "store",
    .summary = "Keeps examinations, their readings and signed reports on this machine.",
    .usage = "WHAT [words] [options]",
    .help =
        "WHAT is one of\n"
        "  add FOLDER_OR_FILES...   keeps the clips of an examination; with --report DIR also what `read` made of it\n"
        "  list                     examinations, newest first\n"
        "  show EXAM                one examination: clips, readings, files, signatures\n"
        "  sign EXAM                draws the report with its conclusion, and fixes it: needs --by NAME and --text CONCLUSION\n"
        "  addendum EXAM            adds to a signed report: needs --by NAME and --text WORDS\n"
        "  check                    looks at everything, every byte; says what is wrong, clears away leftovers\n"
        "  backup DIR               a complete copy in a new folder\n"
        "  restore DIR              puts a backup in place; what was there is moved aside\n"
        "  export EXAM --out DIR    an examination as plain files in a new folder\n"
        "  forget PERSON --yes      removes a person and all that is theirs\n"
        "  arrived                  studies that machines sent (strandline receive), the last one first\n"
        "  take STUDY --out DIR     the clips of such a study as files\n"
        "  drop STUDY --yes         removes such a study from among what arrived\n"
        "EXAM is the identifier that add and list print, or its first characters; PERSON a pseudonym; STUDY the identifier that\n"
        "arrived prints. `read --keep` reads and keeps at once. Clips are kept by content and never changed; every change is a line in a log (docs/store.md).\n"
        "\n"
        "  --store DIR      where the store is; else $XDG_DATA_HOME/strandline or ~/.local/share/strandline\n"
        "  --as NAME        whose changes these are, in the log; else your name on this machine\n"
        "  --report DIR     with add: the folder that `read` wrote\n"
        "  --person NAME    with add: the pseudonym, where exam-info.json has none; with list: only this person\n"
        "  --local-id ID    with add: by which the house knows the person; kept apart from all else\n"
        "  --by NAME        with sign and addendum: the name as it is to stand there\n"
        "  --text WORDS     with sign: the conclusion; with addendum: what is added; at most 2000 bytes\n"
        "  --language CODE  with sign and addendum: of the report, en (without it) or de\n"
        "  --paper SIZE     with sign and addendum: a4 (without it) or letter\n"
        "  --out DIR        with export and take: the folder\n"
        "  --yes            with forget and drop: really\n"
        "  --signed-too     with forget: signed reports as well\n"
        "\n"
        "Exit status: 0 done, 1 refused, failed or found wrong (a sentence says what), 2 for wrong use.\n",
    .run = run,
};

sl_status sl_store_needs(const sl_store_job *job, int words, sl_error *error)
{
    if (job->words - 1 < words)
        return sl_fail(error, SL_USAGE, "%s needs a word after it. See: strandline help store.", job->word[0]);
    if (job->words - 1 > words)
        return sl_fail(error, SL_USAGE, "It does not know what to do with %s.", job->word[words + 1]);
    return SL_OK;
}

/* ---- one function a word ---- */

static sl_status do_add(void *context, sl_error *error)
{
    sl_store_job *job = context;
    sl_arena arena = {0};
    sl_exam exam;
    char uid[SL_STORE_UID];
    bool known;
    if (job->words < 2)
        return sl_store_needs(job, 1, error);
    sl_status status = sl_exam_collect(job->word + 1, job->words - 1, &arena, &exam, error);
    if (status == SL_OK) {
        for (int i = 0; i < exam.remarks; i++)
            fprintf(stderr, "strandline store: %s\n", exam.remark[i]);
        status = sl_keep(job->store, &exam, job->report, job->person, job->local_id, uid, &known, error);
    }
    if (status == SL_OK)
        printf("%s %s: %d clip%s in %s\n", known ? "Known already, completed:" : "Kept as", uid, exam.clips, exam.clips == 1 ? "" : "s",
               sl_store_folder(job->store));
    sl_arena_free(&arena);
    return status;
}

static sl_status do_list(void *context, sl_error *error)
{
    sl_store_job *job = context;
    sl_arena arena = {0};
    const sl_store_exam *exam;
    int count;
    sl_status status = sl_store_needs(job, 0, error);
    if (status == SL_OK)
        status = sl_store_exams(job->store, job->person, &arena, &exam, &count, error);
    for (int i = 0; status == SL_OK && i < count; i++)
        printf("%.8s  %-10s  %s: %s, %d clip%s, %s%s%s\n", exam[i].uid, *exam[i].date ? exam[i].date : "undated", exam[i].person,
               *exam[i].title ? exam[i].title : "examination", exam[i].clips, exam[i].clips == 1 ? "" : "s",
               exam[i].reports ? "signed" : "not signed", exam[i].reports > 1 ? ", with addenda" : "",
               exam[i].invented ? ", invented" : "");
    if (status == SL_OK && !count)
        printf("No examination is kept%s%s in %s.\n", job->person ? " of " : "", job->person ? job->person : "",
               sl_store_folder(job->store));
    sl_arena_free(&arena);
    return status;
}

static void show_reports(const sl_store_exam_all *all)
{
    for (int i = 0; i < all->reports; i++) {
        const sl_store_report *report = &all->report[i];
        printf("\n%s, signed by %s, %s\n  %s\n  SHA-256 of what was signed: %s\n", report->addendum ? "Addendum" : "Report",
               report->signer, report->signed_at, report->text, report->hash);
    }
    if (!all->reports)
        printf("\nNot signed.\n");
}

static void show(const sl_store_exam_all *all)
{
    printf("%s\n%s, %s, %s%s\nQuestion: %s\nKept since %s\n\n", all->exam.uid, all->exam.person,
           *all->exam.title ? all->exam.title : "examination", *all->exam.date ? all->exam.date : "undated",
           all->exam.invented ? ", invented data" : "", *all->exam.question ? all->exam.question : "not stated", all->exam.added);
    for (int i = 0; i < all->clips; i++)
        printf("  %-28s %-20s %9lld bytes  %.12s\n", all->clip[i].name, *all->clip[i].zone ? all->clip[i].zone : "no zone",
               (long long)all->clip[i].bytes, all->clip[i].hash);
    for (int i = 0; i < all->readings; i++) /* one line for each author and second, not for each clip */
        if (!i || strcmp(all->reading[i].author, all->reading[i - 1].author) ||
            strncmp(all->reading[i].made, all->reading[i - 1].made, 19))
            printf("  read by %s, %s\n", all->reading[i].author, all->reading[i].made);
    for (int i = 0; i < all->files; i++)
        if (all->file[i].name[0] != '.')
            printf("  %-28s %.12s\n", all->file[i].name, all->file[i].hash);
    show_reports(all);
}

static sl_status do_show(void *context, sl_error *error)
{
    sl_store_job *job = context;
    sl_arena arena = {0};
    sl_store_exam_all all;
    sl_status status = sl_store_needs(job, 1, error);
    if (status == SL_OK)
        status = sl_store_exam_of(job->store, job->word[1], &arena, &all, error);
    if (status == SL_OK)
        show(&all);
    sl_arena_free(&arena);
    return status;
}

static void say_problem(void *context, const char *sentence)
{
    (void)context;
    printf("%s\n", sentence);
}

static sl_status do_check(void *context, sl_error *error)
{
    sl_store_job *job = context;
    sl_store_state state = {0};
    sl_status status = sl_store_needs(job, 0, error);
    if (status == SL_OK)
        status = sl_store_check(job->store, say_problem, NULL, &state, error);
    if (status != SL_OK)
        return status;
    printf("%d people, %d examinations, %d clips, %d files, %d signatures, %d lines in the log: all in order\n", state.people, state.exams,
           state.clips, state.files, state.reports, state.log_lines);
    if (state.tidied)
        printf("%d file%s without a record, left by an interrupted run, cleared away.\n", state.tidied, state.tidied == 1 ? "" : "s");
    printf("The log ends with %s\n", state.log_head);
    return SL_OK;
}

static sl_status do_backup(void *context, sl_error *error)
{
    sl_store_job *job = context;
    sl_status status = sl_store_needs(job, 1, error);
    if (status == SL_OK)
        status = sl_store_backup(job->store, job->word[1], error);
    if (status == SL_OK)
        printf("A complete copy is in %s\n", job->word[1]);
    return status;
}

static sl_status do_export(void *context, sl_error *error)
{
    sl_store_job *job = context;
    sl_status status = sl_store_needs(job, 1, error);
    if (status == SL_OK && !job->out)
        status = sl_fail(error, SL_USAGE, "--out DIR is missing: where shall the files go?");
    if (status == SL_OK)
        status = sl_store_export(job->store, job->word[1], job->out, error);
    if (status == SL_OK)
        printf("The examination is in %s\n", job->out);
    return status;
}

/* What waits to be sent is of studies, not of persons: whose it is the user must tell. */
static void say_queue(const char *folder)
{
    char path[4096];
    sl_queue *queue = NULL;
    int count[SL_QUEUE_STATES] = {0};
    sl_error error;
    if (snprintf(path, sizeof path, "%s/sending/queue.db", folder) >= (int)sizeof path || access(path, F_OK) || sl_queue_open(folder, &queue, &error) != SL_OK)
        return;
    sl_queue_count(queue, count, &error);
    sl_queue_close(queue);
    const int kept = count[SL_QUEUE_WAITS] + count[SL_QUEUE_REFUSED];
    if (kept || count[SL_QUEUE_SENT])
        printf("The sending queue was not looked through: it holds %d object%s not delivered and the identifiers of %d delivered. If some are of that person: strandline send "
               "--list, then --forget.\n", kept, kept == 1 ? "" : "s", count[SL_QUEUE_SENT]);
}

static sl_status do_forget(void *context, sl_error *error)
{
    sl_store_job *job = context;
    int exams;
    sl_status status = sl_store_needs(job, 1, error);
    if (status == SL_OK && !job->yes)
        status = sl_fail(error, SL_USAGE, "This removes all that is kept of %s for good; say --yes to mean it.", job->word[1]);
    if (status == SL_OK)
        status = sl_store_forget(job->store, job->word[1], job->signed_too, &exams, error);
    if (status == SL_OK)
        printf("%s and %d examination%s are gone from %s. Backups made before still hold them.\n", job->word[1], exams,
               exams == 1 ? "" : "s", sl_store_folder(job->store));
    if (status == SL_OK)
        say_queue(sl_store_folder(job->store));
    return status;
}

/* Without opening the store: the one that is there may be damaged. */
static sl_status do_restore(void *context, sl_error *error)
{
    sl_store_job *job = context;
    sl_arena arena = {0};
    char aside[4096];
    const char *folder = job->folder ? job->folder : sl_store_default_folder(&arena);
    sl_status status = sl_store_needs(job, 1, error);
    if (status == SL_OK && !folder)
        status = sl_fail(error, SL_USAGE, "It is not known where your data lies: say where with --store DIR.");
    if (status == SL_OK)
        status = sl_store_restore(job->word[1], folder, aside, sizeof aside, error);
    if (status == SL_OK)
        printf("The store in %s is the one of %s%s%s\n", folder, job->word[1], *aside ? "; what was there is now " : "", aside);
    sl_arena_free(&arena);
    return status;
}

static const sl_verb verbs[] = {
    {"add", do_add},           {"list", do_list},       {"show", do_show},     {"sign", sl_store_do_sign}, {"addendum", sl_store_do_addendum},
    {"check", do_check},       {"backup", do_backup},   {"restore", do_restore}, {"export", do_export},    {"forget", do_forget},
    {"arrived", sl_store_do_arrived}, {"take", sl_store_do_take}, {"drop", sl_store_do_drop},
};

static int run(int argc, char **argv)
{
    sl_store_job job = {0};
    const sl_option options[] = {
        {"--store", &job.folder, NULL},   {"--as", &job.who, NULL},          {"--report", &job.report, NULL},
        {"--person", &job.person, NULL},  {"--local-id", &job.local_id, NULL}, {"--out", &job.out, NULL},
        {"--by", &job.by, NULL},          {"--text", &job.text, NULL},       {"--language", &job.language, NULL},
        {"--paper", &job.paper, NULL},    {"--yes", NULL, &job.yes},         {"--signed-too", NULL, &job.signed_too}};
    int status = sl_options(&sl_command_store, argc, argv, options, sizeof options / sizeof *options, job.word, SL_STORE_WORDS, &job.words);
    if (status)
        return status;
    if (!job.words)
        return sl_usage_error(&sl_command_store, "say what it is to do.");
    sl_error error;
    bool known = false;
    for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++)
        known |= !strcmp(job.word[0], verbs[i].name);
    if (known && strcmp(job.word[0], "restore") &&
        sl_store_open(&(sl_store_options){.folder = job.folder, .who = job.who, .make = !strcmp(job.word[0], "add")}, &job.store, &error) != SL_OK) {
        fprintf(stderr, "strandline store: %s\n", error.text);
        return sl_exit_status(error.status);
    }
    signal(SIGXFSZ, SIG_IGN); /* a limit on file sizes ends as a sentence, like a full disk */
    status = sl_run_verb(&sl_command_store, verbs, sizeof verbs / sizeof *verbs, job.word[0], &job);
    sl_store_close(job.store);
    return status;
}
