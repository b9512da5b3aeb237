/* Works in a store until it is killed or the disk is full: adds examinations, signs most, adds addenda, forgets some. Each
 * finished step is a line on standard output, written at once, so that whoever kills it knows what had been promised.
 *   store_worker FOLDER STEPS [SEED]   0: all done, 3: a sentence was said on standard error
 *   store_worker FOLDER check          prints "whole" or what is wrong */
#include "made.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static void promise(const char *what, const char *uid, const char *more)
{
    char line[300];
    int length = snprintf(line, sizeof line, "%s %s %s\n", what, uid, more);
    if (write(STDOUT_FILENO, line, (size_t)length) != length)
        _exit(4);
}

static void say(void *context, const char *sentence)
{
    (void)context;
    printf("%s\n", sentence);
}

static int look(sl_store *store)
{
    sl_store_state state;
    sl_error error;
    sl_status status = sl_store_check(store, say, NULL, &state, &error);
    sl_arena arena = {0};
    const sl_store_exam *exam;
    int count = 0;
    if (status == SL_OK)
        status = sl_store_exams(store, NULL, &arena, &exam, &count, &error);
    for (int i = 0; i < count; i++) {
        sl_store_exam_all all;
        if (sl_store_exam_of(store, exam[i].uid, &arena, &all, &error) != SL_OK)
            return 1;
        for (int r = 0; r < all.reports; r++)
            printf("has %s %s\n", all.exam.uid, all.report[r].text);
        printf("has %s added\n", all.exam.uid);
    }
    printf(status == SL_OK ? "whole, %d tidied\n" : "not whole, %d tidied\n", state.tidied);
    if (status != SL_OK)
        printf("%s\n", error.text);
    sl_arena_free(&arena);
    return status != SL_OK;
}

static sl_status step(sl_store *store, const char *scratch, unsigned number, sl_error *error)
{
    made_exam made;
    char uid[SL_STORE_UID], report[SL_STORE_UID], text[64];
    bool known;
    int exams;
    make_exam(scratch, number, &made);
    snprintf(made.person, sizeof made.person, "Harbour %u", number);
    sl_status status = sl_store_add(store, &made.in, uid, &known, error);
    if (status != SL_OK)
        return status;
    promise("added", uid, "");
    for (unsigned i = 0; i < number % 4 && status == SL_OK; i++) {
        snprintf(text, sizeof text, "text-%u", i);
        sl_store_signing signing = {.uid = uid, .signer = "Dr. Invented", .text = text, .files = 1, .file = &made.file[0]};
        promise("signing", uid, text);
        status = sl_store_sign(store, &signing, i > 0, report, error);
        if (status == SL_OK)
            promise("signed", uid, text);
    }
    if (status == SL_OK && number % 5 == 4) {
        promise("forgetting", uid, "");
        status = sl_store_forget(store, made.person, true, &exams, error);
        if (status == SL_OK)
            promise("forgotten", uid, "");
    }
    for (int i = 0; i < MADE_CLIPS + 2; i++)
        unlink(made.path[i]);
    return status;
}

int main(int argc, char **argv)
{
    sl_store *store;
    sl_error error;
    char scratch[600];
    if (argc < 3 || strlen(argv[1]) > 500)
        return 2;
    snprintf(scratch, sizeof scratch, "%s.scratch", argv[1]);
    mkdir(scratch, 0700);
    sl_status status = sl_store_open(&(sl_store_options){.folder = argv[1], .who = "worker", .make = true}, &store, &error);
    if (status == SL_OK && !strcmp(argv[2], "check")) {
        int wrong = look(store);
        sl_store_close(store);
        return wrong;
    }
    unsigned seed = argc > 3 ? (unsigned)strtoul(argv[3], NULL, 10) : 0;
    for (unsigned i = 0, steps = (unsigned)strtoul(argv[2], NULL, 10); i < steps && status == SL_OK; i++)
        status = step(store, scratch, seed + i, &error);
    sl_store_close(store);
    if (status != SL_OK)
        fprintf(stderr, "%s\n", error.text);
    return status == SL_OK ? 0 : 3;
}
