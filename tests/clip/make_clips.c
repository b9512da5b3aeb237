/* Writes every clip of recipes.c into a folder: make_clips FOLDER. */
#include "make_clip.h"

#include <libavutil/log.h>
#include <stdio.h>

int main(int argc, char **argv)
{
    if (argc != 2)
        return 2;
    av_log_set_level(AV_LOG_QUIET);
    int failed = 0;
    for (int i = 0; i < recipe_count; i++) {
        char path[4096];
        snprintf(path, sizeof path, "%s/%s", argv[1], recipes[i].file);
        if (!make_clip(&recipes[i], path)) {
            fprintf(stderr, "%s could not be made\n", recipes[i].file);
            failed++;
        }
    }
    return failed ? 1 : 0;
}
