/* The DICOM shim: header, fragments, every decoder, as a clip. */
#include "as_file.h"
#include "clip/clip.h"
#include "dicom/dicom.h"

#include <unistd.h>

enum { MOST_FRAMES = 4 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char path[64];
    int file = sl_fuzz_file(data, size, path);
    sl_clip *clip = NULL;
    sl_error error;
    sl_dicom_join();
    if (file >= 0 && size >= 132 && !sl_clip_open(path, 1, &clip, &error)) {
        sl_frame frame;
        bool got = true;
        for (int i = 0; i < MOST_FRAMES && got && !sl_clip_next(clip, &frame, &got, &error); i++)
            ;
        sl_clip_damage(clip);
    }
    sl_clip_close(&clip);
    if (file >= 0)
        close(file);
    return 0;
}
