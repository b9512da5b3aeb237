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

/* A whole number within bounds; false otherwise. */
bool sl_whole_number(const char *text, long low, long high, long *value);

#endif
