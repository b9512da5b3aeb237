/* What comes over an association, behind the toolkit's network code: the header of a file and who it is described as, the file header
 * that is restated for a syntax the toolkit does not know, and a request for storage commitment, from the bytes of its data set to the
 * answer. */
extern "C" {
#include "as_file.h"
}
#include "dicom/commit.h"
#include "dicom/describe.h"
#include "dicom/drain.h"

#include <cstdlib>
#include <cstring>
#include <dcmtk/dcmdata/dcistrmb.h>
#include <dcmtk/dcmdata/dctk.h>
#include <unistd.h>

static const size_t most_request = 8 << 10; /* the toolkit goes one call deeper for each level; a receiver's child has a stack of its own */

static void describe(const uint8_t *data, size_t size)
{
    char path[64];
    sl_dicom_words words;
    sl_error error;
    const int file = sl_fuzz_file(data, size, path);
    if (file < 0)
        return;
    if (sl_dicom_describe(path, &words, &error) == SL_OK && (!*words.uid || !*words.study_uid || words.data_at < 0 || words.data_at > static_cast<int64_t>(size)))
        abort();
    close(file);
}

static void restate(const uint8_t *data, size_t size)
{
    const std::string other = "1.2.840.10008.1.2.4.203";
    std::vector<char> header(data, data + size);
    if (!sl_dicom_restate(header, other))
        return;
    std::vector<char> again = header; /* it is whole still, and the same again */
    if (!sl_dicom_restate(again, other) || again != header)
        abort();
}

static void ask(const uint8_t *data, size_t size)
{
    std::vector<sl_dicom_claim> claims;
    sl_dicom_commit asked = {};
    DcmInputBufferStream stream;
    DcmDataset request, answer;
    unsigned short event = 0;
    stream.setBuffer(data, static_cast<offile_off_t>(size));
    stream.setEos();
    request.transferInit();
    const OFCondition read = request.read(stream, EXS_LittleEndianImplicit, EGL_noChange);
    request.transferEnd();
    if (read.bad() || sl_dicom_commit_asked(&request, &claims, &asked) != SL_ASK_TAKEN)
        return;
    if (asked.count < 1 || strchr(asked.transaction, '/'))
        abort();
    for (int i = 0; i < asked.count; i++)
        asked.claim[i].failure = i % 2 ? SL_COMMIT_NO_SUCH_OBJECT : SL_COMMITTED;
    if (!sl_dicom_commit_answer(&asked, &answer, &event) || event != (asked.count > 1 ? 2 : 1))
        abort();
}

extern "C" int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    OFLog::configure(OFLogger::OFF_LOG_LEVEL);
    if (size >= 132) {
        describe(data, size);
        restate(data, size);
    }
    if (size <= most_request)
        ask(data, size);
    return 0;
}
