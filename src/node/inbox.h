/* The folder that received objects come to: DIR/STUDY/INSTANCE.dcm. An object is written to DIR/.arriving, brought to the disk and
 * linked into its place before its sender is told; what breaks off stays in .arriving and is cleared at the next start. */
#ifndef SL_NODE_INBOX_H
#define SL_NODE_INBOX_H

#include "dicom/association.h"

typedef struct sl_inbox {
    const char *folder;
    unsigned long long keep_free; /* bytes of the disk that must stay free */
    /* Told of each object once it is safe; may be NULL. `fate`: "kept", "known already", "kept beside another of its UID". */
    void (*told)(void *context, const sl_dicom_arrived *arrived, const char *fate);
    void *context;
} sl_inbox;

/* Makes the folder and clears what an earlier run left half done. */
sl_status sl_inbox_prepare(const sl_inbox *inbox, sl_error *error);

/* For sl_dicom_host: `context` is the inbox. */
unsigned sl_inbox_begin(void *context, char *part, size_t room);
unsigned sl_inbox_finish(void *context, const sl_dicom_arrived *arrived);

#endif
