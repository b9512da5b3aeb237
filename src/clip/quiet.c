#include "clip/quiet.h"

#include <libavutil/log.h>
#include <pthread.h>

static void silence(void)
{
    av_log_set_level(AV_LOG_QUIET);
}

void sl_ffmpeg_quiet(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, silence);
}
