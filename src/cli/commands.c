#include "cli/command.h"

#include <stddef.h>

/* The list that registers every command: declare it, then name it. Alphabetical. */

extern const sl_command sl_command_deidentify;
extern const sl_command sl_command_evaluate;
extern const sl_command sl_command_fetch;
extern const sl_command sl_command_learn;
extern const sl_command sl_command_plan;
extern const sl_command sl_command_read;
extern const sl_command sl_command_readers;
extern const sl_command sl_command_receive;
extern const sl_command sl_command_send;
extern const sl_command sl_command_serve;
extern const sl_command sl_command_simulate;
extern const sl_command sl_command_store;
extern const sl_command sl_command_users;
extern const sl_command sl_command_worklist;

const sl_command *const sl_commands[] = {
    &sl_command_deidentify,
    &sl_command_evaluate,
    &sl_command_fetch,
    &sl_command_learn,
    &sl_command_plan,
    &sl_command_read,
    &sl_command_readers,
    &sl_command_receive,
    &sl_command_send,
    &sl_command_serve,
    &sl_command_simulate,
    &sl_command_store,
    &sl_command_users,
    &sl_command_worklist,
    NULL,
};
