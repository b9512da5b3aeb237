/* Power lost in the middle: at random operations of the file layer beneath the database, hundreds of times. After each the
 * store opens, its check finds nothing, and every signature that was reported as done is there.
 *   test_power [CUTS] [SEED] */
#include "made.h"
#include "power.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { MOST = 4096 };

static char root[300], place[400];
static char promised[MOST][SL_STORE_UID], text_of[MOST][24];
static int promises;

static void say(void *context, const char *sentence)
{
    (void)context;
    printf("%s\n", sentence);
}

static sl_status open_store(sl_store **store, sl_error *error)
{
    return sl_store_open(&(sl_store_options){.folder = place, .who = "tester", .make = true, .vfs = power_vfs}, store, error);
}

/* Adds and signs until the power fails or `steps` are done. */
static void work(unsigned first, int steps)
{
    sl_store *store;
    sl_error error;
    if (open_store(&store, &error) != SL_OK)
        return;
    for (int i = 0; i < steps && !power_is_off(); i++) {
        made_exam made;
        char uid[SL_STORE_UID], report[SL_STORE_UID], text[24];
        bool known;
        make_exam(root, first + (unsigned)i, &made);
        if (sl_store_add(store, &made.in, uid, &known, &error) == SL_OK)
            for (int k = 0; k < 2; k++) {
                snprintf(text, sizeof text, "text-%d", k);
                sl_store_signing signing = {.uid = uid, .signer = "Dr. Invented", .text = text, .files = 1, .file = made.file};
                if (sl_store_sign(store, &signing, k > 0, report, &error) != SL_OK)
                    break;
                if (promises < MOST) {
                    memcpy(promised[promises], uid, sizeof uid);
                    memcpy(text_of[promises++], text, sizeof text);
                }
            }
        for (int k = 0; k < MADE_CLIPS + 2; k++)
            unlink(made.path[k]);
    }
    sl_store_close(store);
}

static int look(long cut)
{
    sl_store *store;
    sl_error error;
    sl_store_state state;
    int bad = 0;
    if (open_store(&store, &error) != SL_OK) {
        printf("cut %ld: does not open: %s\n", cut, error.text);
        return 1;
    }
    if (sl_store_check(store, say, NULL, &state, &error) != SL_OK) {
        printf("cut %ld: %s\n", cut, error.text);
        bad = 1;
    }
    for (int i = 0; i < promises && !bad; i++) {
        sl_arena arena = {0};
        sl_store_exam_all all;
        bool there = false;
        if (sl_store_exam_of(store, promised[i], &arena, &all, &error) == SL_OK)
            for (int k = 0; k < all.reports; k++)
                there |= !strcmp(all.report[k].text, text_of[i]);
        if (!there) {
            printf("cut %ld: promised and lost: %s %s\n", cut, promised[i], text_of[i]);
            bad = 1;
        }
        sl_arena_free(&arena);
    }
    sl_store_close(store);
    return bad;
}

int main(int argc, char **argv)
{
    int cuts = argc > 1 ? (int)strtol(argv[1], NULL, 10) : 150, bad = 0, off = 0;
    unsigned chance = argc > 2 ? (unsigned)strtoul(argv[2], NULL, 10) : 1;
    char command[500];
    snprintf(root, sizeof root, "%s/sl-power-XXXXXX", getenv("TMPDIR") ? getenv("TMPDIR") : "/tmp");
    if (!mkdtemp(root) || power_register())
        return 1;
    snprintf(place, sizeof place, "%s/kept", root);
    snprintf(command, sizeof command, "rm -rf '%s'", place);
    for (int cut = 0; cut < cuts && !bad; cut++) {
        if (cut % 25 == 0) { /* a new disk */
            power_wipe();
            promises = 0;
            bad |= system(command) != 0;
        }
        chance = chance * 1664525u + 1013904223u;
        power_cut_after((long)((chance >> 8) % (cut % 5 ? 150 : 30)));
        work((unsigned)cut * 16, 5);
        off += power_is_off();
        power_back(chance);
        bad |= look(cut);
    }
    power_wipe();
    snprintf(command, sizeof command, "rm -rf '%s'", root);
    bad |= system(command) != 0;
    printf("%d of %d runs lost their power (%ld operations of the file layer in all): %s\n", off, cuts, power_operations(),
           bad ? "something was lost" : "nothing promised was lost, every store whole");
    return bad || off < cuts / 2;
}
