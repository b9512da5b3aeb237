#include "chest/truth_bronchi.h"

#include "chest/private.h"
#include "chest/truth_table.h"

#include <math.h>

/* What the bronchi of solid lung show: each bubble (or, with fluid, each piece of tube) counts where it lies in the picture, in lung
 * that is solid there, beside the ribs, and bright or dark enough against what these settings leave. */

enum { LOOKED_AT = 40 }; /* frames of a clip, evenly: a breath is slower */

typedef struct piece {
    double beam, depth; /* of 1, as in sl_view */
    bool shown;
} piece;

static double moved_mm(const sl_consolidation *c, double breath)
{
    return c->bronchogram == SL_BRONCHO_AIR_MOVING ? c->bronchogram_move_mm * (breath - 0.5) : 0;
}

/* One piece at one moment; false where it is not in solid lung or cannot be seen. */
static bool look(sl_chest *chest, const sl_pose *pose, int which, const sl_bubble *b, piece *seen)
{
    const sl_scenario *sc = chest->scenario;
    const sl_controls *k = &sc->controls;
    const sl_consolidation *c = &sc->consolidation[which];
    double x = (double)b->x_mm + pose->lung_mm, column = x / chest->column_mm + 0.5 * (chest->columns - 1);
    double share = column / (chest->columns - 1);
    if (!(b->amplitude > 0) || share < sc->wall.lost_left || share > 1 - sc->wall.lost_right || share < 0 || share > 1 ||
        sl_chest_rib_block(chest, pose, x) > 0.5)
        return false;
    int owner = -1;
    bool fluid = c->bronchogram == SL_BRONCHO_FLUID;
    double solid = sl_chest_solid(chest, (double)b->x_mm, &owner), z = (double)b->z_mm + moved_mm(c, pose->breath);
    if (owner != which || z < (fluid ? 2 : 1) || z > solid - (fluid ? 2 : 0.5))
        return false;
    double depth = sl_chest_pleura(chest, pose, x) + sl_chest_fluid(chest, pose, x) + z;
    if (depth >= k->depth_mm || depth <= k->crop_top_mm)
        return false;
    double heard = sl_chest_heard_to(chest, pose, column, chest->bench[0], depth);
    int i = (int)(depth / chest->sample_mm);
    double sigma = (double)chest->sigma_mm[i], gain = sl_level_db((double)chest->depth_gain[i]);
    /* A bubble is narrower than the beam, which takes a part of it; of a tube its tissue must be seen around it. */
    double amplitude = fluid ? chest->scatter[SL_LUNG_CONSOLIDATED] : (double)b->amplitude * SL_AIR_MM / hypot(SL_AIR_MM, sigma);
    double level = sl_level_db(heard * amplitude) + gain, noise = sl_level_db(chest->noise) + gain;
    double tissue = fluid ? -INFINITY : sl_level_db(heard * chest->scatter[SL_LUNG_CONSOLIDATED]) + gain;
    seen->beam = k->mirrored ? 1 - share : share;
    seen->depth = (depth - k->crop_top_mm) / (k->depth_mm - k->crop_top_mm);
    seen->shown = level > -k->dynamic_range_db + SL_SEEN_FLOOR_DB && level > fmax(noise, tissue) + SL_SEEN_OVER_DB;
    return true;
}

static void say(sl_finding *f, bool there, bool shown, const char *why)
{
    f->known = true;
    f->value = f->low = f->high = there ? 1 : 0;
    f->answer = there ? SL_PRESENT : SL_ABSENT;
    f->confidence = !there || shown ? 1 : 0;
    f->reason = there && !shown ? why : "";
}

/* The pieces that are seen in the frame, as the evidence. */
static void show(sl_chest *chest, const sl_pose *pose, int which, int frame, sl_arena *arena, sl_finding *f)
{
    double *beam = SL_NEW(arena, SL_MOST_BUBBLES, double), *depth = SL_NEW(arena, SL_MOST_BUBBLES, double);
    sl_evidence *e = SL_NEW(arena, 1, sl_evidence);
    if (!beam || !depth || !e)
        return;
    *e = (sl_evidence){.first_frame = frame, .last_frame = frame, .first_time_s = pose->time_s, .last_time_s = pose->time_s,
                       .first_beam = 1, .first_depth = 1, .beam = beam, .depth = depth, .label = "bronchi"};
    for (int i = 0; i < SL_MOST_BUBBLES; i++) {
        piece p;
        if (!look(chest, pose, which, &chest->bubble[which][i], &p) || !p.shown)
            continue;
        beam[e->points] = p.beam;
        depth[e->points++] = p.depth;
        e->first_beam = fmin(e->first_beam, p.beam);
        e->last_beam = fmax(e->last_beam, p.beam);
        e->first_depth = fmin(e->first_depth, p.depth);
        e->last_depth = fmax(e->last_depth, p.depth);
    }
    f->evidence = e;
    f->evidences = e->points > 0;
}

void sl_chest_bronchi_truth(sl_chest *chest, int frames, sl_arena *arena, sl_reading *reading)
{
    const sl_scenario *sc = chest->scenario;
    sl_finding *air = sl_reading_put(reading, SL_AIR_BRONCHOGRAM), *moves = sl_reading_put(reading, SL_AIR_BRONCHOGRAM_MOVES);
    sl_finding *fluid = sl_reading_put(reading, SL_FLUID_BRONCHOGRAM), *travel = sl_reading_put(reading, SL_AIR_BRONCHOGRAM_TRAVEL);
    bool there[2] = {false}, shown[2] = {false};
    double most = 0;
    int step = frames / LOOKED_AT + 1;
    for (int w = 0; w < sc->consolidations; w++) {
        const sl_consolidation *c = &sc->consolidation[w];
        if (c->bronchogram == SL_BRONCHO_NONE)
            continue;
        bool wet = c->bronchogram == SL_BRONCHO_FLUID;
        int held = 0, best = 0, best_frame = 0, looked = 0;
        double low = INFINITY, high = -INFINITY;
        for (int t = 0; t < frames; t += step, looked++) {
            sl_pose pose;
            piece p;
            int here = 0;
            sl_pose_at(sc, t / sc->controls.frame_rate_hz, &pose);
            low = fmin(low, moved_mm(c, pose.breath));
            high = fmax(high, moved_mm(c, pose.breath));
            for (int i = 0; i < SL_MOST_BUBBLES; i++)
                if (look(chest, &pose, w, &chest->bubble[w][i], &p)) {
                    there[wet] = true;
                    here += p.shown;
                }
            held += here >= SL_BRONCHI_SEEN;
            if (here > best) {
                best = here;
                best_frame = t;
            }
        }
        if (2 * held > looked) {
            sl_pose pose;
            sl_pose_at(sc, best_frame / sc->controls.frame_rate_hz, &pose);
            show(chest, &pose, w, best_frame, arena, wet ? fluid : air);
            shown[wet] = true;
        }
        if (!wet)
            most = fmax(most, high - low);
    }
    static const char *const hidden = "too few bronchi are seen between the ribs and above the noise with these settings";
    say(air, there[0], shown[0], hidden);
    say(fluid, there[1], shown[1], hidden);
    say(moves, there[0] && most > SL_BRONCHI_MOVE_MM, shown[0], hidden);
    if (there[0]) {
        say(travel, true, shown[0], hidden);
        travel->answer = SL_UNCERTAIN;
        travel->value = travel->low = travel->high = most;
    } else {
        travel->reason = "no air bronchogram";
    }
}
