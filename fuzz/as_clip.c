#include "as_clip.h"

#include "as_file.h"
#include "clip/clip.h"

#include <unistd.h>

enum { MOST_FRAMES = 4 };

void sl_fuzz_clip(const uint8_t *data, size_t size)
{
    char path[64];
    int file = sl_fuzz_file(data, size, path);
    sl_clip *clip = NULL;
    sl_error error;
    if (file >= 0 && !sl_clip_open(path, 1, &clip, &error)) {
        sl_frame frame;
        bool got = true;
        for (int i = 0; i < MOST_FRAMES && got && !sl_clip_next(clip, &frame, &got, &error); i++)
            ;
        sl_clip_damage(clip);
    }
    sl_clip_close(&clip);
    if (file >= 0)
        close(file);
}
