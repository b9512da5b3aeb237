#include <dcmtk/config/osconfig.h>

#include "dicom/nesting.h"

#include <cctype>
#include <cstdint>
#include <cstring>
#include <dcmtk/dcmdata/dcistrmf.h>
#include <dcmtk/dcmdata/dctk.h>

namespace
{

enum : int64_t {
    MOST_INFLATED = 2ll << 30, /* bytes of a deflated data set: a thousandth of them in a file can say so many */
    MOST_MISSING = 256 << 20   /* that a value says it has and has not, for which memory is asked all the same */
};
enum { MOST_ITEMS = 2000 }; /* in the rest of a file that is not as the standard has it: no more levels than items */

const uint32_t open_ended = 0xffffffffu;

struct Level {
    int64_t end; /* -1: a delimiter says */
    bool implicit, fragments;
};

class Walker
{
    DcmInputStream *stream_;
    int64_t at_ = 0;
    bool big_;

  public:
    Walker(DcmInputStream &stream, bool big) : stream_(&stream), big_(big)
    {
    }
    uint32_t missing = 0; /* of the last value that was skipped */
    int64_t at() const
    {
        return at_;
    }
    bool read(uint8_t *to, uint32_t count)
    {
        offile_off_t got = 0;
        while (got < static_cast<offile_off_t>(count)) {
            const offile_off_t more = stream_->read(to + got, static_cast<offile_off_t>(count) - got);
            if (more <= 0)
                return false;
            got += more;
        }
        at_ += count;
        return true;
    }
    bool skip(uint32_t count)
    {
        for (offile_off_t left = count; left > 0;) {
            const offile_off_t gone = stream_->skip(left);
            if (gone <= 0) {
                missing = static_cast<uint32_t>(left);
                return false;
            }
            left -= gone;
        }
        at_ += count;
        return true;
    }
    uint32_t number(const uint8_t *from, int bytes) const
    {
        uint32_t value = 0;
        for (int i = 0; i < bytes; i++)
            value |= static_cast<uint32_t>(from[i]) << 8 * (big_ ? bytes - 1 - i : i);
        return value;
    }
    /* How many item tags the rest holds at any place, in either byte order, up to `most`. */
    int items_left(int most)
    {
        uint8_t block[4096 + 3] = {0};
        int found = 0;
        for (;;) {
            const offile_off_t got = stream_->read(block + 3, 4096);
            if (got <= 0 || found > most)
                return found;
            for (offile_off_t i = 0; i < got; i++)
                found += !memcmp(block + i, "\xfe\xff\x00\xe0", 4) || !memcmp(block + i, "\xff\xfe\xe0\x00", 4);
            memmove(block, block + got, 3);
        }
    }
};

bool has_long_length(const uint8_t *kind)
{
    static const char *const kinds[] = {"OB", "OD", "OF", "OL", "OV", "OW", "SQ", "SV", "UC", "UN", "UR", "UT", "UV"};
    for (const char *one : kinds)
        if (!memcmp(kind, one, 2))
            return true;
    return false;
}

enum Found { AN_ELEMENT, A_MARK /* item or delimiter */, THE_END, SOMETHING_ODD };

struct Element {
    uint16_t group, element;
    uint32_t length;
    bool sequence, implicit, pixels;
};

/* What stands before a value. */
Found read_element(Walker &walk, bool implicit, Element &one)
{
    uint8_t head[8], more[4];
    if (!walk.read(head, 8))
        return THE_END;
    one = {static_cast<uint16_t>(walk.number(head, 2)), static_cast<uint16_t>(walk.number(head + 2, 2)), walk.number(head + 4, 4), false, implicit, false};
    if (one.group == 0xfffe)
        return A_MARK;
    one.pixels = one.group == 0x7fe0 && one.element == 0x0010;
    if (implicit) {
        one.sequence = one.length == open_ended || DcmTag(one.group, one.element).getEVR() == EVR_SQ;
        return AN_ELEMENT;
    }
    if (!isupper(head[4]) || !isupper(head[5]))
        return SOMETHING_ODD;
    one.sequence = !memcmp(head + 4, "SQ", 2);
    one.length = walk.number(head + 6, 2);
    if (!has_long_length(head + 4))
        return AN_ELEMENT;
    if (!walk.read(more, 4))
        return THE_END;
    one.length = walk.number(more, 4);
    if (one.length == open_ended && !one.sequence) { /* of unknown kind: implicit within (PS3.5 6.2.2) */
        one.sequence = true;
        one.implicit = !memcmp(head + 4, "UN", 2);
    }
    return AN_ELEMENT;
}

enum Depth { FINE, TOO_DEEP, UNCLEAR, TOO_LARGE };

/* Goes through a data set without taking anything in. `most`: bytes, where the toolkit takes in what it reads. */
Depth walk_through(Walker &walk, bool implicit, int64_t most)
{
    Level level[SL_DICOM_LEVELS * 2]; /* a sequence and an item each */
    for (int depth = 0;;) {
        while (depth && level[depth - 1].end >= 0 && walk.at() >= level[depth - 1].end)
            depth--;
        Element one;
        const Found found = read_element(walk, depth ? level[depth - 1].implicit : implicit, one);
        if (found == THE_END)
            return FINE;
        if (found == SOMETHING_ODD || (found == A_MARK && !depth))
            return UNCLEAR;
        const bool item = found == A_MARK && one.element == 0xe000;
        if (found == A_MARK && !item) {
            depth--;
        } else if (item ? level[depth - 1].fragments : !one.sequence) {
            if (!walk.skip(one.length))
                return most && walk.missing > MOST_MISSING ? TOO_LARGE : FINE;
            if (most && walk.at() > most)
                return TOO_LARGE;
        } else if (depth == SL_DICOM_LEVELS * 2) {
            return TOO_DEEP;
        } else {
            level[depth] = {one.length == open_ended ? -1 : walk.at() + one.length, item ? level[depth - 1].implicit : one.implicit,
                            !item && one.pixels && one.length == open_ended};
            depth++;
        }
    }
}

/* The file header has no sequences (PS3.10 7.1). */
Depth walk_header(const char *path)
{
    DcmInputFileStream stream{OFFilename(path)};
    uint8_t head[132], more[4];
    Walker walk(stream, false);
    if (!walk.read(head, sizeof head) || memcmp(head + 128, "DICM", 4) != 0)
        return UNCLEAR;
    while (walk.read(head, 8) && head[0] == 2 && !head[1]) {
        uint32_t length = walk.number(head + 6, 2);
        const bool is_long = has_long_length(head + 4);
        if (is_long && walk.read(more, 4))
            length = walk.number(more, 4);
        if (!memcmp(head + 4, "SQ", 2) || (is_long && length == open_ended))
            return TOO_DEEP;
        if (!walk.skip(length))
            return FINE;
    }
    return FINE;
}

} /* namespace */

sl_dicom_unfit sl_dicom_unfit_of(const char *path)
{
    DcmInputFileStream stream{OFFilename(path)};
    if (stream.status().bad())
        return SL_DICOM_FIT;
    Depth depth = walk_header(path);
    Walker walk(stream, false);
    if (depth == FINE) {
        DcmMetaInfo header;
        OFString uid;
        header.transferInit();
        if (header.read(stream, EXS_Unknown).bad())
            return SL_DICOM_FIT;
        header.transferEnd();
        header.findAndGetOFString(DCM_TransferSyntaxUID, uid);
        const DcmXfer syntax(uid.c_str());
        if (syntax.getStreamCompression() != ESC_none && stream.installCompressionFilter(syntax.getStreamCompression()).bad())
            return SL_DICOM_FIT;
        walk = Walker(stream, syntax.getByteOrder() == EBO_BigEndian);
        const int64_t most = syntax.getStreamCompression() != ESC_none ? static_cast<int64_t>(MOST_INFLATED) : 0;
        depth = walk_through(walk, uid.empty() || syntax.getXfer() == EXS_LittleEndianImplicit, most);
    }
    if (depth == TOO_LARGE)
        return SL_DICOM_INFLATES;
    return depth == TOO_DEEP || (depth == UNCLEAR && walk.items_left(MOST_ITEMS) > MOST_ITEMS) ? SL_DICOM_TOO_DEEP : SL_DICOM_FIT;
}
