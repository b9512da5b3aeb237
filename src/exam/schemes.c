#include "exam/schemes.h"

#include "core/units.h"

#include <math.h>

/* ---- limits ---- */
static const double three_lines = 3;         /* a positive view: Volpicelli et al. 2012 */
static const double merged_share = 0.3;      /* fewer lines than that which take so much of the pleura have merged (ours) */
static const double half = 0.5;              /* Mongodi et al. 2021 */
static const double small_mm = 10;           /* subpleural: up to 1 cm (clinical sheet 1) */
enum { HIGHEST = 3, COUNT_MOST = 10 };

const sl_scheme_info *sl_scheme_info_of(sl_scheme scheme)
{
    static const sl_scheme_info infos[SL_SCHEMES] = {
        {"four-level", "four levels", "0 even pleura, A-lines; 1 dented, single B-lines; 2 broken, small consolidations; 3 white or large "
         "consolidation", "Soldati et al., J Ultrasound Med 2020;39:1413, 10.1002/jum.15285"},
        {"regional", "regional aeration", "0 A-lines or at most two B-lines; 1 three and more apart; 2 merged; 3 consolidation",
         "Bouhemad et al., Crit Care Med 2010;38:84-92, 10.1097/CCM.0b013e3181b08cdb"},
        {"coverage", "aeration by coverage", "1 three and more B-lines or merged over at most half of the pleura; 2 over more; 3 tissue-like",
         "Mongodi et al., Anesthesiology 2021;134:949-965, 10.1097/ALN.0000000000003757"},
    };
    return (unsigned)scheme < SL_SCHEMES ? &infos[scheme] : NULL;
}

static sl_answer answer(const sl_reading *reading, sl_code code, bool *sought)
{
    const sl_finding *finding = sl_reading_get(reading, code);
    if (sought)
        *sought = finding != NULL;
    return finding && finding->known ? finding->answer : SL_UNCERTAIN;
}

static void amount(const sl_reading *reading, sl_code code, double *value, double *low, double *high)
{
    const sl_finding *finding = sl_reading_get(reading, code);
    *value = *low = *high = SL_UNKNOWN;
    if (!finding || !finding->known)
        return;
    *value = finding->value;
    *low = sl_known(finding->low) ? finding->low : finding->value;
    *high = sl_known(finding->high) ? finding->high : finding->value;
}

sl_lung_signs sl_lung_signs_of(const sl_reading *reading)
{
    sl_lung_signs s = {.read = reading != NULL};
    double ignored;
    s.count = s.count_low = s.count_high = s.coverage = s.coverage_low = s.coverage_high = s.consolidation_mm = SL_UNKNOWN;
    if (!reading)
        return s;
    s.a_lines = answer(reading, SL_A_LINES, NULL);
    s.b_lines = answer(reading, SL_B_LINES, NULL);
    s.white_lung = answer(reading, SL_WHITE_LUNG, NULL);
    s.consolidation = answer(reading, SL_CONSOLIDATION, &s.consolidation_sought);
    s.effusion = answer(reading, SL_EFFUSION, &s.effusion_sought);
    s.sliding = answer(reading, SL_SLIDING, &s.sliding_sought);
    s.lung_point = answer(reading, SL_LUNG_POINT, &s.lung_point_sought);
    amount(reading, SL_B_LINE_COUNT, &s.count, &s.count_low, &s.count_high);
    amount(reading, SL_B_LINE_COVERAGE, &s.coverage, &s.coverage_low, &s.coverage_high);
    amount(reading, SL_CONSOLIDATION_EXTENT, &s.consolidation_mm, &ignored, &ignored);
    return s;
}

/* By lines alone. */
static int by_lines(double count, double coverage, bool by_coverage)
{
    count = sl_known(count) ? count : 0;
    coverage = sl_known(coverage) ? coverage : 0;
    bool merged = count < three_lines && coverage > merged_share;
    if (by_coverage)
        return coverage > half ? 2 : count >= three_lines || merged ? 1 : 0;
    return merged || coverage > half ? 2 : count >= three_lines ? 1 : 0;
}

static sl_level level_of(const sl_lung_signs *s, bool by_coverage)
{
    sl_level open = {-1, 0, HIGHEST};
    if (!s->read)
        return open;
    if (s->consolidation == SL_PRESENT) {
        bool small = s->consolidation_mm <= small_mm;
        int level = small ? by_coverage ? 1 : 2 : HIGHEST; /* the coverage variant counts small ones by how much they cover */
        return (sl_level){level, level, level};
    }
    sl_level level;
    if (s->white_lung == SL_PRESENT)
        level = (sl_level){2, 2, 2};
    else if (s->b_lines == SL_PRESENT)
        level = (sl_level){by_lines(s->count, s->coverage, by_coverage), by_lines(s->count_low, s->coverage_low, by_coverage),
                           by_lines(s->count_high, s->coverage_high, by_coverage)};
    else if (s->b_lines == SL_ABSENT)
        level = (sl_level){0, 0, 0};
    else
        return (sl_level){-1, 0, s->consolidation == SL_ABSENT ? 2 : HIGHEST};
    level.low = fmin(level.low, level.level);
    level.high = fmax(level.high, level.level);
    if (s->white_lung == SL_UNCERTAIN && level.level < 2 && s->b_lines == SL_PRESENT)
        level.high = 2;
    if (s->consolidation == SL_UNCERTAIN && (s->consolidation_sought || s->a_lines != SL_PRESENT))
        level.high = HIGHEST; /* neither an air mirror seen nor solid lung looked for */
    return level;
}

sl_level sl_level_regional(const sl_lung_signs *signs)
{
    return level_of(signs, false);
}

sl_level sl_level_coverage(const sl_lung_signs *signs)
{
    return level_of(signs, true);
}

static sl_level four_level(const sl_reading *reading)
{
    const sl_finding *f = reading ? sl_reading_get(reading, SL_SCORE) : NULL;
    if (!f || !f->known || !sl_known(f->value))
        return (sl_level){-1, 0, HIGHEST};
    double value = fmin(fmax(f->value, 0), HIGHEST);
    return (sl_level){(int)(value + 0.5), sl_known(f->low) ? f->low : value, sl_known(f->high) ? f->high : value};
}

static sl_level of_clip(const sl_clip_result *result, sl_scheme scheme)
{
    if (scheme == SL_SCHEME_FOUR_LEVEL)
        return four_level(result->reading);
    sl_lung_signs signs = sl_lung_signs_of(result->reading);
    return level_of(&signs, scheme == SL_SCHEME_COVERAGE);
}

sl_status sl_exam_scheme(const sl_exam *exam, sl_scheme scheme, sl_arena *arena, sl_scheme_total *total, sl_error *error)
{
    *total = (sl_scheme_total){.zone = SL_NEW(arena, exam->zones + 1, sl_level)};
    if (!total->zone)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the zones were scored.");
    for (int z = 0; z < exam->zones; z++) {
        sl_level worst = {-1, 0, 0};
        bool open = true;
        int clips = 0;
        for (int i = 0; i < exam->clips; i++) {
            if (exam->clip[i].zone != exam->zone[z].zone)
                continue;
            sl_level level = of_clip(&exam->clip[i].result, scheme);
            open = clips++ ? open || level.level < 0 : level.level < 0;
            worst.level = level.level > worst.level ? level.level : worst.level;
            worst.low = fmax(worst.low, level.low);
            worst.high = fmax(worst.high, level.high);
        }
        if (!clips || (open && worst.level < 0 && worst.high <= 0))
            worst = (sl_level){-1, 0, HIGHEST};
        total->zone[z] = worst;
        if (worst.level >= 0) {
            total->total += worst.level;
            total->of += HIGHEST;
            total->zones++;
        }
        total->low += worst.low;
        total->high += worst.high;
    }
    return SL_OK;
}

int sl_reaeration_points(int before, int after)
{
    static const int points[] = {0, 1, 3, 5};
    int steps = before - after;
    if (steps < -HIGHEST || steps > HIGHEST)
        return 0;
    return steps >= 0 ? points[steps] : -points[-steps];
}

const char *sl_b_line_class(int sum)
{
    return sum <= 5 ? "none" : sum <= 15 ? "mild" : sum <= 30 ? "moderate" : "severe";
}

int sl_b_line_count_of(const sl_lung_signs *signs)
{
    if (signs->b_lines == SL_ABSENT)
        return 0;
    double merged = signs->white_lung == SL_PRESENT ? COUNT_MOST
                    : sl_known(signs->coverage) && signs->coverage > half ? floor(COUNT_MOST * signs->coverage + 0.5) : 0;
    double count = fmax(merged, sl_known(signs->count) ? signs->count : 0);
    return count > COUNT_MOST ? COUNT_MOST : (int)(count + 0.5);
}
