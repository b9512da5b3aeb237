#include <dcmtk/config/osconfig.h>

#include "dicom/value.h"

extern "C" {
#include "core/utf8.h"
}

#include <cstring>
#include <dcmtk/dcmdata/dctk.h>

void sl_dicom_value(DcmItem *item, const DcmTagKey &tag, char *to, size_t room)
{
    OFString found;
    sl_arena arena = {};
    *to = 0;
    if (item->findAndGetOFStringArray(tag, found).bad())
        return;
    const char *valid = sl_utf8_valid(&arena, found.c_str()); /* where its character set was not known or not kept to */
    const OFString value = valid ? valid : "";
    sl_arena_free(&arena);
    size_t first = value.find_first_not_of(' '), last = value.find_last_not_of(OFString(" \0", 2));
    if (first == OFString_npos || last == OFString_npos || last < first)
        return;
    size_t length = last - first + 1;
    if (length >= room) {
        length = room - 1;
        while (length > 0 && (static_cast<unsigned char>(value[first + length]) & 0xc0) == 0x80)
            length--;
    }
    memcpy(to, value.c_str() + first, length);
    to[length] = 0;
}
