/* The options that name another DICOM node: --from, --title, --timeout and those of TLS. */
#ifndef SL_CLI_DICOM_PEER_H
#define SL_CLI_DICOM_PEER_H

#include "cli/command.h"
#include "cli/options.h"
#include "dicom/ask.h"
#include "node/destinations.h"

typedef struct sl_peer_words {
    const char *from, *title, *timeout; /* as given; timeout NULL: 30 */
    sl_dicom_tls tls;
    sl_arena arena;
    sl_destination_room room;
} sl_peer_words;

enum { SL_PEER_OPTIONS = 7 };
/* Fills that many options, which set `words`. */
void sl_peer_options(sl_peer_words *words, sl_option option[SL_PEER_OPTIONS]);

/* What they say; 0, or the exit status of wrong use. A destination of that name in `store` (NULL: the user's) gives title and TLS where
 * no option does. `words` must outlive `peer`; its arena is freed by the caller. */
int sl_peer_of(const sl_command *command, sl_peer_words *words, const char *store, sl_dicom_peer *peer);

/* Lines of help. */
#define SL_PEER_HELP \
    "  --from NAME@HOST:PORT    the other node: its title (AE title), name or address, and port; or the name of a destination\n" \
    "                           (strandline send --add), with its TLS\n" \
    "  --title NAME             our own title, as it is entered there; without it the destination's\n" \
    "  --timeout N              seconds of silence after which it is given up (30); a question may take ten times that\n" \
    "  --trust FILE             over TLS: the other node's certificate, or of who issued it (PEM)\n" \
    "  --anyone                 over TLS: whoever answers is taken, unchecked\n" \
    "  --certificate FILE       over TLS: our own certificate (PEM), and its key\n" \
    "  --key FILE\n"

/* "2026-01-31 09:30" of 20260131 and 093000.000; what is no date stays as it is. */
void sl_moment_text(const char *date, const char *time, char *text, size_t room);

#endif
