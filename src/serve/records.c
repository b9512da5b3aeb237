#include "serve/records.h"

typedef struct loaded {
    sl_record record; /* first: a record given back is what was loaded */
    sl_arena arena;   /* it lives in */
} loaded;

static sl_status load(const char *path, const void *how, void *thing, sl_error *error)
{
    loaded *to = thing;
    (void)how;
    return sl_record_load(path, &to->arena, &to->record, error);
}

static void drop(void *thing)
{
    sl_arena_free(&((loaded *)thing)->arena);
}

sl_at_hand *sl_records_new(void)
{
    static const sl_at_hand_kind kind = {sizeof(loaded), SL_RECORDS_BYTES, "The clip's reading is not there any more. Read the clip again.", load, drop};
    return sl_at_hand_new(&kind);
}

sl_status sl_records_take(sl_at_hand *all, const char *path, const sl_record **record, sl_error *error)
{
    const void *thing;
    sl_status status = sl_at_hand_take(all, path, NULL, NULL, &thing, error);
    *record = thing ? &((const loaded *)thing)->record : NULL;
    return status;
}

void sl_records_give(sl_at_hand *all, const sl_record *record)
{
    sl_at_hand_give(all, record);
}
