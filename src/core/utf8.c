#include "core/utf8.h"

#include <stdbool.h>
#include <stddef.h>
#include <string.h>

/* Length of the well-formed sequence at `at` (Unicode 15, table 3-7), 0 when there is none. */
static int sequence(const unsigned char *at)
{
    if (at[0] < 0x80)
        return 1;
    int more = at[0] >= 0xc2 && at[0] <= 0xdf ? 1 : at[0] >= 0xe0 && at[0] <= 0xef ? 2 : at[0] >= 0xf0 && at[0] <= 0xf4 ? 3 : 0;
    if (!more)
        return 0;
    unsigned char low = at[0] == 0xe0 ? 0xa0 : at[0] == 0xf0 ? 0x90 : 0x80;
    unsigned char high = at[0] == 0xed ? 0x9f : at[0] == 0xf4 ? 0x8f : 0xbf;
    if (at[1] < low || at[1] > high)
        return 0;
    for (int i = 2; i <= more; i++)
        if ((at[i] & 0xc0) != 0x80)
            return 0;
    return more + 1;
}

static bool is_control(unsigned char c)
{
    return c < 0x20 || c == 0x7f;
}

const char *sl_utf8_valid(sl_arena *arena, const char *text)
{
    const unsigned char *at = (const unsigned char *)text;
    bool fine = true;
    for (int length; *at && fine; at += length) {
        length = sequence(at);
        fine = length && !is_control(*at);
        length += !length;
    }
    if (fine)
        return text;
    char *out = sl_arena_alloc(arena, 2 * strlen(text) + 1, 1);
    if (!out)
        return NULL;
    size_t used = 0;
    for (at = (const unsigned char *)text; *at;) {
        int length = sequence(at);
        if (!length) {
            unsigned char c = *at++;
            if (c < 0xa0) /* no printable character in Latin-1 either */
                c = '?', out[used++] = (char)c;
            else {
                out[used++] = (char)(0xc0 | c >> 6);
                out[used++] = (char)(0x80 | (c & 0x3f));
            }
        } else if (is_control(*at)) {
            out[used++] = ' ';
            at++;
        } else {
            memcpy(out + used, at, (size_t)length);
            used += (size_t)length;
            at += length;
        }
    }
    return out;
}
