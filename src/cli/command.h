/* One command, one file: its help, its options and its main. commands.c lists them; the dispatch, `strandline help`
 * and docs/commands.md come from this list (a test fails when the page differs). */
#ifndef SL_CLI_COMMAND_H
#define SL_CLI_COMMAND_H

#include "core/error.h"

typedef struct sl_command {
    const char *name;
    const char *summary;   /* one line */
    const char *usage;     /* what follows "strandline NAME " */
    const char *help;      /* paragraphs and options, ends with a line break */
    int (*run)(int argc, char **argv); /* argv[0] is the command's name; returns the exit status */
} sl_command;

/* Exit statuses of every command. */
enum { SL_EXIT_OK = 0, SL_EXIT_NOTHING = 1, SL_EXIT_USAGE = 2, SL_EXIT_RESCAN = 3 /* read --rescan-status */ };

/* Exit status of a command that ended with `status`. */
int sl_exit_status(sl_status status);

extern const sl_command *const sl_commands[]; /* ends with NULL */

/* Prints "strandline NAME: sentence" and how to get help, to stderr; returns SL_EXIT_USAGE. */
int sl_usage_error(const sl_command *command, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* The caution that stands wherever findings are shown. */
extern const char sl_caution[];

#endif
