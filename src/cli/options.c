#include "cli/options.h"

#include "core/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int sl_options(const sl_command *command, int argc, char **argv, const sl_option *option, int options,
               const char **word, int most, int *words)
{
    *words = 0;
    for (int i = 1; i < argc; i++) {
        if (argv[i][0] != '-' || !argv[i][1]) {
            if (*words == most)
                return sl_usage_error(command, "it does not know what to do with %s.", argv[i]);
            word[(*words)++] = argv[i];
            continue;
        }
        int which = -1;
        for (int k = 0; k < options; k++)
            if (!strcmp(argv[i], option[k].name))
                which = k;
        if (which < 0)
            return sl_usage_error(command, "there is no option %s.", argv[i]);
        if (option[which].flag) {
            *option[which].flag = true;
            continue;
        }
        if (i + 1 == argc)
            return sl_usage_error(command, "%s needs a word after it.", argv[i]);
        *option[which].value = argv[++i];
    }
    return 0;
}

int sl_run_verb(const sl_command *command, const sl_verb *verb, int verbs, const char *word, void *job)
{
    sl_text names = {0};
    for (int i = 0; i < verbs; i++) {
        sl_text_printf(&names, "%s%s", !i ? "" : i < verbs - 1 ? ", " : " or ", verb[i].name);
        if (!word || strcmp(word, verb[i].name))
            continue;
        sl_error error = {0};
        sl_status status = verb[i].work(job, &error);
        if (status != SL_OK)
            fprintf(stderr, "strandline %s: %s\n", command->name, error.text);
        sl_text_free(&names);
        return sl_exit_status(status);
    }
    int wrong = sl_usage_error(command, "say what to do: %s.", names.failed ? "see its help" : names.bytes);
    sl_text_free(&names);
    return wrong;
}

bool sl_whole_number(const char *text, long low, long high, long *value)
{
    char *end;
    *value = strtol(text, &end, 10);
    return *text && !*end && *value >= low && *value <= high;
}
