#include "access/basic.h"

#include <pthread.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { HASH = crypto_generichash_BYTES, PLACES = 64 };

typedef struct place {
    unsigned char hash[HASH];
    char key[SL_SESSION_KEY]; /* "": free */
} place;

struct sl_basic {
    pthread_mutex_t mutex;
    unsigned char secret[crypto_generichash_KEYBYTES];
    place place[PLACES];
    unsigned next;
};

sl_basic *sl_basic_new(void)
{
    sl_basic *basic = sodium_init() < 0 ? NULL : calloc(1, sizeof *basic);
    if (basic) {
        pthread_mutex_init(&basic->mutex, NULL);
        randombytes_buf(basic->secret, sizeof basic->secret);
    }
    return basic;
}

void sl_basic_free(sl_basic **basic)
{
    if (!*basic)
        return;
    pthread_mutex_destroy(&(*basic)->mutex);
    sodium_memzero(*basic, sizeof **basic);
    free(*basic);
    *basic = NULL;
}

bool sl_basic_parse(const char *header, char name[SL_USER_NAME], char password[SL_PASSWORD_MOST + 1])
{
    char plain[SL_USER_NAME + SL_PASSWORD_MOST + 1];
    size_t length = 0;
    if (!header || strncasecmp(header, "Basic ", 6) != 0)
        return false;
    header += 6 + strspn(header + 6, " ");
    bool good = !sodium_base642bin((unsigned char *)plain, sizeof plain - 1, header, strlen(header), NULL, &length, NULL,
                                   sodium_base64_VARIANT_ORIGINAL);
    plain[good ? length : 0] = 0;
    char *colon = strchr(plain, ':');
    good = good && strlen(plain) == length && colon && colon > plain && colon - plain < SL_USER_NAME && strlen(colon + 1) <= SL_PASSWORD_MOST;
    if (good) {
        *colon = 0;
        memcpy(name, plain, strlen(plain) + 1);
        memcpy(password, colon + 1, strlen(colon + 1) + 1);
    }
    sodium_memzero(plain, sizeof plain);
    return good;
}

static void hash_of(const sl_basic *basic, const char *name, const char *password, unsigned char hash[HASH])
{
    crypto_generichash_state state;
    crypto_generichash_init(&state, basic->secret, sizeof basic->secret, HASH);
    crypto_generichash_update(&state, (const unsigned char *)name, strlen(name) + 1);
    crypto_generichash_update(&state, (const unsigned char *)password, strlen(password));
    crypto_generichash_final(&state, hash, HASH);
}

bool sl_basic_recall(sl_basic *basic, const char *name, const char *password, char key[SL_SESSION_KEY])
{
    unsigned char hash[HASH];
    bool found = false;
    hash_of(basic, name, password, hash);
    pthread_mutex_lock(&basic->mutex);
    for (int i = 0; i < PLACES && !found; i++) {
        found = *basic->place[i].key && !sodium_memcmp(hash, basic->place[i].hash, HASH);
        if (found)
            memcpy(key, basic->place[i].key, SL_SESSION_KEY);
    }
    pthread_mutex_unlock(&basic->mutex);
    return found;
}

void sl_basic_remember(sl_basic *basic, const char *name, const char *password, const char *key)
{
    unsigned char hash[HASH];
    hash_of(basic, name, password, hash);
    pthread_mutex_lock(&basic->mutex);
    place *to = NULL;
    for (int i = 0; i < PLACES && !to; i++)
        if (*basic->place[i].key && !sodium_memcmp(hash, basic->place[i].hash, HASH))
            to = &basic->place[i];
    if (!to)
        to = &basic->place[basic->next++ % PLACES];
    memcpy(to->hash, hash, HASH);
    memcpy(to->key, key, SL_SESSION_KEY);
    pthread_mutex_unlock(&basic->mutex);
}
