#include "cli/command.h"
#include "cli/options.h"

#include "cli/send_files.h"
#include "core/json.h"
#include "core/text.h"
#include "node/destinations.h"
#include "node/queue_json.h"
#include "node/send.h"
#include "store/store.h"

#include <limits.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static int run(int argc, char **argv);

const sl_command sl_command_send = {
    .name = "send",
    .summary = "Sends DICOM objects to an archive or another machine, through a queue that outlives faults and restarts.",
    .usage = "[FILES_OR_FOLDERS --to WHERE | ITEMS] [options]",
    .help =
        "WHERE is the name of a destination, or TITLE@host:port (C-STORE), or https://host/.../studies (STOW-RS).\n"
        "Objects are copied into the queue first: once \"queued\" is said they are safe on the disk, and the files may go. Then what is due\n"
        "is sent, each destination's objects over one connection. What is not delivered waits and is tried again, later and later;\n"
        "what the other side refuses for good is listed with its reason and not tried by itself. What was delivered is not sent there again.\n"
        "Without files what waits is sent. `strandline serve` sends by itself while it runs.\n"
        "\n"
        "  --to WHERE           where to\n"
        "  --again              also what was delivered there before\n"
        "  --queue-only         nothing is sent now\n"
        "  --until-empty        goes on until nothing waits (Ctrl-C ends it; what waits stays)\n"
        "  --list               what waits, what was refused and why, and the last that were delivered; --json for machines\n"
        "  --retry [ITEMS]      what waits or was refused is tried now: the numbers that --list shows, or all\n"
        "  --forget ITEMS       takes them out of the queue\n"
        "\n"
        "  --add NAME WHERE     a destination under a name, with the options below; --to WHERE keeps one by its address\n"
        "  --remove NAME        takes a destination away\n"
        "  --destinations       lists them\n"
        "  --title NAME         C-STORE: the title (AE title) we call ourselves by (STRANDLINE)\n"
        "  --tls                C-STORE over TLS; so do the next three\n"
        "  --certificate FILE   our certificate (PEM), and its key\n"
        "  --key FILE\n"
        "  --trust FILE         the certificate of the other side, or of who issued it (PEM); for https without it the system's\n"
        "  --anyone             whoever answers is taken: encrypted, but it may be anyone\n"
        "  --user-file FILE     STOW-RS: a file with one line user:password, readable by you alone\n"
        "  --token-file FILE    STOW-RS: a file with one line, a bearer token, readable by you alone\n"
        "  --store DIR          the store whose queue it is; without it the user's\n"
        "  --wait N             seconds waited for an answer (60)\n"
        "\n"
        "An object goes in its own transfer syntax; where that is not taken, uncompressed (video cannot be turned into that), and the list\n"
        "says so. Objects name the patient as their files do; without TLS or https\n"
        "so does the network.\n"
        "\n"
        "Exit status: 0 all that was named is delivered (with --queue-only: queued), or without names nothing waits any more; 1 something\n"
        "waits, was refused or failed; 2 for wrong use.\n",
    .run = run,
};

enum { MOST_WORDS = 512, SHOWN_SENT = 20 };

static volatile sig_atomic_t stop;

static void stop_soon(int signal_number)
{
    (void)signal_number;
    stop = 1;
}

typedef struct job {
    const char *word[MOST_WORDS];
    int words;
    const char *to, *add, *remove, *store, *wait;
    sl_destination destination;
    bool list, json, retry, forget, destinations, again, queue_only, until_empty;
    sl_arena arena;
    sl_queue *queue;
    char *folder;
    int failed;
    int64_t *id; /* of what was named now */
    size_t ids, room;
} job;

static int failed(const sl_error *error)
{
    fprintf(stderr, "strandline send: %s\n", error->text);
    return sl_exit_status(error->status);
}

/* ---- destinations ---- */

/* Files are remembered whole: who sends later may stand in another folder. */
static void make_absolute(const char **path, sl_arena *arena)
{
    char whole[PATH_MAX];
    if (**path && realpath(*path, whole))
        *path = sl_arena_text(arena, whole);
}

static sl_status keep_destination(job *own, const char *name, const char *address, sl_error *error)
{
    sl_destination *to = &own->destination;
    to->name = name;
    to->address = address;
    const char **path[] = {&to->certificate, &to->key, &to->trust, &to->user_file, &to->token_file};
    for (int i = 0; i < 5; i++)
        make_absolute(path[i], &own->arena);
    return sl_destination_put(own->folder, to, error);
}

static int do_add(job *own)
{
    sl_error error;
    if (own->words != 1)
        return sl_usage_error(&sl_command_send, "--add NAME needs an address after it.");
    if (keep_destination(own, own->add, own->word[0], &error) != SL_OK)
        return failed(&error);
    printf("%s: %s\n", own->add, own->word[0]);
    return SL_EXIT_OK;
}

static int do_destinations(job *own)
{
    sl_error error;
    const sl_destination *list;
    int count;
    if (sl_destinations(own->folder, &own->arena, &list, &count, &error) != SL_OK)
        return failed(&error);
    for (int i = 0; i < count; i++) {
        const bool web = sl_destination_is_web(list[i].address), safe = list[i].secure || *list[i].certificate || *list[i].trust;
        printf("%s: %s%s%s%s\n", list[i].name, list[i].address, web ? "" : safe ? ", over TLS" : ", not encrypted", web ? "" : ", we are ",
               web ? "" : *list[i].title ? list[i].title : "STRANDLINE");
    }
    if (!count)
        printf("No destination is kept in %s.\n", own->folder);
    return SL_EXIT_OK;
}

/* The name that the queue knows `--to` by. */
static sl_status name_destination(job *own, sl_error *error)
{
    const sl_destination *list;
    int count;
    const sl_destination *asked = &own->destination;
    const bool options = *asked->title || *asked->certificate || *asked->trust || *asked->user_file || *asked->token_file || asked->secure || asked->anyone;
    sl_status status = sl_destinations(own->folder, &own->arena, &list, &count, error);
    if (status != SL_OK)
        return status;
    const bool known = sl_destination_of(list, count, own->to) != NULL;
    if (known && !options)
        return SL_OK;
    if (!strchr(own->to, '@') && !sl_destination_is_web(own->to))
        return known ? sl_fail(error, SL_USAGE, "The destination \"%.80s\" has its own settings. Change them with --add.", own->to)
                     : sl_fail(error, SL_USAGE, "There is no destination \"%.80s\". Add it: strandline send --add NAME TITLE@host:port.", own->to);
    return keep_destination(own, own->to, own->to, error);
}

/* ---- the list ---- */

static void show(const sl_queue_item *item)
{
    char next[32];
    sl_time_text((time_t)item->next, next, sizeof next);
    printf("%lld  %s  %s to %s, queued %.16s UTC", (long long)item->id, sl_queue_state_name(item->state), item->name, item->destination, item->put);
    if (item->state == SL_QUEUE_WAITS)
        printf(", tried %d time%s, next %.19s UTC", item->tries, item->tries == 1 ? "" : "s", next);
    else
        printf(", %s %.16s UTC", item->state == SL_QUEUE_SENT ? "delivered" : "refused", item->done);
    printf("%s%s\n", *item->why ? "\n      " : "", item->why);
}

static int do_list(job *own)
{
    sl_error error;
    const sl_queue_item *item;
    int count;
    if (sl_queue_list(own->queue, &(sl_queue_query){.state = -1, .most_sent = own->json ? 0 : SHOWN_SENT}, &own->arena, &item, &count, &error) != SL_OK)
        return failed(&error);
    json_t *all = own->json ? json_array() : NULL;
    for (int i = 0; i < count; i++)
        if (all)
            json_array_append_new(all, sl_queue_item_json(&item[i]));
        else
            show(&item[i]);
    if (all) {
        json_dumpf(all, stdout, JSON_INDENT(2));
        printf("\n");
        json_decref(all);
    } else if (!count) {
        printf("Nothing is queued in %s.\n", own->folder);
    }
    return SL_EXIT_OK;
}

/* ---- items ---- */

static int each_item(job *own, bool forget)
{
    sl_error error;
    int changed, all = 0;
    for (int i = 0; i < own->words; i++) {
        long id;
        if (!sl_whole_number(own->word[i], 1, LONG_MAX, &id))
            return sl_usage_error(&sl_command_send, "%s is no number of an item; see --list.", own->word[i]);
        sl_status status = forget ? sl_queue_forget(own->queue, id, &error) : sl_queue_retry(own->queue, id, &changed, &error);
        if (status != SL_OK)
            return failed(&error);
        if (!forget && !changed)
            return sl_usage_error(&sl_command_send, "item %ld does not wait and was not refused; see --list.", id);
        all++;
    }
    if (!forget && !own->words) {
        if (sl_queue_retry(own->queue, 0, &all, &error) != SL_OK)
            return failed(&error);
    }
    printf("%d item%s %s\n", all, all == 1 ? "" : "s", forget ? "forgotten" : "tried now");
    return SL_EXIT_OK;
}

/* ---- queueing and sending ---- */

static void remember(job *own, int64_t id)
{
    if (own->ids == own->room) {
        const size_t room = own->room ? own->room * 2 : 256;
        int64_t *more = realloc(own->id, room * sizeof *more);
        if (!more)
            return;
        own->id = more;
        own->room = room;
    }
    own->id[own->ids++] = id;
}

static sl_status put(void *context, const char *path, bool named, sl_error *error)
{
    job *own = context;
    sl_queue_fate fate;
    int64_t id;
    sl_status status = sl_queue_put(own->queue, path, own->to, own->again, &fate, &id, error);
    if (status == SL_FORMAT && !named)
        return SL_OK; /* a folder holds other files too */
    if (status != SL_OK) {
        fprintf(stderr, "strandline send: %s\n", error->text);
        own->failed++;
        return status == SL_FORMAT ? SL_OK : status;
    }
    remember(own, id);
    printf("%s as %lld: %s to %s\n", fate == SL_QUEUED ? "queued" : fate == SL_QUEUE_WAITED ? "waits already" : "was delivered already", (long long)id, sl_path_name(path),
           own->to);
    fflush(stdout);
    return SL_OK;
}

static void say(void *context, const sl_queue_item *item, sl_queue_state state, const char *why)
{
    (void)context;
    printf("%s %lld: %s to %s%s%s\n", state == SL_QUEUE_SENT ? "delivered" : sl_queue_state_name(state), (long long)item->id, item->name, item->destination, *why ? ": " : "", why);
    fflush(stdout);
}

/* Sleeps until something is due or it is told to stop. */
static void rest(sl_queue *queue, bool elsewhere)
{
    const int64_t next = sl_queue_next(queue);
    const struct timespec tick = {0, 200000000};
    for (int64_t i = 0; !stop && (elsewhere ? i < 5 : (int64_t)time(NULL) < next) && i < 1500; i++)
        nanosleep(&tick, NULL);
}

/* Whether all that was named now is delivered; without names, whether nothing waits and nothing was refused on the way. */
static bool all_delivered(job *own, const int left[SL_QUEUE_STATES], int refused)
{
    sl_error error;
    const sl_queue_item *item;
    int count;
    if (!own->ids)
        return !left[SL_QUEUE_WAITS] && !refused;
    if (sl_queue_list(own->queue, &(sl_queue_query){.state = -1, .destination = own->to}, &own->arena, &item, &count, &error) != SL_OK)
        return false;
    for (int i = 0; i < count; i++)
        for (size_t k = 0; k < own->ids && item[i].state != SL_QUEUE_SENT; k++)
            if (own->id[k] == item[i].id)
                return false;
    return true;
}

static int send_due(job *own)
{
    long wait = 60;
    sl_error error;
    if (own->wait && !sl_whole_number(own->wait, 1, 3600, &wait))
        return sl_usage_error(&sl_command_send, "--wait needs a whole number from 1 to 3600.");
    const sl_send_run how = {.stop = &stop, .told = say, .answer_s = (int)wait};
    int left[SL_QUEUE_STATES] = {0}, refused = 0;
    enum { PATIENCE = 10 }; /* looks at what another program does */
    for (int looks = 0;;) {
        sl_send_count count;
        if (sl_queue_run_once(own->queue, &how, &count, &error) != SL_OK || sl_queue_count(own->queue, left, &error) != SL_OK)
            return failed(&error);
        refused += count.refused;
        if (stop || !left[SL_QUEUE_WAITS] || (!own->until_empty && (!count.elsewhere || looks++ == PATIENCE))) {
            if (count.elsewhere && left[SL_QUEUE_WAITS])
                printf("Another program is sending this queue; it takes what waits along.\n");
            break;
        }
        rest(own->queue, count.elsewhere);
    }
    if (left[SL_QUEUE_WAITS])
        printf("%d wait%s; what was queued stays safe. See: strandline send --list\n", left[SL_QUEUE_WAITS], left[SL_QUEUE_WAITS] == 1 ? "s" : "");
    if (left[SL_QUEUE_REFUSED])
        printf("%d %s refused. See: strandline send --list\n", left[SL_QUEUE_REFUSED], left[SL_QUEUE_REFUSED] == 1 ? "was" : "were");
    return own->failed || !all_delivered(own, left, refused) ? SL_EXIT_NOTHING : SL_EXIT_OK;
}

static int do_send(job *own)
{
    sl_error error;
    if (own->words && !own->to)
        return sl_usage_error(&sl_command_send, "--to says where the files shall go.");
    if (own->to && !own->words)
        return sl_usage_error(&sl_command_send, "name the files or folders that shall go there.");
    if (own->to && name_destination(own, &error) != SL_OK)
        return failed(&error);
    for (int i = 0; i < own->words; i++)
        if (sl_send_files(own->word[i], put, own, &error) != SL_OK) {
            if (!own->failed)
                fprintf(stderr, "strandline send: %s\n", error.text);
            own->failed++;
        }
    if (own->queue_only)
        return own->failed ? SL_EXIT_NOTHING : SL_EXIT_OK;
    return send_due(own);
}

static int with_queue(job *own)
{
    sl_error error;
    struct sigaction action = {.sa_handler = stop_soon};
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
    signal(SIGPIPE, SIG_IGN);
    if (sl_queue_open(own->folder, &own->queue, &error) != SL_OK)
        return failed(&error);
    int code = own->list ? do_list(own) : own->forget ? each_item(own, true) : own->retry ? each_item(own, false) : do_send(own);
    if (code == SL_EXIT_OK && own->retry && !own->queue_only)
        code = send_due(own);
    sl_queue_close(own->queue);
    return code;
}

static int dispatch(job *own)
{
    sl_error error;
    const int asked = own->list + own->retry + own->forget + own->destinations + (own->add != NULL) + (own->remove != NULL) + (own->to != NULL);
    if (asked > 1)
        return sl_usage_error(&sl_command_send, "one thing at a time: --to, --list, --retry, --forget, --add, --remove or --destinations.");
    own->folder = own->store ? sl_arena_text(&own->arena, own->store) : sl_store_default_folder(&own->arena);
    if (!own->folder)
        return sl_usage_error(&sl_command_send, "it is not known where your data lies: say where the store is with --store DIR.");
    if (own->add)
        return do_add(own);
    if (own->destinations)
        return do_destinations(own);
    if (own->remove) {
        if (sl_destination_remove(own->folder, own->remove, &error) != SL_OK)
            return failed(&error);
        printf("%s is taken away. What waits for it stays in the queue.\n", own->remove);
        return SL_EXIT_OK;
    }
    return with_queue(own);
}

static int run(int argc, char **argv)
{
    job *own = calloc(1, sizeof *own);
    if (!own)
        return SL_EXIT_NOTHING;
    sl_destination *to = &own->destination;
    *to = (sl_destination){"", "", "", "", "", "", "", "", false, false};
    const sl_option options[] = {{"--to", &own->to, NULL}, {"--add", &own->add, NULL}, {"--remove", &own->remove, NULL}, {"--store", &own->store, NULL},
                                 {"--wait", &own->wait, NULL}, {"--title", &to->title, NULL}, {"--certificate", &to->certificate, NULL}, {"--key", &to->key, NULL},
                                 {"--trust", &to->trust, NULL}, {"--user-file", &to->user_file, NULL}, {"--token-file", &to->token_file, NULL}, {"--tls", NULL, &to->secure},
                                 {"--anyone", NULL, &to->anyone}, {"--list", NULL, &own->list}, {"--json", NULL, &own->json}, {"--retry", NULL, &own->retry},
                                 {"--forget", NULL, &own->forget}, {"--destinations", NULL, &own->destinations}, {"--again", NULL, &own->again},
                                 {"--queue-only", NULL, &own->queue_only}, {"--until-empty", NULL, &own->until_empty}};
    int code = sl_options(&sl_command_send, argc, argv, options, sizeof options / sizeof *options, own->word, MOST_WORDS, &own->words);
    if (!code)
        code = dispatch(own);
    sl_arena_free(&own->arena);
    free(own->id);
    free(own);
    return code;
}
