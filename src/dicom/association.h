/* One incoming DICOM association by the toolkit's network code: C-ECHO, C-STORE and storage commitment (PS3.4 A, B, J; PS3.7). What is
 * done with an object is the caller's. */
#ifndef SL_DICOM_ASSOCIATION_H
#define SL_DICOM_ASSOCIATION_H

#include <stddef.h>

#include "dicom/commit.h"
#include "dicom/tls.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Statuses of C-STORE (PS3.4 B.2.3). */
enum { SL_STORE_DONE = 0x0000, SL_STORE_NO_ROOM = 0xA700, SL_STORE_MISMATCH = 0xA900, SL_STORE_NOT_UNDERSTOOD = 0xC000 };

typedef struct sl_dicom_arrived {
    const char *part;                        /* the file as received, with a file header; still to be brought to the disk */
    char study_uid[65], class_uid[65], uid[65], syntax[65];
    char from[17];                           /* calling title */
} sl_dicom_arrived;

typedef struct sl_dicom_host {
    const char *title;                       /* ours; associations for another are rejected */
    const char *const *from;                 /* calling titles that may send */
    int from_count;                          /* 0 = any */
    unsigned long long most_bytes;           /* of one object; 0 = no limit */
    const sl_dicom_tls *tls;                 /* NULL: nothing is encrypted */
    int idle_s;                              /* seconds without a word after which the association ends */
    /* Where the next object goes: fills `part` with a path of at most `room` bytes and returns SL_STORE_DONE, or the status to
     * refuse with. */
    unsigned (*begin)(void *context, char *part, size_t room);
    /* The object is complete in `part`: returns what the sender is told. `part` is the host's from here on. */
    unsigned (*finish)(void *context, const sl_dicom_arrived *arrived);
    void *context;
    const sl_dicom_committer *committer;     /* NULL: storage commitment is not offered */
} sl_dicom_host;

/* Serves the association that comes on `socket` (owned from here on) until it ends. For a process of its own: the toolkit takes
 * the socket through a global. */
sl_status sl_dicom_serve_association(int socket, const sl_dicom_host *host, sl_error *error);

#ifdef __cplusplus
}
#endif

#endif
