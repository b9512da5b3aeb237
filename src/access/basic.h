/* Programs that sign in with every request (HTTP Basic, RFC 7617): which session such a name and password opened, so that the slow
 * check of the password is made once and not each time. Only a keyed hash of them is kept, in memory. Any thread. */
#ifndef SL_ACCESS_BASIC_H
#define SL_ACCESS_BASIC_H

#include "access/sessions.h"

typedef struct sl_basic sl_basic;
sl_basic *sl_basic_new(void);
void sl_basic_free(sl_basic **basic);

/* The value of an Authorization header taken apart; false when it is none of this kind. The password is the caller's to wipe. */
bool sl_basic_parse(const char *header, char name[SL_USER_NAME], char password[SL_PASSWORD_MOST + 1]);

/* The key of the session that they opened before; false: none known. */
bool sl_basic_recall(sl_basic *basic, const char *name, const char *password, char key[SL_SESSION_KEY]);
void sl_basic_remember(sl_basic *basic, const char *name, const char *password, const char *key);

#endif
