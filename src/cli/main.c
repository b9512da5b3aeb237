#include "cli/command.h"
#include "dicom/dicom.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

const char sl_caution[] = "Supports and does not replace a clinician's judgement. Not a medical device. Local protocols "
                          "and licensed practice come first.";

int sl_usage_error(const sl_command *command, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fprintf(stderr, "strandline %s: ", command->name);
    vfprintf(stderr, format, args);
    va_end(args);
    fprintf(stderr, "\nHow it is used: strandline help %s\n", command->name);
    return SL_EXIT_USAGE;
}

int sl_exit_status(sl_status status)
{
    return status == SL_OK ? SL_EXIT_OK : status == SL_USAGE ? SL_EXIT_USAGE : SL_EXIT_NOTHING;
}

static void print_help(const sl_command *command)
{
    printf("strandline %s %s\n\n%s\n\n%s", command->name, command->usage, command->summary, command->help);
}

static int print_overview(FILE *stream)
{
    fprintf(stream, "strandline %s: reads lung ultrasound examinations on your own machine.\n\n", SL_VERSION);
    for (const sl_command *const *at = sl_commands; *at; at++)
        fprintf(stream, "  %-12s %s\n", (*at)->name, (*at)->summary);
    fprintf(stream, "\nstrandline help NAME tells more about one of them.\n%s\n", sl_caution);
    return stream == stdout ? SL_EXIT_OK : SL_EXIT_USAGE;
}

/* The command reference in docs/commands.md, made from the same text. */
static int print_reference(void)
{
    printf("# The commands\n\nMade by `strandline help --reference > docs/commands.md`; a test fails when it differs.\n");
    for (const sl_command *const *at = sl_commands; *at; at++)
        printf("\n## %s\n\n%s\n\n```text\nstrandline %s %s\n\n%s```\n", (*at)->name, (*at)->summary, (*at)->name,
               (*at)->usage, (*at)->help);
    return SL_EXIT_OK;
}

int main(int argc, char **argv)
{
    sl_dicom_join();
    if (argc < 2)
        return print_overview(stderr);
    const char *name = argv[1];
    if (!strcmp(name, "--version")) {
        printf("strandline %s\n", SL_VERSION);
        return SL_EXIT_OK;
    }
    int asks_help = !strcmp(name, "help") || !strcmp(name, "--help") || !strcmp(name, "-h");
    if (asks_help && argc == 2)
        return print_overview(stdout);
    if (asks_help && !strcmp(argv[2], "--reference"))
        return print_reference();
    const char *wanted = asks_help ? argv[2] : name;
    for (const sl_command *const *at = sl_commands; *at; at++) {
        if (strcmp((*at)->name, wanted))
            continue;
        if (asks_help || (argc == 3 && (!strcmp(argv[2], "--help") || !strcmp(argv[2], "-h")))) {
            print_help(*at);
            return SL_EXIT_OK;
        }
        return (*at)->run(argc - 1, argv + 1);
    }
    fprintf(stderr, "strandline: there is no command %s.\n\n", wanted);
    return print_overview(stderr);
}
