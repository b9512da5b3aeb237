/* Options of a command: "--name WORD" or a bare "--flag", anywhere among the words. */
#ifndef SL_CLI_OPTIONS_H
#define SL_CLI_OPTIONS_H

#include "cli/command.h"

#include <stdbool.h>

typedef struct sl_option {
    const char *name;   /* "--seed" */
    const char **value; /* set to the word after it; NULL for a flag */
    bool *flag;
} sl_option;

/* Sorts argv[1..] into options and words (at most `most`). Returns 0, or the exit status of wrong use. */
int sl_options(const sl_command *command, int argc, char **argv, const sl_option *option, int options,
               const char **word, int most, int *words);

/* What a command can be told to do by its first word. */
typedef struct sl_verb {
    const char *name;
    sl_status (*work)(void *job, sl_error *error);
} sl_verb;

/* Does what `word` says and prints what went wrong; returns the exit status. Wrong use when no verb has that name. */
int sl_run_verb(const sl_command *command, const sl_verb *verb, int verbs, const char *word, void *job);

/* A whole number within bounds; false otherwise. */
bool sl_whole_number(const char *text, long low, long high, long *value);

#endif
