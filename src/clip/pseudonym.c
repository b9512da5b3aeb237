#include "clip/pseudonym.h"

#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <openssl/rand.h>
#include <stdio.h>
#include <string.h>

void sl_secret_from(const void *phrase, size_t length, sl_secret *secret)
{
    unsigned int size = 0;
    EVP_Digest(phrase, length, secret->bytes, &size, EVP_sha256(), NULL);
}

sl_status sl_secret_random(sl_secret *secret, sl_error *error)
{
    if (RAND_bytes(secret->bytes, SL_SECRET_BYTES) == 1)
        return SL_OK;
    return sl_fail(error, SL_IO, "This computer gave no random numbers. Give a secret of your own with --secret.");
}

void sl_pseudonym(const sl_secret *secret, const char *kind, const char *original, uint8_t out[16])
{
    uint8_t inner[EVP_MAX_MD_SIZE], outer[EVP_MAX_MD_SIZE];
    unsigned int size = 0;
    /* The kind has a key of its own, so that no original of one kind can be written as one of another. */
    HMAC(EVP_sha256(), secret->bytes, SL_SECRET_BYTES, (const uint8_t *)kind, strlen(kind), inner, &size);
    HMAC(EVP_sha256(), inner, (int)size, (const uint8_t *)original, strlen(original), outer, &size);
    memcpy(out, outer, 16);
}

void sl_pseudonym_uid(const sl_secret *secret, const char *original, char out[65])
{
    uint8_t number[16];
    char digits[40];
    int count = 0;
    sl_pseudonym(secret, "uid", original, number);
    number[6] = (uint8_t)((number[6] & 0x0f) | 0x80); /* a UUID of version 8, RFC 9562 5.8 */
    number[8] = (uint8_t)((number[8] & 0x3f) | 0x80);
    for (bool more = true; more;) { /* long division by ten */
        unsigned rest = 0;
        more = false;
        for (int i = 0; i < 16; i++) {
            unsigned value = rest << 8 | number[i];
            number[i] = (uint8_t)(value / 10);
            rest = value % 10;
            more = more || number[i];
        }
        digits[count++] = (char)('0' + rest);
    }
    int at = snprintf(out, 65, "2.25.");
    while (count)
        out[at++] = digits[--count];
    out[at] = 0;
}

int sl_pseudonym_days(const sl_secret *secret, const char *original)
{
    uint8_t number[16];
    enum { LEAST = 366, MOST = 3650 };
    sl_pseudonym(secret, "dates", original, number);
    return -(LEAST + (int)(((unsigned)number[0] << 16 | (unsigned)number[1] << 8 | number[2]) % (MOST - LEAST + 1)));
}

/* Days since 1970-01-01 of the proleptic Gregorian calendar, and back: years are counted from March, in eras of 400 years
 * of 146097 days, which makes the leap day the last of its year. */
static long days_of(int year, int month, int day)
{
    long y = month <= 2 ? year - 1 : year, era = (y >= 0 ? y : y - 399) / 400, of_era = y - era * 400;
    long of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

static void date_of(long days, int *year, int *month, int *day)
{
    long shifted = days + 719468, era = (shifted >= 0 ? shifted : shifted - 146096) / 146097;
    long of_era = shifted - era * 146097;
    long of_400 = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
    long of_year = of_era - (365 * of_400 + of_400 / 4 - of_400 / 100), m = (5 * of_year + 2) / 153;
    *day = (int)(of_year - (153 * m + 2) / 5 + 1);
    *month = (int)(m < 10 ? m + 3 : m - 9);
    *year = (int)(of_400 + era * 400 + (*month <= 2));
}

bool sl_date_move(char *date, int days)
{
    int number[3], width[3] = {4, 2, 2}, at = 0;
    for (int i = 0; i < 3; i++) {
        number[i] = 0;
        for (int k = 0; k < width[i]; k++, at++) {
            if (date[at] < '0' || date[at] > '9')
                return false;
            number[i] = number[i] * 10 + date[at] - '0';
        }
    }
    int year, month, day;
    date_of(days_of(number[0], number[1], number[2]), &year, &month, &day);
    if (year != number[0] || month != number[1] || day != number[2])
        return false; /* no such day */
    date_of(days_of(year, month, day) + days, &year, &month, &day);
    if (year < 1 || year > 9999)
        return false;
    char moved[32];
    snprintf(moved, sizeof moved, "%04d%02d%02d", year, month, day);
    memcpy(date, moved, 8);
    return true;
}
