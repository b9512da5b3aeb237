#include <dcmtk/config/osconfig.h>

#include "dicom/value.h"

extern "C" {
#include "core/utf8.h"
}

#include <cstring>
#include <dcmtk/dcmdata/dctk.h>
#include <iconv.h>

namespace
{

/* By the machine's tables; what they do not know becomes '?'. */
std::string by_table(const char *table, const std::string &text)
{
    std::string result;
    iconv_t tables = iconv_open("UTF-8", table);
    if (tables == reinterpret_cast<iconv_t>(-1))
        return text;
    std::string input = text;
    char *from = &input[0], block[512];
    for (size_t left = input.size(); left;) {
        char *to = block;
        size_t room = sizeof block;
        const bool stuck = iconv(tables, &from, &left, &to, &room) == static_cast<size_t>(-1) && room == sizeof block;
        result.append(block, sizeof block - room);
        if (stuck && left) {
            result += '?';
            from++;
            left--;
        }
    }
    iconv_close(tables);
    return result;
}

/* Japanese: ISO 2022 with escapes as ISO-2022-JP-2 has them (RFC 1554); half-width katakana (ISO-IR 13) in the upper half. */
std::string japanese(const std::string &text)
{
    std::string result, run;
    auto flush = [&] {
        result += by_table("ISO-2022-JP-2", run);
        run.clear();
    };
    for (size_t i = 0; i < text.size(); i++) {
        const unsigned char byte = static_cast<unsigned char>(text[i]);
        if (byte == 0x1b && !text.compare(i, 3, "\x1b)I")) { /* announces the upper half */
            i += 2;
        } else if (byte >= 0xa1 && byte <= 0xdf) {
            flush();
            const unsigned letter = 0xff61u + (byte - 0xa1u);
            result += {static_cast<char>(0xe0 | letter >> 12), static_cast<char>(0x80 | (letter >> 6 & 0x3f)), static_cast<char>(0x80 | (letter & 0x3f))};
        } else {
            run += text[i];
        }
    }
    flush();
    return result;
}

/* Korean and Chinese with code extensions keep their letters in the upper half; the escapes that announce it go. */
std::string upper_half(const char *table, const char *escape, const std::string &text)
{
    std::string plain = text;
    for (size_t at; (at = plain.find(escape)) != std::string::npos;)
        plain.erase(at, strlen(escape));
    return by_table(table, plain);
}

std::string decoded(const std::string &coded, const std::string &text)
{
    const auto has = [&](const char *word) { return coded.find(word) != std::string::npos; };
    if (has("IR 87") || has("IR 159") || has("IR 13"))
        return japanese(text);
    if (has("IR 149"))
        return upper_half("EUC-KR", "\x1b$)C", text);
    if (has("IR 58"))
        return upper_half("GB2312", "\x1b$)A", text);
    return text;
}

} /* namespace */

std::string sl_dicom_to_utf8(DcmItem *item)
{
    OFString sets;
    item->findAndGetOFStringArray(DCM_SpecificCharacterSet, sets);
    return item->convertToUTF8().good() ? "" : sets.c_str();
}

void sl_dicom_value(DcmItem *item, const DcmTagKey &tag, const std::string &coded, char *to, size_t room)
{
    OFString found;
    sl_arena arena = {};
    *to = 0;
    if (item->findAndGetOFStringArray(tag, found).bad())
        return;
    const std::string text = coded.empty() ? found.c_str() : decoded(coded, found.c_str());
    const char *valid = sl_utf8_valid(&arena, text.c_str()); /* where its character set was not known or not kept to */
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
