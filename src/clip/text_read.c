#define _GNU_SOURCE /* RTLD_DEFAULT */
#include "clip/text_read.h"

#include "clip/text_table.h"

#include <dlfcn.h>
#include <stdlib.h>
#include <string.h>
#include <tesseract/capi.h>

enum {
    SCALE_BELOW = 1400, /* pixels of the longer side up to which letters are doubled for the recogniser */
    MARGIN = 20         /* pixels of white around */
};

struct sl_reader {
    TessBaseAPI *api;
};

sl_status sl_reader_open(sl_reader **result, sl_error *error)
{
    *result = NULL;
    sl_reader *reader = calloc(1, sizeof *reader);
    if (reader)
        reader->api = TessBaseAPICreate();
    if (!reader || !reader->api) {
        free(reader);
        return sl_fail(error, SL_MEMORY, "Memory ran out while starting the text recogniser.");
    }
    if (TessBaseAPIInit2(reader->api, NULL, "eng", OEM_LSTM_ONLY)) {
        sl_reader_close(&reader);
        return sl_fail(error, SL_UNSUPPORTED, "The text recogniser has no language data, so nothing can be vouched for. "
                                              "Install the package tesseract-ocr-eng.");
    }
    TessBaseAPISetVariable(reader->api, "debug_file", "/dev/null");
    TessBaseAPISetPageSegMode(reader->api, PSM_SPARSE_TEXT);
    *result = reader;
    return SL_OK;
}

void sl_reader_close(sl_reader **reader)
{
    if (!reader || !*reader)
        return;
    if ((*reader)->api) {
        TessBaseAPIEnd((*reader)->api);
        TessBaseAPIDelete((*reader)->api);
    }
    free(*reader);
    *reader = NULL;
}

static bool is_letter(unsigned char byte)
{
    return (byte >= 'A' && byte <= 'Z') || (byte >= 'a' && byte <= 'z') || byte >= 0x80; /* any letter beyond ASCII */
}

/* Could it name somebody? */
static bool tells(const char *word)
{
    int letters = 0, digits = 0;
    for (const char *at = word; *at; at++) {
        letters += is_letter((unsigned char)*at);
        digits += *at >= '0' && *at <= '9';
    }
    return letters >= 2 || digits >= 3 || (letters && digits >= 2);
}

/* Black letters on white, with a margin, twice the size where small. */
static uint8_t *page_of(const uint8_t *strokes, int width, int height, int scale, int margin)
{
    size_t wide = (size_t)(width * scale + 2 * margin), tall = (size_t)(height * scale + 2 * margin);
    uint8_t *page = malloc(wide * tall);
    if (!page)
        return NULL;
    memset(page, 255, wide * tall);
    for (int y = 0; y < height * scale; y++) {
        uint8_t *row = page + (size_t)(y + margin) * wide + margin;
        const uint8_t *in = strokes + (size_t)(y / scale) * (size_t)width;
        const uint8_t *below = strokes + (size_t)((y + 1) / scale < height ? (y + 1) / scale : height - 1) * (size_t)width;
        for (int x = 0; x < width * scale; x++) {
            int left = x / scale, right = (x + 1) / scale < width ? (x + 1) / scale : width - 1;
            row[x] = (uint8_t)(255 - (in[left] + in[right] + below[left] + below[right] + 2) / 4);
        }
    }
    return page;
}

/* The recogniser shares each picture among threads of its own, which wait for each other more than they work and stand in the
 * way of the files that are worked on at the same time. The limit is one of the calling thread's. */
static void work_alone(void)
{
    void *found = dlsym(RTLD_DEFAULT, "omp_set_max_active_levels");
    void (*limit)(int);
    memcpy(&limit, &found, sizeof limit);
    if (found)
        limit(0);
}

typedef void on_word(void *context, const char *word, TessResultIterator *at);

/* Calls `take` with each word that was read with some confidence. False when memory is out. */
static bool recognise(sl_reader *reader, const uint8_t *strokes, int width, int height, int scale, on_word *take, void *context)
{
    int wide = width * scale + 2 * MARGIN;
    uint8_t *page = page_of(strokes, width, height, scale, MARGIN);
    if (!page)
        return false;
    TessBaseAPISetImage(reader->api, page, wide, height * scale + 2 * MARGIN, 1, wide);
    TessBaseAPISetSourceResolution(reader->api, 150);
    work_alone();
    bool good = !TessBaseAPIRecognize(reader->api, NULL);
    TessResultIterator *words = good ? TessBaseAPIGetIterator(reader->api) : NULL;
    bool more = words != NULL;
    while (more) {
        char *word = TessResultIteratorGetUTF8Text(words, RIL_WORD);
        if (word && TessResultIteratorConfidence(words, RIL_WORD) >= TEXT_LEAST_SURE)
            take(context, word, words);
        TessDeleteText(word);
        more = TessResultIteratorNext(words, RIL_WORD);
    }
    if (words)
        TessResultIteratorDelete(words);
    TessBaseAPIClear(reader->api);
    free(page);
    return good;
}

static int scale_for(int width, int height)
{
    return (width > height ? width : height) < SCALE_BELOW ? 2 : 1;
}

typedef struct box_words {
    int width, height, scale;
    sl_boxes *boxes;
} box_words;

static void add_box(void *context, const char *word, TessResultIterator *at)
{
    const box_words *self = context;
    int x0, y0, x1, y1;
    if (!tells(word) || !TessPageIteratorBoundingBox(TessResultIteratorGetPageIterator(at), RIL_WORD, &x0, &y0, &x1, &y1))
        return;
    sl_box box = {(x0 - MARGIN) / self->scale, (y0 - MARGIN) / self->scale, (x1 - MARGIN) / self->scale, (y1 - MARGIN) / self->scale};
    box.x0 = box.x0 < 0 ? 0 : box.x0;
    box.y0 = box.y0 < 0 ? 0 : box.y0;
    box.x1 = box.x1 < self->width ? box.x1 : self->width - 1;
    box.y1 = box.y1 < self->height ? box.y1 : self->height - 1;
    if (box.x1 >= box.x0 && box.y1 >= box.y0)
        sl_boxes_add(self->boxes, box, 2 + (box.y1 - box.y0) / 4, self->width, self->height);
}

bool sl_reader_words(sl_reader *reader, const uint8_t *strokes, int width, int height, sl_boxes *boxes)
{
    box_words self = {width, height, scale_for(width, height), boxes};
    return recognise(reader, strokes, width, height, self.scale, add_box, &self);
}

typedef struct joined {
    char *text;
    size_t used, room;
} joined;

static void add_word(void *context, const char *word, TessResultIterator *at)
{
    joined *self = context;
    size_t length = strlen(word);
    (void)at;
    if (self->used + length + 2 > self->room)
        return;
    if (self->used)
        self->text[self->used++] = ' ';
    memcpy(self->text + self->used, word, length + 1);
    self->used += length;
}

bool sl_reader_text(sl_reader *reader, const uint8_t *strokes, int width, int height, char *text, size_t room)
{
    joined self = {text, 0, room};
    text[0] = 0;
    return recognise(reader, strokes, width, height, scale_for(width, height), add_word, &self);
}

bool sl_reader_line(sl_reader *reader, const uint8_t *strokes, int width, int height, const char *among, char *text, size_t room)
{
    TessBaseAPISetPageSegMode(reader->api, PSM_SINGLE_LINE);
    TessBaseAPISetVariable(reader->api, "tessedit_char_whitelist", among);
    bool good = sl_reader_text(reader, strokes, width, height, text, room);
    TessBaseAPISetVariable(reader->api, "tessedit_char_whitelist", "");
    TessBaseAPISetPageSegMode(reader->api, PSM_SPARSE_TEXT);
    return good;
}
