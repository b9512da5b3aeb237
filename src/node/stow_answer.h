/* The answer to a STOW-RS request about one object (PS3.18 10.5.3, table I.1-1): a data set in JSON (PS3.18 F) or XML (PS3.19 A.1). */
#ifndef SL_NODE_STOW_ANSWER_H
#define SL_NODE_STOW_ANSWER_H

#include <stdbool.h>
#include <stddef.h>

typedef struct sl_stow_answer {
    bool read;           /* it is such an answer, whole */
    bool stored;         /* Referenced SOP Sequence names the object */
    bool failed;         /* Failed SOP Sequence or Other Failures Sequence has an item */
    unsigned reason;     /* Failure Reason; 0 none given */
    unsigned warning;    /* Warning Reason of the stored object; 0 none */
} sl_stow_answer;

/* `bytes` as they came, whatever they say they are. */
void sl_stow_answer_read(const char *bytes, size_t length, const char *uid, sl_stow_answer *answer);

#endif
