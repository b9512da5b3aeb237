#include "access/users.h"

#include "core/arena.h"
#include "core/file.h"
#include "core/json.h"
#include "core/text.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <semaphore.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

enum { TABLE_BYTES = 1 << 20, AT_ONCE = 2 };

struct sl_users {
    char path[3200], lock[3200];
    pthread_mutex_t mutex;
    sem_t tries;
    json_t *table;  /* array of {name, role, password, stamp, added} */
    struct stat as; /* the file as it was read; st_ino 0: never */
    char dummy[crypto_pwhash_STRBYTES]; /* what the password of a name that is not there is held against; "" before the first try */
};

static const char *const words[] = {[SL_ROLE_LEARNER] = "learner", [SL_ROLE_READER] = "reader",
                                    [SL_ROLE_ADMINISTRATOR] = "administrator"};

const char *sl_role_word(sl_role role)
{
    return words[role];
}

bool sl_role_from_word(const char *word, sl_role *role)
{
    for (size_t i = 0; word && i < sizeof words / sizeof *words; i++)
        if (!strcmp(word, words[i])) {
            *role = (sl_role)i;
            return true;
        }
    return false;
}

static bool sound(const json_t *user)
{
    sl_role role;
    return json_is_object(user) && *sl_json_text(user, "name") && strlen(sl_json_text(user, "name")) < SL_USER_NAME &&
           sl_role_from_word(sl_json_text(user, "role"), &role) && *sl_json_text(user, "password") &&
           strlen(sl_json_text(user, "password")) < crypto_pwhash_STRBYTES && json_is_integer(json_object_get(user, "stamp"));
}

/* Reads the table anew when the file is another one; the mutex is held. */
static sl_status refresh(sl_users *users, sl_error *error)
{
    struct stat now;
    if (stat(users->path, &now)) {
        if (errno != ENOENT)
            return sl_fail(error, SL_IO, "%s could not be read: %s.", users->path, strerror(errno));
        json_array_clear(users->table);
        users->as = (struct stat){0};
        return SL_OK;
    }
    if (now.st_ino == users->as.st_ino && now.st_size == users->as.st_size &&
        now.st_mtim.tv_sec == users->as.st_mtim.tv_sec && now.st_mtim.tv_nsec == users->as.st_mtim.tv_nsec)
        return SL_OK;
    sl_arena arena = {0};
    char *bytes;
    size_t length;
    sl_status status = sl_file_read(users->path, TABLE_BYTES, &arena, &bytes, &length, error);
    if (status == SL_OK) {
        json_t *file = json_loadb(bytes, length, JSON_REJECT_DUPLICATES, NULL), *table = json_object_get(file, "users");
        bool fine = json_is_array(table) && json_array_size(table) <= SL_USERS_MOST;
        for (size_t i = 0; fine && i < json_array_size(table); i++)
            fine = sound(json_array_get(table, i));
        if (fine) {
            json_decref(users->table);
            users->table = json_incref(table);
            users->as = now;
        } else
            status = sl_fail(error, SL_FORMAT, "%s is damaged. Put a good copy back, or remove it and add the users anew.",
                             users->path);
        json_decref(file);
    }
    sl_arena_free(&arena);
    return status;
}

sl_status sl_users_open(const char *folder, sl_users **users, sl_error *error)
{
    *users = NULL;
    if (sodium_init() < 0)
        return sl_fail(error, SL_IO, "The system gave no random numbers, so passwords would not be safe. Try again.");
    sl_status status = sl_folder_make(folder, error);
    sl_users *self = status == SL_OK ? calloc(1, sizeof *self) : NULL;
    if (status != SL_OK)
        return status;
    if (self)
        self->table = json_array();
    if (!self || !self->table) {
        free(self);
        return sl_fail(error, SL_MEMORY, "Memory ran out while the users were read.");
    }
    pthread_mutex_init(&self->mutex, NULL);
    sem_init(&self->tries, 0, AT_ONCE);
    if (snprintf(self->path, sizeof self->path, "%s/users.json", folder) >= (int)sizeof self->path ||
        snprintf(self->lock, sizeof self->lock, "%s/users.lock", folder) >= (int)sizeof self->lock)
        status = sl_fail(error, SL_USAGE, "The path of the folder is too long: %s.", folder);
    else
        status = refresh(self, error);
    *users = self;
    if (status != SL_OK)
        sl_users_close(users);
    return status;
}

void sl_users_close(sl_users **users)
{
    if (!*users)
        return;
    json_decref((*users)->table);
    sem_destroy(&(*users)->tries);
    pthread_mutex_destroy(&(*users)->mutex);
    free(*users);
    *users = NULL;
}

/* ---- changing ---- */

static json_t *entry_of(const sl_users *users, const char *name)
{
    size_t i;
    json_t *user;
    json_array_foreach(users->table, i, user)
    {
        if (!strcmp(sl_json_text(user, "name"), name))
            return user;
    }
    return NULL;
}

static int administrators(const sl_users *users)
{
    int count = 0;
    size_t i;
    json_t *user;
    json_array_foreach(users->table, i, user)
    {
        count += !strcmp(sl_json_text(user, "role"), words[SL_ROLE_ADMINISTRATOR]);
    }
    return count;
}

/* Takes the mutex and the lock of the file, and reads what is there now. The descriptor goes to `*lock`. */
static sl_status hold(sl_users *users, int *lock, sl_error *error)
{
    pthread_mutex_lock(&users->mutex);
    *lock = open(users->lock, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (*lock < 0 || flock(*lock, LOCK_EX))
        return sl_fail(error, SL_IO, "%s could not be locked: %s.", users->lock, strerror(errno));
    return refresh(users, error);
}

/* Writes the table when all went well, and lets go; otherwise forgets what was changed in memory. */
static sl_status let_go(sl_users *users, int lock, sl_status status, sl_error *error)
{
    if (status == SL_OK) {
        json_t *file = json_pack("{s:i, s:O}", "version", 1, "users", users->table);
        char *text = file ? json_dumps(file, JSON_INDENT(1)) : NULL;
        mode_t mask = umask(077);
        status = text ? sl_file_write(users->path, text, strlen(text), error)
                      : sl_fail(error, SL_MEMORY, "Memory ran out while the users were written.");
        umask(mask);
        free(text);
        json_decref(file);
    }
    users->as = (struct stat){0};
    if (lock >= 0)
        close(lock);
    sl_error ignored;
    refresh(users, &ignored);
    pthread_mutex_unlock(&users->mutex);
    return status;
}

static int64_t new_stamp(void)
{
    int64_t stamp;
    randombytes_buf(&stamp, sizeof stamp);
    return stamp & INT64_MAX;
}

static sl_status check_password(const char *name, const char *password, sl_error *error)
{
    size_t length = strlen(password), same = length ? strspn(password, (char[]){password[0], 0}) : 0;
    if (length < SL_PASSWORD_LEAST || length > SL_PASSWORD_MOST)
        return sl_fail(error, SL_USAGE, "A password needs %d to %d characters; several words do well.", SL_PASSWORD_LEAST,
                       SL_PASSWORD_MOST);
    if (same == length || !strcmp(name, password))
        return sl_fail(error, SL_USAGE, "That password would be guessed at once. Choose another; several words do well.");
    return SL_OK;
}

static sl_status set_hash(json_t *user, const char *password, sl_error *error)
{
    char hash[crypto_pwhash_STRBYTES];
    if (crypto_pwhash_str(hash, password, strlen(password), crypto_pwhash_OPSLIMIT_INTERACTIVE,
                          crypto_pwhash_MEMLIMIT_INTERACTIVE) ||
        json_object_set_new(user, "password", json_string(hash)) ||
        json_object_set_new(user, "stamp", json_integer(new_stamp())))
        return sl_fail(error, SL_MEMORY, "Memory ran out while the password was made safe.");
    return SL_OK;
}

/* Letters of any script, digits, and . _ - @ and blanks within: names stand in logs and headings. */
static sl_status check_name(const char *name, sl_error *error)
{
    size_t length = strlen(name);
    bool fine = length && length < SL_USER_NAME && name[0] != ' ' && name[length - 1] != ' ';
    for (size_t i = 0; fine && i < length; i++)
        fine = (unsigned char)name[i] >= 0x80 || strchr("._-@ ", name[i]) || (name[i] >= '0' && name[i] <= '9') ||
               (name[i] >= 'A' && name[i] <= 'Z') || (name[i] >= 'a' && name[i] <= 'z');
    json_t *as_text = fine ? json_string(name) : NULL; /* refuses what is no UTF-8 */
    json_decref(as_text);
    if (!as_text)
        return sl_fail(error, SL_USAGE, "A name needs 1 to %d letters, digits, blanks or . _ - @.", SL_USER_NAME - 1);
    return SL_OK;
}

static sl_status nobody(const char *name, sl_error *error)
{
    return sl_fail(error, SL_USAGE, "There is no user \"%.64s\".", name);
}

sl_status sl_users_add(sl_users *users, const char *name, sl_role role, const char *password, sl_error *error)
{
    sl_status status = check_name(name, error);
    if (status == SL_OK)
        status = check_password(name, password, error);
    if (status != SL_OK)
        return status;
    int lock;
    status = hold(users, &lock, error);
    if (status == SL_OK && entry_of(users, name))
        status = sl_fail(error, SL_USAGE, "There is a user \"%s\" already.", name);
    if (status == SL_OK && json_array_size(users->table) >= SL_USERS_MOST)
        status = sl_fail(error, SL_LIMIT, "There are %d users already; remove one first.", SL_USERS_MOST);
    if (status == SL_OK) {
        char now[32];
        sl_now(now, sizeof now);
        json_t *user = json_pack("{s:s, s:s, s:s}", "name", name, "role", words[role], "added", now);
        status = user ? set_hash(user, password, error) : sl_fail(error, SL_MEMORY, "Memory ran out.");
        if (status == SL_OK && json_array_append(users->table, user))
            status = sl_fail(error, SL_MEMORY, "Memory ran out while the user was added.");
        json_decref(user);
    }
    return let_go(users, lock, status, error);
}

sl_status sl_users_set_password(sl_users *users, const char *name, const char *password, sl_error *error)
{
    int lock;
    sl_status status = check_password(name, password, error);
    if (status != SL_OK)
        return status;
    status = hold(users, &lock, error);
    if (status == SL_OK) {
        json_t *user = entry_of(users, name);
        status = user ? set_hash(user, password, error) : nobody(name, error);
    }
    return let_go(users, lock, status, error);
}

static sl_status keep_one(const sl_users *users, const json_t *user, sl_error *error)
{
    if (!strcmp(sl_json_text(user, "role"), words[SL_ROLE_ADMINISTRATOR]) && administrators(users) == 1)
        return sl_fail(error, SL_USAGE, "%s is the only administrator; make another one first.", sl_json_text(user, "name"));
    return SL_OK;
}

sl_status sl_users_set_role(sl_users *users, const char *name, sl_role role, sl_error *error)
{
    int lock;
    sl_status status = hold(users, &lock, error);
    if (status == SL_OK) {
        json_t *user = entry_of(users, name);
        status = !user ? nobody(name, error) : role == SL_ROLE_ADMINISTRATOR ? SL_OK : keep_one(users, user, error);
        if (status == SL_OK && (json_object_set_new(user, "role", json_string(words[role])) ||
                                json_object_set_new(user, "stamp", json_integer(new_stamp()))))
            status = sl_fail(error, SL_MEMORY, "Memory ran out while the role was changed.");
    }
    return let_go(users, lock, status, error);
}

sl_status sl_users_remove(sl_users *users, const char *name, sl_error *error)
{
    int lock;
    sl_status status = hold(users, &lock, error);
    if (status == SL_OK) {
        json_t *user = entry_of(users, name);
        status = user ? keep_one(users, user, error) : nobody(name, error);
        for (size_t i = 0; status == SL_OK && i < json_array_size(users->table); i++)
            if (json_array_get(users->table, i) == user) {
                json_array_remove(users->table, i);
                break;
            }
    }
    return let_go(users, lock, status, error);
}

/* ---- looking ---- */

static void fill(const json_t *entry, sl_user *user)
{
    snprintf(user->name, sizeof user->name, "%s", sl_json_text(entry, "name"));
    sl_role_from_word(sl_json_text(entry, "role"), &user->role);
    user->stamp = json_integer_value(json_object_get(entry, "stamp"));
}

bool sl_users_find(sl_users *users, const char *name, sl_user *user)
{
    sl_error ignored;
    pthread_mutex_lock(&users->mutex);
    const json_t *entry = refresh(users, &ignored) == SL_OK ? entry_of(users, name) : NULL;
    if (entry)
        fill(entry, user);
    pthread_mutex_unlock(&users->mutex);
    return entry;
}

bool sl_users_check(sl_users *users, const char *name, const char *password, sl_user *user)
{
    char hash[crypto_pwhash_STRBYTES];
    sl_error ignored;
    pthread_mutex_lock(&users->mutex);
    const json_t *entry = refresh(users, &ignored) == SL_OK ? entry_of(users, name) : NULL;
    if (!*users->dummy && crypto_pwhash_str(users->dummy, "nobody", 6, crypto_pwhash_OPSLIMIT_INTERACTIVE, crypto_pwhash_MEMLIMIT_INTERACTIVE))
        users->dummy[0] = 0; /* no memory for it, nor for the try */
    memcpy(hash, users->dummy, sizeof hash);
    if (entry) {
        snprintf(hash, sizeof hash, "%s", sl_json_text(entry, "password"));
        fill(entry, user);
    }
    pthread_mutex_unlock(&users->mutex);
    size_t length = strlen(password);
    while (sem_wait(&users->tries) && errno == EINTR)
        ;
    bool right = length <= SL_PASSWORD_MOST && !crypto_pwhash_str_verify(hash, password, length);
    sem_post(&users->tries);
    return right && entry;
}

sl_status sl_users_count(sl_users *users, int *all, int *administrators_of_them, sl_error *error)
{
    pthread_mutex_lock(&users->mutex);
    sl_status status = refresh(users, error);
    *all = (int)json_array_size(users->table);
    *administrators_of_them = administrators(users);
    pthread_mutex_unlock(&users->mutex);
    return status;
}

static int by_name(const void *a, const void *b)
{
    return strcmp(sl_json_text(*(json_t *const *)a, "name"), sl_json_text(*(json_t *const *)b, "name"));
}

json_t *sl_users_json(sl_users *users)
{
    sl_error ignored;
    json_t *list = json_array();
    pthread_mutex_lock(&users->mutex);
    refresh(users, &ignored);
    size_t count = json_array_size(users->table);
    json_t **order = count ? calloc(count, sizeof *order) : NULL;
    for (size_t i = 0; order && i < count; i++)
        order[i] = json_array_get(users->table, i);
    if (order)
        qsort(order, count, sizeof *order, by_name);
    for (size_t i = 0; order && i < count; i++)
        json_array_append_new(list, json_pack("{s:s, s:s, s:s}", "name", sl_json_text(order[i], "name"), "role",
                                              sl_json_text(order[i], "role"), "added", sl_json_text(order[i], "added")));
    free(order);
    pthread_mutex_unlock(&users->mutex);
    return list;
}
