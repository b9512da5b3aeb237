#include "access/log.h"
#include "access/users.h"
#include "cli/command.h"
#include "cli/options.h"
#include "cli/users.h"
#include "core/arena.h"
#include "core/json.h"
#include "core/text.h"
#include "store/store.h"

#include <stdio.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

static int run(int argc, char **argv);

const sl_command sl_command_users = {
    .name = "users",
    .summary = "Says who may enter when the page is served beyond this machine.",
    .usage = "WHAT [NAME] [--role ROLE] [--access DIR]",
    .help =
        "WHAT is one of\n"
        "  add NAME         needs --role; the password is asked for, or read as one line from standard input\n"
        "  password NAME    a new password\n"
        "  role NAME        needs --role\n"
        "  remove NAME      every session of theirs ends at once\n"
        "  list             names, roles, since when\n"
        "  log              the last 50 lines of who entered, looked, changed and took away, and whether any line was changed\n"
        "\n"
        "  --role ROLE      learner: looks and learns, changes nothing in an examination; reader: reads, decides, brings in;\n"
        "                   administrator: that, and says who may enter\n"
        "  --access DIR     the folder of users, log and certificate; else access in the store's folder\n"
        "                   ($XDG_DATA_HOME/strandline or ~/.local/share/strandline)\n"
        "\n"
        "Passwords have 12 characters at least and are kept as Argon2id. A running server knows of every change at once.\n",
    .run = run,
};

typedef struct job {
    const char *folder, *name;
    bool has_role;
    sl_role role;
    int words;
} job;

const char *sl_access_folder(const char *given, sl_arena *arena)
{
    const char *store = given ? NULL : sl_store_default_folder(arena);
    return given ? given : store ? sl_path_join(arena, store, "access") : NULL;
}

/* One line without its end; from a terminal it is not shown. */
static bool line_of(const char *prompt, char *line, size_t room)
{
    struct termios as_was, hidden;
    bool terminal = isatty(STDIN_FILENO) && !tcgetattr(STDIN_FILENO, &as_was);
    if (terminal) {
        hidden = as_was;
        hidden.c_lflag &= ~(tcflag_t)ECHO;
        fprintf(stderr, "%s: ", prompt);
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &hidden);
    }
    bool got = fgets(line, (int)room, stdin);
    if (terminal) {
        tcsetattr(STDIN_FILENO, TCSAFLUSH, &as_was);
        fprintf(stderr, "\n");
    }
    if (got)
        line[strcspn(line, "\r\n")] = 0;
    return got;
}

static sl_status password_of(char password[SL_PASSWORD_MOST + 2], sl_error *error)
{
    char again[SL_PASSWORD_MOST + 2];
    if (!line_of("New password", password, SL_PASSWORD_MOST + 2))
        return sl_fail(error, SL_USAGE, "No password came. Type it, or hand it in as one line on standard input.");
    if (isatty(STDIN_FILENO) && (!line_of("The same again", again, sizeof again) || strcmp(password, again)))
        return sl_fail(error, SL_USAGE, "The two differ; nothing was changed.");
    return SL_OK;
}

static sl_status need(const job *j, bool name, bool role, sl_error *error)
{
    if (name != (j->words == 2))
        return sl_fail(error, SL_USAGE, name ? "Name the user." : "That needs no name.");
    if (role && !j->has_role)
        return sl_fail(error, SL_USAGE, "Say what they may do: --role reader, learner or administrator.");
    return SL_OK;
}

static sl_status with_password(job *j, sl_users *users, bool add, sl_error *error)
{
    char password[SL_PASSWORD_MOST + 2];
    sl_status status = need(j, true, add, error);
    if (status == SL_OK)
        status = password_of(password, error);
    if (status == SL_OK)
        status = add ? sl_users_add(users, j->name, j->role, password, error) : sl_users_set_password(users, j->name, password, error);
    memset(password, 0, sizeof password);
    return status;
}

static sl_status print_list(sl_users *users)
{
    json_t *list = sl_users_json(users), *user;
    size_t i;
    json_array_foreach(list, i, user)
    {
        printf("%-13s  %-20s  since %.10s\n", json_string_value(json_object_get(user, "role")),
               json_string_value(json_object_get(user, "name")), json_string_value(json_object_get(user, "added")));
    }
    if (!json_array_size(list))
        printf("Nobody yet. Add one: strandline users add NAME --role administrator\n");
    json_decref(list);
    return SL_OK;
}

/* What one verb does with the table open, and what the log says of it. */
typedef enum deed { ADD, PASSWORD, ROLE, REMOVE, LIST } deed;

static sl_status change(void *context, deed what, sl_error *error)
{
    static const char *const words[] = {"add", "password", "role", "remove", ""};
    job *j = context;
    sl_users *users;
    sl_access_log *log = NULL;
    char line[200];
    sl_status status = sl_users_open(j->folder, &users, error);
    if (status != SL_OK)
        return status;
    switch (what) {
    case ADD:
    case PASSWORD:
        status = with_password(j, users, what == ADD, error);
        break;
    case ROLE:
        status = need(j, true, true, error);
        if (status == SL_OK)
            status = sl_users_set_role(users, j->name, j->role, error);
        break;
    case REMOVE:
        status = need(j, true, false, error);
        if (status == SL_OK)
            status = sl_users_remove(users, j->name, error);
        break;
    case LIST:
        status = need(j, false, false, error);
        if (status == SL_OK)
            status = print_list(users);
        break;
    }
    sl_users_close(&users);
    if (what == LIST || status != SL_OK)
        return status;
    status = sl_access_log_open(j->folder, &log, error);
    snprintf(line, sizeof line, "user %.64s: %s%s%s", j->name, words[what], what == ADD || what == ROLE ? " " : "",
             what == ADD || what == ROLE ? sl_role_word(j->role) : "");
    if (status == SL_OK)
        status = sl_access_log_add(log, "", "command line", "users changed", line, error);
    sl_access_log_close(&log);
    if (status == SL_OK)
        printf("Done: %s.\n", line);
    return status;
}

static sl_status do_add(void *context, sl_error *error)
{
    return change(context, ADD, error);
}

static sl_status do_password(void *context, sl_error *error)
{
    return change(context, PASSWORD, error);
}

static sl_status do_role(void *context, sl_error *error)
{
    return change(context, ROLE, error);
}

static sl_status do_remove(void *context, sl_error *error)
{
    return change(context, REMOVE, error);
}

static sl_status do_list(void *context, sl_error *error)
{
    return change(context, LIST, error);
}

static sl_status do_log(void *context, sl_error *error)
{
    job *j = context;
    sl_access_log *log;
    long lines, broken;
    sl_status status = need(j, false, false, error);
    if (status == SL_OK)
        status = sl_access_log_open(j->folder, &log, error);
    if (status != SL_OK)
        return status;
    json_t *list = sl_access_log_last(log, 50);
    for (size_t i = json_array_size(list); i--;) {
        const json_t *line = json_array_get(list, i);
        printf("%s  %-16s  %-15s  %s %s\n", sl_json_text(line, "at"), *sl_json_text(line, "who") ? sl_json_text(line, "who") : "-", sl_json_text(line, "from"),
               sl_json_text(line, "what"), sl_json_text(line, "of"));
    }
    json_decref(list);
    status = sl_access_log_check(log, &lines, &broken, error);
    if (status == SL_OK)
        printf("%ld line%s; each follows the one before it%s.\n", lines, lines == 1 ? "" : "s", broken ? "; some were cut short" : "");
    sl_access_log_close(&log);
    return status;
}

static int run(int argc, char **argv)
{
    static const sl_verb verbs[] = {{"add", do_add},   {"password", do_password}, {"role", do_role}, {"remove", do_remove},
                                    {"list", do_list}, {"log", do_log}};
    const char *role = NULL, *folder = NULL, *word[2] = {NULL, NULL};
    int words;
    const sl_option options[] = {{"--role", &role, NULL}, {"--access", &folder, NULL}};
    int status = sl_options(&sl_command_users, argc, argv, options, 2, word, 2, &words);
    if (status)
        return status;
    sl_arena arena = {0};
    job j = {.folder = sl_access_folder(folder, &arena), .name = word[1], .has_role = role, .words = words};
    if (role && !sl_role_from_word(role, &j.role))
        status = sl_usage_error(&sl_command_users, "--role must be reader, learner or administrator.");
    else if (!j.folder)
        status = sl_usage_error(&sl_command_users, "say with --access where the users are kept.");
    else
        status = sl_run_verb(&sl_command_users, verbs, (int)(sizeof verbs / sizeof *verbs), words ? word[0] : NULL, &j);
    sl_arena_free(&arena);
    return status;
}
