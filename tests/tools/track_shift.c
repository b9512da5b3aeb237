/* Shift of each pair of strips in a file, by the reader's own tracking: to hold it against other libraries.
 *   track_shift FILE ROWS PAIRS FIRST LAST
 * FILE holds PAIRS times two strips of ROWS x SL_BEAMS 32-bit floats; one line a pair: shift, correlation at the peak. */
#include "reading/track.h"

#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv)
{
    if (argc != 6)
        return 2;
    FILE *file = fopen(argv[1], "rb");
    long rows = strtol(argv[2], NULL, 10), pairs = strtol(argv[3], NULL, 10);
    if (!file || rows < 1 || rows > STRIP_ROWS)
        return 1;
    const sl_beam_range window = {(int)strtol(argv[4], NULL, 10), (int)strtol(argv[5], NULL, 10)};
    static float strip[2][STRIP_ROWS * SL_BEAMS];
    float use[SL_BEAMS];
    for (int j = 0; j < SL_BEAMS; j++)
        use[j] = 1;
    size_t size = (size_t)rows * SL_BEAMS;
    for (long i = 0; i < pairs; i++) {
        sl_match match;
        if (fread(strip[0], sizeof(float), size, file) != size || fread(strip[1], sizeof(float), size, file) != size)
            return 1;
        sl_track_windows(strip[0], strip[1], (int)rows, use, TRACK_SHIFT_MOST, 0, &window, 1, &match);
        printf("%.6f %.6f\n", (double)match.shift, (double)match.peak);
    }
    fclose(file);
    return 0;
}
