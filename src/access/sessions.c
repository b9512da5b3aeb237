#include "access/sessions.h"

#include <math.h>
#include <pthread.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

enum { HASH = crypto_generichash_BYTES, SLOTS = 512, LOOKS = 64 };

typedef struct session {
    unsigned char hash[HASH];
    sl_user user;
    double began_s, used_s;
    uint64_t seen[LOOKS]; /* examinations looked at, the latest ones */
    int looks;
    bool taken;
} session;

/* Something that is counted by a name: wrong tries, or requests. */
typedef struct counter {
    uint64_t of; /* 0: free */
    double since_s, amount;
} counter;

struct sl_sessions {
    pthread_mutex_t mutex;
    session session[SL_SESSIONS_MOST];
    counter tries[SLOTS], asks[SLOTS];
    unsigned char secret[crypto_shorthash_KEYBYTES]; /* nobody outside can make two names meet in a slot */
};

sl_sessions *sl_sessions_new(void)
{
    sl_sessions *sessions = sodium_init() < 0 ? NULL : calloc(1, sizeof *sessions);
    if (sessions) {
        pthread_mutex_init(&sessions->mutex, NULL);
        randombytes_buf(sessions->secret, sizeof sessions->secret);
    }
    return sessions;
}

void sl_sessions_free(sl_sessions **sessions)
{
    if (!*sessions)
        return;
    pthread_mutex_destroy(&(*sessions)->mutex);
    sodium_memzero(*sessions, sizeof **sessions);
    free(*sessions);
    *sessions = NULL;
}

static uint64_t short_name(const sl_sessions *sessions, char kind, const char *text)
{
    unsigned char whole[128], hash[crypto_shorthash_BYTES];
    size_t length = strlen(text);
    uint64_t name;
    whole[0] = (unsigned char)kind;
    length = length < sizeof whole - 1 ? length : sizeof whole - 1;
    memcpy(whole + 1, text, length);
    crypto_shorthash(hash, whole, length + 1, sessions->secret);
    memcpy(&name, hash, sizeof name);
    return name ? name : 1;
}

/* The counter of a name; the one unused longest makes room for a new one. */
static counter *counter_of(counter table[SLOTS], uint64_t of, double now_s)
{
    counter *oldest = table;
    for (int i = 0; i < SLOTS; i++) {
        if (table[i].of == of)
            return &table[i];
        if (!table[i].of || (oldest->of && table[i].since_s < oldest->since_s))
            oldest = &table[i];
    }
    *oldest = (counter){.of = of, .since_s = now_s};
    return oldest;
}

static int wait_of(const counter *tries, int most_s, double now_s)
{
    double over = tries->amount - SL_TRIES_FREE;
    if (over < 0)
        return 0;
    double wait = fmin(exp2(fmin(over, 20)), most_s) - (now_s - tries->since_s);
    return wait > 0 ? (int)ceil(wait) : 0;
}

int sl_sessions_wait(sl_sessions *sessions, const char *name, const char *from, double now_s)
{
    pthread_mutex_lock(&sessions->mutex);
    int by_name = wait_of(counter_of(sessions->tries, short_name(sessions, 'n', name), now_s), SL_WAIT_NAME_S, now_s);
    int by_from = wait_of(counter_of(sessions->tries, short_name(sessions, 'f', from), now_s), SL_WAIT_FROM_S, now_s);
    pthread_mutex_unlock(&sessions->mutex);
    return by_name > by_from ? by_name : by_from;
}

void sl_sessions_tried(sl_sessions *sessions, const char *name, const char *from, bool right, double now_s)
{
    pthread_mutex_lock(&sessions->mutex);
    counter *both[2] = {counter_of(sessions->tries, short_name(sessions, 'n', name), now_s), NULL};
    both[1] = counter_of(sessions->tries, short_name(sessions, 'f', from), now_s);
    for (int i = 0; i < 2; i++) {
        both[i]->amount = right ? 0 : both[i]->amount + 1;
        both[i]->since_s = now_s;
    }
    pthread_mutex_unlock(&sessions->mutex);
}

bool sl_sessions_may_ask(sl_sessions *sessions, const char *who, double now_s)
{
    pthread_mutex_lock(&sessions->mutex);
    counter *asks = counter_of(sessions->asks, short_name(sessions, 'a', who), now_s);
    asks->amount = fmax(0, asks->amount - (now_s - asks->since_s) * SL_ASKS_A_SECOND);
    asks->since_s = now_s;
    bool may = asks->amount < SL_ASKS_AT_ONCE;
    if (may)
        asks->amount += 1;
    pthread_mutex_unlock(&sessions->mutex);
    return may;
}

/* ---- sessions ---- */

static void hash_of(const char *key, unsigned char hash[HASH])
{
    crypto_generichash(hash, HASH, (const unsigned char *)key, strlen(key), NULL, 0);
}

static bool good(const session *one, double now_s)
{
    return one->taken && now_s - one->used_s < SL_SESSION_IDLE_S && now_s - one->began_s < SL_SESSION_WHOLE_S;
}

void sl_sessions_begin(sl_sessions *sessions, const sl_user *user, double now_s, char key[SL_SESSION_KEY])
{
    unsigned char chance[(SL_SESSION_KEY - 1) / 2];
    randombytes_buf(chance, sizeof chance);
    sodium_bin2hex(key, SL_SESSION_KEY, chance, sizeof chance);
    pthread_mutex_lock(&sessions->mutex);
    session *place = sessions->session;
    for (int i = 0; i < SL_SESSIONS_MOST; i++) {
        session *at = &sessions->session[i];
        if (!good(at, now_s)) {
            place = at;
            break;
        }
        if (at->used_s < place->used_s)
            place = at;
    }
    *place = (session){.user = *user, .began_s = now_s, .used_s = now_s, .taken = true};
    hash_of(key, place->hash);
    pthread_mutex_unlock(&sessions->mutex);
}

/* The session of a key, in time that tells nothing of its hash; the mutex is held. */
static session *session_of(sl_sessions *sessions, const char *key)
{
    unsigned char hash[HASH];
    hash_of(key, hash);
    for (int i = 0; i < SL_SESSIONS_MOST; i++)
        if (sessions->session[i].taken && !sodium_memcmp(hash, sessions->session[i].hash, HASH))
            return &sessions->session[i];
    return NULL;
}

bool sl_sessions_find(sl_sessions *sessions, const char *key, double now_s, sl_user *user)
{
    pthread_mutex_lock(&sessions->mutex);
    session *one = session_of(sessions, key);
    bool fine = one && good(one, now_s);
    if (fine) {
        one->used_s = now_s;
        *user = one->user;
    } else if (one)
        one->taken = false;
    pthread_mutex_unlock(&sessions->mutex);
    return fine;
}

void sl_sessions_end(sl_sessions *sessions, const char *key)
{
    pthread_mutex_lock(&sessions->mutex);
    session *one = session_of(sessions, key);
    if (one)
        *one = (session){0};
    pthread_mutex_unlock(&sessions->mutex);
}

bool sl_sessions_first_look(sl_sessions *sessions, const char *key, const char *exam)
{
    pthread_mutex_lock(&sessions->mutex);
    session *one = session_of(sessions, key);
    uint64_t of = short_name(sessions, 'e', exam);
    bool first = one != NULL;
    for (int i = 0; first && i < LOOKS && i < one->looks; i++)
        first = one->seen[i] != of;
    if (first)
        one->seen[one->looks++ % LOOKS] = of;
    pthread_mutex_unlock(&sessions->mutex);
    return first;
}
