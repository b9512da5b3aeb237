#include "reading/fluid_content.h"

#include "core/quantile.h"
#include "core/units.h"
#include "reading/blobs.h"
#include "reading/filters.h"
#include "reading/pleura_cells.h"
#include "reading/solid_table.h"

#include <math.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, LINES = 1024 };

/* The work of one block. */
typedef struct plane {
    float *grey, *smooth;     /* [ROWS][BEAMS] */
    uint8_t *inside;          /* cells of the fluid, away from both borders */
    uint8_t *on;              /* cells of bright lines */
    int *room;
    sl_blob *line;            /* [LINES] */
    double *sorted;
    int cells, beams;
} plane;

static void find_inside(const sl_fluid_layer *layer, const uint8_t *mask, int margin, plane *p)
{
    memset(p->inside, 0, SL_CELLS);
    for (int j = 0; j < BEAMS; j++) {
        if (isnan(layer->top[j]) || isnan(layer->bottom[j]))
            continue;
        int first = (int)layer->top[j] + margin, last = (int)(layer->top[j] + CONTENT_SHARE * (layer->bottom[j] - layer->top[j])) - margin / 2;
        int before = p->cells;
        for (int i = first < 4 ? 4 : first; i <= last && i < ROWS - 4; i++)
            if (mask[i * BEAMS + j]) {
                p->inside[i * BEAMS + j] = 1;
                p->cells++;
            }
        p->beams += p->cells > before;
    }
}

static double median_inside(const plane *p, const float *grey)
{
    int n = 0;
    for (int k = 0; k < SL_CELLS; k++)
        if (p->inside[k])
            p->sorted[n++] = (double)grey[k];
    return n ? sl_quantile_nearest(p->sorted, n, 0.5) : 0;
}

/* Cells on a line that is brighter than what lies above and below it, joined over neighbours; a line that crosses enough beams is a
 * septum. Returns how many; the share of the beams goes to `cover`. */
static int find_septa(plane *p, double *cover, sl_fluid_content *best)
{
    static const int reach = CONTENT_SEPTUM_ROWS;
    int count = 0;
    double floor = CONTENT_SEPTUM_OVER * median_inside(p, p->smooth) + CONTENT_SEPTUM_GREY;
    memset(p->on, 0, SL_CELLS);
    for (int i = reach; i < ROWS - reach; i++)
        for (int j = 1; j < BEAMS - 1; j++) {
            int k = i * BEAMS + j;
            float g = p->smooth[k];
            p->on[k] = p->inside[k] && (double)g >= floor && g >= CONTENT_SEPTUM_TIMES * (p->smooth[k - reach * BEAMS] + 1) &&
                       g >= CONTENT_SEPTUM_TIMES * (p->smooth[k + reach * BEAMS] + 1);
        }
    int lines = sl_blobs_find(p->on, p->room, p->line, LINES);
    bool crossed[BEAMS] = {false};
    best->lines = 0;
    for (int a = 0; a < lines; a++) {
        const sl_blob *line = &p->line[a];
        if (line->last_beam - line->first_beam + 1 < CONTENT_SEPTUM_BEAMS)
            continue;
        for (int j = line->first_beam; j <= line->last_beam; j++)
            crossed[j] = true;
        if (best->lines < 4) {
            int n = best->lines++;
            best->first_beam[n] = (double)line->first_beam / BEAMS;
            best->last_beam[n] = (line->last_beam + 1.0) / BEAMS;
            best->first_depth[n] = (double)line->first_row / ROWS;
            best->last_depth[n] = (line->last_row + 1.0) / ROWS;
        }
        count++;
    }
    int n = 0;
    for (int j = 0; j < BEAMS; j++)
        n += crossed[j];
    *cover = p->beams ? (double)n / p->beams : 0;
    return count;
}

sl_status sl_fluid_content_measure(const sl_stack *stack, const sl_pleura *pleura, const sl_fluid_layer *layer, double row_mm,
                                   sl_arena *arena, sl_fluid_content *content, sl_error *error)
{
    memset(content, 0, sizeof *content);
    content->septa_cover = content->septa = content->echo = content->even = SL_UNKNOWN;
    if (!layer->seen || !pleura->mean || stack->frames < 1)
        return SL_OK;
    plane p = {.grey = SL_NEW(arena, SL_CELLS, float), .smooth = SL_NEW(arena, SL_CELLS, float), .inside = SL_NEW(arena, SL_CELLS, uint8_t),
               .on = SL_NEW(arena, SL_CELLS, uint8_t), .room = SL_NEW(arena, SL_CELLS, int), .line = SL_NEW(arena, LINES, sl_blob),
               .sorted = SL_NEW(arena, SL_CELLS, double)};
    double *cover = SL_NEW(arena, pleura->blocks + 1, double), *count = SL_NEW(arena, pleura->blocks + 1, double);
    if (!p.grey || !p.smooth || !p.inside || !p.on || !p.room || !p.line || !p.sorted || !cover || !count)
        return sl_fail(error, SL_MEMORY, "Memory ran out while fluid was measured; close other programs and read the clip again.");
    int margin = row_mm > 0 ? (int)(CONTENT_MARGIN_MM / row_mm + 0.5) : CONTENT_MARGIN_ROWS;
    find_inside(layer, stack->mask, margin < 3 ? 3 : margin, &p);
    if (p.cells < CONTENT_CELLS_LEAST)
        return SL_OK;
    content->cells = p.cells;
    double middle = median_inside(&p, pleura->mean); /* leaves what is inside sorted */
    double spread = (p.sorted[(int)(0.9 * (p.cells - 1))] - p.sorted[(int)(0.1 * (p.cells - 1))]) / 2.563, cv = spread / (middle + 1);
    content->even = 1 / (1 + cv * cv);
    content->echo = middle / fmax(1, (double)sl_pleura_level(pleura->mean, stack->mask));
    sl_filter narrow;
    sl_filter_gauss(0.7f, &narrow);
    int blocks = 0, most = 0, per = pleura->block_frames < 1 ? 1 : pleura->block_frames;
    for (int b = 0; b < pleura->blocks; b++) {
        int first = b * per, last = first + per < stack->frames ? first + per : stack->frames;
        if (last <= first)
            break;
        sl_stack_mean(stack, first, last, p.grey);
        sl_filter_rows(&narrow, p.grey, ROWS, p.smooth);
        sl_fluid_content here = {0};
        int n = find_septa(&p, &cover[blocks], &here);
        count[blocks++] = n;
        if (n > most) {
            most = n;
            content->lines = here.lines;
            memcpy(content->first_beam, here.first_beam, sizeof here.first_beam);
            memcpy(content->last_beam, here.last_beam, sizeof here.last_beam);
            memcpy(content->first_depth, here.first_depth, sizeof here.first_depth);
            memcpy(content->last_depth, here.last_depth, sizeof here.last_depth);
        }
    }
    if (blocks) {
        content->septa_cover = sl_quantile_nearest(cover, blocks, 0.5);
        content->septa = sl_quantile_nearest(count, blocks, 0.5);
    }
    return SL_OK;
}

double sl_septa_index(const sl_fluid_content *content)
{
    return content->cells > 0 ? content->septa_cover / (content->septa_cover + CONTENT_SEPTA_HALF) : SL_UNKNOWN;
}

double sl_particles_index(const sl_fluid_content *content)
{
    return content->cells > 0 ? content->echo / (content->echo + CONTENT_ECHO_HALF) : SL_UNKNOWN;
}
