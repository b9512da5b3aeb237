/* decode CLIP...: decodes every frame of the clips on one thread and does nothing with them; prints the
 * frames. The floor that reading is measured against. */
#include "clip/clip.h"

#include <stdio.h>

int main(int argc, char **argv)
{
    long frames = 0, clips = 0;
    for (int i = 1; i < argc; i++) {
        sl_clip *clip = NULL;
        sl_error error = {0};
        if (sl_clip_open(argv[i], 1, &clip, &error) != SL_OK) {
            fprintf(stderr, "%s\n", error.text);
            continue;
        }
        sl_frame frame;
        bool got = true;
        while (sl_clip_next(clip, &frame, &got, NULL) == SL_OK && got)
            frames++;
        sl_clip_close(&clip);
        clips++;
    }
    printf("clips %ld\nframes %ld\n", clips, frames);
    return clips ? 0 : 1;
}
