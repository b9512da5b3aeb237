/* strandline readers: several people read the same clips, blind to each other. */
#include "agree/blind.h"
#include "agree/bootstrap.h"
#include "agree/results.h"
#include "agree/statements.h"
#include "agree/study_measures.h"
#include "cli/command.h"
#include "cli/options.h"
#include "core/file.h"
#include "core/json.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static const char help[] =
    "  readers list CLIPS --reader NAME --study STUDY    makes a blind list to fill in: a column a finding, nothing of\n"
    "                                      what others said, the clips in an order of the reader's own and under codes\n"
    "                                      in place of their names; they lie in STUDY/clips under these codes\n"
    "  readers list CLIPS --reader NAME    the same with the file names as they are, where those tell nothing\n"
    "  readers enter STUDY FILE --reader NAME   puts a filled-in list (or JSON of readings) into the study's folder\n"
    "  readers compare STUDY               agreement of every pair and of all, and the clips on which they differ\n"
    "  readers settle STUDY --clip CLIP --finding FINDING --as WORD --by NAME --why TEXT\n"
    "                                      writes down what a difference was settled to; the reads stay as they are\n"
    "  readers agreed STUDY --out FILE     what all agree on or what was settled, as labels for `evaluate`\n"
    "\n"
    "CLIPS is a folder of clips, readings.csv, exam.json or any table with a column that names clips. Write yes, no\n"
    "or uncertain for a finding, a number for a score, count or length; leave empty what was not looked for. NAME is\n"
    "a code of letters and digits. A sitting that is in the study is never overwritten; when the same reader reads\n"
    "the clips again, that is a further sitting and shows how well the reader repeats.\n"
    "\n"
    "  --findings LIST   columns of the blind list (a_lines,b_lines,score)\n"
    "  --study STUDY     list: the folder that keeps the codes' key and the clips under them\n"
    "  --seed N          order of the blind list (made from the reader's name and the sitting)\n"
    "  --sitting N       of this reader (1)\n"
    "  --out WHERE       list, agreed: the file to write; compare: folder for agreement.csv, agreement.json and\n"
    "                    differences.csv\n"
    "  --workers N       threads (one a core); the result does not depend on it\n";

extern const sl_command sl_command_readers;

typedef struct job {
    const char *reader, *findings, *seed, *sitting, *study, *out, *clip, *finding, *as, *by, *why, *workers;
    const char *word[3];
    int words;
    sl_arena arena;
    sl_notes notes;
} job;

static sl_status print_or_save(const job *j, sl_text *text, sl_error *error)
{
    sl_status status = text->failed ? sl_fail(error, SL_MEMORY, "Memory ran out.") : SL_OK;
    if (status == SL_OK && j->out) {
        struct stat facts;
        status = stat(j->out, &facts) ? sl_file_write(j->out, text->bytes, text->length, error)
                                      : sl_fail(error, SL_USAGE, "%s exists and is not overwritten. Choose another "
                                                                 "name.", j->out);
    } else if (status == SL_OK) {
        fputs(text->bytes ? text->bytes : "", stdout);
    }
    sl_text_free(text);
    return status;
}

static void print_notes(const sl_notes *notes)
{
    for (int i = 0; i < notes->count; i++)
        fprintf(stderr, "  %s\n", notes->text[i]);
}

/* ---- list ---- */

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static sl_status clips_of_folder(const char *path, sl_arena *arena, const char ***clip, int *clips, sl_error *error)
{
    DIR *folder = opendir(path);
    if (!folder)
        return sl_fail(error, SL_IO, "%s could not be opened.", path);
    int room = 0;
    *clip = NULL;
    *clips = 0;
    const struct dirent *entry;
    while ((entry = readdir(folder))) {
        char key[512];
        sl_clip_key(entry->d_name, key, sizeof key);
        if (entry->d_name[0] == '.' || !sl_clip_stem(key))
            continue;
        if (*clips == room) {
            int more = room ? 2 * room : 128;
            const char **list = SL_NEW(arena, more, const char *);
            if (!list)
                break;
            if (room)
                memcpy(list, *clip, sizeof *list * (size_t)room);
            *clip = list;
            room = more;
        }
        (*clip)[(*clips)++] = sl_arena_text(arena, entry->d_name);
    }
    closedir(folder);
    if (!*clips)
        return sl_fail(error, SL_USAGE, "%s holds no clip.", path);
    qsort(*clip, (size_t)*clips, sizeof **clip, by_text);
    return SL_OK;
}

static sl_status sitting_of(const job *j, int *sitting, sl_error *error)
{
    long number = 1;
    if (j->sitting && !sl_whole_number(j->sitting, 1, 99, &number))
        return sl_fail(error, SL_USAGE, "--sitting %s is no number from 1 to 99.", j->sitting);
    *sitting = (int)number;
    return sl_sitting_name_fits(j->reader, *sitting, error);
}

static sl_status list(void *context, sl_error *error)
{
    job *j = context;
    const char **clip;
    int clips, codes, sitting = 1;
    sl_code code[SL_CODES];
    struct stat facts;
    long seed = 0;
    if (j->words != 2 || !j->reader)
        return sl_fail(error, SL_USAGE, "list needs the clips and --reader NAME.");
    if (j->seed && !sl_whole_number(j->seed, 0, 2000000000, &seed))
        return sl_fail(error, SL_USAGE, "--seed %s is no number it can take.", j->seed);
    sl_status status = sitting_of(j, &sitting, error);
    if (status == SL_OK)
        status = sl_codes_of_list(j->findings ? j->findings : "a_lines,b_lines,score", code, &codes, error);
    if (status == SL_OK && j->out && !stat(j->out, &facts))
        status = sl_fail(error, SL_USAGE, "%s exists and is not overwritten. Choose another name.", j->out);
    if (status != SL_OK)
        return status;
    bool folder = !stat(j->word[1], &facts) && S_ISDIR(facts.st_mode);
    status = folder ? clips_of_folder(j->word[1], &j->arena, &clip, &clips, error)
                    : sl_reads_clips(j->word[1], &j->arena, &clip, &clips, error);
    if (status != SL_OK)
        return status;
    if (!sl_blind_order(j->seed ? (uint64_t)seed : sl_seed_of_name(j->reader) + (uint64_t)sitting - 1, clip, clips))
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (j->study)
        status = sl_blind_codes(j->study, j->reader, sitting, folder ? j->word[1] : NULL, clip, clips, &j->arena, error);
    if (status != SL_OK)
        return status;
    if (j->study && folder)
        fprintf(stderr, "The clips lie under their codes in %s/clips/%s-%d. What is written in the pictures themselves, and in "
                        "DICOM headers, stays.\n", j->study, j->reader, sitting);
    else if (!j->study)
        fprintf(stderr, "The list shows file names. Where these tell something, hide them with --study STUDY.\n");
    sl_text text = {0};
    sl_blind_list(clip, clips, code, codes, &text);
    return print_or_save(j, &text, error);
}

/* ---- enter ---- */

static sl_status enter(void *context, sl_error *error)
{
    job *j = context;
    int sitting = 1;
    if (j->words != 3 || !j->reader)
        return sl_fail(error, SL_USAGE, "enter needs the study's folder, the file and --reader NAME.");
    sl_reads reads;
    sl_status status = sitting_of(j, &sitting, error);
    if (status == SL_OK)
        status = sl_reads_load(j->word[2], SL_BY_PERSON, j->reader, &j->arena, &j->notes, &reads, error);
    if (status == SL_OK)
        status = sl_blind_names(j->word[1], j->reader, sitting, &j->arena, &j->notes, &reads, error);
    if (status != SL_OK)
        return status;
    if (j->notes.count) {
        print_notes(&j->notes);
        return sl_fail(error, SL_FORMAT, "%s has %d entries that cannot be understood, so nothing was entered, since what "
                                         "is entered stays. Mend them and enter the file again.",
                       j->word[2], j->notes.count);
    }
    char when[40];
    sl_now(when, sizeof when);
    status = sl_study_enter(j->word[1], j->reader, sitting, &reads, when, error);
    if (status == SL_OK)
        printf("Sitting %d of reader %s: %d clips entered in %s.\n", sitting, j->reader, reads.count, j->word[1]);
    return status;
}

/* ---- compare ---- */

static void row_as_text(const sl_study_row *r, sl_text *text)
{
    sl_measure m = {.percent = r->percent};
    char value[32], range[64];
    sl_measure_value_text(&m, r->of.value, value, sizeof value);
    double low = sl_known(r->of.low) ? r->of.low : r->person.low;
    sl_measure_range_text(&m, low, sl_known(r->of.low) ? r->of.high : r->person.high, range, sizeof range);
    if (sl_known(r->of.value))
        sl_text_printf(text, "  %-24s %-30s %5d %8s   %s%s\n", r->who, r->name, r->clips, value, range,
                       sl_known(low) && !sl_known(r->of.low) ? " (by person)" : "");
    else
        sl_text_printf(text, "  %-24s %-30s %5d   not defined: %s\n", r->who, r->name, r->clips, r->of.why);
}

static void disagreement_row(const sl_study *s, const sl_disagreement *d, sl_text *csv)
{
    char word[40];
    sl_csv_add(csv, d->clip, true);
    sl_csv_add(csv, sl_finding_info_of(d->code)->key, false);
    for (int t = 0; t < s->sittings; t++)
        if (s->sitting[t].number == 1) {
            sl_finding_text(sl_study_says(s, t, d->clip, d->code), word, sizeof word);
            sl_csv_add(csv, word, false);
        }
    if (d->settled)
        sl_finding_text(d->settled->finding, word, sizeof word);
    sl_csv_add(csv, d->settled ? word : "", false);
    sl_csv_add(csv, d->settled ? d->settled->by : "", false);
    sl_csv_add(csv, d->settled && d->settled->why ? d->settled->why : "", false);
    sl_text_add(csv, "\n");
}

static void disagreements_as_text(const sl_study *s, const sl_disagreement *d, int count, sl_text *text)
{
    int open = 0;
    for (int i = 0; i < count; i++)
        open += !d[i].settled;
    sl_text_printf(text, "\nReaders differ on %d points; %d are not settled.\n", count, open);
    for (int i = 0; i < count; i++) {
        char word[40];
        sl_text_printf(text, "  %-28s %-18s", d[i].clip, sl_finding_info_of(d[i].code)->name);
        for (int t = 0; t < s->sittings; t++)
            if (s->sitting[t].number == 1) {
                sl_finding_text(sl_study_says(s, t, d[i].clip, d[i].code), word, sizeof word);
                sl_text_printf(text, " %s: %s;", s->sitting[t].reader, word);
            }
        if (d[i].settled)
            sl_finding_text(d[i].settled->finding, word, sizeof word);
        sl_text_printf(text, " %s%s\n", d[i].settled ? "settled to " : "open", d[i].settled ? word : "");
    }
}

static json_t *rows_as_json(const sl_study_result *r)
{
    json_t *rows = json_array();
    for (int i = 0; i < r->rows; i++) {
        const sl_study_row *row = &r->row[i];
        json_t *o = json_object();
        json_object_set_new(o, "finding", json_string(sl_finding_info_of(row->code)->key));
        json_object_set_new(o, "who", json_string(row->who));
        json_object_set_new(o, "measure", json_string(row->key));
        json_object_set_new(o, "clips", json_integer(row->clips));
        json_object_set_new(o, "value", sl_json_number(row->of.value, 6));
        json_object_set_new(o, "interval", json_pack("[o,o]", sl_json_number(row->of.low, 6),
                                                     sl_json_number(row->of.high, 6)));
        if (row->resampled)
            json_object_set_new(o, "interval_by_person", json_pack("[o,o]", sl_json_number(row->person.low, 6),
                                                                   sl_json_number(row->person.high, 6)));
        const char *why = row->of.why ? row->of.why : row->person.why;
        if (why)
            json_object_set_new(o, "why_not", json_string(why));
        json_array_append_new(rows, o);
    }
    return rows;
}

static sl_status save_comparison(job *j, const sl_study *s, const sl_study_result *r, sl_text *differences,
                                 sl_error *error)
{
    sl_status status = sl_folder_make(j->out, error);
    if (status != SL_OK)
        return status;
    sl_text csv = {0};
    sl_text_add(&csv, "finding,who,measure,clips,value,low,high,person_low,person_high,why_not\n");
    for (int i = 0; i < r->rows; i++) {
        const sl_study_row *row = &r->row[i];
        const double number[] = {row->of.value, row->of.low, row->of.high, row->person.low, row->person.high};
        sl_csv_add(&csv, sl_finding_info_of(row->code)->key, true);
        sl_csv_add(&csv, row->who, false);
        sl_csv_add(&csv, row->key, false);
        sl_text_printf(&csv, ",%d", row->clips);
        for (int k = 0; k < 5; k++)
            sl_text_printf(&csv, sl_known(number[k]) ? ",%.6g" : ",", number[k] + 0.0);
        sl_csv_add(&csv, row->of.why ? row->of.why : row->person.why ? row->person.why : "", false);
        sl_text_add(&csv, "\n");
    }
    json_t *root = json_object();
    json_object_set_new(root, "program", json_string("strandline " SL_VERSION));
    json_object_set_new(root, "caution", json_string(sl_caution));
    json_object_set_new(root, "clips", json_integer(s->clips));
    json_object_set_new(root, "agreement", rows_as_json(r));
    if (csv.failed || differences->failed)
        status = sl_fail(error, SL_MEMORY, "Memory ran out.");
    if (status == SL_OK)
        status = sl_file_write(sl_path_join(&j->arena, j->out, "agreement.csv"), csv.bytes, csv.length, error);
    if (status == SL_OK)
        status = sl_file_write(sl_path_join(&j->arena, j->out, "differences.csv"), differences->bytes,
                               differences->length, error);
    if (status == SL_OK)
        status = sl_json_save(root, sl_path_join(&j->arena, j->out, "agreement.json"), error);
    json_decref(root);
    sl_text_free(&csv);
    return status;
}

static sl_status compare(void *context, sl_error *error)
{
    job *j = context;
    sl_study study;
    sl_study_result result;
    long workers = 0;
    if (j->words != 2)
        return sl_fail(error, SL_USAGE, "compare needs the study's folder.");
    if (j->workers && !sl_whole_number(j->workers, 1, 1024, &workers))
        return sl_fail(error, SL_USAGE, "--workers %s is no number it can take.", j->workers);
    sl_status status = sl_study_load(j->word[1], &j->arena, &j->notes, &study, error);
    sl_resampling how = {SL_DRAWS, 1, (int)workers};
    if (status == SL_OK)
        status = sl_study_measure(&study, &how, &result, error);
    if (status != SL_OK)
        return status;
    sl_disagreement *differ;
    int count = sl_study_disagreements(&study, &differ);
    sl_text text = {0}, csv = {0};
    sl_text_printf(&text, "%d clips, sittings:", study.clips);
    sl_text_add(&csv, "clip,finding");
    for (int t = 0; t < study.sittings; t++) {
        sl_text_printf(&text, " %s-%d (%d clips)", study.sitting[t].reader, study.sitting[t].number,
                       study.sitting[t].reads.count);
        if (study.sitting[t].number == 1)
            sl_csv_add(&csv, study.sitting[t].reader, false);
    }
    sl_text_add(&csv, ",settled,settled_by,why\n");
    sl_text_add(&text, "\n");
    for (int i = 0; i < result.rows; i++) {
        if (!i || result.row[i].code != result.row[i - 1].code)
            sl_text_printf(&text, "\n%-56s  clips    value   95 %% interval\n",
                           sl_finding_info_of(result.row[i].code)->name);
        row_as_text(&result.row[i], &text);
    }
    if (!result.rows)
        sl_text_add(&text, "Nothing to compare: one reader only.\n");
    for (int i = 0; i < count; i++)
        disagreement_row(&study, &differ[i], &csv);
    disagreements_as_text(&study, differ, count > 0 ? count : 0, &text);
    sl_text_printf(&text, "\n%s\n", sl_caution);
    fputs(text.bytes ? text.bytes : "", stdout);
    print_notes(&j->notes);
    if (j->out)
        status = save_comparison(j, &study, &result, &csv, error);
    sl_text_free(&text);
    sl_text_free(&csv);
    return status;
}

/* ---- settle, agreed ---- */

static sl_status settle(void *context, sl_error *error)
{
    job *j = context;
    sl_study study;
    char when[40];
    if (j->words != 2 || !j->clip || !j->finding || !j->as || !j->by || !j->why)
        return sl_fail(error, SL_USAGE, "settle needs the study's folder and --clip, --finding, --as, --by and --why.");
    sl_status status = sl_study_load(j->word[1], &j->arena, &j->notes, &study, error);
    sl_now(when, sizeof when);
    if (status == SL_OK)
        status = sl_study_settle(&study, j->clip, j->finding, j->as, j->by, j->why, when, error);
    if (status == SL_OK)
        printf("Settled: %s of %s is %s, by %s. The reads stay as they are.\n", j->finding, j->clip, j->as, j->by);
    return status;
}

static sl_status agreed(void *context, sl_error *error)
{
    job *j = context;
    sl_study study;
    sl_reads reads;
    if (j->words != 2)
        return sl_fail(error, SL_USAGE, "agreed needs the study's folder.");
    sl_status status = sl_study_load(j->word[1], &j->arena, &j->notes, &study, error);
    if (status == SL_OK)
        status = sl_study_agreed(&study, &reads, error);
    if (status != SL_OK)
        return status;
    json_t *root = json_object(), *readings = json_array();
    for (int i = 0; i < reads.count; i++)
        json_array_append_new(readings, sl_reading_to_json(reads.reading[i]));
    json_object_set_new(root, "readings", readings);
    char *dump = json_dumps(root, JSON_INDENT(1) | JSON_PRESERVE_ORDER | JSON_REAL_PRECISION(10));
    json_decref(root);
    sl_text text = {0};
    sl_text_printf(&text, "%s\n", dump ? dump : "");
    free(dump);
    return print_or_save(j, &text, error);
}

static int run(int argc, char **argv)
{
    static const sl_verb verbs[] = {
        {"list", list}, {"enter", enter}, {"compare", compare}, {"settle", settle}, {"agreed", agreed}};
    job j = {0};
    j.notes.arena = &j.arena;
    const sl_option options[] = {
        {"--reader", &j.reader, NULL},   {"--findings", &j.findings, NULL}, {"--seed", &j.seed, NULL},
        {"--sitting", &j.sitting, NULL}, {"--study", &j.study, NULL},       {"--out", &j.out, NULL},           {"--clip", &j.clip, NULL},
        {"--finding", &j.finding, NULL}, {"--as", &j.as, NULL},             {"--by", &j.by, NULL},
        {"--why", &j.why, NULL},         {"--workers", &j.workers, NULL},
    };
    int wrong = sl_options(&sl_command_readers, argc, argv, options, (int)(sizeof options / sizeof *options), j.word, 3,
                           &j.words);
    if (wrong)
        return wrong;
    int status = sl_run_verb(&sl_command_readers, verbs, (int)(sizeof verbs / sizeof *verbs), j.word[0], &j);
    sl_arena_free(&j.arena);
    return status;
}

const sl_command sl_command_readers = {
    "readers", "Second readers: blind lists, reads kept apart, differences listed and settled.",
    "list|enter|compare|settle|agreed ...", help, run};
