#include "cli/command.h"
#include "cli/options.h"
#include "cli/users.h"
#include "core/file.h"
#include "serve/serve.h"

#include <stdio.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

static int run(int argc, char **argv);

const sl_command sl_command_serve = {
    .name = "serve",
    .summary = "Opens the page: reading, deciding, reporting and the bench in a browser on this machine.",
    .usage = "[FOLDER] [--port N] [--open] [--store DIR] [--on ADDRESS --name NAME]",
    .help =
        "FOLDER holds one examination, or one folder an examination; without it, ~/strandline is used and made when it\n"
        "is not there. What is read and what you decide is kept in a folder \"report\" beside the clips; the clips are\n"
        "never changed.\n"
        "\n"
        "It listens on this machine alone (127.0.0.1). The address it prints last holds a random key that is new at every\n"
        "start: whoever has the address can see and change the examinations until you stop it with Ctrl-C.\n"
        "\n"
        "  --port N    the port to listen on; without it, 7341, or a free one when that is taken\n"
        "  --open      also opens the address in your browser\n"
        "  --store DIR the store in which examinations are kept when they are signed; without it, the one in your data folder\n"
        "\n"
        "  --worklist WHERE  a DICOM worklist to begin examinations from: TITLE@host:port, or the name of a destination (send --add)\n"
        "  --title NAME      our title (AE title) there; without it the destination's, or STRANDLINE\n"
        "\n"
        "Programs find DICOM's web services below dicom/ of that address: objects are stored there (they come into the\n"
        "store, as with strandline receive), searched for and given out. Beyond this machine they sign in with the name and password\n"
        "of a reader or administrator (HTTP Basic).\n"
        "\n"
        "Beyond this machine it listens only with TLS and for users who sign in (see: strandline help users):\n"
        "\n"
        "  --on ADDRESS        the address to listen on, in numbers; 0.0.0.0 for all of this machine's\n"
        "  --name NAME         the name or address that others type to reach it; needed with --on\n"
        "  --certificate FILE  PEM, with --key FILE; without them one is made for NAME and signed by itself, whose\n"
        "                      fingerprint is printed: compare it with what the browser shows before you trust it\n"
        "  --access DIR        the folder of users, log and certificate; else access in the store's folder\n",
    .run = run,
};

static void open_browser(const char *address)
{
    pid_t child = fork();
    if (child == 0) {
        if (fork() == 0) {
            execlp("xdg-open", "xdg-open", address, (char *)NULL);
            fprintf(stderr, "strandline serve: no browser could be opened; open the address yourself.\n");
        }
        _exit(0);
    }
    if (child > 0)
        waitpid(child, NULL, 0);
}

static void ready(void *context, const char *address, const char *fingerprint)
{
    const bool *open = context;
    printf("%s\n", sl_caution);
    if (fingerprint)
        printf("SHA-256 of its certificate: %s\n", fingerprint);
    printf("The page is at this address until Ctrl-C:\n%s\n", address);
    fflush(stdout);
    if (*open)
        open_browser(address);
}

static int run(int argc, char **argv)
{
    enum { USUAL_PORT = 7341 };
    const char *port = NULL, *word[1], *folder = NULL;
    sl_serve_options serve = {.ready = ready};
    bool open = false;
    int words;
    const sl_option options[] = {{"--port", &port, NULL}, {"--open", NULL, &open}, {"--on", &serve.on, NULL}, {"--name", &serve.name, NULL},
                                 {"--certificate", &serve.certificate, NULL}, {"--key", &serve.key, NULL},
                                 {"--access", &serve.access, NULL}, {"--store", &serve.store, NULL}, {"--worklist", &serve.worklist, NULL},
                                 {"--title", &serve.title, NULL}};
    int status = sl_options(&sl_command_serve, argc, argv, options, sizeof options / sizeof *options, word, 1, &words);
    if (status)
        return status;
    long number = USUAL_PORT;
    if (port && !sl_whole_number(port, 1, 65535, &number))
        return sl_usage_error(&sl_command_serve, "--port needs a whole number from 1 to 65535.");
    if (!serve.on != !serve.name || (!serve.on && (serve.certificate || serve.access)))
        return sl_usage_error(&sl_command_serve, "--on and --name belong together; --certificate, --key and --access go with them.");
    if (!serve.certificate != !serve.key)
        return sl_usage_error(&sl_command_serve, "--certificate and --key belong together.");
    char home[4096];
    sl_error error;
    if (words)
        folder = word[0];
    else {
        const char *base = getenv("HOME");
        if (!base || !*base || snprintf(home, sizeof home, "%s/strandline", base) >= (int)sizeof home)
            return sl_usage_error(&sl_command_serve, "name the folder that holds the examinations.");
        folder = home;
        if (sl_folder_make(folder, &error) != SL_OK) {
            fprintf(stderr, "strandline serve: %s\n", error.text);
            return SL_EXIT_NOTHING;
        }
    }
    sl_arena arena = {0};
    serve.folder = folder;
    serve.port = (int)number;
    serve.any_port = !port;
    serve.context = &open;
    if (serve.on && !(serve.access = sl_access_folder(serve.access, &arena)))
        return sl_usage_error(&sl_command_serve, "say with --access where the users are kept.");
    sl_status ended = sl_serve_run(&serve, &error);
    if (ended != SL_OK)
        fprintf(stderr, "strandline serve: %s\n", error.text);
    sl_arena_free(&arena);
    return sl_exit_status(ended);
}
