/* report.pdf: the examination's page, rows of clips three a page, notes. */
#include "report/report.h"

#include "core/units.h"
#include "report/outfile.h"
#include "report/pages.h"
#include "report/png.h"
#include "report/words.h"

#include <cairo-pdf.h>
#include <stdio.h>
#include <string.h>

static cairo_status_t write_piece(void *closure, const unsigned char *bytes, unsigned length)
{
    return sl_outfile_write(closure, bytes, length) ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_WRITE_ERROR;
}

/* Clips in the order of the report: zone by zone as on the strip, then those without a zone. */
static int *order_clips(const sl_exam *exam, sl_arena *arena)
{
    int *order = SL_NEW(arena, exam->clips + 1, int), used = 0;
    if (!order)
        return NULL;
    for (int z = 0; z <= exam->zones; z++)
        for (int i = 0; i < exam->clips; i++)
            if (exam->clip[i].zone == (z < exam->zones ? exam->zone[z].zone : NULL))
                order[used++] = i;
    for (int i = 0; i < exam->clips && used < exam->clips; i++) { /* zones outside the scheme */
        bool listed = false;
        for (int k = 0; k < used && !listed; k++)
            listed = order[k] == i;
        if (!listed)
            order[used++] = i;
    }
    return order;
}

/* The record of a clip and its pictures as surfaces; without a record the clip's own state stands. */
static void open_record(const sl_exam *exam, const char *out, int clip, bool with_picture, sl_arena *arena,
                        sl_record *record, sl_shown *shown)
{
    const char *path = sl_record_path(arena, out, &exam->clip[clip]);
    *shown = (sl_shown){.frame = -1, .time_s = SL_UNKNOWN};
    if (!path || sl_record_load(path, arena, record, NULL) != SL_OK ||
        record->key.content != exam->clip[clip].content) {
        *record = (sl_record){.result = exam->clip[clip].result, .shown_frame = -1};
        return;
    }
    shown->frame = record->shown_frame;
    shown->time_s = record->shown_time_s;
    if (record->cell.length)
        shown->cell = sl_surface_of_jpeg(record->cell.bytes, record->cell.length, record->cell.width, record->cell.height);
    if (record->picture.length && with_picture)
        shown->picture = sl_surface_of_jpeg(record->picture.bytes, record->picture.length, record->picture.width,
                                            record->picture.height);
}

static void close_shown(sl_shown *shown)
{
    cairo_surface_destroy(shown->picture);
    cairo_surface_destroy(shown->cell);
}

static void begin_page(sl_pen *pen, const sl_exam *exam, int page, int pages)
{
    sl_set_colour(pen->cr, LOOK_COLOUR_PAPER, 1);
    cairo_paint(pen->cr);
    sl_draw_page_frame(pen, exam, page, pages);
}

static void draw_first_page(sl_pen *pen, const sl_exam *exam, const char *out)
{
    sl_arena arena = {0};
    sl_zone_picture *zones = SL_NEW(&arena, exam->zones + 1, sl_zone_picture);
    for (int i = 0; zones && i < exam->zones; i++)
        if (exam->zone[i].decisive >= 0) {
            open_record(exam, out, exam->zone[i].decisive, false, &arena, &zones[i].record, &zones[i].shown);
            zones[i].there = true;
        }
    if (zones)
        sl_draw_exam_page(pen, exam, zones);
    for (int i = 0; zones && i < exam->zones; i++)
        close_shown(&zones[i].shown);
    sl_arena_free(&arena);
}

static void draw_row(sl_pen *pen, const sl_exam *exam, const char *out, int clip, int row)
{
    sl_arena arena = {0};
    sl_record record;
    sl_shown shown;
    sl_row where;
    open_record(exam, out, clip, true, &arena, &record, &shown);
    sl_exam_clip full = exam->clip[clip];
    full.result = record.result;
    sl_row_of_page(exam, row, &where);
    sl_draw_clip_row(pen, &where, &full, &shown);
    close_shown(&shown);
    sl_arena_free(&arena);
}

/* A part of the report that takes as many pages as its items need: `draw` draws a page from item `first` on and returns the
 * first that found no room. */
typedef struct section {
    int (*draw)(sl_pen *pen, const sl_exam *exam, int first);
    int pages;
    int *start; /* first item of each page; arena */
} section;

enum { SECTIONS = 6 };

typedef struct plan {
    int clip_pages, pages;
    section part[SECTIONS];
    int *order; /* of the clips; arena */
} plan;

/* Draws a part into nothing to see where its pages begin. */
static bool plan_section(section *part, const sl_exam *exam, int items, sl_arena *arena)
{
    cairo_surface_t *blank = cairo_recording_surface_create(CAIRO_CONTENT_COLOR, NULL);
    cairo_t *cr = cairo_create(blank);
    sl_pen pen;
    sl_pen_begin(&pen, cr);
    pen.say = sl_language_for(exam);
    part->start = SL_NEW(arena, items + 2, int);
    for (int first = 0; part->start && part->pages <= items;) {
        part->start[part->pages++] = first;
        int next = part->draw(&pen, exam, first);
        if (next >= items || (next == first && part->pages > 1))
            break;
        first = next;
    }
    sl_pen_end(&pen);
    cairo_destroy(cr);
    cairo_surface_destroy(blank);
    return part->start != NULL;
}

static bool plan_pages(const sl_exam *exam, sl_arena *arena, plan *made)
{
    *made = (plan){.clip_pages = (exam->clips + SL_ROWS_A_PAGE - 1) / SL_ROWS_A_PAGE, .order = order_clips(exam, arena),
                   .part = {{.draw = sl_draw_conclusion_page}, {.draw = sl_draw_reads_page}, {.draw = sl_draw_sum_page},
                            {.draw = sl_draw_change_page}, {.draw = sl_draw_audit_page}, {.draw = sl_draw_notes_page}}};
    const int items[SECTIONS] = {exam->conclusions, sl_reads_rows(exam), exam->synthesis != NULL, exam->change != NULL, sl_audit_rows(exam), exam->remarks};
    made->pages = 1 + made->clip_pages;
    for (int i = 0; i < SECTIONS; i++) {
        if (!items[i] && made->part[i].draw != sl_draw_notes_page)
            continue;
        if (!plan_section(&made->part[i], exam, items[i], arena))
            return false;
        made->pages += made->part[i].pages;
    }
    return made->order != NULL;
}

/* Page 1 .. */
static void draw_page(sl_pen *pen, const sl_exam *exam, const char *out, const plan *made, int page)
{
    begin_page(pen, exam, page, made->pages);
    if (page == 1) {
        draw_first_page(pen, exam, out);
        return;
    }
    page -= 2;
    if (page < made->clip_pages) {
        int first = page * SL_ROWS_A_PAGE;
        for (int row = 0; row < SL_ROWS_A_PAGE && first + row < exam->clips; row++)
            draw_row(pen, exam, out, made->order[first + row], row);
        return;
    }
    page -= made->clip_pages;
    for (int i = 0; i < SECTIONS; page -= made->part[i++].pages)
        if (page < made->part[i].pages) {
            made->part[i].draw(pen, exam, made->part[i].start[page]);
            return;
        }
}

sl_status sl_report_page(const sl_exam *exam, const char *out, int page, double dots_a_point, const char *path, int *pages,
                         sl_error *error)
{
    sl_arena arena = {0};
    plan made;
    bool planned = plan_pages(exam, &arena, &made);
    *pages = made.pages;
    if (!planned || page < 1 || page > made.pages) {
        sl_arena_free(&arena);
        return sl_fail(error, planned ? SL_USAGE : SL_MEMORY, planned ? "The report has no page %d." : "Memory ran out on page %d.",
                       page);
    }
    const sl_paper *paper = sl_paper_for(exam);
    cairo_surface_t *surface = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)(paper->width * dots_a_point),
                                                          (int)(paper->height * dots_a_point));
    cairo_t *cr = cairo_create(surface);
    cairo_scale(cr, dots_a_point, dots_a_point);
    sl_pen pen;
    sl_pen_begin(&pen, cr);
    pen.say = sl_language_for(exam);
    draw_page(&pen, exam, out, &made, page);
    sl_pen_end(&pen);
    sl_status status = cairo_status(cr) == CAIRO_STATUS_SUCCESS
                           ? sl_png_save(surface, path, error)
                           : sl_fail(error, SL_MEMORY, "Memory ran out while page %d was drawn.", page);
    cairo_destroy(cr);
    cairo_surface_destroy(surface);
    sl_arena_free(&arena);
    return status;
}

sl_status sl_report_pdf(const sl_exam *exam, const char *out, const char *path, sl_error *error)
{
    sl_outfile file;
    sl_arena arena = {0};
    plan made;
    const sl_language *say = sl_language_for(exam);
    const sl_paper *paper = sl_paper_for(exam);
    if (!plan_pages(exam, &arena, &made))
        return sl_fail(error, SL_MEMORY, "Memory ran out while writing %s.", path);
    sl_status status = sl_outfile_open(&file, path, error);
    if (status != SL_OK) {
        sl_arena_free(&arena);
        return status;
    }
    cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(write_piece, &file, paper->width, paper->height);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE,
                                   *exam->title ? exam->title : sl_say(say, SL_P_TITLE));
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, "strandline " SL_VERSION);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_SUBJECT, sl_say(say, SL_P_CAUTION));
    /* the same input gives the same bytes: no clock, the examination's own day where it is stated */
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATE_DATE,
                                   strlen(exam->date) == 10 && exam->date[4] == '-' ? exam->date : "2000-01-01");
    cairo_t *cr = cairo_create(surface);
    sl_pen pen;
    sl_pen_begin(&pen, cr);
    pen.say = say;
    for (int page = 1; page <= made.pages && !file.cause; page++) {
        draw_page(&pen, exam, out, &made, page);
        cairo_show_page(cr);
    }
    sl_pen_end(&pen);
    cairo_status_t drawn = cairo_status(cr);
    cairo_destroy(cr);
    cairo_surface_finish(surface);
    if (drawn == CAIRO_STATUS_SUCCESS)
        drawn = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    sl_arena_free(&arena);
    if (drawn != CAIRO_STATUS_SUCCESS && !file.cause) {
        sl_outfile_close(&file, false, NULL);
        return sl_fail(error, SL_MEMORY, "%s could not be drawn: %s.", path, cairo_status_to_string(drawn));
    }
    return sl_outfile_close(&file, true, error);
}
