#include "dicom/samples.h"

#include "dicom/jpeg2000.h"

#include <stdio.h>
#include <string.h>

sl_status sl_dicom_frame_samples(sl_dicom_file *file, int frame, uint8_t *samples, size_t size, char photometric[17],
                                 sl_error *error)
{
    const sl_dicom_facts *facts = sl_dicom_file_facts(file);
    if (facts->coding != SL_DICOM_JPEG2000)
        return sl_dicom_file_samples(file, frame, samples, size, photometric, error);
    const uint8_t *bytes;
    size_t length;
    bool patched;
    sl_status status = sl_dicom_file_coded(file, frame, &bytes, &length, error);
    if (status)
        return status;
    status = sl_jpeg2000_samples(facts, bytes, length, samples, &patched);
    if (status || patched)
        return sl_fail(error, status ? status : SL_UNREADABLE, "Frame %d is damaged JPEG 2000. Send or export the file again.",
                       frame + 1);
    /* The colour transforms of JPEG 2000 are undone by its decoder (PS3.5 8.2.4). */
    bool transformed = !strcmp(facts->photometric, "YBR_ICT") || !strcmp(facts->photometric, "YBR_RCT");
    snprintf(photometric, 17, "%s", transformed ? "RGB" : facts->photometric);
    return SL_OK;
}

/* The darkest code of each sample. */
static void black_of(const sl_dicom_facts *facts, const char *photometric, unsigned black[3])
{
    int shift = facts->high_bit + 1 - facts->bits_stored;
    unsigned most = (1u << facts->bits_stored) - 1, least = 0, half = 1u << (facts->bits_stored - 1);
    if (facts->is_signed) {
        most = half - 1;
        least = half; /* the sign bit alone */
    }
    black[0] = black[1] = black[2] = least;
    if (!strcmp(photometric, "MONOCHROME1"))
        black[0] = most;
    else if (!strncmp(photometric, "YBR", 3))
        black[1] = black[2] = half;
    else if (facts->palette.entries) {
        double darkest = 1e9;
        for (int i = 0; i < facts->palette.entries; i++) {
            double luma = 0.299 * facts->palette.channel[0][i] + 0.587 * facts->palette.channel[1][i] +
                          0.114 * facts->palette.channel[2][i];
            if (luma < darkest) {
                darkest = luma;
                black[0] = (unsigned)(facts->palette.first + i);
            }
        }
    }
    for (int i = 0; i < 3; i++)
        black[i] <<= shift;
    if (!strncmp(photometric, "YBR_PARTIAL", 11))
        black[0] = 16u << (facts->bits_stored - 8) << shift;
}

/* Pairs of pixels Y Y Cb Cr. */
static void blacken_422(const sl_dicom_facts *facts, const sl_box *box, const unsigned black[3], uint8_t *samples)
{
    int pairs = (facts->width + 1) / 2;
    for (int y = box->y0; y <= box->y1; y++)
        for (int x = box->x0; x <= box->x1; x++) {
            uint8_t *pair = samples + 4 * ((long)y * pairs + x / 2);
            pair[x & 1] = (uint8_t)black[0];
            pair[2] = pair[3] = (uint8_t)black[1];
        }
}

void sl_samples_blacken(const sl_dicom_facts *facts, const char *photometric, const sl_box *box, uint8_t *samples)
{
    unsigned black[3];
    black_of(facts, photometric, black);
    if (facts->coding == SL_DICOM_NATIVE && strstr(photometric, "_422")) {
        blacken_422(facts, box, black, samples);
        return;
    }
    size_t count = (size_t)facts->width * (size_t)facts->height;
    uint16_t *words = (uint16_t *)(void *)samples;
    for (int c = 0; c < facts->samples; c++)
        for (int y = box->y0; y <= box->y1; y++)
            for (int x = box->x0; x <= box->x1; x++) {
                size_t pixel = (size_t)y * (size_t)facts->width + (size_t)x;
                size_t at = facts->by_plane ? (size_t)c * count + pixel : pixel * (size_t)facts->samples + (size_t)c;
                if (facts->bits_allocated == 8)
                    samples[at] = (uint8_t)black[c];
                else
                    words[at] = (uint16_t)black[c];
            }
}
