#include "cli/dicom_peer.h"

#include "node/destinations.h"

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

int sl_peer_of(const sl_command *command, sl_peer_words *words, sl_dicom_peer *peer)
{
    long timeout = 30;
    if (!words->from || !words->title)
        return sl_usage_error(command, "--from and --title must be given.");
    sl_error error;
    int port = 0;
    if (sl_destination_parts(words->from, words->their_title, words->host, &port, &error) != SL_OK)
        return sl_usage_error(command, "%s", error.text);
    if (!*words->title || strlen(words->title) > 16 || strchr(words->title, '\\'))
        return sl_usage_error(command, "a title has 1 to 16 letters, without a backslash.");
    if (words->timeout && !sl_whole_number(words->timeout, 1, 3600, &timeout))
        return sl_usage_error(command, "--timeout needs a whole number of seconds from 1 to 3600.");
    const sl_dicom_tls *tls = &words->tls;
    *peer = (sl_dicom_peer){.title = words->their_title, .host = words->host, .port = port, .own = words->title, .connect_s = (int)timeout,
                            .answer_s = (int)timeout,
                            .tls = tls->certificate || tls->key || tls->trust || tls->anyone ? tls : NULL};
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
