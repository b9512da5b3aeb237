/* Signing: the report is drawn again from the readings that are kept, with its conclusion and signature, and what was drawn
 * is what is signed. */
#include "cli/store.h"

#include "core/file.h"
#include "core/text.h"
#include "report/produce.h"
#include "report/report.h"
#include "store/keep.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* A folder of its own beside the store's files, with links to the kept ones, so that nothing kept can change. */
static sl_status lay_out(sl_store *store, const sl_store_exam_all *all, sl_arena *arena, char **desk, sl_error *error)
{
    *desk = sl_arena_printf(arena, "%s/desk-XXXXXX", sl_store_folder(store));
    if (!*desk || !mkdtemp(*desk))
        return sl_fail(error, SL_IO, "No folder to draw the report in could be made in %s. Is there room on the disk?", sl_store_folder(store));
    sl_status status = sl_folder_make(sl_path_join(arena, *desk, ".records"), error);
    bool any = false;
    for (int i = 0; i < all->files && status == SL_OK; i++) {
        char *kept, absolute[4096];
        const char *name = all->file[i].name;
        bool record = !strncmp(name, ".records/", 9) && strrchr(name, '/') == strchr(name, '/');
        if (!record && strcmp(name, "exam.json"))
            continue;
        any |= !record;
        status = sl_store_path(store, all->file[i].hash, arena, &kept, error);
        if (status == SL_OK && (!realpath(kept, absolute) || symlink(absolute, sl_path_join(arena, *desk, name))))
            status = sl_fail(error, SL_IO, "%s could not be laid out for drawing.", name);
    }
    if (status == SL_OK && !any)
        status = sl_fail(error, SL_USAGE,
                         "%.8s is kept without a reading, so there is no report to sign. Read its clips with --keep, or add them with "
                         "--report DIR.", all->exam.uid);
    return status;
}

static void clear_desk(const char *path, int depth)
{
    char inner[4096];
    DIR *folder = opendir(path);
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        if (strcmp(entry->d_name, ".") && strcmp(entry->d_name, "..") &&
            snprintf(inner, sizeof inner, "%s/%s", path, entry->d_name) < (int)sizeof inner && unlink(inner) && depth < 2)
            clear_desk(inner, depth + 1);
    if (folder)
        closedir(folder);
    rmdir(path);
}

/* The examination as it is to be printed: what was signed before, and this. */
static sl_status load(const sl_store_job *job, const sl_store_exam_all *all, const char *desk, const char *time, sl_arena *arena,
                      sl_exam *exam, sl_error *error)
{
    sl_status status = sl_report_load(desk, arena, exam, error);
    sl_conclusion *words = SL_NEW(arena, all->reports + 1, sl_conclusion);
    if (status != SL_OK || !words)
        return status != SL_OK ? status : sl_fail(error, SL_MEMORY, "Memory ran out.");
    for (int i = 0; i < all->reports; i++)
        words[i] = (sl_conclusion){.text = all->report[i].text, .signer = all->report[i].signer, .signed_at = all->report[i].signed_at};
    words[all->reports] = (sl_conclusion){.text = job->text, .signer = job->by, .signed_at = time};
    exam->conclusion = words;
    exam->conclusions = all->reports + 1;
    exam->person = all->exam.person;
    exam->question = all->exam.question;
    exam->language = job->language;
    exam->letter = job->paper && !strcmp(job->paper, "letter");
    return SL_OK;
}

static sl_status look_at_words(const sl_store_job *job, bool addendum, sl_error *error)
{
    if (!job->text || sl_words_blank(job->text))
        return sl_fail(error, SL_USAGE, addendum ? "An addendum needs its words: --text WORDS."
                                                 : "A report is not signed without a conclusion: --text CONCLUSION. Write one, even if it "
                                                   "is that nothing can be concluded.");
    if (!job->by || sl_words_blank(job->by))
        return sl_fail(error, SL_USAGE, "A signature needs the name of the one who signs: --by NAME.");
    if (!sl_words_fit(job->text, job->by))
        return sl_fail(error, SL_USAGE, "Words to sign have at most %d bytes in %d lines, a name 120. Nothing that is signed is cut off, so "
                                        "put the rest into an addendum.", SL_SIGNED_BYTES, SL_SIGNED_LINES);
    if (job->language && !sl_language_of(job->language))
        return sl_fail(error, SL_USAGE, "--language needs one of %s.", sl_language_codes());
    if (job->paper && strcmp(job->paper, "a4") && strcmp(job->paper, "letter"))
        return sl_fail(error, SL_USAGE, "--paper needs a4 or letter.");
    return SL_OK;
}

static sl_status sign(sl_store_job *job, bool addendum, sl_error *error)
{
    sl_arena arena = {0};
    sl_store_exam_all all = {.exam.uid = ""};
    sl_exam exam;
    char *desk = NULL, time[32], report[SL_STORE_UID];
    sl_store_file_in file[SL_SIGNED_FILES];
    sl_status status = sl_store_needs(job, 1, error);
    if (status == SL_OK)
        status = look_at_words(job, addendum, error);
    if (status == SL_OK)
        status = sl_store_exam_of(job->store, job->word[1], &arena, &all, error);
    if (status == SL_OK && addendum != (all.reports > 0))
        status = sl_fail(error, SL_USAGE, addendum ? "The report of %.8s is not signed yet, so there is nothing to add to. Sign it first."
                                                   : "The report of %.8s is signed and cannot change. Add to it with: strandline store addendum.",
                         all.exam.uid);
    sl_store_now(time);
    if (status == SL_OK)
        status = lay_out(job->store, &all, &arena, &desk, error);
    if (status == SL_OK)
        status = load(job, &all, desk, time, &arena, &exam, error);
    if (status == SL_OK)
        status = sl_produce_files(&exam, desk, &arena, error);
    sl_store_signing signing = {.uid = all.exam.uid, .signer = job->by, .text = job->text, .time = time, .file = file};
    if (status == SL_OK)
        signing.files = sl_signed_files(desk, &arena, file);
    if (status == SL_OK)
        status = sl_store_sign(job->store, &signing, addendum, report, error);
    if (desk)
        clear_desk(desk, 0);
    if (status == SL_OK)
        printf("%s %s, signed by %s at %s. It cannot change any more; a correction is an addendum.\nstrandline store export %.8s --out DIR "
               "gives the files.\n", addendum ? "Addendum" : "Report", report, job->by, time, all.exam.uid);
    sl_arena_free(&arena);
    return status;
}

sl_status sl_store_do_sign(void *job, sl_error *error)
{
    return sign(job, false, error);
}

sl_status sl_store_do_addendum(void *job, sl_error *error)
{
    return sign(job, true, error);
}
