/* strandline learn: practise reading on clips whose truth is known. */
#include "agree/learning.h"
#include "agree/study.h"
#include "cli/command.h"
#include "cli/options.h"
#include "core/file.h"
#include "core/json.h"
#include "report/evaluation_pdf.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

static const char help[] =
    "  learn start LEARNER --pool POOL   draws a session and prints it as a table to fill in\n"
    "  learn answer LEARNER FILE         marks a filled-in table and gives feedback clip by clip\n"
    "  learn ask LEARNER                 asks the open questions of the last session one by one, feedback after each\n"
    "  learn show LEARNER                curves, charts with their limits, how many more to go, what to practise next\n"
    "\n"
    "LEARNER is a folder of the learner's own; answers go into its progress.jsonl and are never overwritten. POOL is a\n"
    "folder of simulated clips with their .truth.json, exam.json, or a table read by an expert. Clips not met before\n"
    "come first, and of the finding to practise next each class in turn. Only the first answer on a clip counts in the\n"
    "chart. Write yes, no or uncertain for a finding, a number for a score, count or length.\n"
    "\n"
    "  --pool POOL       what to draw from (start); later sessions and answers use the pool they were drawn from\n"
    "  --clips N         in a session (10)\n"
    "  --findings LIST   what is asked (a_lines,b_lines,score as far as the pool states them)\n"
    "  --seed N          of the draw (the clock)\n"
    "  --session N       which one is answered (the last)\n"
    "  --out WHERE       start: the table goes to this file; show: folder for learning.json, learning.csv and\n"
    "                    learning.pdf\n";

extern const sl_command sl_command_learn;

typedef struct job {
    const char *pool, *clips, *findings, *seed, *session, *out;
    const char *word[3];
    int words;
    sl_arena arena;
    sl_notes notes;
    sl_learner learner;
} job;

static void print_notes(const job *j)
{
    for (int i = 0; i < j->notes.count; i++)
        fprintf(stderr, "  %s\n", j->notes.text[i]);
}

static sl_status load_learner(job *j, sl_error *error)
{
    return j->words < 2 ? sl_fail(error, SL_USAGE, "%s needs the learner's folder.", j->word[0])
                        : sl_learner_load(j->word[1], &j->arena, &j->notes, &j->learner, error);
}

/* ---- start ---- */

/* The usual three as far as the pool is certain of them; else all it is certain of. */
static int usual_codes(const sl_reads *pool, sl_code *code)
{
    static const sl_code usual[] = {SL_A_LINES, SL_B_LINES, SL_SCORE};
    int codes = 0;
    for (int pass = 0; pass < 2 && !codes; pass++)
        for (int i = 0; i < (pass ? SL_CODES : 3); i++) {
            sl_code one = pass ? (sl_code)i : usual[i];
            bool there = false;
            for (int r = 0; r < pool->count && !there; r++)
                there = sl_truth_certain(sl_reading_get(pool->reading[r], one));
            if (there)
                code[codes++] = one;
        }
    return codes;
}

static sl_status write_table(const job *j, const sl_session *s, sl_error *error)
{
    sl_text text = {0};
    struct stat facts;
    sl_text_add(&text, "order,clip");
    for (int i = 0; i < s->codes; i++)
        sl_csv_add(&text, sl_finding_info_of(s->code[i])->key, false);
    sl_text_add(&text, "\n");
    for (int c = 0; c < s->clips; c++) {
        sl_text_printf(&text, "%d", c + 1);
        sl_csv_add(&text, s->clip[c], false);
        for (int i = 0; i < s->codes; i++)
            sl_text_add(&text, ",");
        sl_text_add(&text, "\n");
    }
    sl_status status = text.failed ? sl_fail(error, SL_MEMORY, "Memory ran out.") : SL_OK;
    if (status == SL_OK && j->out)
        status = stat(j->out, &facts) ? sl_file_write(j->out, text.bytes, text.length, error)
                                      : sl_fail(error, SL_USAGE, "%s exists and is not overwritten. Choose another "
                                                                 "name.", j->out);
    else if (status == SL_OK)
        fputs(text.bytes, stdout);
    sl_text_free(&text);
    return status;
}

static sl_status start(void *context, sl_error *error)
{
    job *j = context;
    sl_status loaded = load_learner(j, error);
    if (loaded != SL_OK)
        return loaded;
    sl_reads pool;
    sl_code code[SL_CODES];
    int codes;
    long clips = 10, seed = (long)time(NULL);
    if (j->words != 2 || !j->pool)
        return sl_fail(error, SL_USAGE, "start needs the learner's folder and --pool POOL.");
    if ((j->clips && !sl_whole_number(j->clips, 1, 1000, &clips)) ||
        (j->seed && !sl_whole_number(j->seed, 0, 2000000000, &seed)))
        return sl_fail(error, SL_USAGE, "--clips takes 1 to 1000, --seed a number from 0 on.");
    sl_status status = sl_pool_load(j->pool, &j->arena, &j->notes, &pool, error);
    if (status != SL_OK)
        return status;
    print_notes(j);
    if (j->findings)
        status = sl_codes_of_list(j->findings, code, &codes, error);
    else if (!(codes = usual_codes(&pool, code)))
        status = sl_fail(error, SL_USAGE, "%s is certain of nothing that could be asked.", j->pool);
    char when[40], *full = NULL;
    sl_session *session;
    sl_now(when, sizeof when);
    if (status == SL_OK && !(full = realpath(j->pool, NULL))) /* so that it is found from anywhere later */
        status = sl_fail(error, SL_IO, "%s could not be found.", j->pool);
    if (status == SL_OK)
        status = sl_learner_draw(&j->learner, &pool, full, (int)clips, code, codes, (uint64_t)seed, when, &session, error);
    free(full);
    if (status != SL_OK)
        return status;
    fprintf(stderr, "Session %d: %d clips from %s.\n", session->number, session->clips, j->pool);
    if (session->clips < clips)
        fprintf(stderr, "  The pool has no more clips that are certain enough to ask.\n");
    return write_table(j, session, error);
}

/* ---- the session that is answered, and its pool ---- */

static sl_status open_session(job *j, const sl_session **session, sl_reads *pool, sl_error *error)
{
    long number = j->learner.sessions ? j->learner.session[j->learner.sessions - 1].number : 0;
    if (j->session && !sl_whole_number(j->session, 1, 1000000, &number))
        return sl_fail(error, SL_USAGE, "--session %s is no number it can take.", j->session);
    *session = NULL;
    for (int i = 0; i < j->learner.sessions; i++)
        if (j->learner.session[i].number == number)
            *session = &j->learner.session[i];
    if (!*session)
        return sl_fail(error, SL_USAGE, "%s has no session%s%s. Draw one with: strandline learn start.", j->word[1],
                       j->session ? " " : " yet", j->session ? j->session : "");
    return sl_pool_load(j->pool ? j->pool : (*session)->pool, &j->arena, &j->notes, pool, error);
}

static void say(const sl_attempt *attempt, const sl_finding *truth)
{
    sl_text text = {0};
    sl_feedback(attempt, truth, &text);
    fputs(text.bytes ? text.bytes : "", stdout);
    sl_text_free(&text);
}

static void say_progress(const job *j)
{
    sl_text text = {0};
    sl_curve *curve;
    int curves = sl_learner_curves(&j->learner, &curve);
    sl_text_add(&text, "\n");
    for (int i = 0; i < curves; i++)
        sl_curve_text(&curve[i], &text);
    sl_practise_text(curve, curves, &text);
    sl_text_printf(&text, "A chart of a teaching aid, not an examination: clips of one patient are alike, and passing says "
                          "nothing of scanning.\n%s\n", sl_caution);
    fputs(text.bytes ? text.bytes : "", stdout);
    sl_text_free(&text);
}

/* ---- answer ---- */

static sl_status answer(void *context, sl_error *error)
{
    job *j = context;
    sl_status loaded = load_learner(j, error);
    if (loaded != SL_OK)
        return loaded;
    const sl_session *session;
    sl_reads pool, said;
    if (j->words != 3)
        return sl_fail(error, SL_USAGE, "answer needs the learner's folder and the filled-in file.");
    sl_status status = open_session(j, &session, &pool, error);
    if (status != SL_OK)
        return status;
    sl_notes problems = {.arena = &j->arena};
    status = sl_reads_load(j->word[2], SL_BY_PERSON, "learner", &j->arena, &problems, &said, error);
    if (status != SL_OK)
        return status;
    if (problems.count) {
        for (int i = 0; i < problems.count; i++)
            fprintf(stderr, "  %s\n", problems.text[i]);
        return sl_fail(error, SL_FORMAT, "%s has %d entries that cannot be understood, so nothing was marked. Mend them "
                                         "and hand it in again.", j->word[2], problems.count);
    }
    int marked = 0, before = 0;
    char when[40];
    sl_now(when, sizeof when);
    for (int c = 0; c < session->clips; c++) {
        const sl_reading *truth = sl_reads_find(&pool, session->clip[c]), *one = sl_reads_find(&said, session->clip[c]);
        if (!one)
            continue;
        printf("%s\n", session->clip[c]);
        for (int i = 0; i < session->codes; i++) {
            const sl_finding *t = truth ? sl_reading_get(truth, session->code[i]) : NULL;
            const sl_finding *s = sl_reading_get(one, session->code[i]);
            const sl_attempt *attempt;
            if (!s || !sl_truth_certain(t))
                continue;
            if (sl_learner_answered(&j->learner, session->number, session->clip[c], session->code[i])) {
                before++;
                continue;
            }
            status = sl_learner_answer(&j->learner, session, session->clip[c], s, t, when, &attempt, error);
            if (status != SL_OK)
                return status;
            marked++;
            say(attempt, t);
        }
    }
    if (before)
        printf("%d answers were there before and stay as they were.\n", before);
    if (!marked && !before)
        return sl_fail(error, SL_FORMAT, "%s answers nothing of session %d.", j->word[2], session->number);
    say_progress(j);
    return SL_OK;
}

/* ---- ask ---- */

/* One line from the terminal; false at its end. */
static bool read_line(char *line, size_t room)
{
    if (!fgets(line, (int)room, stdin))
        return false;
    size_t length = strcspn(line, "\r\n");
    if (line[length] == 0 && length + 1 == room) /* longer than any answer: drop the rest */
        for (int c = getchar(); c != '\n' && c != EOF;)
            c = getchar();
    line[length] = 0;
    return true;
}

/* 1 answered, 0 end of input, -1 failed */
static int ask_one(job *j, const sl_session *session, const char *clip, const sl_finding *truth, sl_error *error)
{
    const sl_finding_info *info = sl_finding_info_of(truth->code);
    for (;;) {
        char line[128], when[40];
        printf("  %s? (%s) ", info->name, info->kind == SL_KIND_ANSWER ? "yes, no, uncertain" : "a number, or uncertain");
        fflush(stdout);
        if (!read_line(line, sizeof line)) {
            printf("\n");
            return 0;
        }
        sl_reading *reading = sl_reading_new(&j->arena, SL_BY_PERSON, "learner", clip);
        const sl_attempt *attempt;
        if (!reading || !sl_finding_take(reading, info, line) || !reading->findings) {
            printf("  That is no word for it.\n");
            continue;
        }
        sl_now(when, sizeof when);
        if (sl_learner_answer(&j->learner, session, clip, &reading->finding[0], truth, when, &attempt, error) != SL_OK)
            return -1;
        say(attempt, truth);
        return 1;
    }
}

static sl_status ask(void *context, sl_error *error)
{
    job *j = context;
    sl_status loaded = load_learner(j, error);
    if (loaded != SL_OK)
        return loaded;
    const sl_session *session;
    sl_reads pool;
    if (j->words != 2)
        return sl_fail(error, SL_USAGE, "ask needs the learner's folder.");
    sl_status status = open_session(j, &session, &pool, error);
    if (status != SL_OK)
        return status;
    int asked = 0;
    for (int c = 0; c < session->clips; c++) {
        const sl_reading *truth = sl_reads_find(&pool, session->clip[c]);
        bool named = false;
        for (int i = 0; truth && i < session->codes; i++) {
            const sl_finding *t = sl_reading_get(truth, session->code[i]);
            if (!sl_truth_certain(t) ||
                sl_learner_answered(&j->learner, session->number, session->clip[c], session->code[i]))
                continue;
            if (!named)
                printf("Clip %d of %d: %s\n", c + 1, session->clips, session->clip[c]);
            named = true;
            int result = ask_one(j, session, session->clip[c], t, error);
            if (result < 0)
                return error->status;
            if (!result) {
                printf("Stopped; what was answered is kept, and `strandline learn ask %s` goes on from here.\n", j->word[1]);
                return SL_OK;
            }
            asked++;
        }
    }
    if (!asked)
        printf("Session %d is answered in full.\n", session->number);
    say_progress(j);
    return SL_OK;
}

/* ---- show ---- */

static sl_status save(job *j, const sl_curve *curve, int curves, sl_error *error)
{
    sl_status status = sl_folder_make(j->out, error);
    if (status != SL_OK)
        return status;
    sl_text csv = {0};
    json_t *root = json_object(), *list = json_array();
    sl_text_add(&csv, "finding,attempt,right,chart,limit\n");
    for (int i = 0; i < curves; i++) {
        json_array_append_new(list, sl_curve_json(&curve[i]));
        for (int k = 0; k < curve[i].attempts; k++)
            sl_text_printf(&csv, "%s,%d,%d,%.6g,%.6g\n", sl_finding_info_of(curve[i].code)->key, k + 1,
                           curve[i].success[k], curve[i].chart[k] + 0.0, curve[i].plan.h);
    }
    json_object_set_new(root, "program", json_string("strandline " SL_VERSION));
    json_object_set_new(root, "caution", json_string(sl_caution));
    json_object_set_new(root, "curves", list);
    status = csv.failed ? sl_fail(error, SL_MEMORY, "Memory ran out.")
                        : sl_file_write(sl_path_join(&j->arena, j->out, "learning.csv"), csv.bytes, csv.length, error);
    if (status == SL_OK)
        status = sl_json_save(root, sl_path_join(&j->arena, j->out, "learning.json"), error);
    if (status == SL_OK)
        status = sl_report_learning(curve, curves, sl_path_join(&j->arena, j->out, "learning.pdf"), error);
    json_decref(root);
    sl_text_free(&csv);
    return status;
}

static sl_status show(void *context, sl_error *error)
{
    job *j = context;
    sl_status loaded = load_learner(j, error);
    if (loaded != SL_OK)
        return loaded;
    if (j->words != 2)
        return sl_fail(error, SL_USAGE, "show needs the learner's folder.");
    if (!j->learner.attempts)
        return sl_fail(error, SL_UNREADABLE, "%s holds no answer yet.", j->word[1]);
    print_notes(j);
    say_progress(j);
    sl_curve *curve;
    int curves = j->out ? sl_learner_curves(&j->learner, &curve) : 0;
    return j->out ? save(j, curve, curves, error) : SL_OK;
}

static int run(int argc, char **argv)
{
    static const sl_verb verbs[] = {{"start", start}, {"answer", answer}, {"ask", ask}, {"show", show}};
    job j = {0};
    j.notes.arena = &j.arena;
    const sl_option options[] = {{"--pool", &j.pool, NULL}, {"--clips", &j.clips, NULL},
                                 {"--findings", &j.findings, NULL}, {"--seed", &j.seed, NULL},
                                 {"--session", &j.session, NULL}, {"--out", &j.out, NULL}};
    int wrong = sl_options(&sl_command_learn, argc, argv, options, (int)(sizeof options / sizeof *options), j.word, 3,
                           &j.words);
    if (wrong)
        return wrong;
    int status = sl_run_verb(&sl_command_learn, verbs, (int)(sizeof verbs / sizeof *verbs), j.word[0], &j);
    sl_arena_free(&j.arena);
    return status;
}

const sl_command sl_command_learn = {
    "learn", "Practises reading: sessions with feedback, a learning curve a finding, what to practise next.",
    "start|answer|ask|show LEARNER ...", help, run};
