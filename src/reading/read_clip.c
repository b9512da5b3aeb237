#include "reading/read_clip.h"

#include "clip/clip.h"
#include "core/text.h"
#include "core/units.h"
#include "reading/doubts.h"
#include "reading/flow_colour.h"
#include "reading/segments.h"
#include "view/colour.h"
#include "view/view_table.h"

#include <math.h>
#include <string.h>
#include <time.h>

enum {
    PICTURE_BUDGET = 48 << 20, /* bytes of pictures held until the view is known */
    FINDER_FRAMES = 24,        /* a view found from fewer is looked for in more frames, and the file read again */
    FINDER_MOST = 150
};

/* A picture held until the view is known. */
typedef struct held {
    int index;
    double time_s;
    uint8_t *pixel;
    uint8_t *mark; /* coloured pixels, or NULL */
} held;

typedef struct reader {
    const sl_read_options *options;
    sl_arena *arena;     /* the result's */
    sl_arena pictures;   /* held pictures */
    sl_arena scratch;    /* straightener's stack, segment by segment */
    sl_clip *clip;
    sl_view_finder *finder;
    sl_straightener *straightener;
    held *held;
    int helds;
    bool whole;          /* all frames of the clip are held */
    bool again;          /* the file must be read again from the start */
    uint8_t *mark;       /* room for the coloured pixels of a frame, made when one is met */
    sl_colour_seen colour; /* over the cells inside the view */
    int bar_looked;
    sl_flow_scale flow_scale;
    sl_colour_seen lit;    /* over the lit pixels of the whole picture, of the frames held */
    sl_stack stack;
    sl_segments *segments;
    sl_clip_result *result;
    sl_error error;
} reader;

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static bool next_frame(reader *r, sl_frame *frame)
{
    bool got = false;
    sl_error error = {0};
    if (sl_clip_next(r->clip, frame, &got, &error) != SL_OK) {
        if (!r->result->reason[0])
            r->result->reason = sl_arena_text(r->arena, error.text);
        return false;
    }
    return got;
}

/* The coloured pixels of a frame, NULL when it has none. Memory running out is as if it had none: the frame is still read. */
static const uint8_t *mark_colour(reader *r, const sl_frame *frame)
{
    if (!frame->cb)
        return NULL;
    if (!r->mark)
        r->mark = SL_NEW(r->arena, (size_t)frame->gray.width * (size_t)frame->gray.height, uint8_t);
    return r->mark && sl_colour_mark(frame, r->mark) ? r->mark : NULL;
}

static bool hold(reader *r, const sl_frame *frame)
{
    size_t width = (size_t)frame->gray.width, height = (size_t)frame->gray.height;
    uint8_t *pixel = SL_NEW(&r->pictures, width * height, uint8_t), *held_mark = NULL;
    const uint8_t *mark = mark_colour(r, frame);
    if (!pixel || (mark && !(held_mark = SL_NEW(&r->pictures, width * height, uint8_t))))
        return false;
    if (mark)
        memcpy(held_mark, mark, width * height);
    sl_colour_count(frame->gray, mark, &r->lit);
    for (size_t y = 0; y < height; y++)
        memcpy(pixel + y * width, frame->gray.pixel + y * (size_t)frame->gray.stride, width);
    r->held[r->helds++] = (held){frame->index, frame->time_s, pixel, held_mark};
    return true;
}

static sl_frame held_frame(const reader *r, int i)
{
    const sl_clip_info *info = &r->result->info;
    return (sl_frame){.index = r->held[i].index, .time_s = r->held[i].time_s,
                      .gray = {info->width, info->height, info->width, r->held[i].pixel}};
}

/* Highest grey level that one pixel in 2000 of the held pictures reaches: a picture that is nearly black cannot be read. */
static double brightest(const reader *r)
{
    size_t count[256] = {0}, all = 0, above = 0;
    for (int i = 0; i < r->helds; i += 1 + r->helds / 8) {
        sl_frame frame = held_frame(r, i);
        size_t pixels = (size_t)frame.gray.width * (size_t)frame.gray.height;
        for (size_t p = 0; p < pixels; p++)
            count[frame.gray.pixel[p]]++;
        all += pixels;
    }
    int grey = 255;
    for (; grey > 0; grey--) {
        above += count[grey];
        if (above * 2000 > all)
            break;
    }
    return all ? grey : SL_UNKNOWN;
}

static void tell(const reader *r)
{
    if (r->options->progress)
        r->options->progress(r->options->progress_context, r->result->frames);
}

/* Decodes until the picture budget is full or the clip ends, then a little on if that was too little for the view. */
static sl_status look_for_view(reader *r)
{
    sl_clip_result *result = r->result;
    size_t size = (size_t)result->info.width * (size_t)result->info.height;
    int most = (int)(PICTURE_BUDGET / (size ? size : 1));
    most = most < 1 ? 1 : most > SL_STACK_MOST ? SL_STACK_MOST : most;
    r->held = SL_NEW(&r->pictures, most, held);
    if (!r->held)
        return sl_fail(&r->error, SL_MEMORY, "Memory ran out while %s was opened.", result->name);
    sl_status status = sl_view_finder_new(result->info.width, result->info.height, &r->finder, &r->error);
    if (status != SL_OK)
        return status;
    sl_frame frame;
    while (r->helds < most && next_frame(r, &frame)) {
        sl_view_finder_add(r->finder, frame.gray);
        if (!hold(r, &frame))
            return sl_fail(&r->error, SL_MEMORY, "Memory ran out while %s was decoded.", result->name);
        result->frames++;
        tell(r);
    }
    r->whole = r->helds < most;
    if (!r->whole && r->helds < FINDER_FRAMES)
        for (r->again = true; result->frames < FINDER_MOST && next_frame(r, &frame); result->frames++)
            sl_view_finder_add(r->finder, frame.gray);
    result->info = *sl_clip_get_info(r->clip);
    if (!result->frames)
        return sl_fail(&r->error, SL_FORMAT, "%s holds no frame that can be decoded. Export or copy it again.",
                       result->name);
    status = sl_view_finder_find(r->finder, &result->info, &result->view, &r->error);
    const sl_view *borrow = r->options->borrow;
    if (status != SL_OK && borrow && borrow->width == result->info.width && borrow->height == result->info.height) {
        result->view = *borrow;
        result->view.borrowed = true;
        status = SL_OK;
    }
    if (status != SL_OK) {
        char colour[400]; /* colour all over the picture is the reason to give, where it is that */
        if (status == SL_UNREADABLE)
            (void)sl_colour_judge(&r->lit, colour, sizeof colour, &r->error);
        result->quality.grey.top = brightest(r);
        return status;
    }
    sl_view_set_scale(&result->view, &result->info, r->options->stated_depth_cm, r->finder);
    status = sl_straightener_new(&result->view, &r->straightener, &r->error);
    if (status != SL_OK)
        return status;
    return sl_stack_new(&r->scratch, r->straightener, &result->view, r->whole ? r->helds : SL_STACK_MOST, &r->stack,
                        &r->error);
}

static sl_status end_segment(reader *r)
{
    if (!r->stack.frames)
        return SL_OK;
    sl_stack_settle(&r->stack);
    sl_arena scratch = {0};
    sl_status status = sl_quality_add_grey(&r->stack, &scratch, &r->result->quality.grey, &r->error);
    sl_arena_free(&scratch);
    sl_stack_level_grey(&r->stack);
    if (status == SL_OK)
        status = sl_segments_read(r->segments, &r->stack, &r->error);
    r->stack.frames = 0;
    return status;
}

static sl_status feed(reader *r, const sl_frame *frame, const uint8_t *mark)
{
    sl_status status = SL_OK;
    if (!sl_stack_add(&r->stack, r->straightener, frame)) {
        if ((status = end_segment(r)) != SL_OK)
            return status;
        sl_stack_add(&r->stack, r->straightener, frame);
    }
    if (mark && !r->colour.cells)
        r->colour.cells = SL_NEW(&r->scratch, 1, sl_colour_cells); /* without it only shares are told */
    if (mark && !r->bar_looked++) {
        sl_colour_find_bar(&r->result->view, mark, &r->colour);
        sl_flow_scale_read(&r->result->info, frame->gray, &r->colour, &r->flow_scale);
    }
    sl_colour_fill(&r->stack, r->straightener, mark, &r->colour);
    return status;
}

static sl_status read_all(reader *r)
{
    sl_status status = SL_OK;
    sl_frame frame;
    if (r->again) {
        if ((status = sl_clip_rewind(r->clip, &r->error)) != SL_OK)
            return status;
        r->result->frames = 0;
    } else {
        for (int i = 0; i < r->helds && status == SL_OK; i++) {
            frame = held_frame(r, i);
            status = feed(r, &frame, r->held[i].mark);
        }
        if (r->whole)
            return status != SL_OK ? status : end_segment(r);
    }
    sl_arena_free(&r->pictures);
    r->helds = 0;
    while (status == SL_OK && next_frame(r, &frame)) {
        status = feed(r, &frame, mark_colour(r, &frame));
        r->result->frames++;
        tell(r);
    }
    return status != SL_OK ? status : end_segment(r);
}

/* ---- the frames kept for evidence ---- */

static void keep(reader *r, const sl_frame *frame, sl_kept_frame *kept)
{
    int width = frame->gray.width, height = frame->gray.height;
    uint8_t *pixel = SL_NEW(r->arena, (size_t)width * (size_t)height, uint8_t), *cell = SL_NEW(r->arena, SL_CELLS, uint8_t);
    if (!pixel || !cell)
        return;
    for (int y = 0; y < height; y++)
        memcpy(pixel + (size_t)y * (size_t)width, frame->gray.pixel + (size_t)y * (size_t)frame->gray.stride,
               (size_t)width);
    sl_straighten(r->straightener, frame->gray, cell);
    *kept = (sl_kept_frame){frame->index, frame->time_s, {width, height, width, pixel}, cell};
}

static void keep_frames(reader *r, int middle, int best)
{
    sl_kept_frame *kept = r->result->kept;
    const int wanted[SL_KEPT_FRAMES] = {[SL_KEPT_MIDDLE] = middle, [SL_KEPT_BEST] = best};
    sl_frame frame;
    if (r->whole) {
        for (int i = 0; i < r->helds; i++)
            for (int k = 0; k < SL_KEPT_FRAMES; k++)
                if (r->held[i].index == wanted[k]) {
                    frame = held_frame(r, i);
                    keep(r, &frame, &kept[k]);
                }
        return;
    }
    int last = middle > best ? middle : best;
    if (sl_clip_rewind(r->clip, NULL) != SL_OK)
        return;
    while (next_frame(r, &frame) && frame.index <= last)
        for (int k = 0; k < SL_KEPT_FRAMES; k++)
            if (frame.index == wanted[k])
                keep(r, &frame, &kept[k]);
}

static void keep_pleura(reader *r, const float *row)
{
    double *x = SL_NEW(r->arena, SL_BEAMS, double), *y = SL_NEW(r->arena, SL_BEAMS, double);
    if (!x || !y || !row)
        return;
    int points = 0;
    for (int j = 0; j < SL_BEAMS; j++)
        if (isfinite(row[j])) {
            sl_view_to_pixel(&r->result->view, (j + 0.5) / SL_BEAMS, ((double)row[j] + 0.5) / SL_DEPTHS, &x[points],
                             &y[points]);
            points++;
        }
    r->result->pleura_points = points;
    r->result->pleura_x = x;
    r->result->pleura_y = y;
}

/* The line in the kept frames as the evidence of its depth. */
static void show_pleura(reader *r)
{
    enum { STEP = 2 }; /* every second beam is as much as a picture can show */
    const sl_kept_frame *kept = r->result->kept;
    sl_evidence *evidence = SL_NEW(r->arena, SL_KEPT_FRAMES, sl_evidence);
    int evidences = 0;
    for (int k = 0; evidence && k < SL_KEPT_FRAMES; k++) {
        const float *row = kept[k].cell ? sl_segments_line(r->segments, kept[k].source) : NULL;
        double *beam = SL_NEW(r->arena, SL_BEAMS, double), *depth = SL_NEW(r->arena, SL_BEAMS, double);
        if (!row || !beam || !depth || (k && kept[k].source == kept[0].source))
            continue;
        sl_evidence e = {.first_frame = kept[k].source, .last_frame = kept[k].source, .first_time_s = kept[k].time_s,
                         .last_time_s = kept[k].time_s, .first_depth = 1, .beam = beam, .depth = depth,
                         .label = "pleural line"};
        for (int j = 0; j < SL_BEAMS; j += STEP)
            if (isfinite(row[j])) {
                beam[e.points] = (j + 0.5) / SL_BEAMS;
                depth[e.points] = ((double)row[j] + 0.5) / SL_DEPTHS;
                e.first_depth = fmin(e.first_depth, depth[e.points]);
                e.last_depth = fmax(e.last_depth, depth[e.points]);
                e.points++;
            }
        if (!e.points)
            continue;
        e.first_beam = beam[0];
        e.last_beam = beam[e.points - 1];
        evidence[evidences++] = e;
    }
    for (int i = 0; i < r->result->reading->findings; i++) {
        sl_finding *finding = &r->result->reading->finding[i];
        if ((finding->code == SL_PLEURA_DEPTH || finding->code == SL_PLEURA_DEPTH_MM) && finding->known) {
            finding->evidence = evidence;
            finding->evidences = evidences;
        }
    }
}

static void finish(reader *r, const char *colour)
{
    sl_clip_result *result = r->result;
    result->info = *sl_clip_get_info(r->clip);
    result->signs = sl_segments_signs(r->segments);
    result->quality.hold = sl_segments_hold(r->segments);
    result->reading = sl_segments_state(r->segments, result->name, &result->view, r->arena);
    if (!result->reading) {
        result->state = SL_CLIP_FAILED;
        result->reason = "Memory ran out while the clip was read.";
        return;
    }
    if (sl_colour_noticed(&r->colour)) {
        sl_flow flow;
        sl_doubt(SL_CAUSE_COLOUR, 0, result->reading);
        if (r->colour.most_share >= SL_COLOUR_MUCH)
            sl_doubt(SL_CAUSE_COLOUR_MUCH, 0, result->reading);
        if (sl_flow_measure(&r->colour, &result->view, &result->info, sl_straightener_mask(r->straightener), &r->scratch, &flow, &r->error) == SL_OK)
            sl_flow_state(&flow, &r->flow_scale, r->arena, result->reading);
    }
    int middle = sl_segments_nearest_frame(r->segments, result->frames / 2), best = sl_segments_best_frame(r->segments);
    keep_pleura(r, sl_segments_line(r->segments, middle));
    keep_frames(r, middle, best < 0 ? middle : best);
    show_pleura(r);
    sl_segments_coverage(r->segments, r->arena, &result->frame_coverage, &result->frame_time_s, &result->frame_values);
    sl_segments_trace(r->segments, r->arena, &result->trace);
    sl_segments_borders(r->segments, r->arena, result->border);
    result->texture = sl_segments_texture(r->segments, r->arena);
    result->duration_s = sl_segments_duration(r->segments);
    result->state = SL_CLIP_READ;
    const char *damage = sl_clip_damage(r->clip), *before = damage[0] ? damage : result->reason;
    if (damage[0] || colour[0])
        result->reason = sl_arena_printf(r->arena, "%s%s%s", before, before[0] && colour[0] ? " " : "", colour);
}

static void give_up(reader *r, sl_status status)
{
    r->result->state = status == SL_UNREADABLE ? SL_CLIP_UNREADABLE : SL_CLIP_FAILED;
    r->result->reason = sl_arena_text(r->arena, r->error.text);
}

void sl_read_clip(const char *path, const sl_read_options *options, sl_arena *arena, sl_clip_result *result)
{
    static const sl_read_options usual = {.decode_threads = 1};
    double start = now_s();
    memset(result, 0, sizeof *result);
    result->path = sl_arena_text(arena, path);
    result->name = sl_arena_text(arena, sl_path_name(path));
    result->reason = "";
    result->duration_s = SL_UNKNOWN;
    sl_quality_clear(&result->quality);
    reader r = {.options = options ? options : &usual, .arena = arena, .result = result};
    sl_status status = sl_clip_open(path, r.options->decode_threads, &r.clip, &r.error);
    if (status == SL_OK) {
        result->info = *sl_clip_get_info(r.clip);
        if (!(r.segments = sl_segments_new()))
            status = sl_fail(&r.error, SL_MEMORY, "Memory ran out while %s was opened.", result->name);
    }
    if (status == SL_OK)
        status = look_for_view(&r);
    if (status == SL_OK)
        status = read_all(&r);
    char colour[400] = "";
    if (status == SL_OK)
        status = sl_colour_judge(&r.colour, colour, sizeof colour, &r.error);
    if (status == SL_OK)
        finish(&r, colour);
    else
        give_up(&r, status);
    if (!result->reason)
        result->reason = "Memory ran out.";
    sl_segments_free(&r.segments);
    sl_straightener_free(&r.straightener);
    sl_view_finder_free(&r.finder);
    sl_clip_close(&r.clip);
    sl_arena_free(&r.pictures);
    sl_arena_free(&r.scratch);
    result->seconds = now_s() - start;
}
