#include "cli/command.h"
#include "cli/options.h"
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
    .usage = "[FOLDER] [--port N] [--open]",
    .help =
        "FOLDER holds one examination, or one folder an examination; without it, ~/strandline is used and made when it\n"
        "is not there. What is read and what you decide is kept in a folder \"report\" beside the clips; the clips are\n"
        "never changed.\n"
        "\n"
        "It listens on this machine alone (127.0.0.1). The address it prints last holds a random key that is new at every\n"
        "start: whoever has the address can see and change the examinations until you stop it with Ctrl-C.\n"
        "\n"
        "  --port N    the port to listen on; without it, 7341, or a free one when that is taken\n"
        "  --open      also opens the address in your browser\n",
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

static void ready(void *context, const char *address)
{
    const bool *open = context;
    printf("%s\nThe page is at this address until Ctrl-C:\n%s\n", sl_caution, address);
    fflush(stdout);
    if (*open)
        open_browser(address);
}

static int run(int argc, char **argv)
{
    enum { USUAL_PORT = 7341 };
    const char *port = NULL, *word[1], *folder = NULL;
    bool open = false;
    int words;
    const sl_option options[] = {{"--port", &port, NULL}, {"--open", NULL, &open}};
    int status = sl_options(&sl_command_serve, argc, argv, options, 2, word, 1, &words);
    if (status)
        return status;
    long number = USUAL_PORT;
    if (port && !sl_whole_number(port, 1, 65535, &number))
        return sl_usage_error(&sl_command_serve, "--port needs a whole number from 1 to 65535.");
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
    sl_serve_options serve = {.folder = folder, .port = (int)number, .any_port = !port, .ready = ready, .context = &open};
    sl_status ended = sl_serve_run(&serve, &error);
    if (ended != SL_OK)
        fprintf(stderr, "strandline serve: %s\n", error.text);
    return sl_exit_status(ended);
}
