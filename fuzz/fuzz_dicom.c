/* The DICOM shim: header, fragments, every decoder, as a clip. */
#include "as_clip.h"
#include "as_file.h"
#include "dicom/dicom.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    sl_dicom_join();
    if (size >= 132) /* preamble and prefix */
        sl_fuzz_clip(data, size);
    return 0;
}
