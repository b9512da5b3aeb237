/* What an answer means for the object that was sent: delivered, to be tried again, refused for good. */
#ifndef SL_NODE_VERDICT_H
#define SL_NODE_VERDICT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum sl_verdict { SL_DELIVERED, SL_LATER, SL_REFUSED } sl_verdict;

typedef struct sl_delivery {
    sl_verdict verdict;
    char words[400]; /* why, or what to know about it; "" nothing */
} sl_delivery;

/* Status of C-STORE (PS3.4 table B.2-1, PS3.7 annex C) or Failure Reason of STOW-RS (PS3.18 10.5.3, the same numbers,
 * PS3.3 C.14). `comment` of the other side, may be "". */
void sl_delivery_of_status(unsigned status, const char *comment, sl_delivery *delivery);

/* HTTP status of a STOW-RS answer that does not speak of the object. */
void sl_delivery_of_http(long code, sl_delivery *delivery);
/* Whether the answer concerns the destination and not the object: another object would be answered the same. */
bool sl_http_of_destination(long code);

/* Whether uncompressed pixels may be what the other side wants. */
bool sl_status_of_coding(unsigned status);

/* Seconds until try number `tries` + 1 (1: after the first), spread by the object's hash so that many do not come at once. */
int64_t sl_send_wait(int tries, const char *hash);

#endif
