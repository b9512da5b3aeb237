#include "reading/blobs.h"

static sl_blob take(uint8_t *on, int *room, int start)
{
    int waiting = 0;
    double rows = 0, beams = 0;
    sl_blob b = {.first_row = SL_DEPTHS, .first_beam = SL_BEAMS};
    room[waiting++] = start;
    on[start] = 0;
    while (waiting) {
        int c = room[--waiting], i = c / SL_BEAMS, j = c % SL_BEAMS;
        b.cells++;
        rows += i;
        beams += j;
        b.first_row = i < b.first_row ? i : b.first_row;
        b.last_row = i > b.last_row ? i : b.last_row;
        b.first_beam = j < b.first_beam ? j : b.first_beam;
        b.last_beam = j > b.last_beam ? j : b.last_beam;
        for (int di = -1; di <= 1; di++)
            for (int dj = -1; dj <= 1; dj++) {
                int r = i + di, n = j + dj;
                if (r < 0 || r >= SL_DEPTHS || n < 0 || n >= SL_BEAMS || !on[r * SL_BEAMS + n])
                    continue;
                on[r * SL_BEAMS + n] = 0; /* each cell waits once, so that the room suffices */
                room[waiting++] = r * SL_BEAMS + n;
            }
    }
    b.row = rows / b.cells;
    b.beam = beams / b.cells;
    return b;
}

int sl_blobs_find(uint8_t *on, int *room, sl_blob *blob, int most)
{
    int blobs = 0;
    for (int c = 0; c < SL_CELLS; c++)
        if (on[c]) {
            sl_blob b = take(on, room, c);
            if (blobs < most)
                blob[blobs++] = b;
        }
    return blobs;
}
