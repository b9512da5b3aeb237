#include "chest/private.h"
#include "chest/random.h"
#include "chest/truth_table.h"
#include "core/units.h"

/* What lies behind the pleura along a beam: aerated lung, air, fluid, solid lung, the organs below the diaphragm, the
 * heart. */

static double amplitude(double db)
{
    return pow(10, db / 20);
}

static double reflection(sl_medium_id from, sl_medium_id to)
{
    double a = sl_medium_impedance_mrayl(from), b = sl_medium_impedance_mrayl(to);
    return (b - a) / (b + a);
}

double sl_chest_fluid(const sl_chest *chest, const sl_pose *pose, double x)
{
    const sl_effusion *e = &chest->scenario->effusion;
    if (e->depth_mm <= 0)
        return 0;
    /* Inspiration spreads the lung and thins the layer; its inner border follows the lung's shape. */
    double d = e->depth_mm - e->swing_mm * (pose->breath - 0.5);
    double half = 0.5 * chest->columns * chest->column_mm;
    return fmax(d * (1 + 0.12 * x / half) + 0.06 * d * sl_chest_noise(chest, chest->seed ^ 0x666C, (x - pose->lung_mm) / 22), 0);
}

double sl_chest_solid(const sl_chest *chest, double s, int *which)
{
    const sl_scenario *sc = chest->scenario;
    double best = 0;
    for (int i = 0; i < sc->consolidations; i++) {
        const sl_consolidation *c = &sc->consolidation[i];
        double u = (s - c->x_mm) / (0.5 * c->width_mm);
        if (fabs(u) >= 1)
            continue;
        double shape = pow(1 - u * u * u * u, 0.5);
        uint64_t key = chest->seed ^ (0x736F + (uint64_t)i);
        double torn = 0.5 * sl_chest_noise(chest, key, s / 5) + 0.3 * sl_chest_noise(chest, key + 1, s / 2) +
                      0.2 * sl_chest_noise(chest, key + 2, s / 0.8);
        double z = c->depth_mm * shape * (1 + c->shred * 0.7 * torn) + 0.01 * c->depth_mm * sl_chest_noise(chest, key + 3, s / 9);
        if (z > best) {
            best = z;
            *which = i;
        }
    }
    return best;
}

double sl_chest_base_edge(const sl_chest *chest, const sl_pose *pose)
{
    const sl_base *b = &chest->scenario->base;
    return b->edge_mm + b->swing_mm * (pose->breath - 0.5) + pose->sway_mm;
}

double sl_chest_diaphragm_mm(const sl_chest *chest, const sl_pose *pose)
{
    const sl_diaphragm *d = &chest->scenario->diaphragm;
    return d->thickness_mm * (1 + d->thickening * pose->breath);
}

/* The dome is a part of a sphere around a place nearer to the probe: it is seen from its hollow side. */
double sl_chest_dome(const sl_chest *chest, const sl_pose *pose, double x)
{
    const sl_diaphragm *d = &chest->scenario->diaphragm;
    if (d->dome_mm <= 0)
        return NAN;
    double face = chest->polar ? chest->face_mm : 0, angle = chest->polar ? x / (face + chest->pleura_mm) : 0;
    double from_x = chest->polar ? 0 : x, along_x = sin(angle), along_y = cos(angle);
    double to_x = d->aside_mm + pose->sway_mm - from_x, to_y = face + d->dome_mm - d->excursion_mm * pose->breath - d->radius_mm;
    double along = to_x * along_x + to_y * along_y, left = along * along - to_x * to_x - to_y * to_y + d->radius_mm * d->radius_mm;
    return left > 0 ? along + sqrt(left) - face : NAN;
}

double sl_chest_air_edge(const sl_chest *chest, const sl_pose *pose)
{
    const sl_pneumothorax *p = &chest->scenario->pneumothorax;
    return p->edge_mm + p->swing_mm * (pose->lung_breath - 0.5) + pose->sway_mm;
}

/* A reflector that is smooth in part: coherent share by its tilt, the rest speckled in its own coordinates. */
static void surface(const sl_chest *chest, sl_ray *ray, double at_mm, double reflect, double rough, double slope,
                    uint64_t key, double own_x)
{
    double coherent = exp(-2 * rough * rough), diffuse = 0.10 + 0.45 * rough;
    double straight = coherent * sl_chest_directivity(chest, at_mm, slope);
    double gr = sl_chest_noise(chest, key, own_x / 0.7), gi = sl_chest_noise(chest, key + 5, own_x / 0.7);
    sl_ray_echo(ray, chest, at_mm, reflect * (straight + diffuse * gr), reflect * diffuse * gi);
}

double sl_chest_band_mm(const sl_chest *chest)
{
    return 7 * 1.54 / chest->receive_mhz;
}

/* What sound scattered many times at a surface draws below it lies further down the same beams: it goes sideways by as many as the surface. */
static void drawn_below(const sl_chest *chest, sl_ray *ray, double surface_mm, double from, double to, uint32_t field, double shift,
                        double shift_depth, double gain)
{
    double fan = sl_spread(chest, 0.5 * (from + to)) / sl_spread(chest, surface_mm);
    sl_ray_segment(ray, chest, from, to, SL_AIR_BODY, field, shift * fan, shift_depth, gain);
}

/* Aerated lung from its surface on: mirror, sources of vertical artifacts, haze. */
static void aerated(const sl_chest *chest, const sl_pose *pose, double x, double steer, double at_mm, double slope,
                    double extra_rough, sl_ray *ray)
{
    const sl_lung *lung = &chest->scenario->lung;
    double s = x - pose->lung_mm, rough = fmin(lung->roughness + extra_rough, 1);
    double reflect = reflection(SL_MUSCLE, SL_LUNG_AERATED); /* as an effective fluid: -0.645, sheet A2 */
    /* A ragged surface is also bumpy: a fraction of a millimetre, in the lung's coordinates. */
    double bump = rough * rough * 0.9 * sl_chest_noise(chest, chest->seed ^ 0x6275, s / 1.6);
    surface(chest, ray, at_mm + bump, reflect, rough, slope - tan(steer), chest->seed ^ 0x706C, s);
    ray->mirror_at = (float)(at_mm / chest->sample_mm);
    double phase = rough * 2.0 * sl_chest_noise(chest, chest->seed ^ 0x7068, s / 1.5);
    double strength = reflect * exp(-2 * rough * rough);
    ray->mirror_re = (float)(strength * cos(phase));
    ray->mirror_im = (float)(strength * sin(phase));
    ray->mirror_tilt = (float)sl_chest_directivity(chest, at_mm, slope - tan(steer));
    ray->ring_at = ray->mirror_at;
    ray->lung_x = s;
    /* The outermost alveoli scatter many times and thicken the line, over some seven wavelengths down to the haze
     * (thickness by eye on clinical pictures, common practice, no source). */
    double haze = fmax(amplitude(lung->haze_db) * (1 + 0.3 * sl_chest_noise(chest, chest->seed ^ 0x687A, s / 6)), 1e-5);
    double band = sl_chest_band_mm(chest), first = fmax(amplitude(-12), haze), end = chest->samples * chest->sample_mm;
    drawn_below(chest, ray, at_mm, at_mm + 0.1, at_mm + band, 33, pose->lung_mm, pose->pleura_mm, first);
    ray->segment[ray->segments - 1].decay = (float)(log(first / haze) * chest->sample_mm / (band - 0.1));
    drawn_below(chest, ray, at_mm, at_mm + band, end, 30, pose->lung_mm, pose->pleura_mm, haze);
    ray->segment[ray->segments - 1].decay = (float)(lung->haze_decay_db_cm / 8.685889638 * chest->sample_mm / 10);
}

static void free_air(const sl_chest *chest, const sl_pose *pose, double x, double steer, double at_mm, double slope, sl_ray *ray)
{
    double own = x - pose->sway_mm; /* the parietal pleura does not slide */
    double reflect = reflection(SL_MUSCLE, SL_AIR_BODY);
    surface(chest, ray, at_mm, reflect, 0.12, slope - tan(steer), chest->seed ^ 0x6169, own);
    ray->mirror_at = (float)(at_mm / chest->sample_mm);
    ray->mirror_re = (float)reflect;
    ray->mirror_tilt = (float)sl_chest_directivity(chest, at_mm, slope - tan(steer));
    drawn_below(chest, ray, at_mm, at_mm + 0.5, chest->samples * chest->sample_mm, 31, pose->sway_mm, pose->pleura_mm,
                amplitude(chest->scenario->lung.haze_db - 3));
    ray->segment[ray->segments - 1].decay =
        (float)(chest->scenario->lung.haze_decay_db_cm / 8.685889638 * chest->sample_mm / 10);
}

enum { TUBES = 6 };

/* Where fluid in bronchi crosses this beam, by depth, apart from each other; returns how many. */
static int find_tubes(const sl_chest *chest, int which, double s, double from, double to, double *tube)
{
    int n = 0;
    if (which < 0 || chest->scenario->consolidation[which].bronchogram != SL_BRONCHO_FLUID)
        return 0;
    for (int i = 0; i < SL_MOST_BUBBLES && n < TUBES; i++) {
        const sl_bubble *b = &chest->bubble[which][i];
        double z = from + (double)b->z_mm;
        bool apart = b->amplitude > 0 && fabs(s - (double)b->x_mm) < SL_BRONCHUS_MM && z > from + 2 && z < to - 2;
        for (int k = 0; k < n && apart; k++)
            apart = fabs(tube[k] - z) > 2 * SL_BRONCHUS_MM + 0.5;
        if (!apart)
            continue;
        int k = n++;
        for (; k > 0 && tube[k - 1] > z; k--)
            tube[k] = tube[k - 1];
        tube[k] = z;
    }
    return n;
}

/* Solid lung between two depths: scatterers like liver, bronchi with air (bright points that ring a little) or fluid (no
 * scatterers between two walls). */
static void solid(const sl_chest *chest, const sl_pose *pose, int which, double x, double from, double to, sl_ray *ray)
{
    const sl_scenario *sc = chest->scenario;
    double s = x - pose->lung_mm, tube[TUBES], above = from;
    int tubes = find_tubes(chest, which, s, from, to, tube);
    for (int i = 0; i <= tubes; i++) {
        sl_ray_tissue(ray, chest, above, i < tubes ? tube[i] - SL_BRONCHUS_MM : to, SL_LUNG_CONSOLIDATED, 32, pose->lung_mm,
                      pose->pleura_mm, chest->scatter[SL_LUNG_CONSOLIDATED], s);
        if (i == tubes)
            break;
        sl_ray_echo(ray, chest, tube[i] - SL_BRONCHUS_MM, 0.05, 0.02);
        sl_ray_echo(ray, chest, tube[i] + SL_BRONCHUS_MM, 0.05, -0.02);
        above = tube[i] + SL_BRONCHUS_MM;
    }
    /* Vessels and septa in it. */
    for (int i = 0; i < 7; i++) {
        uint64_t key = chest->seed ^ (0x7673 + (uint64_t)i);
        double z = from + (to - from) * (0.1 + 0.8 * sl_uniform(key, 1)) + 3 * sl_chest_noise(chest, key, s / 12);
        double strength = sl_chest_noise(chest, key + 9, s / 5) - 0.5;
        if (strength > 0 && z < to - 0.5 && z > from + 0.5)
            sl_ray_echo(ray, chest, z, 0.05 * SL_IMAGE_SHARE, 0.03 * SL_IMAGE_SHARE);
    }
    if (which < 0)
        return;
    const sl_consolidation *c = &sc->consolidation[which];
    if (c->bronchogram != SL_BRONCHO_AIR && c->bronchogram != SL_BRONCHO_AIR_MOVING)
        return;
    double move = c->bronchogram == SL_BRONCHO_AIR_MOVING ? c->bronchogram_move_mm * (pose->breath - 0.5) : 0;
    for (int i = 0; i < SL_MOST_BUBBLES; i++) {
        const sl_bubble *b = &chest->bubble[which][i];
        double d = fabs(s - (double)b->x_mm);
        if (b->amplitude <= 0 || d > 2.5 * SL_AIR_MM)
            continue;
        double z = from + (double)b->z_mm + move;
        if (z < from + 1 || z > to - 0.5)
            continue;
        double near = (double)b->amplitude * exp(-0.5 * d * d / (SL_AIR_MM * SL_AIR_MM));
        double phase = 6.28 * sl_chest_noise(chest, chest->seed ^ 0x6272, i * 3.7);
        for (int k = 0; k < 4; k++)
            sl_ray_echo(ray, chest, z + 0.35 * k, near * exp(-0.7 * k) * cos(phase + 2.1 * k), near * exp(-0.7 * k) * sin(phase + 2.1 * k));
    }
}

static void spine(const sl_chest *chest, const sl_pose *pose, double x, double reach, sl_ray *ray)
{
    double at = chest->scenario->base.spine_mm;
    if (at <= 0 || at < reach)
        return;
    /* Vertebral bodies and the gaps between them. */
    double xs = x * sl_spread(chest, at) - 0.2 * pose->sway_mm, body = xs / 30 - floor(xs / 30);
    double arch = 4 * (body - 0.5) * (body - 0.5);
    if (body < 0.14)
        return;
    double grain = fmax(0.2 + 0.7 * sl_chest_noise(chest, 0x7370, xs / 2.2), 0), bump = 0.8 * sl_chest_noise(chest, 0x7372, xs / 4);
    for (int k = 0; k < 4; k++)
        sl_ray_echo(ray, chest, at + 2.5 * arch + bump + 0.6 * k, SL_SPINE_ECHO * grain * exp(-0.5 * k),
                    SL_SPINE_ECHO * exp(-0.5 * k) * sl_chest_noise(chest, 0x7371 + (uint64_t)(13 * k), xs / 0.9));
}

enum { ORGAN_VESSELS = 10 };
typedef struct vessel {
    double depth, half; /* along this beam */
} vessel;

/* The organ's vessels (dark tubes, by chance) that this beam crosses, wholly between two depths. x is the organ's own coordinate,
 * `first` the depth from which vessels are counted and `side` where they begin. */
static int find_vessels(const sl_chest *chest, double from, double to, double x, double first, double side, vessel *found)
{
    int n = 0;
    for (int i = 0; i < ORGAN_VESSELS; i++) {
        double depth = first + 12 + 9.0 * i + 3 * sl_normal(chest->seed ^ 0x7665, i);
        double middle = side + 12 + 70 * sl_uniform(chest->seed ^ 0x7666, i);
        double half = 1.2 + 1.8 * sl_uniform(chest->seed ^ 0x7667, i);
        double across = (x - middle) * sl_spread(chest, depth) / (half * (1.5 + 3 * sl_uniform(chest->seed ^ 0x7668, i)));
        double thick = half * sqrt(fmax(1 - across * across, 0));
        if (thick < 0.15 || depth - thick < from || depth + thick > to)
            continue;
        found[n++] = (vessel){depth, thick};
        from = depth + thick;
    }
    return n;
}

/* The organ between two depths; `moved` and `deeper` is how far it has come from where it is at rest. */
static void organ_tissue(const sl_chest *chest, double from, double to, sl_medium_id organ, double x, double moved, double deeper,
                         const vessel *v, int vessels, sl_ray *ray)
{
    double gain = chest->scatter[organ];
    for (int i = 0; i < vessels; i++) {
        double near = v[i].depth - v[i].half, far = v[i].depth + v[i].half;
        sl_ray_tissue(ray, chest, from, near, organ, 40, moved, deeper, gain, x);
        sl_ray_segment(ray, chest, near, far, SL_BLOOD, 41, moved, deeper, amplitude(-62));
        sl_ray_echo(ray, chest, near, 0.012, 0.01);
        sl_ray_echo(ray, chest, far, 0.02, 0.01);
        from = far;
    }
    sl_ray_tissue(ray, chest, from, to, organ, 40, moved, deeper, gain, x);
}

static void mirrored(const sl_chest *chest, double dome, double from, double to, double moved, double deeper, sl_medium_id medium, uint32_t field,
                     double gain, sl_ray *ray)
{
    int before = ray->segments;
    sl_ray_segment(ray, chest, from, to, medium, field, moved, 0, gain);
    if (ray->segments == before)
        return;
    sl_segment *s = &ray->segment[ray->segments - 1];
    s->backwards = true;
    s->shift_rows = (float)((2 * dome - deeper) / chest->sample_mm); /* the tissue itself is read at depth - deeper */
}

/* The aerated lung beyond the diaphragm mirrors the organ with its vessels. */
static void mirror_image(const sl_chest *chest, double dome, double first, double moved, double deeper, sl_medium_id organ, const vessel *v,
                         int vessels, sl_ray *ray)
{
    double end = chest->samples * chest->sample_mm, back = fmin(2 * dome - first, end), from = dome + 0.8;
    for (int i = vessels - 1; i >= 0; i--) {
        double near = 2 * dome - v[i].depth - v[i].half, far = near + 2 * v[i].half;
        if (near < from || far > end)
            continue;
        mirrored(chest, dome, from, near, moved, deeper, organ, 40, chest->scatter[organ] * SL_IMAGE_SHARE, ray);
        mirrored(chest, dome, near, far, moved, deeper, SL_BLOOD, 41, amplitude(-62) * SL_IMAGE_SHARE, ray);
        from = far;
    }
    mirrored(chest, dome, from, back, moved, deeper, organ, 40, chest->scatter[organ] * SL_IMAGE_SHARE, ray);
}

/* From below the ribs: the organ, and the diaphragm's dome far in it, which moves along the beams with what lies before it. */
static void from_below(const sl_chest *chest, const sl_pose *pose, double x, double pleura, double slope, sl_ray *ray)
{
    const sl_scenario *sc = chest->scenario;
    double end = chest->samples * chest->sample_mm, dome = sl_chest_dome(chest, pose, x);
    sl_medium_id organ = sc->base.organ == SL_ORGAN_SPLEEN ? SL_SPLEEN : SL_LIVER;
    double deeper = -sc->diaphragm.excursion_mm * pose->breath, own = x - pose->sway_mm;
    double half = 0.5 * chest->columns * chest->column_mm;
    surface(chest, ray, pleura, 0.10, 0.3, slope, chest->seed ^ 0x7065, own);
    double to = isfinite(dome) ? fmin(dome, end) : end;
    vessel v[ORGAN_VESSELS];
    int vessels = find_vessels(chest, pleura + 0.3, to, own, pleura + deeper, -half, v);
    organ_tissue(chest, pleura + 0.3, to, organ, own, pose->sway_mm, deeper, v, vessels, ray);
    if (!isfinite(dome) || dome >= end)
        return;
    double e = 0.5, next = sl_chest_dome(chest, pose, x + e);
    double tilt = isfinite(next) ? (next - dome) / (e * sl_spread(chest, dome)) : 1;
    /* Peritoneum, a little muscle and the pleura with air behind: bright over a wide range of angles, for it is folded and not
     * smooth (as on clinical pictures; common practice, no source). */
    surface(chest, ray, dome - 2, 0.2, 0.9, 0.25 * tilt, chest->seed ^ 0x6470, own);
    surface(chest, ray, dome, -0.6, 0.9, 0.25 * tilt, chest->seed ^ 0x6469, own);
    mirror_image(chest, dome, pleura, pose->sway_mm, deeper, organ, v, vessels, ray);
    double back = 2 * dome - pleura; /* beyond the image of the whole organ nothing but the lung's own haze */
    sl_ray_segment(ray, chest, back, end, SL_AIR_BODY, 44, pose->sway_mm, 0, amplitude(sc->lung.haze_db - 8));
}

double sl_chest_base_dome(const sl_chest *chest, const sl_pose *pose, double x, double pleura)
{
    const sl_base *b = &chest->scenario->base;
    double u = (x - sl_chest_base_edge(chest, pose)) / b->dome_width_mm;
    if (b->organ == SL_ORGAN_NONE || chest->scenario->diaphragm.dome_mm > 0 || !(u > 0))
        return NAN;
    double left = 1 - fmin(u, 1);
    return pleura + b->dome_mm * sqrt(fmax(1 - left * left, 0));
}

sl_behind_dome sl_chest_behind_dome(const sl_chest *chest)
{
    enum { LOBE_MM = 25 }; /* a smaller consolidation does not fill the base: lung with air lies on the dome beside it */
    const sl_scenario *sc = chest->scenario;
    if (sc->diaphragm.dome_mm > 0)
        return SL_BEHIND_LUNG;
    if (sc->effusion.depth_mm > 0)
        return SL_BEHIND_FLUID;
    for (int i = 0; i < sc->consolidations; i++) {
        const sl_consolidation *c = &sc->consolidation[i];
        if (c->depth_mm >= LOBE_MM && fabs(sc->base.edge_mm - c->x_mm) < 0.5 * c->width_mm)
            return SL_BEHIND_SOLID;
    }
    return SL_BEHIND_LUNG;
}

/* Below the diaphragm: the organ, the diaphragm's dome deep in it, and what the dome shows behind. */
static void below(const sl_chest *chest, const sl_pose *pose, double x, double pleura, double slope, sl_ray *ray)
{
    const sl_scenario *sc = chest->scenario;
    const sl_base *b = &sc->base;
    double edge = sl_chest_base_edge(chest, pose);
    double end = chest->samples * chest->sample_mm;
    sl_medium_id organ = b->organ == SL_ORGAN_SPLEEN ? SL_SPLEEN : SL_LIVER;
    double move = edge - b->edge_mm;
    double dome = sl_chest_base_dome(chest, pose, x, pleura);
    surface(chest, ray, pleura, 0.10, 0.3, slope, chest->seed ^ 0x7065, x - move);
    double muscle = sl_chest_diaphragm_mm(chest, pose);
    surface(chest, ray, pleura + (muscle > 0 ? muscle : 1.6), 0.08, 0.3, slope, chest->seed ^ 0x7066, x - move);
    if (muscle > 0.6) /* echo-poor between its two lines */
        sl_ray_tissue(ray, chest, pleura + 0.3, pleura + muscle, SL_MUSCLE, 43, move, 0, 0.35 * chest->scatter[SL_MUSCLE], x - move);
    double first = pleura + (muscle > 0.6 ? muscle : 0.3);
    vessel v[ORGAN_VESSELS];
    int vessels = find_vessels(chest, first, fmin(dome, end), x - move, pleura, b->edge_mm, v);
    organ_tissue(chest, first, fmin(dome, end), organ, x - move, move, 0, v, vessels, ray);
    if (dome >= end)
        return;
    double e = 0.5, tilt = (sl_chest_base_dome(chest, pose, x + e, pleura) - dome) / (e * sl_spread(chest, dome));
    sl_behind_dome behind = sl_chest_behind_dome(chest);
    surface(chest, ray, dome, behind == SL_BEHIND_LUNG ? -0.5 : 0.12, 0.5, 0.4 * tilt, chest->seed ^ 0x6469, x - move);
    if (behind != SL_BEHIND_LUNG) { /* no mirror: fluid or solid lung above the diaphragm lets the spine be seen */
        double back = behind == SL_BEHIND_SOLID && b->spine_mm > dome ? fmin(b->spine_mm + 3, end) : end;
        if (behind == SL_BEHIND_SOLID)
            sl_ray_tissue(ray, chest, dome + 1.5, back, SL_LUNG_CONSOLIDATED, 45, pose->lung_mm, 0, chest->scatter[SL_LUNG_CONSOLIDATED],
                          x - pose->lung_mm);
        else
            sl_ray_segment(ray, chest, dome + 1.5, end, SL_FLUID_PLEURAL, 42, move, 0, amplitude(-75));
        spine(chest, pose, x, dome, ray);
        return;
    }
    mirror_image(chest, dome, pleura, move, 0, organ, v, vessels, ray);
}

static void heart(const sl_chest *chest, const sl_pose *pose, double x, double pleura, double slope, sl_ray *ray)
{
    const sl_heart_beside *h = &chest->scenario->heart;
    double end = chest->samples * chest->sample_mm;
    double in = x - h->edge_mm - pose->sway_mm, beat = 2.2 * pose->beat;
    double round = 0.012 * (in - 28) * (in - 28);
    double at = pleura + h->depth_mm + 1.5 * pose->beat + fmin(round, 14);
    double wall = at + 9 + beat, far = fmax(at + 46 - 3 * pose->beat - 1.6 * round, wall + 2);
    surface(chest, ray, pleura, 0.12, 0.3, slope, chest->seed ^ 0x6861, x);
    sl_ray_tissue(ray, chest, pleura, at, SL_FAT_SUBCUTANEOUS, 50, pose->sway_mm, 0, chest->scatter[SL_FAT_SUBCUTANEOUS], x);
    surface(chest, ray, at, 0.3, 0.25, slope + 0.03, chest->seed ^ 0x6862, x);
    sl_ray_tissue(ray, chest, at, fmin(wall, end), SL_MUSCLE, 51, 2 * pose->beat, -1.5 * pose->beat, chest->scatter[SL_MUSCLE], x);
    surface(chest, ray, wall, 0.05, 0.6, slope + 0.1, chest->seed ^ 0x6863, x);
    sl_ray_segment(ray, chest, wall, fmin(far, end), SL_BLOOD, 52, 0, 0, amplitude(-60));
    if (far < end) {
        surface(chest, ray, far, 0.09, 0.5, 0.1, chest->seed ^ 0x6864, x);
        sl_ray_tissue(ray, chest, far, fmin(far + 12, end), SL_MUSCLE, 53, -2 * pose->beat, 2 * pose->beat, chest->scatter[SL_MUSCLE], x);
        surface(chest, ray, far + 12, -0.4, 0.6, 0.1, chest->seed ^ 0x6865, x); /* lung behind the heart */
        sl_ray_segment(ray, chest, fmin(far + 12, end), end, SL_AIR_BODY, 54, 0, 0, amplitude(-38));
        ray->segment[ray->segments - 1].decay = (float)(0.5 * chest->sample_mm / 10);
    }
}

/* Fluid: nothing but noise, or slowly turning particles, or threads across it. */
static void fluid(const sl_chest *chest, const sl_pose *pose, double x, double from, double to, sl_ray *ray)
{
    const sl_effusion *e = &chest->scenario->effusion;
    bool particles = e->kind == SL_FLUID_PARTICLES;
    double drift = 2.5 * sl_smooth_noise(chest->seed ^ 0x6472, pose->time_s / 0.8);
    sl_ray_segment(ray, chest, from, to, SL_FLUID_PLEURAL, 60, 0.5 * pose->lung_mm + (particles ? drift : 0),
                   particles ? 1.2 * drift : 0, amplitude(particles ? -46 : -75));
    if (e->kind != SL_FLUID_SEPTATED)
        return;
    for (int i = 0; i < 9; i++) {
        uint64_t key = chest->seed ^ (0x7365 + (uint64_t)i);
        double lean = 1.1 * sl_normal(key, 1), middle = -30 + 60 * sl_uniform(key, 2);
        double wave = 1.5 * sl_smooth_noise(key + 3, pose->time_s / 1.3);
        double z = from + (to - from) * (0.1 + 0.8 * sl_uniform(key, 4)) + lean * (x - middle - 0.5 * pose->lung_mm) + wave +
                   1.5 * sl_chest_noise(chest, key, x / 6);
        if (z > from + 0.5 && z < to - 0.5)
            sl_ray_echo(ray, chest, z, 0.03 + 0.02 * sl_chest_noise(chest, key + 9, x / 3), 0.01);
    }
}

static double tongue(const sl_chest *chest, double s)
{
    double half = 0.5 * chest->columns * chest->column_mm, u = (s + 0.35 * half) / (1.15 * half);
    return fmax(1 - 0.8 * u * u, 0) * (1 + 0.2 * sl_chest_noise(chest, chest->seed ^ 0x6C6E, s / 9));
}

void sl_chest_ray_behind(const sl_chest *chest, const sl_pose *pose, double x, double steer, double pleura, sl_ray *ray)
{
    const sl_scenario *sc = chest->scenario;
    double slope = sl_chest_pleura_slope(chest, pose, x);
    double end = chest->samples * chest->sample_mm;
    if (sc->diaphragm.dome_mm > 0) {
        from_below(chest, pose, x, pleura, slope, ray);
        return;
    }
    if (sc->base.organ != SL_ORGAN_NONE && x > sl_chest_base_edge(chest, pose)) {
        below(chest, pose, x, pleura, slope, ray);
        return;
    }
    if (sc->heart.present && x > sc->heart.edge_mm + pose->sway_mm + 2 * pose->beat) {
        heart(chest, pose, x, pleura, slope, ray);
        return;
    }
    if (sc->pneumothorax.present && x > sl_chest_air_edge(chest, pose)) {
        free_air(chest, pose, x, steer, pleura, slope, ray);
        return;
    }
    double surface_at = pleura, wet = sl_chest_fluid(chest, pose, x), extra = 0;
    if (wet > 0.4) {
        surface(chest, ray, pleura, 0.14, 0.2, slope, chest->seed ^ 0x7061, x - pose->sway_mm);
        fluid(chest, pose, x, pleura, fmin(pleura + wet, end), ray);
        surface_at = pleura + wet;
        slope += 0.04;
        if (surface_at >= end)
            return;
    }
    int which = -1;
    double deep = sl_chest_solid(chest, x - pose->lung_mm, &which);
    if (sc->effusion.depth_mm > 0 && sc->effusion.solid_lung)
        /* A tongue of collapsed lung that floats in it: thick towards the hilum, thin at its rim. */
        deep = fmax(deep, sc->effusion.lung_mm * tongue(chest, x - pose->lung_mm));
    if (deep > 0.6) {
        double border = fmin(surface_at + deep, end);
        surface(chest, ray, surface_at, 0.12, 0.5, slope, chest->seed ^ 0x736C, x - pose->lung_mm);
        solid(chest, pose, which, x, surface_at, border, ray);
        if (border >= end)
            return;
        if (sc->effusion.solid_lung && wet > 0.4) {
            spine(chest, pose, x, border, ray);
            surface(chest, ray, border, 0.1, 0.5, 0.1, chest->seed ^ 0x736D, x - pose->lung_mm);
            double behind = fmax(border + 3, pleura + wet + sc->effusion.lung_mm + 14 + 5 * sl_chest_noise(chest, chest->seed ^ 0x6D65, x / 15));
            sl_ray_segment(ray, chest, border, fmin(behind, end), SL_FLUID_PLEURAL, 61, 0, 0, amplitude(-75));
            if (sc->base.spine_mm > border)
                end = fmin(end, sc->base.spine_mm + 4); /* bone hides what is behind it */
            if (behind < end) {
                surface(chest, ray, behind, 0.05, 0.7, 0.15, chest->seed ^ 0x6D66, x);
                sl_ray_tissue(ray, chest, behind, end, SL_MUSCLE, 62, 0, 0, 0.6 * chest->scatter[SL_MUSCLE], x);
            }
            return;
        }
        surface_at = border;
        extra = 0.6;
        slope = 0.25;
    }
    aerated(chest, pose, x, steer, surface_at, slope, extra, ray);
}
