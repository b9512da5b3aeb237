#include "store/inner.h"

#include "core/units.h"

#include <stdlib.h>
#include <string.h>

sl_status sl_store_gather(sl_store *store, sqlite3_stmt *ask, size_t size, sl_store_take take, sl_arena *arena, const void **list, int *count,
                          sl_error *error)
{
    char *items = NULL;
    int room = 0, got = ask ? 1 : -1;
    sl_status status = ask ? SL_OK : SL_IO;
    *count = 0;
    while (status == SL_OK && (got = sl_store_next(store, ask, error)) > 0) {
        items = sl_arena_room(arena, items, *count, &room, size);
        if (!items || take(ask, arena, items + (size_t)(*count)++ * size) != SL_OK)
            status = sl_fail(error, SL_MEMORY, "Memory ran out while looking into the store.");
    }
    sqlite3_finalize(ask);
    *list = items;
    return status == SL_OK && got < 0 ? SL_IO : status;
}

bool sl_store_texts(sqlite3_stmt *row, sl_arena *arena, int first, int count, const char **const *into)
{
    for (int i = 0; i < count; i++)
        if (!(*into[i] = sl_store_text(row, first + i, arena)))
            return false;
    return true;
}

static sl_status take_person(sqlite3_stmt *row, sl_arena *arena, void *item)
{
    sl_store_person *person = item;
    person->exams = sqlite3_column_int(row, 2);
    return sl_store_texts(row, arena, 0, 2, (const char **const[]){&person->pseudonym, &person->local_id}) ? SL_OK : SL_MEMORY;
}

sl_status sl_store_people(sl_store *store, sl_arena *arena, const sl_store_person **person, int *count, sl_error *error)
{
    sqlite3_stmt *ask = sl_store_ask(store, error,
                                     "SELECT p.pseudonym, i.local, (SELECT count(*) FROM examination WHERE person = p.id) FROM person p "
                                     "LEFT JOIN identity i ON i.person = p.id ORDER BY p.pseudonym", "");
    return sl_store_gather(store, ask, sizeof **person, take_person, arena, (const void **)person, count, error);
}

#define EXAM_COLUMNS                                                                                                   \
    "SELECT e.uid, p.pseudonym, e.title, e.date, e.question, e.protocol, e.added, e.invented, (SELECT count(*) FROM "  \
    "clip WHERE examination = e.id), (SELECT count(*) FROM report WHERE examination = e.id) FROM examination e JOIN "  \
    "person p ON p.id = e.person "

static sl_status take_exam(sqlite3_stmt *row, sl_arena *arena, void *item)
{
    sl_store_exam *exam = item;
    exam->invented = sqlite3_column_int(row, 7) != 0;
    exam->clips = sqlite3_column_int(row, 8);
    exam->reports = sqlite3_column_int(row, 9);
    return sl_store_texts(row, arena, 0, 7, (const char **const[]){&exam->uid, &exam->person, &exam->title, &exam->date, &exam->question,
                                                          &exam->protocol, &exam->added}) ? SL_OK : SL_MEMORY;
}

sl_status sl_store_exams(sl_store *store, const char *person, sl_arena *arena, const sl_store_exam **exam, int *count,
                         sl_error *error)
{
    sqlite3_stmt *ask = sl_store_ask(store, error, EXAM_COLUMNS "WHERE ?1 IS NULL OR p.pseudonym = ?1 ORDER BY e.date DESC, e.id DESC",
                                     "t", person);
    return sl_store_gather(store, ask, sizeof **exam, take_exam, arena, (const void **)exam, count, error);
}

static sl_status take_clip(sqlite3_stmt *row, sl_arena *arena, void *item)
{
    sl_store_clip *clip = item;
    clip->depth_cm = sqlite3_column_type(row, 4) == SQLITE_NULL ? SL_UNKNOWN : sqlite3_column_double(row, 4);
    clip->bytes = sqlite3_column_int64(row, 5);
    return sl_store_texts(row, arena, 0, 4, (const char **const[]){&clip->hash, &clip->name, &clip->zone, &clip->notes}) ? SL_OK : SL_MEMORY;
}

static sl_status take_reading(sqlite3_stmt *row, sl_arena *arena, void *item)
{
    sl_store_reading *reading = item;
    reading->position = sqlite3_column_int(row, 4);
    return sl_store_texts(row, arena, 0, 4, (const char **const[]){&reading->by, &reading->author, &reading->made, &reading->result})
               ? SL_OK
               : SL_MEMORY;
}

static sl_status take_file(sqlite3_stmt *row, sl_arena *arena, void *item)
{
    sl_store_file *file = item;
    return sl_store_texts(row, arena, 0, 3, (const char **const[]){&file->name, &file->hash, &file->made}) ? SL_OK : SL_MEMORY;
}

/* Its files are filled in afterwards; until then `files` holds the row's id. */
static sl_status take_report(sqlite3_stmt *row, sl_arena *arena, void *item)
{
    sl_store_report *report = item;
    report->addendum = sqlite3_column_int(row, 5) > 1;
    report->files = sqlite3_column_int(row, 6);
    return sl_store_texts(row, arena, 0, 5, (const char **const[]){&report->uid, &report->text, &report->signer, &report->signed_at,
                                                          &report->hash}) ? SL_OK : SL_MEMORY;
}

sl_status sl_store_exam_of(sl_store *store, const char *uid, sl_arena *arena, sl_store_exam_all *all, sl_error *error)
{
    const sl_store_exam *exam;
    sl_store_report *report;
    int count;
    *all = (sl_store_exam_all){0};
    int64_t id = sl_store_exam_id(store, uid, error);
    if (!id)
        return SL_USAGE;
    sl_status status = sl_store_gather(store, sl_store_ask(store, error, EXAM_COLUMNS "WHERE e.id = ?1", "i", id), sizeof *exam, take_exam, arena,
                              (const void **)&exam, &count, error);
    if (status == SL_OK && count == 1)
        all->exam = *exam;
    if (status == SL_OK)
        status = sl_store_gather(store, sl_store_ask(store, error, "SELECT c.hash, c.name, c.zone, c.notes, c.depth_cm, f.bytes FROM clip c JOIN "
                                            "file f USING(hash) WHERE c.examination = ?1 ORDER BY c.position", "i", id),
                        sizeof *all->clip, take_clip, arena, (const void **)&all->clip, &all->clips, error);
    if (status == SL_OK)
        status = sl_store_gather(store, sl_store_ask(store, error, "SELECT d.kind, d.author, d.made, d.result, c.position FROM reading d JOIN clip "
                                            "c ON c.id = d.clip WHERE c.examination = ?1 ORDER BY d.id", "i", id),
                        sizeof *all->reading, take_reading, arena, (const void **)&all->reading, &all->readings, error);
    if (status == SL_OK)
        status = sl_store_gather(store, sl_store_ask(store, error, "SELECT name, hash, made FROM document WHERE id IN (SELECT max(id) FROM document "
                                            "WHERE examination = ?1 GROUP BY name) ORDER BY name", "i", id),
                        sizeof *all->file, take_file, arena, (const void **)&all->file, &all->files, error);
    if (status == SL_OK)
        status = sl_store_gather(store, sl_store_ask(store, error, "SELECT r.uid, r.text, s.signer, s.signed, s.hash, r.revision, r.id FROM report "
                                            "r JOIN signature s ON s.report = r.id WHERE r.examination = ?1 ORDER BY r.revision", "i", id),
                        sizeof *report, take_report, arena, (const void **)&all->report, &all->reports, error);
    report = (sl_store_report *)(uintptr_t)all->report; /* ours until it is handed out */
    for (int i = 0; i < all->reports && status == SL_OK; i++)
        status = sl_store_gather(store, sl_store_ask(store, error, "SELECT name, hash, '' FROM report_document WHERE report = ?1 ORDER BY name", "i",
                                            (int64_t)report[i].files),
                        sizeof *report[i].file, take_file, arena, (const void **)&report[i].file, &report[i].files, error);
    return status;
}
