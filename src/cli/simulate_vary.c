#include "cli/simulate_vary.h"

#include "chest/chest.h"
#include "chest/figures.h"
#include "core/text.h"
#include "report/draw.h"
#include "report/outfile.h"
#include "report/png.h"
#include "report/words.h"

#include <cairo-pdf.h>
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

enum { MOST = 8, COLUMNS = 4 };

typedef struct tile {
    char value[40];
    cairo_surface_t *picture;
    int width, height;
    sl_figure figure[SL_FIGURES];
    char refused[512]; /* why this setting cannot be */
} tile;

typedef struct sheet {
    char control[80], title[200];
    int tiles;
    tile tile[MOST];
    bool changes[SL_FIGURES];
    int columns;                       /* the tiling */
    double width, height, room, paper; /* of a picture; from row to row; of the sheet, cut to what it holds */
} sheet;

static const double page_width = 842, page_height = 595, margin = 34, gap = 16, tiles_y = 72, foot_room = 62; /* points: A4 across, at most so high */

static sl_status read_values(const char *vary, sheet *s, sl_error *error)
{
    const char *at = strchr(vary, '=');
    if (!at || at == vary || (size_t)(at - vary) >= sizeof s->control)
        return sl_fail(error, SL_USAGE, "--vary needs a control and its values, as in --vary controls.depth_mm=60,100,160.");
    memcpy(s->control, vary, (size_t)(at - vary));
    s->control[at - vary] = 0;
    while (*at) {
        const char *from = ++at;
        while (*at && *at != ',')
            at++;
        if (s->tiles == MOST)
            return sl_fail(error, SL_USAGE, "--vary takes at most %d values.", MOST);
        if (at == from || (size_t)(at - from) >= sizeof s->tile[0].value)
            return sl_fail(error, SL_USAGE, "--vary: one of the values is empty or too long.");
        memcpy(s->tile[s->tiles].value, from, (size_t)(at - from));
        s->tile[s->tiles++].value[at - from] = 0;
    }
    return s->tiles ? SL_OK : sl_fail(error, SL_USAGE, "--vary: no value is given.");
}

/* One setting. What physics forbids is said on its tile instead of a picture; a word that is no control is an error. */
static sl_status simulate(const sl_scenario *base, const sheet *s, tile *t, sl_error *error)
{
    sl_scenario scenario = *base;
    sl_chest *chest = NULL;
    sl_error why = {0};
    sl_status status = sl_scenario_set(&scenario, s->control, t->value, &why);
    if (status == SL_USAGE)
        return sl_fail(error, status, "%s", why.text);
    if (!status)
        status = sl_chest_new(&scenario, &chest, &why);
    sl_gray picture;
    int frame = chest ? sl_chest_frames(chest) / 2 : 0;
    if (!status)
        status = sl_chest_frame(chest, frame, &picture, &why);
    if (status) {
        snprintf(t->refused, sizeof t->refused, "%s", why.text);
        sl_chest_free(&chest);
        return status == SL_MEMORY ? sl_fail(error, status, "%s", why.text) : SL_OK;
    }
    sl_chest_figures(chest, frame, t->figure);
    t->width = picture.width;
    t->height = picture.height;
    t->picture = sl_surface_of_gray(picture, picture.width, picture.height);
    sl_chest_free(&chest);
    return t->picture ? SL_OK : sl_fail(error, SL_MEMORY, "Memory ran out while the sheet was made.");
}

static void note_changes(sheet *s)
{
    const tile *first = NULL;
    for (int i = 0; i < s->tiles; i++) {
        const tile *t = &s->tile[i];
        if (*t->refused)
            continue;
        for (int f = 0; first && f < SL_FIGURES; f++) {
            double a = first->figure[f].value, b = t->figure[f].value, step = 0.5 * pow(10, -t->figure[f].decimals);
            s->changes[f] |= isnan(a) != isnan(b) || fabs(a - b) >= step;
        }
        if (!first)
            first = t;
    }
}

static void draw_tile(sl_pen *pen, const sheet *s, const tile *t, double x, double y, double width, double height)
{
    sl_pen_text(pen, x, y + 9, SL_TYPE_HEADING | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, width, t->value);
    double top = y + 15;
    sl_set_colour(pen->cr, LOOK_COLOUR_NIGHT, 1);
    cairo_rectangle(pen->cr, x, top, width, height);
    cairo_fill(pen->cr);
    if (*t->refused) {
        sl_draw_hatch(pen->cr, x, top, width, height, 6);
        sl_set_colour(pen->cr, LOOK_COLOUR_PAPER, 1);
        cairo_rectangle(pen->cr, x + 8, top + 12, width - 16, height * 0.7);
        cairo_fill(pen->cr);
        sl_pen_paragraph(pen, x + 12, top + 16, width - 24, 10, SL_TYPE_BODY, LOOK_COLOUR_INK, t->refused);
        return;
    }
    double scale = fmin(width / t->width, height / t->height), w = t->width * scale, h = t->height * scale;
    sl_draw_surface(pen->cr, t->picture, x + 0.5 * (width - w), top + 0.5 * (height - h), w, h);
    double line = top + height + 12;
    for (int f = 0; f < SL_FIGURES; f++) {
        if (!s->changes[f])
            continue;
        char text[60];
        if (isnan(t->figure[f].value))
            snprintf(text, sizeof text, "none");
        else
            snprintf(text, sizeof text, "%.*f%s%s", t->figure[f].decimals, t->figure[f].value, *t->figure[f].unit ? " " : "", t->figure[f].unit);
        double right = sl_pen_text(pen, x + width, line, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_RIGHT, 0, text);
        sl_pen_text(pen, x, line, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, width - right - 6, t->figure[f].name);
        line += 9.5;
    }
}

/* The tiling with the largest pictures; a row or two that do not fill the paper make a lower sheet. */
static void lay_out(sheet *s)
{
    int changed = 0;
    double tall = 0, width = 0, height = 0, room = 0;
    for (int f = 0; f < SL_FIGURES; f++)
        changed += s->changes[f];
    for (int i = 0; i < s->tiles; i++)
        if (s->tile[i].width)
            tall = fmax(tall, (double)s->tile[i].height / s->tile[i].width);
    tall = tall > 0 ? tall : 1;
    int columns = 1;
    for (int n = 1; n <= COLUMNS && n <= s->tiles; n++) {
        int rows = (s->tiles + n - 1) / n;
        double each = (page_height - tiles_y - foot_room) / rows, h = fmax(each - 24 - 9.5 * changed - 14, 40);
        double w = fmin((page_width - 2 * margin - gap * (n - 1)) / n, h / tall);
        if (w > width + 0.5) {
            columns = n;
            width = w;
            height = w * tall;
            room = height + 24 + 9.5 * changed + 14;
        }
    }
    width = fmax(width, fmin(170, (page_width - 2 * margin - gap * (columns - 1)) / columns)); /* room for the figures' names */
    s->columns = columns;
    s->width = width;
    s->height = height;
    s->room = room;
    s->paper = fmin(page_height, tiles_y + room * ((s->tiles + columns - 1) / columns) + foot_room);
}

static void draw(cairo_t *cr, const sheet *s)
{
    sl_pen pen;
    sl_pen_begin(&pen, cr);
    sl_set_colour(cr, LOOK_COLOUR_PAPER, 1);
    cairo_paint(cr);
    char line[300];
    const char *meaning = sl_scenario_meaning(s->control);
    snprintf(line, sizeof line, "%c%s", toupper((unsigned char)*meaning), meaning + 1);
    sl_pen_text(&pen, margin, margin + 12, SL_TYPE_TITLE | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, page_width - 2 * margin - 140, line);
    sl_pen_text(&pen, page_width - margin, margin + 12, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_RIGHT, 0, "INVENTED: A SIMULATED CHEST");
    snprintf(line, sizeof line, "%s (%s)", s->title, s->control);
    sl_pen_text(&pen, margin, margin + 26, SL_TYPE_BODY, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, page_width - 2 * margin, line);
    for (int i = 0; i < s->tiles; i++)
        draw_tile(&pen, s, &s->tile[i], margin + (i % s->columns) * (s->width + gap), tiles_y + (i / s->columns) * s->room, s->width, s->height);
    double foot = s->paper - 30;
    char same[600] = "";
    for (int f = 0; f < SL_FIGURES; f++)
        if (!s->changes[f])
            snprintf(same + strlen(same), sizeof same - strlen(same), "%s%s", *same ? ", " : "Unchanged: ", s->tile[0].figure[f].name ? s->tile[0].figure[f].name : "");
    double high = sl_pen_height(&pen, page_width - 2 * margin, SL_TYPE_SMALL, same);
    sl_pen_paragraph(&pen, margin, foot - 10 - high, page_width - 2 * margin, 2, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, same);
    sl_pen_text(&pen, margin, foot, SL_TYPE_SMALL | SL_BOLD, LOOK_COLOUR_INK, SL_ALIGN_LEFT, 0, sl_words_caution);
    sl_pen_text(&pen, margin, foot + 9.5, SL_TYPE_SMALL, LOOK_COLOUR_QUIET, SL_ALIGN_LEFT, 0,
                "strandline " SL_VERSION "; computed from a chest, a probe and its controls as docs/simulator.md tells, with its limits.");
    sl_pen_end(&pen);
}

static cairo_status_t write_piece(void *closure, const unsigned char *bytes, unsigned length)
{
    return sl_outfile_write(closure, bytes, length) ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_WRITE_ERROR;
}

static sl_status save_pdf(const sheet *s, const char *path, sl_error *error)
{
    sl_outfile file;
    sl_status status = sl_outfile_open(&file, path, error);
    if (status)
        return status;
    cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(write_piece, &file, page_width, s->paper);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, "Invented: one control, several settings");
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "strandline " SL_VERSION);
    /* no clock: the same input gives the same bytes */
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE, "2000-01-01T00:00:00Z");
    cairo_t *cr = cairo_create(surface);
    draw(cr, s);
    cairo_show_page(cr);
    bool good = cairo_status(cr) == CAIRO_STATUS_SUCCESS;
    cairo_destroy(cr);
    cairo_surface_finish(surface);
    good = good && cairo_surface_status(surface) == CAIRO_STATUS_SUCCESS;
    cairo_surface_destroy(surface);
    status = sl_outfile_close(&file, good, error);
    return status || good ? status : sl_fail(error, SL_MEMORY, "Memory ran out while drawing %s.", path);
}

static sl_status save_png(const sheet *s, const char *path, sl_error *error)
{
    const double scale = 2;
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)(page_width * scale), (int)ceil(s->paper * scale));
    cairo_t *cr = cairo_create(surface);
    cairo_scale(cr, scale, scale);
    draw(cr, s);
    sl_status status = cairo_status(cr) == CAIRO_STATUS_SUCCESS ? sl_png_save(surface, path, error)
                                                                : sl_fail(error, SL_MEMORY, "Memory ran out while drawing %s.", path);
    cairo_destroy(cr);
    cairo_surface_destroy(surface);
    return status;
}

sl_status sl_simulate_vary(const sl_scenario *scenario, const char *vary, const char *path, sl_error *error)
{
    bool pdf = !strcasecmp(sl_path_extension(path), "pdf");
    if (!pdf && strcasecmp(sl_path_extension(path), "png"))
        return sl_fail(error, SL_USAGE, "--out must end in .png or .pdf for a sheet; it is %s.", path);
    sheet *s = calloc(1, sizeof *s);
    if (!s)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    snprintf(s->title, sizeof s->title, "%s", scenario->title);
    sl_status status = read_values(vary, s, error);
    for (int i = 0; !status && i < s->tiles; i++)
        status = simulate(scenario, s, &s->tile[i], error);
    if (!status) {
        note_changes(s);
        lay_out(s);
        status = pdf ? save_pdf(s, path, error) : save_png(s, path, error);
    }
    for (int i = 0; i < s->tiles; i++)
        cairo_surface_destroy(s->tile[i].picture);
    free(s);
    return status;
}
