/* Who may enter when the page is served beyond this machine: names, roles and passwords, in FOLDER/users.json (mode 0600).
 *
 * Passwords are kept as Argon2id (RFC 9106) with libsodium's interactive parameters: 64 MiB, 2 passes, above the 19 MiB
 * and 2 passes that OWASP's password storage advice asks for. A table belongs to any number of threads and programs: it
 * is read anew when another program changed it, and a change is made under a lock. */
#ifndef SL_ACCESS_USERS_H
#define SL_ACCESS_USERS_H

#include "core/error.h"

#include <jansson.h>
#include <stdbool.h>
#include <stdint.h>

enum {
    SL_USER_NAME = 65,        /* bytes with the closing zero */
    SL_PASSWORD_LEAST = 12,   /* NIST SP 800-63B-3 5.1.1.1 asks for 8 at least; more here, as nothing else is asked for */
    SL_PASSWORD_MOST = 256,
    SL_USERS_MOST = 500,
};

/* What one may do. A learner looks and learns, and changes nothing in an examination; a reader reads, decides, signs and
 * brings in; an administrator does that, and says who may enter. */
typedef enum sl_role { SL_ROLE_LEARNER, SL_ROLE_READER, SL_ROLE_ADMINISTRATOR } sl_role;
const char *sl_role_word(sl_role role);
bool sl_role_from_word(const char *word, sl_role *role);

typedef struct sl_user {
    char name[SL_USER_NAME];
    sl_role role;
    int64_t stamp; /* changes with the password and the role: what was entered under another stamp is over */
} sl_user;

typedef struct sl_users sl_users;

/* The folder is made when it is not there; an absent table is empty. SL_FORMAT: the table is damaged. */
sl_status sl_users_open(const char *folder, sl_users **users, sl_error *error);
void sl_users_close(sl_users **users);

/* How many there are, and how many of them are administrators. */
sl_status sl_users_count(sl_users *users, int *all, int *administrators, sl_error *error);

/* SL_USAGE: name or password will not do, the name is taken. */
sl_status sl_users_add(sl_users *users, const char *name, sl_role role, const char *password, sl_error *error);
sl_status sl_users_set_password(sl_users *users, const char *name, const char *password, sl_error *error);
/* The last administrator stays one. */
sl_status sl_users_set_role(sl_users *users, const char *name, sl_role role, sl_error *error);
sl_status sl_users_remove(sl_users *users, const char *name, sl_error *error);

bool sl_users_find(sl_users *users, const char *name, sl_user *user);
/* True when the password is the user's. Takes as long for a name that is not there. At most two are tried at a time. */
bool sl_users_check(sl_users *users, const char *name, const char *password, sl_user *user);

/* [{name, role, added}], by name. New reference. */
json_t *sl_users_json(sl_users *users);

#endif
