/* A box: parallel beams, straight down. */
#include "view/find_parts.h"
#include "view/texture.h"
#include "view/view_table.h"

void sl_box_find(const sl_lit *lit, const sl_votes *votes, sl_box *box)
{
    *box = (sl_box){lit->x0 - 0.5,
                    lit->y0 - 0.5,
                    lit->x1 + 0.5,
                    lit->y1 + 0.5,
                    lit->cropped_left && lit->x0 > 1,
                    lit->cropped_right && lit->x1 < lit->w - 2,
                    lit->cropped_top && lit->y0 > 1,
                    lit->cropped_bottom && lit->y1 < lit->h - 2,
                    0,
                    0,
                    0,
                    0};
    long lit_in = 0, dark_in = 0, lit_all = lit->count;
    for (int y = lit->y0; y <= lit->y1; y++)
        sl_lit_count(lit, y, lit->x0, lit->x1, &lit_in, &dark_in);
    box->inside = lit_all ? (double)lit_in / (double)lit_all : 0;
    box->filled = lit_in + dark_in ? (double)lit_in / (double)(lit_in + dark_in) : 0;
    box->texture = sl_texture_support_box(votes);
    box->score = ((double)lit_in - SL_DARK_COST * (double)dark_in) / (double)(lit_all ? lit_all : 1) +
                 SL_TEXTURE_WORTH * box->texture;
}
