#include "cli/dicom_peer.h"

#include "store/store.h"

#include <stdio.h>
#include <string.h>

void sl_peer_options(sl_peer_words *words, sl_option option[SL_PEER_OPTIONS])
{
    const sl_option all[SL_PEER_OPTIONS] = {{"--from", &words->from, NULL}, {"--title", &words->title, NULL},
                                            {"--timeout", &words->timeout, NULL}, {"--certificate", &words->tls.certificate, NULL},
                                            {"--key", &words->tls.key, NULL}, {"--trust", &words->tls.trust, NULL},
                                            {"--anyone", NULL, &words->tls.anyone}};
    memcpy(option, all, sizeof all);
}

/* The address itself, or what the store knows by that name. */
static sl_status find(const sl_peer_words *words, const char *store, sl_arena *arena, sl_destination *found, sl_error *error)
{
    const sl_destination *list, *known;
    int count = 0;
    *found = (sl_destination){.name = "", .address = words->from, .title = "", .certificate = "", .key = "", .trust = "", .user_file = "", .token_file = ""};
    if (strchr(words->from, '@'))
        return SL_OK;
    const char *folder = store ? store : sl_store_default_folder(arena);
    sl_status status = folder ? sl_destinations(folder, arena, &list, &count, error) : SL_OK;
    if (status != SL_OK)
        return status;
    known = sl_destination_of(list, count, words->from);
    if (!known)
        return sl_fail(error, SL_USAGE, "There is no destination %.100s, and it is no address like ARCHIVE@192.0.2.7:104.", words->from);
    *found = *known;
    return SL_OK;
}

int sl_peer_of(const sl_command *command, sl_peer_words *words, const char *store, sl_dicom_peer *peer)
{
    sl_destination found;
    sl_error error;
    long timeout = 30;
    if (!words->from)
        return sl_usage_error(command, "--from must be given.");
    if (words->timeout && !sl_whole_number(words->timeout, 1, 3600, &timeout))
        return sl_usage_error(command, "--timeout needs a whole number of seconds from 1 to 3600.");
    if (find(words, store, &words->arena, &found, &error) != SL_OK ||
        sl_destination_peer(&found, (int)timeout, &words->room, peer, &error) != SL_OK)
        return sl_usage_error(command, "%s", error.text);
    if (!words->title && !*found.title)
        return sl_usage_error(command, "--title must be given: what do they know us by?");
    if (words->title)
        peer->own = words->title;
    if (!*peer->own || strlen(peer->own) > 16 || strchr(peer->own, '\\'))
        return sl_usage_error(command, "a title has 1 to 16 letters, without a backslash.");
    if (words->tls.certificate || words->tls.key || words->tls.trust || words->tls.anyone)
        peer->tls = &words->tls;
    return 0;
}

void sl_moment_text(const char *date, const char *time, char *text, size_t room)
{
    if (strlen(date) != 8 || strspn(date, "0123456789") != 8)
        snprintf(text, room, "%s", *date ? date : "no date");
    else if (strlen(time) < 4 || strspn(time, "0123456789.") < 4)
        snprintf(text, room, "%.4s-%.2s-%.2s", date, date + 4, date + 6);
    else
        snprintf(text, room, "%.4s-%.2s-%.2s %.2s:%.2s", date, date + 4, date + 6, time, time + 2);
}
