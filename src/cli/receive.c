#include "cli/command.h"
#include "cli/options.h"

#include "node/inbox.h"
#include "node/receive.h"
#include "node/shelf.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int run(int argc, char **argv);

const sl_command sl_command_receive = {
    .name = "receive",
    .summary = "Receives clips that ultrasound machines send over the network (DICOM C-STORE and C-ECHO).",
    .usage = "--port N --title NAME [--store DIR | --out DIR] [options]",
    .help =
        "What arrives is kept in the store: strandline store arrived lists it, the page (strandline serve) brings it into an\n"
        "examination, strandline store take STUDY --out DIR gives its clips to strandline read. With --out it lies in\n"
        "DIR/STUDY/INSTANCE.dcm instead. A sender is told that an object has arrived only after it is safe on the disk and recorded.\n"
        "The same object sent again is recognised and kept once; another one under the same identifier is kept beside it.\n"
        "A machine that asks whether its objects are kept (storage commitment) is answered once their files were read and compared\n"
        "with what came: on its own association, or where --answer names its address by calling it, until it has heard.\n"
        "Stopped (Ctrl-C) it lets running transfers end; started again it goes on.\n"
        "\n"
        "  --port N             0 takes any free one and says which\n"
        "  --title NAME         the title (AE title) the machines call; others are turned away\n"
        "  --store DIR          the store that keeps it; without it the user's\n"
        "  --out DIR            a folder that keeps it instead\n"
        "  --listen ADDRESS     of this computer, 0.0.0.0 for all; without it only this computer itself can send (127.0.0.1)\n"
        "  --from NAME,NAME     titles that may send; without it any\n"
        "  --peers ADDR,ADDR    addresses that may connect; without it any\n"
        "  --associations N     at once, more are turned away (32)\n"
        "  --most-mb N          of one object, more is refused (4096)\n"
        "  --keep-free-mb N     of the disk; below it everything is refused and the sender told so (1024)\n"
        "  --answer NAME=HOST:PORT,NAME=HOST:PORT\n"
        "                       machines that are called with the answer to what they asked, and where\n"
        "  --idle N             seconds without a word after which an association ends (60)\n"
        "\n"
        "  --certificate FILE   over TLS: the receiver's certificate (PEM), and its key\n"
        "  --key FILE\n"
        "  --trust FILE         over TLS: certificates of the machines that may send, or of who issued theirs (PEM)\n"
        "  --anyone             over TLS: machines need no certificate\n"
        "\n"
        "Without TLS titles and addresses can be forged and nothing is encrypted: run it inside the network of the ward only.\n"
        "\n"
        "Exit status: 0 after it was stopped, 1 if it could not start, 2 for wrong use.\n",
    .run = run,
};

enum { MOST_NAMES = 64 };

static volatile sig_atomic_t stop;

static void stop_soon(int signal_number)
{
    (void)signal_number;
    stop = 1;
}

typedef struct job {
    sl_receiver receiver;
    const char *where; /* in words */
} job;

static void say_ready(void *context, int port)
{
    const job *own = context;
    printf("Receiving as %s on %s, port %d%s, into %s\n", own->receiver.host.title, own->receiver.address, port,
           own->receiver.host.tls ? " over TLS" : "", own->where);
    fflush(stdout);
}

static void say_arrived(void *context, const sl_dicom_arrived *arrived, const char *fate)
{
    (void)context;
    printf("%s from %s: %s/%s.dcm\n", fate, arrived->from, arrived->study_uid, arrived->uid);
    fflush(stdout);
}

/* Cuts `text` at its commas. */
static int names_of(char *text, const char *name[MOST_NAMES])
{
    int count = 0;
    char *rest = NULL;
    for (char *word = strtok_r(text, ",", &rest); word && count < MOST_NAMES; word = strtok_r(NULL, ",", &rest))
        name[count++] = word;
    return count;
}

static void say_answered(void *context, const sl_dicom_commit *verified, int kept, const char *why)
{
    (void)context;
    printf("%s asked for %d object%s (%s): %d kept%s%s\n", verified->from, verified->count, verified->count == 1 ? "" : "s", verified->transaction, kept,
           why ? "; " : "", why ? why : ", answered");
    fflush(stdout);
}

/* "NAME=HOST:PORT" of each word; cuts them up. How many, -1 when one is no such word. */
static int addresses_of(char *text, sl_commit_address address[MOST_NAMES])
{
    const char *word[MOST_NAMES];
    long port;
    int count = names_of(text, word);
    for (int i = 0; i < count; i++) {
        char *equals = strchr(word[i], '='), *colon = strrchr(word[i], ':');
        if (!equals || !colon || equals == word[i] || colon <= equals + 1 || !sl_whole_number(colon + 1, 1, 65535, &port))
            return -1;
        *equals = *colon = 0;
        address[i] = (sl_commit_address){word[i], equals + 1, (int)port};
    }
    return count;
}

static int serve(job *own)
{
    sl_error error;
    sl_receiver *receiver = &own->receiver;
    struct sigaction action = {.sa_handler = stop_soon};
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
    receiver->stop = &stop;
    receiver->ready = say_ready;
    receiver->context = own;
    if (sl_receive(receiver, &error) == SL_OK)
        return SL_EXIT_OK;
    fprintf(stderr, "strandline receive: %s\n", error.text);
    return sl_exit_status(error.status);
}

static int run(int argc, char **argv)
{
    const char *port_text = NULL, *title = NULL, *out = NULL, *store = NULL, *address = "127.0.0.1", *from = "", *peers = "", *answer = "";
    const char *number_text[4] = {"32", "4096", "1024", "60"}, *name[MOST_NAMES], *peer[MOST_NAMES], *word[1];
    sl_dicom_tls tls = {0};
    const sl_option options[] = {{"--certificate", &tls.certificate, NULL}, {"--key", &tls.key, NULL},
                                 {"--trust", &tls.trust, NULL}, {"--anyone", NULL, &tls.anyone},
                                 {"--port", &port_text, NULL}, {"--title", &title, NULL}, {"--out", &out, NULL}, {"--store", &store, NULL},
                                 {"--listen", &address, NULL}, {"--from", &from, NULL}, {"--peers", &peers, NULL}, {"--answer", &answer, NULL},
                                 {"--associations", &number_text[0], NULL}, {"--most-mb", &number_text[1], NULL},
                                 {"--keep-free-mb", &number_text[2], NULL}, {"--idle", &number_text[3], NULL}};
    static const long most[4] = {1000, 1 << 20, 1 << 30, 3600}, least[4] = {1, 1, 0, 1};
    long port, number[4];
    int words, code = sl_options(&sl_command_receive, argc, argv, options, sizeof options / sizeof *options, word, 0, &words);
    if (code)
        return code;
    if (!port_text || !title)
        return sl_usage_error(&sl_command_receive, "--port and --title must be given.");
    if (out && store)
        return sl_usage_error(&sl_command_receive, "--store or --out: what arrives is kept in one place.");
    if (!sl_whole_number(port_text, 0, 65535, &port))
        return sl_usage_error(&sl_command_receive, "--port needs a whole number from 0 to 65535.");
    const bool secure = tls.certificate || tls.key || tls.trust || tls.anyone;
    if (!*title || strlen(title) > 16 || strchr(title, '\\'))
        return sl_usage_error(&sl_command_receive, "a title has 1 to 16 letters, without a backslash.");
    for (int i = 0; i < 4; i++)
        if (!sl_whole_number(number_text[i], least[i], most[i], &number[i]))
            return sl_usage_error(&sl_command_receive, "%s needs a whole number from %ld to %ld.", options[sizeof options / sizeof *options - 4 + i].name, least[i], most[i]);
    char *names = strdup(from), *addresses = strdup(peers), *answers = strdup(answer);
    sl_commit_address callee[MOST_NAMES];
    const int callees = answers ? addresses_of(answers, callee) : 0;
    if (callees < 0) {
        code = sl_usage_error(&sl_command_receive, "--answer needs words like CART1=192.0.2.7:104.");
    } else if (out && callees) {
        code = sl_usage_error(&sl_command_receive, "--answer goes with the store; a folder promises nothing.");
    } else if (names && addresses && answers) {
        const unsigned long long keep_free = (unsigned long long)number[2] << 20;
        sl_inbox inbox = {.folder = out, .keep_free = keep_free, .told = say_arrived};
        sl_shelf shelf = {.folder = store, .keep_free = keep_free, .told = say_arrived};
        sl_commitments commitments = {.shelf = &shelf, .title = title, .tls = secure ? &tls : NULL, .address = callee, .addresses = callees,
                                      .wait_s = (int)number[3], .told = say_answered};
        job own = {.where = out ? out : store ? store : "your store",
                   .receiver = {.commitments = out ? NULL : &commitments, .address = address, .port = (int)port, .peers = peer, .peer_count = names_of(addresses, peer),
                                .most_associations = (int)number[0],
                                .host = {.title = title, .from = name, .from_count = names_of(names, name), .idle_s = (int)number[3],
                                         .tls = secure ? &tls : NULL,
                                         .most_bytes = (unsigned long long)number[1] << 20},
                                .keeper = out ? sl_inbox_keeper(&inbox) : sl_shelf_keeper(&shelf)}};
        code = serve(&own);
    } else {
        code = SL_EXIT_NOTHING;
    }
    free(names);
    free(addresses);
    free(answers);
    return code;
}
