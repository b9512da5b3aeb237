#include "cli/command.h"
#include "cli/deidentify_report.h"
#include "cli/options.h"

#include "core/file.h"
#include "core/pool.h"
#include "core/text.h"
#include "dicom/deid.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static int run(int argc, char **argv);

const sl_command sl_command_deidentify = {
    .name = "deidentify",
    .summary = "Copies clips, pictures and DICOM files so that nothing in them names the patient.",
    .usage = "FILES_OR_FOLDERS... --out DIR [options]",
    .help =
        "DICOM files are cleaned by the basic profile of PS3.15 Annex E with the options for clean pixel data, clean\n"
        "descriptors, modified dates and device identity: names, numbers and free text go, private attributes go, UIDs are\n"
        "replaced the same way throughout, dates of one person move by one number of days. Videos and pictures are written\n"
        "anew without the metadata of their container. Text burned into the pictures is found, blackened in every frame, and\n"
        "the copy is read again by a text recogniser. A copy that cannot be verified is not written. Originals are not changed.\n"
        "\n"
        "The copies are numbered: 0001.dcm, 0002.mp4 ... Beside DIR, not in it, a report as CSV and JSON says which original\n"
        "each one is and what was done. Keep it with the originals: it holds their file names.\n"
        "\n"
        "  --out DIR            where the copies go; it must be empty or new\n"
        "  --secret FILE        a file of your own: under the same secret the same patient gets the same pseudonym, UIDs\n"
        "                       and days another time. Without it, a secret that nobody keeps.\n"
        "  --report NAME        the report is NAME.csv and NAME.json instead of DIR-report\n"
        "  --workers N          files at once; without it, one for each core\n"
        "\n"
        "Look at the copies yourself before they leave your hands: no program finds every face, scar or handwriting.\n"
        "\n"
        "Exit status: 0 if every file was copied, 1 if any was not, 2 for wrong use.\n",
    .run = run,
};

enum { MOST_FILES = 100000, MOST_DEPTH = 32, MOST_WORKERS = 64 };

typedef struct file_list {
    char **path; /* each owned */
    int count, room;
    bool failed;
} file_list;

static void add_file(file_list *list, const char *path)
{
    if (list->count == list->room && list->room < MOST_FILES) {
        int room = list->room ? 2 * list->room : 64;
        char **more = realloc(list->path, (size_t)room * sizeof *more);
        list->failed = list->failed || !more;
        list->path = more ? more : list->path;
        list->room = more ? room : list->room;
    }
    char *copy = list->count < list->room ? strdup(path) : NULL;
    list->failed = list->failed || !copy;
    if (copy)
        list->path[list->count++] = copy;
}

/* Files below a folder, hidden ones and DICOM directories left out. */
static void add_below(file_list *list, const char *path, int depth)
{
    struct stat facts;
    if (stat(path, &facts) || !S_ISDIR(facts.st_mode)) {
        add_file(list, path); /* what is absent gets its sentence later */
        return;
    }
    struct dirent **entries = NULL;
    int count = depth < MOST_DEPTH ? scandir(path, &entries, NULL, alphasort) : 0;
    for (int i = 0; i < count; i++) {
        sl_text below = {0};
        sl_text_printf(&below, "%s/%s", path, entries[i]->d_name);
        if (entries[i]->d_name[0] != '.' && strcmp(entries[i]->d_name, "DICOMDIR") && !below.failed)
            add_below(list, below.bytes, depth + 1);
        sl_text_free(&below);
        free(entries[i]);
    }
    free(entries);
}

typedef struct batch {
    const char *out;
    sl_secret secret;
    sl_deid_result *result;
    sl_reader *reader[MOST_WORKERS];
    int done, count, threads; /* `threads` of each file's decoder */
} batch;

static void deidentify_one(void *context, int item, int worker)
{
    batch *all = context;
    sl_deid_result *own = &all->result[item];
    sl_deid_plan plan = {all->secret, all->reader[worker], all->threads};
    const char *ending = "dcm";
    bool is_dicom = sl_dicom_is_file(own->in);
    own->notes.arena = &own->arena;
    own->status = is_dicom ? SL_OK : sl_deid_ending(own->in, &ending, &own->error);
    snprintf(own->name, sizeof own->name, "%04d.%s", item + 1, ending);
    char *path = sl_path_join(&own->arena, all->out, own->name);
    if (!own->status && !path)
        own->status = sl_fail(&own->error, SL_MEMORY, "Memory ran out. Close other programs and try again.");
    sl_deid_found found;
    if (!own->status)
        own->status = sl_deid_find(own->in, &plan, &found, &own->notes, &own->error);
    if (!own->status)
        own->status = (is_dicom ? sl_dicom_deidentify : sl_clip_deidentify)(own->in, path, &plan, &found, &own->notes, &own->error);
    if (!own->status && own->notes.out_of_memory)
        own->status = sl_fail(&own->error, SL_MEMORY, "Memory ran out while noting what was done.");
    if (own->status && path)
        unlink(path);
    int done = __atomic_add_fetch(&all->done, 1, __ATOMIC_RELAXED);
    if (own->status)
        fprintf(stderr, "%s\n", own->error.text);
    if (isatty(STDERR_FILENO))
        fprintf(stderr, "\r%d of %d \r", done, all->count);
}

static bool is_empty(const char *folder)
{
    DIR *open = opendir(folder);
    int entries = 0;
    for (struct dirent *entry; open && (entry = readdir(open));)
        entries += strcmp(entry->d_name, ".") && strcmp(entry->d_name, "..");
    if (open)
        closedir(open);
    return !entries;
}

static sl_status make_secret(const char *path, sl_secret *secret, sl_error *error)
{
    if (!path)
        return sl_secret_random(secret, error);
    sl_arena arena = {0};
    char *bytes;
    size_t length;
    sl_status status = sl_file_read(path, 1 << 20, &arena, &bytes, &length, error);
    if (!status && length < 8)
        status = sl_fail(error, SL_USAGE, "%s is too short for a secret: 8 bytes or more.", sl_path_name(path));
    if (!status)
        sl_secret_from(bytes, length, secret);
    sl_arena_free(&arena);
    return status;
}

static int finish(batch *all, const char *out, const char *report)
{
    sl_error error;
    sl_text name = {0};
    size_t length = strlen(out);
    while (length > 1 && out[length - 1] == '/')
        length--;
    if (report)
        sl_text_add(&name, report);
    else
        sl_text_printf(&name, "%.*s-report", (int)length, out);
    sl_status status = name.failed ? sl_fail(&error, SL_MEMORY, "Memory ran out.")
                                   : sl_deid_report_write(name.bytes, all->result, all->count, &error);
    int good = 0;
    for (int i = 0; i < all->count; i++)
        good += !all->result[i].status;
    printf("%d of %d files copied to %s; what was done: %s.csv, %s.json\n", good, all->count, out, name.bytes, name.bytes);
    if (status)
        fprintf(stderr, "%s\n", error.text);
    sl_text_free(&name);
    return status || good < all->count ? SL_EXIT_NOTHING : SL_EXIT_OK;
}

static int work(const file_list *files, const char *out, const char *secret, const char *report, int workers)
{
    sl_error error;
    batch all = {.out = out, .count = files->count};
    if (sl_folder_make(out, &error) || make_secret(secret, &all.secret, &error)) {
        fprintf(stderr, "%s\n", error.text);
        return SL_EXIT_NOTHING;
    }
    all.result = calloc((size_t)files->count, sizeof *all.result);
    sl_status status = all.result ? SL_OK : sl_fail(&error, SL_MEMORY, "Memory ran out.");
    workers = workers < files->count ? workers : files->count;
    all.threads = sl_cores() >= 2 * workers ? 2 : 1;
    for (int i = 0; i < workers && !status; i++)
        status = sl_reader_open(&all.reader[i], &error);
    int code = SL_EXIT_NOTHING;
    if (status) {
        fprintf(stderr, "%s\n", error.text);
    } else {
        for (int i = 0; i < files->count; i++)
            all.result[i].in = files->path[i];
        sl_pool_run(workers, files->count, deidentify_one, &all);
        code = finish(&all, out, report);
    }
    for (int i = 0; i < workers; i++)
        sl_reader_close(&all.reader[i]);
    for (int i = 0; all.result && i < files->count; i++)
        sl_arena_free(&all.result[i].arena);
    free(all.result);
    return code;
}

static int run(int argc, char **argv)
{
    const char *out = NULL, *secret = NULL, *report = NULL, *workers_text = NULL;
    const sl_option options[] = {{"--out", &out, NULL}, {"--secret", &secret, NULL}, {"--report", &report, NULL},
                                 {"--workers", &workers_text, NULL}};
    const char **word = calloc((size_t)argc, sizeof *word);
    int words = 0, code = word ? 0 : SL_EXIT_NOTHING;
    long workers = sl_cores();
    if (!code)
        code = sl_options(&sl_command_deidentify, argc, argv, options, 4, word, argc, &words);
    if (!code && (!out || !words))
        code = sl_usage_error(&sl_command_deidentify, "name the files and, with --out, where the copies go.");
    if (!code && workers_text && !sl_whole_number(workers_text, 1, MOST_WORKERS, &workers))
        code = sl_usage_error(&sl_command_deidentify, "--workers needs a whole number from 1 to %d.", MOST_WORKERS);
    if (!code && !is_empty(out))
        code = sl_usage_error(&sl_command_deidentify, "%s is not empty; name a new folder, so that nothing is mixed up.", out);
    file_list files = {0};
    for (int i = 0; i < words && !code; i++)
        add_below(&files, word[i], 0);
    if (!code && (files.failed || !files.count))
        code = sl_usage_error(&sl_command_deidentify, files.failed ? "there are too many files for the memory."
                                                                   : "there are no files in what you named.");
    workers = workers > MOST_WORKERS ? MOST_WORKERS : workers;
    if (!code)
        code = work(&files, out, secret, report, (int)workers);
    for (int i = 0; i < files.count; i++)
        free(files.path[i]);
    free(files.path);
    free(word);
    return code;
}
