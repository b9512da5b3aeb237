#include "chest/chest.h"
#include "chest/modes.h"
#include "chest/scenario.h"
#include "chest/truth.h"
#include "cli/command.h"
#include "cli/simulate_demo.h"
#include "cli/simulate_dicom.h"
#include "cli/simulate_vary.h"
#include "clip/save.h"
#include "core/file.h"
#include "core/json.h"
#include "core/text.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>


extern const sl_command sl_command_simulate;

typedef struct options {
    const char *scenario, *out, *truth, *demo, *vary, *trace, *beams;
    bool flow;
    const char *set[32];
    int sets;
    int random, grade;
    double seed;
} options;

static void progress(const char *name, int frame, int frames)
{
    if (isatty(2) && (frame % 10 == 0 || frame == frames))
        fprintf(stderr, "\r%s: frame %d of %d%s", name, frame, frames, frame == frames ? "\n" : "");
}

static int fail(const sl_error *error)
{
    fprintf(stderr, "strandline simulate: %s\n", error->text);
    return sl_exit_status(error->status);
}

/* A clip file, or a folder of numbered PNG pictures when `path` has no extension. */
static sl_status write_clip(sl_chest *chest, const char *path, sl_error *error)
{
    sl_view view;
    sl_chest_view(chest, &view);
    int frames = sl_chest_frames(chest);
    bool folder = !*sl_path_extension(path);
    sl_clip_writer *writer = NULL;
    sl_status status = folder ? sl_folder_make(path, error)
                              : sl_clip_writer_open(path, view.width, view.height, sl_chest_frame_rate_hz(chest), 0.9, &writer, error);
    sl_arena arena = {0};
    for (int i = 0; !status && i < frames; i++) {
        sl_gray picture;
        status = sl_chest_frame(chest, i, &picture, error);
        if (!status && folder)
            status = sl_save_png_gray(sl_arena_printf(&arena, "%s/frame-%04d.png", path, i), picture, error);
        else if (!status)
            status = sl_clip_writer_gray(writer, picture, error);
        progress(sl_path_name(path), i + 1, frames);
    }
    sl_arena_free(&arena);
    if (writer) {
        sl_error closing = {0};
        sl_status closed = sl_clip_writer_close(&writer, status ? &closing : error);
        status = status ? status : closed;
    }
    return status;
}

static sl_status write_truth(sl_chest *chest, const char *clip, const char *path, sl_error *error)
{
    json_t *truth = sl_chest_truth_json(chest, clip, error);
    if (!truth)
        return SL_MEMORY;
    sl_status status = sl_json_save(truth, path, error);
    json_decref(truth);
    return status;
}

sl_status sl_simulate_one(const sl_scenario *scenario, const char *out, const char *truth, sl_error *error)
{
    sl_chest *chest = NULL;
    sl_status status = sl_chest_new(scenario, &chest, error);
    if (!status)
        status = !strcmp(sl_path_extension(out), "dcm") ? sl_simulate_dicom(chest, scenario, out, progress, error)
                                                        : write_clip(chest, out, error);
    if (!status && truth)
        status = write_truth(chest, sl_path_name(out), truth, error);
    sl_chest_free(&chest);
    return status;
}

/* One beam over time, 200 lines a second or what the depth allows. */
static sl_status write_trace(const sl_scenario *scenario, const char *beam, const char *path, sl_error *error)
{
    char *end;
    double at = strtod(beam, &end), rate = fmin(200, 1.54e6 / (2 * scenario->controls.depth_mm));
    if (*end || !*beam || !(at >= 0 && at <= 1))
        return sl_fail(error, SL_USAGE, "--trace needs a beam from 0 (the picture's left) to 1 (its right), as in --trace 0.5.");
    if (strcmp(sl_path_extension(path), "png"))
        return sl_fail(error, SL_USAGE, "--out must end in .png for a motion trace; it is %s.", path);
    sl_chest *chest = NULL;
    sl_arena arena = {0};
    sl_gray trace;
    sl_status status = sl_chest_new(scenario, &chest, error);
    if (!status)
        status = sl_chest_trace(chest, at, rate, scenario->controls.picture_height, &arena, &trace, error);
    if (!status)
        status = sl_save_png_gray(path, trace, error);
    sl_arena_free(&arena);
    sl_chest_free(&chest);
    return status;
}

static sl_status write_flow(const sl_scenario *scenario, const char *path, sl_error *error)
{
    sl_chest *chest = NULL;
    sl_clip_writer *writer = NULL;
    sl_status status = sl_chest_new(scenario, &chest, error);
    if (!status) {
        sl_view view;
        sl_flow_controls flow;
        sl_chest_view(chest, &view);
        sl_flow_defaults(chest, &flow);
        status = sl_clip_writer_open(path, view.width + SL_FLOW_STRIP, view.height, sl_chest_frame_rate_hz(chest), 0.9, &writer, error);
        for (int i = 0; !status && i < sl_chest_frames(chest); i++) {
            const uint8_t *rgb;
            status = sl_chest_flow(chest, &flow, i, &rgb, error);
            if (!status)
                status = sl_clip_writer_rgb(writer, rgb, 3 * (view.width + SL_FLOW_STRIP), error);
            progress(sl_path_name(path), i + 1, sl_chest_frames(chest));
        }
    }
    if (writer) {
        sl_error closing = {0};
        sl_status closed = sl_clip_writer_close(&writer, status ? &closing : error);
        status = status ? status : closed;
    }
    sl_chest_free(&chest);
    return status;
}

/* The lines as received: 32-bit floats in the machine's order, [frame][beam][sample], dB; what they are in PATH.json. */
static sl_status write_beams(const sl_scenario *scenario, const char *path, sl_error *error)
{
    sl_chest *chest = NULL;
    sl_status status = sl_chest_new(scenario, &chest, error);
    if (status)
        return status;
    int beams = 0, samples = 0, frames = sl_chest_frames(chest);
    double sample_mm = 0;
    FILE *file = fopen(path, "wb");
    bool good = file != NULL;
    for (int i = 0; good && i < frames; i++) {
        const float *level = sl_chest_lines(chest, i, &beams, &samples, &sample_mm);
        good = fwrite(level, sizeof *level, (size_t)beams * (size_t)samples, file) == (size_t)beams * (size_t)samples;
    }
    if (file && fclose(file))
        good = false;
    if (!good)
        status = sl_fail(error, SL_IO, "%s could not be written. Is the disk full, or the folder not writable?", path);
    sl_arena arena = {0};
    json_t *about = json_pack("{s:s,s:s,s:[s,s,s],s:i,s:i,s:i,s:o,s:o,s:s,s:o}", "caution", "Invented: a simulated chest, no person.", "type",
                              "float32, native byte order", "order", "frame", "beam", "sample", "frames", frames, "beams", beams, "samples", samples,
                              "sample_mm", sl_json_number(sample_mm, 6), "frame_rate_hz", sl_json_number(sl_chest_frame_rate_hz(chest), 4), "unit",
                              "dB against a perfect mirror, after depth gain", "scenario", sl_scenario_to_json(scenario));
    if (!status)
        status = sl_json_save(about, sl_arena_printf(&arena, "%s.json", path), error);
    json_decref(about);
    sl_arena_free(&arena);
    sl_chest_free(&chest);
    return status;
}

/* Chests by chance with their truths and an exam.csv that states the depths. */
static int many(const options *o)
{
    sl_error error = {0};
    sl_arena arena = {0};
    sl_text csv = {0};
    sl_text_add(&csv, "file,zone,depth_cm,notes\n");
    sl_status status = sl_folder_make(o->out, &error);
    for (int i = 0; !status && i < o->random; i++) {
        sl_scenario scenario;
        int grade = o->grade ? o->grade : 1 + i % 3;
        sl_scenario_random((uint64_t)o->seed + (uint64_t)i, grade, &scenario);
        char *clip = sl_arena_printf(&arena, "chest-%04d.mp4", i);
        status = sl_simulate_one(&scenario, sl_path_join(&arena, o->out, clip),
                     sl_path_join(&arena, o->out, sl_arena_printf(&arena, "chest-%04d.truth.json", i)), &error);
        double depth_cm = (scenario.controls.depth_mm - scenario.controls.crop_top_mm) / 10;
        sl_text_printf(&csv, "%s,,%.3f,invented: simulated chest of grade %d\n", clip, depth_cm, grade);
    }
    if (!status && !csv.failed)
        status = sl_file_write(sl_path_join(&arena, o->out, "exam.csv"), csv.bytes, csv.length, &error);
    sl_text_free(&csv);
    sl_arena_free(&arena);
    if (status)
        return fail(&error);
    printf("%d invented chests with their truths are in %s.\n", o->random, o->out);
    return SL_EXIT_OK;
}

static sl_status apply_sets(const options *o, sl_scenario *scenario, sl_error *error)
{
    for (int i = 0; i < o->sets; i++) {
        char path[96];
        const char *equal = strchr(o->set[i], '=');
        if (!equal || (size_t)(equal - o->set[i]) >= sizeof path)
            return sl_fail(error, SL_USAGE, "--set needs control=value, as in --set controls.depth_mm=80; it got %.80s.", o->set[i]);
        memcpy(path, o->set[i], (size_t)(equal - o->set[i]));
        path[equal - o->set[i]] = 0;
        sl_status status = sl_scenario_set(scenario, path, equal + 1, error);
        if (status)
            return status;
    }
    return sl_scenario_check(scenario, error);
}

static int print_schema(void)
{
    json_t *schema = sl_scenario_schema();
    json_dumpf(schema, stdout, JSON_INDENT(2));
    printf("\n");
    json_decref(schema);
    return SL_EXIT_OK;
}

static int run(int argc, char **argv)
{
    options o = {.seed = 1};
    for (int i = 1; i < argc; i++) {
        const char *a = argv[i], *value = i + 1 < argc ? argv[i + 1] : NULL;
        if (!strcmp(a, "--schema"))
            return print_schema();
        if (!strcmp(a, "--flow")) {
            o.flow = true;
            continue;
        }
        bool takes = !strcmp(a, "--out") || !strcmp(a, "--truth") || !strcmp(a, "--set") || !strcmp(a, "--random") ||
                     !strcmp(a, "--seed") || !strcmp(a, "--grade") || !strcmp(a, "--demo") || !strcmp(a, "--vary") || !strcmp(a, "--trace") || !strcmp(a, "--beams");
        if (takes && !value)
            return sl_usage_error(&sl_command_simulate, "%s needs a value.", a);
        if (!takes && a[0] == '-')
            return sl_usage_error(&sl_command_simulate, "there is no option %s.", a);
        if (!takes) {
            if (o.scenario)
                return sl_usage_error(&sl_command_simulate, "one scenario at a time; %s is a second one.", a);
            o.scenario = a;
            continue;
        }
        i++;
        if (!strcmp(a, "--out"))
            o.out = value;
        else if (!strcmp(a, "--truth"))
            o.truth = value;
        else if (!strcmp(a, "--demo"))
            o.demo = value;
        else if (!strcmp(a, "--vary"))
            o.vary = value;
        else if (!strcmp(a, "--trace"))
            o.trace = value;
        else if (!strcmp(a, "--beams"))
            o.beams = value;
        else if (!strcmp(a, "--set")) {
            if (o.sets == (int)(sizeof o.set / sizeof o.set[0]))
                return sl_usage_error(&sl_command_simulate, "at most %d times --set.", (int)(sizeof o.set / sizeof o.set[0]));
            o.set[o.sets++] = value;
        } else {
            char *end;
            double number = strtod(value, &end);
            double most = !strcmp(a, "--random") ? 100000 : !strcmp(a, "--grade") ? 3 : 9e15;
            double least = !strcmp(a, "--seed") ? 0 : 1;
            if (*end || !(number >= least && number <= most) || number != (double)(long long)number)
                return sl_usage_error(&sl_command_simulate, "%s must be a whole number from %.0f to %.0f.", a, least, most);
            if (!strcmp(a, "--random"))
                o.random = (int)number;
            else if (!strcmp(a, "--grade"))
                o.grade = (int)number;
            else
                o.seed = number;
        }
    }
    if (o.demo) {
        sl_error error = {0};
        return sl_simulate_demo(o.demo, &error) ? fail(&error) : SL_EXIT_OK;
    }
    if (!o.out)
        return sl_usage_error(&sl_command_simulate, "--out is missing: where shall the clip go?");
    if (o.random)
        return many(&o);
    if (!o.scenario)
        return sl_usage_error(&sl_command_simulate, "no scenario is given.");
    sl_scenario scenario;
    sl_error error = {0};
    sl_status status = sl_scenario_load(o.scenario, &scenario, &error);
    if (!status)
        status = apply_sets(&o, &scenario, &error);
    if (!status && o.vary)
        status = sl_simulate_vary(&scenario, o.vary, o.out, &error);
    else if (!status && o.trace)
        status = write_trace(&scenario, o.trace, o.out, &error);
    else if (!status && o.flow)
        status = write_flow(&scenario, o.out, &error);
    else if (!status)
        status = sl_simulate_one(&scenario, o.out, o.truth, &error);
    if (!status && o.beams)
        status = write_beams(&scenario, o.beams, &error);
    return status ? fail(&error) : SL_EXIT_OK;
}

const sl_command sl_command_simulate = {
    "simulate",
    "a clip of an invented chest, with what is true in it",
    "SCENARIO.json --out CLIP.mp4|FOLDER [--truth FILE.json] [--set control=value]...\n"
    "       strandline simulate --random N --out FOLDER [--seed S] [--grade 1|2|3]\n"
    "       strandline simulate --demo FOLDER",
    "The picture is computed from a chest, a probe and its controls (docs/simulator.md). Nothing in it is a person.\n\n"
    "  --out PATH        a clip (mp4, mov, avi, gif, dcm), or a folder for numbered PNG pictures\n"
    "  --vary C=A,B,C    one control at several settings, side by side with the figures that changed; --out is\n"
    "                    a .png or .pdf sheet\n"
    "  --trace BEAM      one beam (0 left .. 1 right) over time; --out is a .png\n"
    "  --flow            the clip with flow in colour: fluid, vessels, moving tissue; colour bar beside it\n"
    "  --beams FILE      also the lines as received (32-bit floats), with FILE.json beside it\n"
    "  --truth FILE      what is true, as a reading with its evidence in every frame\n"
    "  --set C=V         changes one control, as in --set controls.depth_mm=80; may be repeated\n"
    "  --random N        N chests by chance with their truths, and an exam.csv with their depths\n"
    "  --seed S          of the first of them; the same seed gives the same chest\n"
    "  --grade G         1 plain, 2 usual, 3 hard; all three by turns when not given\n"
    "  --demo FOLDER     the demo examination: an invented person on two dates, a folder each\n"
    "  --schema          prints the JSON Schema of a scenario\n",
    run,
};
