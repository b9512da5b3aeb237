/* FFmpeg and the coders under it write to standard error unless told not to; what they have to say reaches people as
 * sentences. */
#ifndef SL_CLIP_QUIET_H
#define SL_CLIP_QUIET_H

/* Before any use of FFmpeg; harmless when repeated. */
void sl_ffmpeg_quiet(void);

#endif
