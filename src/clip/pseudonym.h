/* Names, numbers and dates that stand for others: the same for the same original under one secret, unrelated to it for
 * whoever lacks the secret. HMAC-SHA-256 (RFC 2104, FIPS 180-4) by OpenSSL. */
#ifndef SL_CLIP_PSEUDONYM_H
#define SL_CLIP_PSEUDONYM_H

#include "core/error.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { SL_SECRET_BYTES = 32 };

typedef struct sl_secret {
    uint8_t bytes[SL_SECRET_BYTES];
} sl_secret;

/* Any phrase or file content as a secret; and one that nobody knows, for one run. */
void sl_secret_from(const void *phrase, size_t length, sl_secret *secret);
sl_status sl_secret_random(sl_secret *secret, sl_error *error);

/* 16 bytes that stand for `original` among things of one `kind` ("uid", "person" ...). */
void sl_pseudonym(const sl_secret *secret, const char *kind, const char *original, uint8_t out[16]);

/* "2.25." and a UUID as a decimal number (PS3.5 B.2): a UID for `original`; at most 44 letters. */
void sl_pseudonym_uid(const sl_secret *secret, const char *original, char out[65]);

/* Days that every date of the person `original` moves by: -3650 to -366, so that nothing comes to lie in the future. */
int sl_pseudonym_days(const sl_secret *secret, const char *original);

/* Moves the date in the first 8 digits of `date` (YYYYMMDD) in place; false when it is none. */
bool sl_date_move(char *date, int days);

#endif
