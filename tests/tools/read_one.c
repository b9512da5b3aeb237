/* read_one CLIP...: reads clips and prints one line of tab-separated values each, for evaluation by scripts:
 * name, state, frames, seconds, pleura found and depth, A and B: index, answer, count ... */
#include "core/units.h"
#include "reading/read_clip.h"

#include <stdio.h>

static double value_of(const sl_reading *reading, sl_code code)
{
    const sl_finding *finding = sl_reading_get(reading, code);
    return finding ? finding->value : SL_UNKNOWN;
}

static const char *answer_of(const sl_reading *reading, sl_code code)
{
    const sl_finding *finding = sl_reading_get(reading, code);
    return finding ? sl_answer_name(finding->answer) : "";
}

int main(int argc, char **argv)
{
    static const char *const states[] = {"read", "unreadable", "failed"};
    printf("clip\tstate\tframes\tseconds\tshape\tpleura_depth\trib_share\ta_index\ta_lines\ta_count\ta_spacing\tb_index\t"
           "b_lines\tb_count\tb_coverage\twhite_index\twhite_lung\tscore\tflicker\tcoherence\trepetition\tdecay\tsway\treason\n");
    for (int i = 1; i < argc; i++) {
        sl_arena arena = {0};
        sl_clip_result result;
        sl_read_clip(argv[i], NULL, &arena, &result);
        const sl_reading *r = result.reading;
        printf("%s\t%s\t%d\t%.4f\t%s\t%.4f\t%.3f\t%.4f\t%s\t%g\t%.3f\t%.4f\t%s\t%g\t%.3f\t%.4f\t%s\t%g\t%.5f\t%.5f\t%.5f\t%.5f\t%.3f\t%s\n", result.name,
               states[result.state], result.frames, result.seconds, sl_shape_name(result.view.shape),
               value_of(r, SL_PLEURA_DEPTH), value_of(r, SL_RIB_SHARE), value_of(r, SL_A_LINES),
               answer_of(r, SL_A_LINES), value_of(r, SL_A_LINE_COUNT), value_of(r, SL_A_LINE_SPACING),
               value_of(r, SL_B_LINES), answer_of(r, SL_B_LINES), value_of(r, SL_B_LINE_COUNT),
               value_of(r, SL_B_LINE_COVERAGE), value_of(r, SL_WHITE_LUNG), answer_of(r, SL_WHITE_LUNG),
               value_of(r, SL_SCORE), result.signs.flicker, result.signs.coherence, result.signs.repetition,
               result.signs.decay, result.signs.sway, result.reason);
        fflush(stdout);
        sl_arena_free(&arena);
    }
    return 0;
}
