/* A box: parallel beams, straight down. */
#include "view/find_parts.h"
#include "view/texture.h"
#include "view/view_table.h"

/* Share of the rows whose outline lies on the straight cut at that side; 0 where the picture itself ends there. */
static double side_support(const sl_lit *lit, bool right)
{
    int on = 0, rows = lit->y1 - lit->y0 + 1;
    if (right ? !lit->cropped_right || lit->x1 >= lit->w - 2 : !lit->cropped_left || lit->x0 <= 1)
        return 0;
    for (int y = lit->y0; y <= lit->y1; y++) {
        int at = right ? lit->last[y] : lit->first[y];
        on += at >= 0 && (right ? lit->x1 - at : at - lit->x0) < SL_EDGE_NEAR_PX;
    }
    return (double)on / rows;
}

/* The same for the top over the columns; the skin's speckle roughens it by a pixel or two. */
static double top_support(const sl_lit *lit)
{
    double on = 0;
    if (lit->y0 <= 1)
        return 0;
    for (int x = lit->x0; x <= lit->x1; x++)
        on += lit->top[x] >= 0 ? sl_biweight(lit->top[x] - lit->y0, SL_EDGE_BEYOND_PX) : 0;
    return on / (lit->x1 - lit->x0 + 1);
}

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
                    0,
                    0};
    long lit_in = 0, dark_in = 0, lit_all = lit->count;
    for (int y = lit->y0; y <= lit->y1; y++)
        sl_lit_count(lit, y, lit->x0, lit->x1, &lit_in, &dark_in);
    box->inside = lit_all ? (double)lit_in / (double)lit_all : 0;
    box->filled = lit_in + dark_in ? (double)lit_in / (double)(lit_in + dark_in) : 0;
    box->texture = sl_texture_support_box(votes);
    box->edges = SL_BOX_SIDES_WORTH + SL_EDGE_WORTH * (side_support(lit, false) + side_support(lit, true)) + SL_ARC_WORTH * top_support(lit);
    box->score = ((double)lit_in - SL_DARK_COST * (double)dark_in) / (double)(lit_all ? lit_all : 1) +
                 SL_TEXTURE_WORTH * box->texture;
}
