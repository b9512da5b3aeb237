/* A file layer for SQLite whose power can fail: files live in memory, what was written since a file's last sync is lost in
 * part (whole sectors of 512 bytes, each by chance), as on a disk. One process, one connection. */
#ifndef TESTS_STORE_POWER_H
#define TESTS_STORE_POWER_H

#include <stdbool.h>

/* Registers it under this name. */
extern const char power_vfs[];
int power_register(void);

/* The power fails at the operation after `operations` more writes, syncs, truncations and deletions; -1: never. */
void power_cut_after(long operations);
bool power_is_off(void);
/* Power back: every file is what the disk kept. `seed` decides which sectors made it. */
void power_back(unsigned seed);
/* Operations since it was registered. */
long power_operations(void);
/* Forgets every file. */
void power_wipe(void);

#endif
