/* Opening and decoding videos and stills through FFmpeg. */
#include "as_clip.h"
#include "as_file.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    sl_fuzz_clip(data, size);
    return 0;
}
