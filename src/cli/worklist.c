#include "cli/command.h"
#include "cli/dicom_peer.h"
#include "cli/options.h"

#include "exam/order.h"
#include "exam/zones.h"
#include "node/worklist.h"

#include <jansson.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static int run(int argc, char **argv);

const sl_command sl_command_worklist = {
    .name = "worklist",
    .summary = "Asks a DICOM worklist which examinations are planned and prepares the folder of one.",
    .usage = "--from NAME@HOST:PORT --title NAME [--pick N --out DIR] [options]",
    .help =
        "The list is printed with the patients' names; nothing of it is kept. With --pick the examination's folder is made, for you alone:\n"
        "exam-info.json with patient, order and study, and exam.csv with the zones to scan. Put the clips there, named by zone (R1.mp4) or\n"
        "written into exam.csv, and read them with strandline read DIR: the report, and with --dicom the structured report and the PDF,\n"
        "carry patient, accession number and study; exam.json and the tables have a pseudonym instead.\n"
        "\n"
        SL_PEER_HELP
        "\n"
        "  --date WHEN          planned on YYYYMMDD, or A-B; today without it, any for all\n"
        "  --modality NAME      US without it, any for all\n"
        "  --station NAME       planned for the machine of this title\n"
        "  --patient ID         of this patient\n"
        "  --accession NUMBER   of this order\n"
        "  --most N             no more than that (200)\n"
        "  --json               as JSON\n"
        "\n"
        "  --pick N             the one with that number in the list; asked with --accession or --patient the number is sure to mean the same\n"
        "  --out DIR            the examination's folder, which must not hold one yet\n"
        "  --protocol WHICH     scheme of zones: 8-zones (without it), 12-zones, 14-zones, 6-points, 8-bedside\n"
        "  --person NAME        the pseudonym for exam.json and the store; without it one made from the patient's identifier\n"
        "  --store DIR          where destinations are known; without it the user's store\n"
        "\n"
        "Without TLS nothing is encrypted: run it inside the network of the ward only.\n"
        "\n"
        "Exit status: 0 if the list came (and the folder is prepared), 1 if not, 2 for wrong use.\n",
    .run = run,
};

typedef struct request {
    sl_peer_words words;
    sl_dicom_peer peer;
    const char *date, *modality, *station, *patient, *accession, *out, *protocol_key, *person, *most_text, *pick_text, *store;
    bool json;
    long most, pick;
    const sl_protocol *protocol;
    char today[32];
} request;

static int failed(const sl_error *error)
{
    fprintf(stderr, "strandline worklist: %s\n", error->text);
    return sl_exit_status(error->status);
}

static const char *procedure_of(const sl_dicom_step *step)
{
    return *step->requested ? step->requested : step->step;
}

static int print_json(const sl_worklist *list)
{
    json_t *root = json_object(), *steps = json_array();
    for (int i = 0; i < list->count; i++) {
        const sl_dicom_step *step = &list->step[i];
        json_t *one = json_object();
        const struct {
            const char *key, *value;
        } rows[] = {{"name", step->patient_name}, {"patient", step->patient_id}, {"born", step->birth_date}, {"sex", step->sex},
                    {"accession", step->accession}, {"referring", step->referring}, {"study", step->study_uid},
                    {"number", step->requested_id}, {"procedure", step->requested}, {"date", step->date}, {"time", step->time},
                    {"modality", step->modality}, {"station", step->station}, {"step", step->step}, {"step_number", step->step_id}};
        json_object_set_new(one, "pick", json_integer(i + 1));
        for (size_t k = 0; k < sizeof rows / sizeof *rows; k++)
            json_object_set_new(one, rows[k].key, json_string(rows[k].value));
        json_array_append_new(steps, one);
    }
    json_object_set_new(root, "planned", steps);
    json_object_set_new(root, "more", json_boolean(list->cut));
    char *text = json_dumps(root, JSON_INDENT(2));
    printf("%s\n", text ? text : "{}");
    free(text);
    json_decref(root);
    return SL_EXIT_OK;
}

static void print_step(int number, const sl_dicom_step *step)
{
    char moment[64], born[64] = "";
    sl_moment_text(step->date, step->time, moment, sizeof moment);
    if (*step->birth_date)
        sl_moment_text(step->birth_date, "", born, sizeof born);
    printf("%3d  %s  %s%s%s, ID %s\n     %s%s%s%s%s\n", number, moment, *step->patient_name ? step->patient_name : "no name", *born ? ", born " : "",
           born, *step->patient_id ? step->patient_id : "-", *procedure_of(step) ? procedure_of(step) : "procedure not named",
           *step->accession ? ", accession " : "", step->accession, *step->station ? ", for " : "", step->station);
}

static int print_list(const sl_worklist *list)
{
    for (int i = 0; i < list->count; i++)
        print_step(i + 1, &list->step[i]);
    printf("%d planned%s.\n", list->count, list->cut ? "; there are more, ask for less or allow more with --most" : "");
    return SL_EXIT_OK;
}

static int prepare(const request *own, const sl_worklist *list)
{
    sl_error error;
    char person[16], date[40];
    if (own->pick > list->count) {
        sl_fail(&error, SL_USAGE, "There is no number %ld in the list, which has %d.", own->pick, list->count);
        return failed(&error);
    }
    const sl_dicom_step *step = &list->step[own->pick - 1];
    const sl_exam_order order = {.name = step->patient_name, .id = step->patient_id, .birth_date = step->birth_date, .sex = step->sex,
                                 .study_uid = step->study_uid, .accession = step->accession, .study_id = step->requested_id,
                                 .referring = step->referring, .procedure = procedure_of(step)};
    sl_moment_text(strlen(step->date) == 8 ? step->date : own->today, "", date, sizeof date);
    sl_exam_order_person(&order, person);
    if (sl_exam_prepare(own->out, &order, own->person ? own->person : person, date, own->protocol, &error) != SL_OK)
        return failed(&error);
    print_step((int)own->pick, step);
    printf("Prepared %s, %s. Check that it is the right patient, put the clips there, then: strandline read %s --out REPORT --dicom\n", own->out,
           own->protocol->name, own->out);
    return SL_EXIT_OK;
}

static bool is_range(const char *text)
{
    const size_t length = strlen(text);
    const char *dash = strchr(text, '-');
    return strspn(text, "0123456789-") == length && (dash ? length == 17 && dash == text + 8 && !strchr(dash + 1, '-') : length == 8);
}

static int settle(request *own)
{
    time_t now = time(NULL);
    struct tm local;
    if (localtime_r(&now, &local))
        strftime(own->today, sizeof own->today, "%Y%m%d", &local);
    own->date = !own->date ? own->today : !strcmp(own->date, "any") ? "" : own->date;
    own->modality = !own->modality ? "US" : !strcmp(own->modality, "any") ? "" : own->modality;
    own->protocol = sl_protocol_by_key(own->protocol_key);
    if (*own->date && !is_range(own->date))
        return sl_usage_error(&sl_command_worklist, "--date needs YYYYMMDD, YYYYMMDD-YYYYMMDD or any.");
    if (!own->protocol)
        return sl_usage_error(&sl_command_worklist, "--protocol needs 8-zones, 12-zones, 14-zones, 6-points or 8-bedside.");
    if (!sl_whole_number(own->most_text, 1, SL_ASK_MOST, &own->most))
        return sl_usage_error(&sl_command_worklist, "--most needs a whole number from 1 to %d.", SL_ASK_MOST);
    if (own->pick_text && !sl_whole_number(own->pick_text, 1, SL_ASK_MOST, &own->pick))
        return sl_usage_error(&sl_command_worklist, "--pick needs a number of the list.");
    if (!own->pick_text != !own->out)
        return sl_usage_error(&sl_command_worklist, "--pick and --out go together.");
    return sl_peer_of(&sl_command_worklist, &own->words, own->store, &own->peer);
}

static int run(int argc, char **argv)
{
    request own = {.most_text = "200", .protocol_key = "8-zones"};
    sl_option options[12 + SL_PEER_OPTIONS] = {
        {"--date", &own.date, NULL}, {"--modality", &own.modality, NULL}, {"--station", &own.station, NULL}, {"--patient", &own.patient, NULL},
        {"--accession", &own.accession, NULL}, {"--most", &own.most_text, NULL}, {"--json", NULL, &own.json}, {"--pick", &own.pick_text, NULL},
        {"--out", &own.out, NULL}, {"--protocol", &own.protocol_key, NULL}, {"--person", &own.person, NULL}, {"--store", &own.store, NULL}};
    const char *word[1];
    int words;
    sl_peer_options(&own.words, options + 12);
    int code = sl_options(&sl_command_worklist, argc, argv, options, sizeof options / sizeof *options, word, 0, &words);
    if (!code)
        code = settle(&own);
    if (code) {
        sl_arena_free(&own.words.arena);
        return code;
    }
    sl_arena arena = {0};
    sl_worklist list;
    sl_error error;
    signal(SIGPIPE, SIG_IGN);
    const sl_dicom_step_question question = {.date = own.date, .modality = own.modality, .station = own.station, .patient_id = own.patient,
                                             .accession = own.accession};
    if (sl_worklist_ask(&own.peer, &question, (int)own.most, &arena, &list, &error) != SL_OK)
        code = failed(&error);
    else
        code = own.pick ? prepare(&own, &list) : own.json ? print_json(&list) : print_list(&list);
    sl_arena_free(&arena);
    sl_arena_free(&own.words.arena);
    return code;
}
