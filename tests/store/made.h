/* Small invented examinations for the tests of the store: files of random bytes stand for clips, which the store never
 * looks into. */
#ifndef TESTS_STORE_MADE_H
#define TESTS_STORE_MADE_H

#include "store/store.h"

#include <stdint.h>

enum { MADE_CLIPS = 3 };

typedef struct made_exam {
    char path[MADE_CLIPS + 2][600];
    sl_store_clip_in clip[MADE_CLIPS];
    sl_store_file_in file[2];
    sl_store_exam_in in;
    char person[32];
} made_exam;

/* Writes the clips of examination `number` below `folder` and fills `in`; the same number gives the same bytes. */
void make_exam(const char *folder, unsigned number, made_exam *made);

/* A folder of the test's own and where its store lies in it, for cmocka; the store, made where there is none. */
extern char made_root[400], made_place[500];
int made_set_up(void **state);
int made_tear_down(void **state);
sl_store *made_store(void);

/* Writes `text` into a file. */
void make_file(const char *path, const char *text);

#endif
