/* DICOM files as clips. */
#include "clip/format.h"
#include "core/text.h"
#include "dicom/ahead.h"
#include "dicom/deid.h"
#include "dicom/dicom.h"
#include "dicom/file.h"
#include "dicom/pixels.h"
#include "dicom/video.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct dicom_state {
    char *name;         /* owned, for sentences */
    sl_clip_info *info; /* the clip's */
    sl_dicom_file *file;
    const sl_dicom_facts *facts;
    sl_dicom_pixels *pixels; /* owned */
    sl_ahead *ahead;         /* owned, NULL unless frames decode ahead */
    sl_dicom_video *video;   /* owned, NULL unless the pixels are one video stream */
    uint8_t *samples;        /* owned, one frame */
    size_t size;
    int index;          /* next frame */
    double time_s;      /* of the next frame */
    sl_frame first;     /* decoded at opening, not handed out yet, where `holds_first` */
    bool holds_first;
    int lost, patched;
    char damage[512];
} dicom_state;

/* "DICM" behind the preamble (PS3.10 7.1), or, as old exports have it, a data set that starts at once with group 0002 or
 * 0008 in little endian. */
static bool detects(const uint8_t *head, size_t length)
{
    if (length >= 132 && !memcmp(head + 128, "DICM", 4))
        return true;
    return length >= 132 && (head[0] == 0x02 || head[0] == 0x08) && !head[1] && head[2] < 0x20 && !head[3] &&
           ((head[4] >= 'A' && head[4] <= 'Z' && head[5] >= 'A' && head[5] <= 'Z') ||
            (!head[5] && !head[6] && !head[7])); /* explicit, or a length below 256 */
}

static sl_status unsupported(const dicom_state *state, const char *what, sl_error *error)
{
    return sl_fail(error, SL_UNSUPPORTED, "%s stores its pictures as %s, which is not read. Export it uncompressed or as "
                                          "JPEG.",
                   state->name, what);
}

static sl_status by_samples(dicom_state *state, int frame, sl_frame *picture, sl_error *error)
{
    char photometric[17];
    sl_status status = sl_dicom_file_samples(state->file, frame, state->samples, state->size, photometric, error);
    if (status)
        return status;
    status = sl_dicom_pixels_picture(state->pixels, state->samples, photometric, picture);
    if (status == SL_UNSUPPORTED)
        return unsupported(state, photometric, error);
    if (status)
        return sl_fail(error, status, "Memory ran out while decoding %s. Close other programs and try again.", state->name);
    return SL_OK;
}

/* Grey JPEG that is shown as it is stored; anything else (windows, 12 bits) takes the slow, general way. */
static bool decodes_ahead(const sl_dicom_facts *facts)
{
    bool plain_grey = facts->samples == 1 && isnan(facts->window_width) && facts->bits_stored == 8 &&
                      !strcmp(facts->photometric, "MONOCHROME2");
    return facts->coding == SL_DICOM_JPEG2000 ||
           (facts->coding == SL_DICOM_JPEG && facts->bits_allocated == 8 && (facts->samples == 3 || plain_grey));
}

static sl_status by_ahead(dicom_state *state, int frame, sl_frame *picture, sl_error *error)
{
    bool patched, is_jpeg = state->facts->coding == SL_DICOM_JPEG;
    sl_status status = sl_ahead_frame(state->ahead, frame, picture, &patched);
    if (status == SL_UNSUPPORTED)
        return is_jpeg ? by_samples(state, frame, picture, error) : unsupported(state, "unusual JPEG 2000", error);
    state->patched += !status && patched;
    if (status)
        return sl_fail(error, status, status == SL_MEMORY
                                          ? "Memory ran out while decoding %s. Close other programs and try again."
                                          : "%s is a DICOM file whose JPEG pictures are damaged. Send or export it again.",
                       state->name);
    return SL_OK;
}

static sl_status decode(dicom_state *state, int frame, sl_frame *picture, sl_error *error)
{
    if (state->ahead)
        return by_ahead(state, frame, picture, error);
    return by_samples(state, frame, picture, error);
}

/* The next frame that can be decoded; damaged ones are counted and left out. */
static sl_status advance(dicom_state *state, sl_frame *frame, bool *got, sl_error *error)
{
    for (*got = false; state->index < state->facts->frames; state->index++) {
        const double *increment = state->facts->increment_s;
        if (state->index)
            state->time_s += increment ? increment[state->index] : state->facts->frame_time_s;
        sl_status status = decode(state, state->index, frame, error);
        if (status == SL_FORMAT) {
            state->lost++;
            continue;
        }
        if (status)
            return status;
        frame->index = state->index;
        frame->time_s = !state->info->times_known ? NAN
                        : increment               ? state->time_s
                                                  : state->index * state->facts->frame_time_s;
        state->index++;
        *got = true;
        return SL_OK;
    }
    return SL_OK;
}

static void dicom_close(void *opaque)
{
    dicom_state *state = opaque;
    sl_ahead_free(state->ahead); /* uses the file */
    sl_dicom_video_close(state->video);
    sl_dicom_file_close(&state->file);
    sl_dicom_pixels_free(state->pixels);
    free(state->samples);
    free(state->name);
    free(state);
}

static void fill_info(dicom_state *state)
{
    const sl_dicom_facts *facts = state->facts;
    sl_clip_info *info = state->info;
    info->width = facts->width;
    info->height = facts->height;
    info->frames_stated = facts->frames;
    info->is_still = facts->frames == 1;
    info->times_known = !info->is_still && isfinite(facts->frame_time_s);
    info->frame_rate_hz = info->times_known ? 1 / facts->frame_time_s : NAN;
    info->pixel_aspect = facts->pixel_aspect;
    snprintf(info->format, sizeof info->format, "dicom");
    info->regions = facts->regions;
    memcpy(info->region, facts->region, sizeof info->region);
    info->acquisition = facts->acquisition;
}

/* The stream's own rate serves where the header has none. */
static sl_status prepare_video(dicom_state *state, int threads, sl_error *error)
{
    sl_status status = sl_dicom_video_open(state->file, state->name, threads, &state->video, error);
    if (!status && !state->info->times_known) {
        const sl_clip_info *stream = sl_dicom_video_info(state->video);
        state->info->times_known = stream->times_known;
        state->info->frame_rate_hz = stream->frame_rate_hz;
    }
    return status;
}

static sl_status next_of_video(dicom_state *state, sl_frame *frame, bool *got, sl_error *error)
{
    sl_status status = sl_dicom_video_next(state->video, frame, got, error);
    if (status || !*got)
        return status;
    const sl_dicom_facts *facts = state->facts;
    if (state->index && facts->increment_s && state->index < facts->frames)
        state->time_s += facts->increment_s[state->index];
    frame->index = state->index++;
    if (isfinite(facts->frame_time_s))
        frame->time_s = facts->increment_s ? state->time_s : frame->index * facts->frame_time_s;
    return SL_OK;
}

static sl_status prepare(dicom_state *state, int threads, sl_error *error)
{
    state->facts = sl_dicom_file_facts(state->file);
    fill_info(state);
    if (state->facts->coding == SL_DICOM_VIDEO)
        return prepare_video(state, threads, error);
    state->size = sl_dicom_file_frame_size(state->file);
    state->samples = malloc(state->size);
    state->pixels = sl_dicom_pixels_new(state->facts);
    bool ahead = decodes_ahead(state->facts);
    state->ahead = ahead ? sl_ahead_new(state->file, threads) : NULL;
    if (!state->samples || !state->pixels || (ahead && !state->ahead))
        return sl_fail(error, SL_MEMORY, "Memory ran out while opening %s. Close other programs and try again.",
                       state->name);
    sl_status status = advance(state, &state->first, &state->holds_first, error);
    if (!status && !state->holds_first)
        status = sl_fail(error, SL_FORMAT, "%s is a DICOM file none of whose %d frames can be decoded. Send or export it "
                                           "again.",
                         state->name, state->facts->frames);
    return status;
}

static sl_status dicom_open(const char *path, int threads, sl_clip_info *info, void **result, sl_error *error)
{
    dicom_state *state = calloc(1, sizeof *state);
    if (state)
        state->name = strdup(sl_path_name(path));
    if (!state || !state->name) {
        free(state);
        return sl_fail(error, SL_MEMORY, "Memory ran out while opening %s. Close other programs and try again.",
                       sl_path_name(path));
    }
    state->info = info;
    sl_status status = sl_dicom_file_open(path, &state->file, error);
    if (!status)
        status = prepare(state, threads, error);
    if (status)
        dicom_close(state);
    else
        *result = state;
    return status;
}

static sl_status dicom_next(void *opaque, sl_frame *frame, bool *got, sl_error *error)
{
    dicom_state *state = opaque;
    sl_status status = SL_OK;
    *got = state->holds_first;
    if (state->video)
        status = next_of_video(state, frame, got, error);
    else if (state->holds_first)
        *frame = state->first;
    else
        status = advance(state, frame, got, error);
    state->holds_first = false;
    if (!status && *got)
        state->info->has_colour = state->info->has_colour || frame->cb;
    return status;
}

static sl_status dicom_rewind(void *opaque, sl_error *error)
{
    dicom_state *state = opaque;
    if (state->video) {
        state->index = 0;
        state->time_s = 0;
        return sl_dicom_video_rewind(state->video, error);
    }
    if (!state->holds_first) {
        state->index = state->lost = state->patched = 0;
        state->time_s = 0;
    }
    return SL_OK;
}

static const char *dicom_damage(void *opaque)
{
    dicom_state *state = opaque;
    char *at = state->damage;
    size_t room = sizeof state->damage;
    int length = 0, lost = state->lost;
    bool broke_off = sl_dicom_file_broke_off(state->file);
    *at = 0;
    if (state->video) {
        if (state->index && state->index < state->facts->frames)
            snprintf(at, room, "The video stream holds %d of %d frames; send or export it again to have them all.", state->index,
                     state->facts->frames);
        else
            snprintf(at, room, "%s", sl_dicom_video_damage(state->video));
        return state->damage;
    }
    if (broke_off) {
        length += snprintf(at, room, "The file ends early, after %d of %d frames; send or export it again to have them all. ",
                           state->index - lost, sl_dicom_file_stated(state->file));
        lost = 0; /* told with it */
    }
    if (lost)
        length += snprintf(at + length, room - (size_t)length,
                           "%d frames are damaged beyond decoding and were left out. ", lost);
    if (state->patched)
        length += snprintf(at + length, room - (size_t)length,
                           "%d frames are damaged and were patched up by the decoder. ", state->patched);
    if (length)
        at[length - 1] = 0;
    return state->damage;
}

static const sl_clip_format dicom_format = {.name = "dicom",
                                            .detects = detects,
                                            .open = dicom_open,
                                            .next = dicom_next,
                                            .rewind = dicom_rewind,
                                            .damage = dicom_damage,
                                            .close = dicom_close};

void sl_dicom_join(void)
{
    sl_clip_add_format(&dicom_format);
}

bool sl_dicom_is_file(const char *path)
{
    uint8_t head[SL_CLIP_HEAD];
    FILE *file = fopen(path, "rb");
    size_t length = file ? fread(head, 1, sizeof head, file) : 0;
    if (file)
        fclose(file);
    return detects(head, length);
}
