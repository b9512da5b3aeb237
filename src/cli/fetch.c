#include "cli/command.h"
#include "cli/dicom_peer.h"
#include "cli/options.h"

#include "core/json.h"
#include "node/fetch.h"
#include "node/inbox.h"
#include "node/shelf.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static int run(int argc, char **argv);

const sl_command sl_command_fetch = {
    .name = "fetch",
    .summary = "Fetches an earlier examination from another DICOM node (C-FIND, C-GET, C-MOVE).",
    .usage = "--from NAME@HOST:PORT --title NAME (--echo | --list | --last --patient ID | --study UID) [options]",
    .help =
        "What is fetched is kept in the store (or in DIR with --out) before the other node is told that it has arrived. What is there\n"
        "already is not fetched again; started again after a broken connection it goes on at what is missing. With --take the clips\n"
        "also go to a folder for strandline read, whose exam.json is what read --before compares the present examination with.\n"
        "\n"
        SL_PEER_HELP
        "\n"
        "  --echo                   only asks whether the other node answers\n"
        "  --list                   the examinations it has; printed with the patients' names\n"
        "  --last                   the newest examination with ultrasound of --patient before --before, of which the node does\n"
        "                           not say that it shows another part of the body; what is doubtful is said\n"
        "  --study UID              this one\n"
        "\n"
        "  --patient ID             the patient's identifier\n"
        "  --name NAME              with --list: the patient's name, * and ? for letters\n"
        "  --dates A-B              with --list: YYYYMMDD, YYYYMMDD-YYYYMMDD, YYYYMMDD- or -YYYYMMDD\n"
        "  --accession NUMBER       with --list\n"
        "  --modality NAME          with --list: US without it, any for all\n"
        "  --most N                 with --list: no more than that (200)\n"
        "  --json                   with --list and --last --show: as JSON\n"
        "  --before MOMENT          with --last: YYYYMMDD or YYYYMMDDHHMM; without it today\n"
        "  --present UID            with --last: the present examination, which is not meant\n"
        "  --show                   with --last: only says which, fetches nothing\n"
        "\n"
        "  --store DIR              the store that keeps it; without it the user's\n"
        "  --out DIR                a folder that keeps it instead, as DIR/STUDY/INSTANCE.dcm\n"
        "  --take DIR               also copies its clips there, as strandline read takes them\n"
        "  --port N                 our own port, for nodes that only send to where they know (C-MOVE); it and our title must be\n"
        "                           entered there\n"
        "  --listen ADDRESS         of this computer, for --port (127.0.0.1)\n"
        "  --move                   C-MOVE without trying C-GET before\n"
        "  --most-objects N         of an examination; more is refused (2000)\n"
        "  --most-mb N              of one object; more is refused (4096)\n"
        "  --keep-free-mb N         of the disk; below it nothing is taken (1024)\n"
        "\n"
        "Without TLS nothing is encrypted: run it inside the network of the ward only.\n"
        "\n"
        "Exit status: 0 if all of it is there (or the node answered), 1 if not, 2 for wrong use.\n",
    .run = run,
};

typedef struct request {
    sl_peer_words words;
    const char *study, *patient, *name, *dates, *accession, *modality, *before, *present, *store, *out, *take, *listen;
    const char *most_text, *port_text, *number_text[3];
    bool echo, list, last, json, show, move;
    long most, port, number[3];
    sl_fetch fetch;
    sl_inbox inbox;
    sl_shelf shelf;
    bool terminal;
} request;

static int failed(const sl_error *error)
{
    fprintf(stderr, "strandline fetch: %s\n", error->text);
    return sl_exit_status(error->status);
}

static json_t *json_of(const sl_dicom_match *match)
{
    json_t *object = json_object();
    const struct {
        const char *key, *value;
    } rows[] = {{"study", match->study_uid},       {"date", match->study_date},       {"time", match->study_time},
                {"description", match->description}, {"modalities", match->modalities}, {"accession", match->accession},
                {"patient", match->patient_id},    {"name", match->patient_name},     {"born", match->birth_date},
                {"sex", match->sex}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        json_object_set_new(object, rows[i].key, json_string(rows[i].value));
    json_object_set_new(object, "objects", match->objects >= 0 ? json_integer(match->objects) : json_null());
    return object;
}

static void print_json(json_t *root)
{
    char *text = json_dumps(root, JSON_INDENT(2));
    printf("%s\n", text ? text : "{}");
    free(text);
    json_decref(root);
}

static void print_match(const sl_dicom_match *match)
{
    char moment[64], modalities[sizeof match->modalities], objects[24] = "";
    snprintf(modalities, sizeof modalities, "%s", match->modalities);
    for (char *at = modalities; *at; at++)
        if (*at == '\\')
            *at = '+';
    if (match->objects >= 0)
        snprintf(objects, sizeof objects, ", %d object%s", match->objects, match->objects == 1 ? "" : "s");
    sl_moment_text(match->study_date, match->study_time, moment, sizeof moment);
    printf("%s  %s  %s%s\n    patient %s, %s%s%s%s%s\n    study %s\n", moment, *modalities ? modalities : "-",
           *match->description ? match->description : "not described", objects, *match->patient_id ? match->patient_id : "-",
           *match->patient_name ? match->patient_name : "no name", *match->birth_date ? ", born " : "", match->birth_date,
           *match->accession ? ", accession " : "", match->accession, match->study_uid);
}

static int do_echo(const request *own)
{
    sl_error error;
    if (sl_dicom_echo(&own->fetch.peer, &error) != SL_OK)
        return failed(&error);
    printf("%s at %s:%d answers.\n", own->fetch.peer.title, own->fetch.peer.host, own->fetch.peer.port);
    return SL_EXIT_OK;
}

static int do_list(const request *own)
{
    sl_arena arena = {0};
    sl_matches list = {0};
    sl_error error;
    const sl_dicom_question question = {.level = SL_LEVEL_STUDY, .study_uid = own->study, .patient_id = own->patient, .patient_name = own->name,
                                        .dates = own->dates, .accession = own->accession};
    const bool any = own->modality && !strcmp(own->modality, "any");
    sl_status status = sl_fetch_list(&own->fetch, &question, any ? "" : own->modality ? own->modality : "US", (int)own->most, &arena, &list, &error);
    if (status == SL_OK && own->json) {
        json_t *root = json_object(), *studies = json_array();
        for (int i = 0; i < list.count; i++)
            json_array_append_new(studies, json_of(&list.match[i]));
        json_object_set_new(root, "from", json_string(own->fetch.peer.title));
        json_object_set_new(root, "studies", studies);
        json_object_set_new(root, "more", json_boolean(list.cut));
        print_json(root);
    } else if (status == SL_OK) {
        for (int i = 0; i < list.count; i++)
            print_match(&list.match[i]);
        printf("%d examination%s%s.\n", list.count, list.count == 1 ? "" : "s", list.cut ? "; there are more, ask for less or allow more with --most" : "");
    }
    sl_arena_free(&arena);
    return status == SL_OK ? SL_EXIT_OK : failed(&error);
}

static void show_progress(void *context, int there, int of)
{
    if (((const request *)context)->terminal)
        fprintf(stderr, "\r\033[K%d of %d objects", there, of);
}

static int take_clips(request *own, const char *study_uid)
{
    sl_error error;
    sl_store *store;
    int taken = 0;
    sl_status status = sl_store_open(&(sl_store_options){.folder = own->store}, &store, &error);
    if (status == SL_OK)
        status = sl_store_object_take(store, study_uid, own->take, &taken, &error);
    sl_store_close(store);
    if (status != SL_OK)
        return failed(&error);
    printf("%d clip%s in %s, with the patient's name; strandline read %s --out REPORT, then read the present one with --before REPORT/exam.json\n",
           taken, taken == 1 ? "" : "s", own->take, own->take);
    return SL_EXIT_OK;
}

static int do_fetch(request *own, const char *study_uid)
{
    sl_fetched fetched;
    sl_error error;
    sl_status status = sl_fetch_study(&own->fetch, study_uid, &fetched, &error);
    if (own->terminal)
        fprintf(stderr, "\r\033[K");
    if (status != SL_OK && fetched.listed < 0)
        return failed(&error);
    if (fetched.listed >= 0)
        printf("%d of %d object%s there, %d of them before%s", fetched.there, fetched.listed, fetched.listed == 1 ? "" : "s", fetched.known,
               fetched.by_move && fetched.there > fetched.known ? "; sent to our receiver (C-MOVE)" : "");
    else
        printf("%d object%s there; the node does not say how many there should be", fetched.there, fetched.there == 1 ? "" : "s");
    if (fetched.left_out)
        printf("; %d of kinds that are not kept here left out", fetched.left_out);
    if (fetched.foreign)
        printf("; %d sent without having been asked for and refused", fetched.foreign);
    printf(".\n");
    if (status != SL_OK)
        return failed(&error);
    return own->take ? take_clips(own, study_uid) : SL_EXIT_OK;
}

static int do_last(request *own)
{
    sl_arena arena = {0};
    sl_last last;
    sl_error error;
    char today[32], moment[64];
    time_t now = time(NULL);
    struct tm local;
    const char *before = own->before;
    if (!before && localtime_r(&now, &local)) {
        strftime(today, sizeof today, "%Y%m%d", &local);
        before = today;
    }
    sl_status status = sl_fetch_last(&own->fetch, own->patient, before, own->present, &arena, &last, &error);
    sl_arena_free(&arena);
    if (status != SL_OK)
        return failed(&error);
    sl_moment_text(last.study.study_date, last.study.study_time, moment, sizeof moment);
    if (own->json) {
        json_t *root = json_of(&last.study);
        json_object_set_new(root, "sure", json_boolean(last.sure));
        json_object_set_new(root, "surer", *last.surer_uid ? json_string(last.surer_uid) : json_null());
        json_object_set_new(root, "passed_over", json_integer(last.passed_over));
        json_object_set_new(root, "same_day", json_integer(last.same_day));
        print_json(root);
    } else {
        printf("Last examination: %s, %s, study %s\n", moment, *last.study.description ? last.study.description : "not described", last.study.study_uid);
        if (!last.sure)
            printf("Doubtful: the node does not say that it shows the chest. Look at it before comparing with it.\n");
        if (*last.surer_uid)
            printf("An older one, of %s, is said to show the chest: --study %s\n", last.surer_date, last.surer_uid);
        if (last.passed_over)
            printf("%d newer with ultrasound of another part of the body passed over.\n", last.passed_over);
        if (last.same_day)
            printf("%d of that very day left aside; --before with the time includes those that began earlier.\n", last.same_day);
    }
    return own->show ? SL_EXIT_OK : do_fetch(own, last.study.study_uid);
}

static bool is_moment(const char *text)
{
    const size_t length = strlen(text);
    return (length == 8 || length == 12) && strspn(text, "0123456789") == length;
}

static bool is_range(const char *text)
{
    const char *dash = strchr(text, '-');
    const size_t length = strlen(text), first = dash ? (size_t)(dash - text) : length, rest = dash ? length - first - 1 : 0;
    return strspn(text, "0123456789-") == length && (first == 8 || first == 0) && (rest == 8 || rest == 0) && length >= 8 &&
           (!dash || !strchr(dash + 1, '-'));
}

/* 0, or the exit status of wrong use. */
static int settle(request *own)
{
    static const long least[3] = {1, 1, 0}, most[3] = {100000, 1 << 20, 1 << 30};
    static const char *const names[3] = {"--most-objects", "--most-mb", "--keep-free-mb"};
    if (own->echo + (own->list || (own->study && own->list)) + own->last + (own->study && !own->list) != 1)
        return sl_usage_error(&sl_command_fetch, "say one thing to do: --echo, --list, --last or --study UID.");
    if (own->last && (!own->patient || !*own->patient || strpbrk(own->patient, "*?\\")))
        return sl_usage_error(&sl_command_fetch, "--last needs --patient with the whole identifier.");
    if (own->json && !own->list && !(own->last && own->show))
        return sl_usage_error(&sl_command_fetch, "--json goes with --list or with --last --show.");
    if (own->before && !is_moment(own->before))
        return sl_usage_error(&sl_command_fetch, "--before needs YYYYMMDD or YYYYMMDDHHMM.");
    if (own->dates && !is_range(own->dates))
        return sl_usage_error(&sl_command_fetch, "--dates needs YYYYMMDD, YYYYMMDD-YYYYMMDD, YYYYMMDD- or -YYYYMMDD.");
    if ((own->study && !sl_fetch_is_uid(own->study)) || (own->present && !sl_fetch_is_uid(own->present)))
        return sl_usage_error(&sl_command_fetch, "an examination is named by its UID: digits and dots.");
    if (own->out && (own->store || own->take))
        return sl_usage_error(&sl_command_fetch, "--out keeps it in a folder; --store and --take go with the store.");
    if (!sl_whole_number(own->most_text, 1, SL_ASK_MOST, &own->most))
        return sl_usage_error(&sl_command_fetch, "--most needs a whole number from 1 to %d.", SL_ASK_MOST);
    if (own->port_text && !sl_whole_number(own->port_text, 1, 65535, &own->port))
        return sl_usage_error(&sl_command_fetch, "--port needs a whole number from 1 to 65535.");
    if (own->move && !own->port)
        return sl_usage_error(&sl_command_fetch, "--move needs --port: where shall the other node send to?");
    for (int i = 0; i < 3; i++)
        if (!sl_whole_number(own->number_text[i], least[i], most[i], &own->number[i]))
            return sl_usage_error(&sl_command_fetch, "%s needs a whole number from %ld to %ld.", names[i], least[i], most[i]);
    return sl_peer_of(&sl_command_fetch, &own->words, own->store, &own->fetch.peer);
}

static void leave(void *context)
{
    sl_shelf_leave(context);
}

static int run(int argc, char **argv)
{
    request own = {.listen = "127.0.0.1", .most_text = "200", .number_text = {"2000", "4096", "1024"}};
    sl_option options[23 + SL_PEER_OPTIONS] = {
        {"--echo", NULL, &own.echo}, {"--list", NULL, &own.list}, {"--last", NULL, &own.last}, {"--study", &own.study, NULL},
        {"--patient", &own.patient, NULL}, {"--name", &own.name, NULL}, {"--dates", &own.dates, NULL}, {"--accession", &own.accession, NULL},
        {"--modality", &own.modality, NULL}, {"--most", &own.most_text, NULL}, {"--json", NULL, &own.json}, {"--before", &own.before, NULL},
        {"--present", &own.present, NULL}, {"--show", NULL, &own.show}, {"--store", &own.store, NULL}, {"--out", &own.out, NULL},
        {"--take", &own.take, NULL}, {"--port", &own.port_text, NULL}, {"--listen", &own.listen, NULL}, {"--move", NULL, &own.move},
        {"--most-objects", &own.number_text[0], NULL}, {"--most-mb", &own.number_text[1], NULL}, {"--keep-free-mb", &own.number_text[2], NULL}};
    const int own_options = 23;
    const char *word[1];
    int words;
    sl_peer_options(&own.words, options + own_options);
    int code = sl_options(&sl_command_fetch, argc, argv, options, own_options + SL_PEER_OPTIONS, word, 0, &words);
    if (!code)
        code = settle(&own);
    if (code) {
        sl_arena_free(&own.words.arena);
        return code;
    }
    signal(SIGPIPE, SIG_IGN);
    signal(SIGXFSZ, SIG_IGN);
    own.terminal = isatty(STDERR_FILENO);
    const unsigned long long keep_free = (unsigned long long)own.number[2] << 20;
    own.inbox = (sl_inbox){.folder = own.out, .keep_free = keep_free};
    own.shelf = (sl_shelf){.folder = own.store, .keep_free = keep_free};
    own.fetch.keeper = own.out ? sl_inbox_keeper(&own.inbox) : sl_shelf_keeper(&own.shelf);
    own.fetch.known = own.out ? sl_inbox_known : sl_shelf_known;
    own.fetch.leave = own.out ? NULL : leave;
    own.fetch.most_objects = (int)own.number[0];
    own.fetch.most_bytes = (unsigned long long)own.number[1] << 20;
    own.fetch.port = (int)own.port;
    own.fetch.address = own.listen;
    own.fetch.only_move = own.move;
    own.fetch.progress = show_progress;
    own.fetch.context = &own;
    code = own.echo ? do_echo(&own) : own.list ? do_list(&own) : own.last ? do_last(&own) : do_fetch(&own, own.study);
    sl_arena_free(&own.words.arena);
    return code;
}
