/* The evidence picture of a clip. */
#include "report/report.h"

#include "core/units.h"
#include "report/clip_row.h"
#include "report/png.h"
#include "report/record.h"
#include "report/words.h"

#include <math.h>

static const double pixels_a_point = 1.4, margin = 14, foot = 22;

sl_status sl_report_picture(const sl_exam_clip *clip, bool invented, const sl_language *say, const char *path, sl_error *error)
{
    sl_row row = sl_row_on_picture;
    row.x = margin;
    row.y = margin;
    double width = row.width + 2 * margin, height = row.height + 2 * margin + foot;
    const sl_kept_frame *kept = sl_shown_frame(&clip->result);
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)(width * pixels_a_point),
                                                          (int)(height * pixels_a_point));
    cairo_t *cr = cairo_create(surface);
    cairo_scale(cr, pixels_a_point, pixels_a_point);
    sl_set_colour(cr, LOOK_COLOUR_PAPER, 1);
    cairo_paint(cr);
    sl_shown shown = {.frame = kept ? kept->source : -1, .time_s = kept ? kept->time_s : SL_UNKNOWN};
    if (kept) {
        /* resampled once, to the very pixels they will cover */
        double x, y, w, h;
        sl_row_picture_box(&row, kept->picture.width, kept->picture.height, &x, &y, &w, &h);
        shown.picture = sl_surface_of_gray(kept->picture, (int)fmax(1, round(w * pixels_a_point)),
                                           (int)fmax(1, round(h * pixels_a_point)));
        sl_row_cell_box(&row, &x, &y, &w, &h);
        shown.cell = sl_surface_of_gray((sl_gray){SL_BEAMS, SL_DEPTHS, SL_BEAMS, kept->cell},
                                        (int)round(w * pixels_a_point), (int)round(h * pixels_a_point));
    }
    sl_pen pen;
    sl_pen_begin(&pen, cr);
    pen.say = say;
    sl_draw_clip_row(&pen, &row, clip, &shown);
    double base = margin + row.height + 16;
    sl_pen_text(&pen, margin, base, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_say(say, SL_P_CAUTION));
    sl_pen_text(&pen, margin, base + 10, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0, sl_say(say, SL_P_LIMITS));
    if (invented)
        sl_pen_text(&pen, margin + row.width, base, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_RIGHT, 0,
                    sl_say(say, SL_P_INVENTED_MARK));
    sl_pen_end(&pen);
    sl_status status = cairo_status(cr) == CAIRO_STATUS_SUCCESS
                           ? sl_png_save(surface, path, error)
                           : sl_fail(error, SL_MEMORY, "Memory ran out while drawing %s.", path);
    cairo_destroy(cr);
    cairo_surface_destroy(surface);
    cairo_surface_destroy(shown.picture);
    cairo_surface_destroy(shown.cell);
    return status;
}
