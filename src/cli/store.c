#include "cli/store.h"

#include "cli/keep.h"
#include "core/text.h"
#include "core/units.h"

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
        "  check                    looks at everything, every byte; says what is wrong, clears away leftovers\n"
        "  backup DIR               a complete copy in a new folder\n"
        "  restore DIR              puts a backup in place; what was there is moved aside\n"
        "  export EXAM --out DIR    an examination as plain files in a new folder\n"
        "  forget PERSON --yes      removes a person and all that is theirs\n"
        "EXAM is the identifier that add and list print, or its first characters; PERSON a pseudonym. `read --keep` reads and\n"
        "keeps at once. Clips are kept by content and never changed; every change is a line in a log (docs/store.md).\n"
        "\n"
        "  --store DIR      where the store is; else $XDG_DATA_HOME/strandline or ~/.local/share/strandline\n"
        "  --as NAME        whose changes these are, in the log; else your name on this machine\n"
        "  --report DIR     with add: the folder that `read` wrote\n"
        "  --person NAME    with add: the pseudonym, where exam-info.json has none; with list: only this person\n"
        "  --local-id ID    with add: by which the house knows the person; kept apart from all else\n"
        "  --out DIR        with export: the new folder\n"
        "  --yes            with forget: really\n"
        "  --signed-too     with forget: signed reports as well\n"
        "\n"
        "Exit status: 0 done, 1 refused, failed or found wrong (a sentence says what), 2 for wrong use.\n",
    .run = run,
};

static int fail_with(const sl_error *error)
{
    fprintf(stderr, "strandline store: %s\n", error->text);
    return sl_exit_status(error->status);
}

static const char *or_none(const char *text)
{
    return *text ? text : "not stated";
}

/* ---- one function a word ---- */

static int do_add(sl_store *store, const sl_store_words *words)
{
    sl_arena arena = {0};
    sl_exam exam;
    sl_error error;
    char uid[SL_STORE_UID];
    bool known;
    sl_status status = sl_exam_collect(words->word + 1, words->words - 1, &arena, &exam, &error);
    if (status == SL_OK) {
        for (int i = 0; i < exam.remarks; i++)
            fprintf(stderr, "strandline store: %s\n", exam.remark[i]);
        status = sl_keep(store, &exam, words->report, words->person, words->local_id, uid, &known, &error);
    }
    if (status == SL_OK)
        printf("%s %s: %d clip%s in %s\n", known ? "Known already, completed:" : "Kept as", uid, exam.clips, exam.clips == 1 ? "" : "s",
               sl_store_folder(store));
    sl_arena_free(&arena);
    return status == SL_OK ? SL_EXIT_OK : fail_with(&error);
}

static int do_list(sl_store *store, const sl_store_words *words)
{
    sl_arena arena = {0};
    const sl_store_exam *exam;
    int count;
    sl_error error;
    sl_status status = sl_store_exams(store, words->person, &arena, &exam, &count, &error);
    for (int i = 0; i < count && status == SL_OK; i++)
        printf("%.8s  %-10s  %s: %s, %d clip%s, %s%s%s\n", exam[i].uid, *exam[i].date ? exam[i].date : "undated", exam[i].person,
               *exam[i].title ? exam[i].title : "examination", exam[i].clips, exam[i].clips == 1 ? "" : "s",
               exam[i].reports ? "signed" : "not signed", exam[i].reports > 1 ? ", with addenda" : "",
               exam[i].invented ? ", invented" : "");
    if (status == SL_OK && !count)
        printf("No examination is kept%s%s in %s.\n", words->person ? " of " : "", words->person ? words->person : "",
               sl_store_folder(store));
    sl_arena_free(&arena);
    return status == SL_OK ? SL_EXIT_OK : fail_with(&error);
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

static int do_show(sl_store *store, const sl_store_words *words)
{
    sl_arena arena = {0};
    sl_store_exam_all all;
    sl_error error;
    sl_status status = sl_store_exam_of(store, words->word[1], &arena, &all, &error);
    if (status == SL_OK) {
        printf("%s\n%s, %s, %s%s\nQuestion: %s\nKept since %s\n\n", all.exam.uid, all.exam.person,
               *all.exam.title ? all.exam.title : "examination", *all.exam.date ? all.exam.date : "undated",
               all.exam.invented ? ", invented data" : "", or_none(all.exam.question), all.exam.added);
        for (int i = 0; i < all.clips; i++)
            printf("  %-28s %-20s %9lld bytes  %.12s\n", all.clip[i].name, *all.clip[i].zone ? all.clip[i].zone : "no zone",
                   (long long)all.clip[i].bytes, all.clip[i].hash);
        for (int i = 0; i < all.readings; i++) /* one line for each author and time, not for each clip */
            if (!i || strcmp(all.reading[i].author, all.reading[i - 1].author) ||
                strncmp(all.reading[i].made, all.reading[i - 1].made, 19))
                printf("  read by %s, %s\n", all.reading[i].author, all.reading[i].made);
        for (int i = 0; i < all.files; i++)
            if (all.file[i].name[0] != '.')
                printf("  %-28s %.12s\n", all.file[i].name, all.file[i].hash);
        show_reports(&all);
    }
    sl_arena_free(&arena);
    return status == SL_OK ? SL_EXIT_OK : fail_with(&error);
}

static void say_problem(void *context, const char *sentence)
{
    (void)context;
    printf("%s\n", sentence);
}

static int do_check(sl_store *store, const sl_store_words *words)
{
    sl_store_state state;
    sl_error error;
    (void)words;
    sl_status status = sl_store_check(store, say_problem, NULL, &state, &error);
    if (status != SL_OK && !state.problems)
        return fail_with(&error);
    printf("%d people, %d examinations, %d clips, %d files, %d signatures, %d lines in the log: %s\n", state.people, state.exams, state.clips,
           state.files, state.reports, state.log_lines, state.problems ? "see above" : "all in order");
    if (state.tidied)
        printf("%d file%s without a record, left by an interrupted run, cleared away.\n", state.tidied, state.tidied == 1 ? "" : "s");
    printf("The log ends with %s\n", state.log_head);
    return state.problems ? SL_EXIT_NOTHING : SL_EXIT_OK;
}

static int do_backup(sl_store *store, const sl_store_words *words)
{
    sl_error error;
    if (sl_store_backup(store, words->word[1], &error) != SL_OK)
        return fail_with(&error);
    printf("A complete copy is in %s\n", words->word[1]);
    return SL_EXIT_OK;
}

static int do_export(sl_store *store, const sl_store_words *words)
{
    sl_error error;
    if (!words->out)
        return sl_usage_error(&sl_command_store, "--out DIR is missing: where shall the files go?");
    if (sl_store_export(store, words->word[1], words->out, &error) != SL_OK)
        return fail_with(&error);
    printf("The examination is in %s\n", words->out);
    return SL_EXIT_OK;
}

static int do_forget(sl_store *store, const sl_store_words *words)
{
    sl_error error;
    int exams;
    if (!words->yes)
        return sl_usage_error(&sl_command_store, "this removes all that is kept of %s for good; say --yes to mean it.", words->word[1]);
    if (sl_store_forget(store, words->word[1], words->signed_too, &exams, &error) != SL_OK)
        return fail_with(&error);
    printf("%s and %d examination%s are gone from %s. Backups made before still hold them.\n", words->word[1], exams,
           exams == 1 ? "" : "s", sl_store_folder(store));
    return SL_EXIT_OK;
}

/* Before a store is opened: the one that is there may be damaged. */
static int do_restore(const sl_store_words *words)
{
    sl_arena arena = {0};
    char aside[4096];
    sl_error error;
    const char *folder = words->store ? words->store : sl_store_default_folder(&arena);
    sl_status status = folder ? sl_store_restore(words->word[1], folder, aside, sizeof aside, &error)
                              : sl_fail(&error, SL_USAGE, "It is not known where your data lies: say where with --store DIR.");
    if (status == SL_OK)
        printf("The store in %s is the one of %s%s%s\n", folder, words->word[1], *aside ? "; what was there is now " : "", aside);
    sl_arena_free(&arena);
    return status == SL_OK ? SL_EXIT_OK : fail_with(&error);
}

typedef struct deed {
    const char *word;
    int least, most; /* words after it */
    bool makes;      /* a store that is not there */
    int (*run)(sl_store *store, const sl_store_words *words);
} deed;

static const deed deeds[] = {
    {"add", 1, SL_STORE_WORDS, true, do_add},  {"list", 0, 0, false, do_list},     {"show", 1, 1, false, do_show},
    {"check", 0, 0, false, do_check},          {"backup", 1, 1, false, do_backup}, {"restore", 1, 1, false, NULL},
    {"export", 1, 1, false, do_export},        {"forget", 1, 1, false, do_forget},
};

static int run(int argc, char **argv)
{
    sl_store_words words = {0};
    const sl_option options[] = {{"--store", &words.store, NULL},   {"--as", &words.who, NULL},          {"--report", &words.report, NULL},
                                 {"--person", &words.person, NULL}, {"--local-id", &words.local_id, NULL}, {"--out", &words.out, NULL},
                                 {"--yes", NULL, &words.yes},       {"--signed-too", NULL, &words.signed_too}};
    int status = sl_options(&sl_command_store, argc, argv, options, sizeof options / sizeof *options, words.word, SL_STORE_WORDS,
                            &words.words);
    if (status)
        return status;
    const deed *what = NULL;
    for (size_t i = 0; i < sizeof deeds / sizeof *deeds && words.words; i++)
        if (!strcmp(words.word[0], deeds[i].word))
            what = &deeds[i];
    if (!what)
        return sl_usage_error(&sl_command_store, words.words ? "it cannot %s." : "say what it is to do.", words.words ? words.word[0] : "");
    if (words.words - 1 < what->least)
        return sl_usage_error(&sl_command_store, "%s needs a word after it.", what->word);
    if (words.words - 1 > what->most)
        return sl_usage_error(&sl_command_store, "it does not know what to do with %s.", words.word[what->most + 1]);
    if (!what->run)
        return do_restore(&words);
    sl_store *store;
    sl_error error;
    if (sl_store_open(&(sl_store_options){.folder = words.store, .who = words.who, .make = what->makes}, &store, &error) != SL_OK)
        return fail_with(&error);
    status = what->run(store, &words);
    sl_store_close(store);
    return status;
}
