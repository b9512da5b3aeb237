#include "reading/bronchogram_points.h"

#include "core/order.h"
#include "reading/bronchogram_table.h"
#include "reading/track.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS = SL_DEPTHS, BEAMS = SL_BEAMS, SAMPLES = 2048 };

/* Sums over the cells of the region from the left and above, of grey and of their number; a row more than the region's last is filled. */
static void add_up(const float *grey, const sl_solid_region *region, float *restrict sum, float *restrict count)
{
    const int begin = region->first, end = region->last < ROWS - 1 ? region->last : ROWS - 1;
    for (int j = 0; j < BEAMS; j++)
        sum[begin * BEAMS + j] = count[begin * BEAMS + j] = 0;
    float *above_sum = sum + begin * BEAMS, *above_count = count + begin * BEAMS;
    for (int i = begin; i < end; i++) {
        float s = 0, n = 0;
        float *restrict to_sum = sum + (i + 1) * BEAMS, *restrict to_count = count + (i + 1) * BEAMS;
        for (int j = 0; j < BEAMS; j++) {
            int c = i * BEAMS + j;
            s += region->in[c] ? grey[c] : 0;
            n += (float)region->in[c];
            to_sum[j] = above_sum[j] + s;
            to_count[j] = above_count[j] + n;
        }
        above_sum = to_sum;
        above_count = to_count;
    }
}

static float box(const float *sum, int top, int bottom, int left, int right)
{
    float a = sum[bottom * BEAMS + right], b = sum[top * BEAMS + right];
    float c = left > 0 ? sum[bottom * BEAMS + left - 1] : 0, d = left > 0 ? sum[top * BEAMS + left - 1] : 0;
    return a - b - c + d;
}

static int by_sure(const void *a, const void *b)
{
    float x = ((const sl_point *)a)->sure, y = ((const sl_point *)b)->sure;
    return (x < y) - (x > y);
}

int sl_points_find(const float *grey, const sl_solid_region *region, float *room, sl_point *point)
{
    enum { CANDIDATES = 512 };
    sl_point found[CANDIDATES];
    double spread[SAMPLES];
    float *sum = room, *count = room + SL_CELLS;
    int samples = 0, candidates = 0, points = 0, step = region->cells / SAMPLES + 1, cell = 0;
    int up = sl_solid_region_rows(region, BRONCHI_RING_MM, BRONCHI_RING_ROWS);
    const int end = region->last < ROWS - 1 ? region->last : ROWS - 1; /* rows that are added up */
    add_up(grey, region, sum, count);
    for (int i = region->first; i < end; i++) {
        int side = sl_solid_region_beams(region, i, BRONCHI_RING_MM, BRONCHI_RING_BEAMS);
        int top = i - up < region->first ? region->first : i - up, bottom = i + up + 1 > end ? end : i + up + 1;
        for (int j = 0; j < BEAMS; j++) {
            int c = i * BEAMS + j;
            if (!region->in[c])
                continue;
            bool peak = i > 0 && i < ROWS - 1 && j > 0 && j < BEAMS - 1 && grey[c] >= grey[c - 1] && grey[c] > grey[c + 1] &&
                        grey[c] >= grey[c - BEAMS] && grey[c] > grey[c + BEAMS];
            bool sample = cell++ % step == 0 && samples < SAMPLES;
            if (!peak && !sample)
                continue;
            int left = j - side < 0 ? 0 : j - side, right = j + side > BEAMS - 1 ? BEAMS - 1 : j + side;
            float mean = box(sum, top, bottom, left, right) / fmaxf(1, box(count, top, bottom, left, right));
            if (sample)
                spread[samples++] = (double)(grey[c] - mean);
            if (peak && candidates < CANDIDATES)
                found[candidates++] = (sl_point){(float)i + sl_peak_off(grey[c - BEAMS], grey[c], grey[c + BEAMS]),
                                                 (float)j + sl_peak_off(grey[c - 1], grey[c], grey[c + 1]), grey[c] - mean};
        }
    }
    if (samples < 50)
        return 0;
    qsort(spread, (size_t)samples, sizeof *spread, sl_by_double);
    double middle = spread[samples / 2], wide = fmax(spread[(int)(0.84 * samples)] - middle, 1);
    qsort(found, (size_t)candidates, sizeof *found, by_sure);
    int apart = sl_solid_region_rows(region, BRONCHI_APART_MM, BRONCHI_MARGIN_ROWS);
    for (int k = 0; k < candidates && points < SL_POINTS_MOST; k++) {
        found[k].sure = (float)(((double)found[k].sure - middle) / wide);
        if (found[k].sure < BRONCHI_POINT_SURE)
            break;
        bool alone = true;
        int side = sl_solid_region_beams(region, (int)found[k].row, BRONCHI_APART_MM, BRONCHI_MARGIN_ROWS / 2);
        for (int p = 0; p < points && alone; p++)
            alone = fabsf(point[p].row - found[k].row) > (float)apart || fabsf(point[p].beam - found[k].beam) > (float)side;
        if (alone)
            point[points++] = found[k];
    }
    return points;
}

/* A tube is dark against what lies about it, and closed: it touches no edge of the region, where shadows and what is behind begin. */
int sl_tubes_find(const float *grey, const sl_solid_region *region, float *room, uint8_t *on, int *label, sl_point *point, sl_blob *kept)
{
    enum { BLOBS = 256 };
    sl_blob blob[BLOBS];
    float *sum = room, *count = room + SL_CELLS;
    int up = sl_solid_region_rows(region, BRONCHI_RING_MM, BRONCHI_RING_ROWS), points = 0;
    int thick = sl_solid_region_rows(region, TUBE_THICK_MM, TUBE_THICK_ROWS), thin = sl_solid_region_rows(region, TUBE_THIN_MM, TUBE_THIN_ROWS);
    memset(on, 0, SL_CELLS);
    const int end = region->last < ROWS - 1 ? region->last : ROWS - 1; /* rows that are added up */
    add_up(grey, region, sum, count);
    for (int i = region->first; i < end; i++) {
        int side = sl_solid_region_beams(region, i, BRONCHI_RING_MM, BRONCHI_RING_BEAMS);
        int top = i - up < region->first ? region->first : i - up, bottom = i + up + 1 > end ? end : i + up + 1;
        for (int j = 0; j < BEAMS; j++) {
            int left = j - side < 0 ? 0 : j - side, right = j + side > BEAMS - 1 ? BEAMS - 1 : j + side;
            if (region->in[i * BEAMS + j])
                on[i * BEAMS + j] = grey[i * BEAMS + j] < TUBE_DARK * box(sum, top, bottom, left, right) / fmaxf(1, box(count, top, bottom, left, right));
        }
    }
    int blobs = sl_blobs_find(on, label, blob, BLOBS);
    for (int k = 0; k < blobs && points < SL_POINTS_MOST; k++) {
        const sl_blob *b = &blob[k];
        int row = (int)(b->row + 0.5), beam = (int)(b->beam + 0.5), high = b->last_row - b->first_row + 1;
        double area = region->row_mm > 0 ? b->cells * region->row_mm * (double)region->beam_mm[row] : b->cells;
        if (high < thin || area < (region->row_mm > 0 ? TUBE_AREA_MM2 : TUBE_AREA_CELLS) || b->cells > thick * (b->last_beam - b->first_beam + 1))
            continue;
        /* What is dark and closed has tissue on all four sides. */
        bool closed = b->first_beam > 0 && b->last_beam < BEAMS - 1 && b->first_row > 0 && b->last_row < ROWS - 1 &&
                      region->in[(b->first_row - 1) * BEAMS + beam] && region->in[(b->last_row + 1) * BEAMS + beam] &&
                      region->in[row * BEAMS + b->first_beam - 1] && region->in[row * BEAMS + b->last_beam + 1];
        if (!closed)
            continue;
        kept[points] = *b;
        point[points++] = (sl_point){(float)b->row, (float)b->beam, (float)area};
    }
    return points;
}

/* Where the track would be in this block: where it was last seen. */
static const sl_point *latest(const sl_point_track *t)
{
    return &t->at[t->last];
}

/* A new track, or one that ended before it had lasted; -1 when all are needed. */
static int free_track(const sl_point_tracks *tracks, int block)
{
    if (tracks->tracks < SL_POINT_TRACKS)
        return tracks->tracks;
    for (int t = 0; t < SL_POINT_TRACKS; t++)
        if (block - tracks->track[t].last > BRONCHI_GAP && tracks->track[t].last - tracks->track[t].first < BRONCHI_BLOCKS_LEAST)
            return t;
    return -1;
}

bool sl_points_join(const sl_point *point, int points, int block, int blocks, const sl_solid_region *region, sl_arena *arena,
                    sl_point_tracks *tracks)
{
    bool used[SL_POINT_TRACKS] = {false};
    for (int p = 0; p < points; p++) {
        int best = -1;
        float nearest = 1;
        float rows = (float)sl_solid_region_rows(region, BRONCHI_STEP_MM, BRONCHI_MARGIN_ROWS);
        float beams = (float)sl_solid_region_beams(region, (int)point[p].row, BRONCHI_STEP_MM, BRONCHI_MARGIN_ROWS / 2);
        for (int t = 0; t < tracks->tracks; t++) {
            const sl_point_track *k = &tracks->track[t];
            if (used[t] || block - k->last > BRONCHI_GAP)
                continue;
            float dr = (point[p].row - latest(k)->row) / rows, db = (point[p].beam - latest(k)->beam) / beams;
            float off = dr * dr + db * db;
            if (off < nearest) {
                nearest = off;
                best = t;
            }
        }
        if (best < 0) {
            if ((best = free_track(tracks, block)) < 0)
                continue;
            sl_point *at = best < tracks->tracks ? tracks->track[best].at : SL_NEW(arena, blocks, sl_point);
            if (!at)
                return false;
            tracks->tracks += best == tracks->tracks;
            memset(at, 0, sizeof *at * (size_t)blocks);
            tracks->track[best] = (sl_point_track){.first = block, .at = at, .id = ++tracks->ids};
        }
        sl_point_track *k = &tracks->track[best];
        used[best] = true;
        k->at[block] = point[p];
        k->sure = (k->sure * k->seen + (double)point[p].sure) / (k->seen + 1);
        k->last = block;
        k->seen++;
    }
    return true;
}
