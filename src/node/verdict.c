#include "node/verdict.h"

#include <stdio.h>
#include <stdlib.h>

static const struct {
    unsigned first, last;
    sl_verdict verdict;
    const char *words;
} statuses[] = {
    {0x0000, 0x0000, SL_DELIVERED, ""},
    /* PS3.4 2024 table B.2-1 */
    {0xB000, 0xB000, SL_DELIVERED, "taken, with some data changed there"},
    {0xB006, 0xB006, SL_DELIVERED, "taken, with some elements left out there"},
    {0xB007, 0xB007, SL_DELIVERED, "taken, though it does not fit its class as that side reads it"},
    {0xA700, 0xA7FF, SL_LATER, "it has no room or no means at the moment"},
    {0xA900, 0xA9FF, SL_REFUSED, "the data do not fit the class"},
    {0xC000, 0xCFFF, SL_REFUSED, "it could not understand the object"},
    /* PS3.7 annex C */
    {0x0001, 0x0001, SL_DELIVERED, "taken, with a warning"},
    {0x0107, 0x0107, SL_DELIVERED, "taken, with an attribute it does not know"},
    {0x0116, 0x0116, SL_DELIVERED, "taken, with a value out of range"},
    {0x0110, 0x0110, SL_LATER, "it failed while working on the object"},
    {0x0213, 0x0213, SL_LATER, "it has not the means at the moment"},
    {0x0210, 0x0210, SL_LATER, "it mixed up two requests"},
    {0x0111, 0x0111, SL_REFUSED, "it has an object under this identifier already"},
    {0x0112, 0x0112, SL_REFUSED, "it does not know such an object"},
    {0x0117, 0x0117, SL_REFUSED, "it holds the identifier for invalid"},
    {0x0118, 0x0118, SL_REFUSED, "it does not know the class"},
    {0x0119, 0x0119, SL_REFUSED, "it has the identifier under another class"},
    {0x0122, 0x0122, SL_REFUSED, "it takes no objects of this class"},
    {0x0124, 0x0124, SL_REFUSED, "we are not authorised there"},
};

/* Seconds after the 1st, 2nd ... failure; the last again and again. Common practice, no source: soon enough for a restart, rare enough for a
 * weekend. */
static const int waits[] = {5, 15, 60, 300, 900, 3600, 3 * 3600, 6 * 3600};
enum { WAITS = sizeof waits / sizeof *waits };

void sl_delivery_of_status(unsigned status, const char *comment, sl_delivery *delivery)
{
    const char *words = "it refused without a reason that is known";
    delivery->verdict = SL_REFUSED;
    for (size_t i = 0; i < sizeof statuses / sizeof *statuses; i++)
        if (status >= statuses[i].first && status <= statuses[i].last) {
            delivery->verdict = statuses[i].verdict;
            words = statuses[i].words;
            break;
        }
    if (sl_status_of_coding(status) && status == 0xC122)
        words = "it does not take the object as it is coded";
    if (!status)
        delivery->words[0] = 0;
    else
        snprintf(delivery->words, sizeof delivery->words, "%s (status %04XH%s%.200s)", words, status & 0xffff, *comment ? ": " : "", comment);
}

bool sl_status_of_coding(unsigned status)
{
    return status == 0xC122 /* PS3.18 table 10.5.3: referenced transfer syntax not supported */ || status == 0x0122 || status == 0xA900;
}

bool sl_http_of_destination(long code)
{
    return (code >= 300 && code < 400) || code == 401 || code == 403 || code == 404 || code == 405 || code == 407 || code == 429 || code >= 500;
}

void sl_delivery_of_http(long code, sl_delivery *delivery)
{
    static const struct {
        long code;
        sl_verdict verdict;
        const char *words;
    } known[] = {
        {400, SL_REFUSED, "it held the request for wrong"},
        {401, SL_REFUSED, "it does not know our user, password or token"},
        {403, SL_REFUSED, "we may not store there"},
        {404, SL_REFUSED, "nothing takes objects at that address"},
        {405, SL_REFUSED, "nothing takes objects at that address"},
        {408, SL_LATER, "it waited too long for us"},
        {409, SL_REFUSED, "it did not take the object and does not say why"},
        {413, SL_REFUSED, "the object is too large for it"},
        {415, SL_REFUSED, "it does not take objects in this form"},
        {425, SL_LATER, "it is not ready"},
        {429, SL_LATER, "it is asked too much at the moment"},
    };
    delivery->verdict = code >= 500 || code < 300 ? SL_LATER : SL_REFUSED;
    const char *words = code >= 500 ? "it failed" : code >= 400 ? "it refused" : code >= 300 ? "it points to another address, which is not followed" : "its answer does not say that it keeps the object";
    for (size_t i = 0; i < sizeof known / sizeof *known; i++)
        if (known[i].code == code) {
            delivery->verdict = known[i].verdict;
            words = known[i].words;
        }
    snprintf(delivery->words, sizeof delivery->words, "%s (HTTP %ld)", words, code);
}

int64_t sl_send_wait(int tries, const char *hash)
{
    char digits[5];
    const int at = tries < 1 ? 0 : tries > WAITS ? WAITS - 1 : tries - 1;
    snprintf(digits, sizeof digits, "%.4s", hash);
    const double spread = 0.8 + 0.4 * (double)strtoul(digits, NULL, 16) / 65535.0;
    return (int64_t)(waits[at] * spread + 0.5);
}
