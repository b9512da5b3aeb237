#include <dcmtk/config/osconfig.h>

#include "dicom/item.h"
#include "dicom/load.h"

#include <cctype>
#include <cstdlib>
#include <cstring>
#include <dcmtk/dcmdata/dcfcache.h>
#include <dcmtk/dcmdata/dcjson.h>
#include <dcmtk/dcmdata/dcpixel.h>
#include <dcmtk/dcmdata/dctk.h>
#include <deque>
#include <jansson.h>
#include <new>
#include <sstream>
#include <string>
#include <vector>

struct sl_dicom_item {
    DcmFileFormat format;
};

namespace
{

enum { BULK = 1024 }; /* bytes of a value that are told outright */

DcmTagKey key_of(uint32_t tag)
{
    return DcmTagKey(static_cast<Uint16>(tag >> 16), static_cast<Uint16>(tag));
}

DcmEVR kind_of(uint32_t tag)
{
    return DcmTag(key_of(tag)).getEVR();
}

OFString hex(const DcmTagKey &key)
{
    char text[9];
    snprintf(text, sizeof text, "%04X%04X", key.getGroup(), key.getElement());
    return text;
}

bool is_binary(DcmEVR kind)
{
    switch (kind) {
    case EVR_OB: case EVR_OD: case EVR_OF: case EVR_OL: case EVR_OV: case EVR_OW: case EVR_UN: case EVR_ox: case EVR_px: case EVR_PixelData:
        return true;
    default:
        return false;
    }
}

/* In the order in which the toolkit writes them: what is binary, and where it is to be had when it is too large to tell. */
struct Bulk {
    DcmTagKey tag;
    OFString uri; /* "": tell it outright */
};

struct Compact : DcmJsonFormatCompact {
    std::deque<Bulk> bulk;
    Compact() : DcmJsonFormatCompact(OFFalse)
    {
    }
    OFBool asBulkDataURI(const DcmTagKey &tag, OFString &uri) override
    {
        if (bulk.empty() || bulk.front().tag != tag)
            return OFFalse;
        uri = bulk.front().uri;
        bulk.pop_front();
        return !uri.empty();
    }
};

/* Takes out what has no place in the answer, and notes what is binary. `where` is the way to `item`. */
void prepare(DcmItem *item, const char *bulk, const OFString &where, std::deque<Bulk> &list)
{
    for (unsigned long i = 0; i < item->card();) {
        DcmElement *element = item->getElement(i);
        const DcmTagKey tag = element->getTag().getXTag();
        const bool is_pixels = tag.getElement() == 0x0010 && (tag.getGroup() & 0xff01) == 0x7f00;
        const bool large = is_binary(element->ident()) && (is_pixels || element->getLengthField() > BULK);
        if (tag.getElement() == 0 || (large && !bulk)) {
            delete item->remove(i);
            continue;
        }
        if (is_binary(element->ident()))
            list.push_back({tag, large ? bulk + where + hex(tag) : OFString()});
        if (DcmSequenceOfItems *sequence = dynamic_cast<DcmSequenceOfItems *>(element); sequence && element->ident() == EVR_SQ)
            for (unsigned long k = 0; k < sequence->card(); k++)
                prepare(sequence->getItem(k), bulk, where + hex(tag) + "." + std::to_string(k + 1).c_str() + ".", list);
        i++;
    }
}

/* The toolkit passes on numbers as they stand, also where they are none. */
bool is_json(const std::string &text)
{
    json_t *json = json_loadb(text.data(), text.size(), JSON_REJECT_DUPLICATES, nullptr);
    const bool good = json != nullptr;
    json_decref(json);
    return good;
}

/* One element after the other, leaving out those that cannot be said. */
std::string piecewise(DcmDataset *data, const char *bulk)
{
    std::string all = "{";
    while (data->card()) {
        DcmDataset one;
        one.insert(data->remove(0UL));
        Compact format;
        std::ostringstream out;
        prepare(&one, bulk, "", format.bulk);
        if (one.writeJson(out, format).bad())
            continue;
        const std::string text = out.str();
        if (!text.empty() && is_json("{" + text + "}"))
            all += (all.size() > 1 ? "," : "") + text;
    }
    return all + "}";
}

char *copy_of(const std::string &text, size_t *length)
{
    char *copy = static_cast<char *>(malloc(text.size() + 1));
    if (copy)
        memcpy(copy, text.c_str(), text.size() + 1);
    *length = text.size();
    return copy;
}

bool put(DcmItem *item, uint32_t tag, const char *value)
{
    if (kind_of(tag) == EVR_SQ)
        return item->insertEmptyElement(DcmTag(key_of(tag)), OFTrue).good();
    if (!*value)
        return item->insertEmptyElement(DcmTag(key_of(tag)), OFTrue).good();
    if (kind_of(tag) == EVR_US)
        return item->putAndInsertUint16(key_of(tag), static_cast<Uint16>(strtoul(value, nullptr, 10))).good();
    return item->putAndInsertString(DcmTag(key_of(tag)), value).good();
}

DcmDataset *data_of(const sl_dicom_item *item)
{
    return const_cast<sl_dicom_item *>(item)->format.getDataset();
}

} /* namespace */

extern "C" sl_dicom_item *sl_dicom_item_new(void)
{
    return new (std::nothrow) sl_dicom_item;
}

extern "C" void sl_dicom_item_free(sl_dicom_item **item)
{
    delete *item;
    *item = nullptr;
}

extern "C" sl_status sl_dicom_item_load(const char *path, bool whole, sl_dicom_item **item, sl_error *error)
{
    sl_dicom_item *made = sl_dicom_item_new();
    *item = nullptr;
    if (!made)
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    sl_dicom_quiet();
    try {
        const OFCondition read = whole ? sl_dicom_load(made->format, path)
                                       : sl_dicom_load_header(made->format, path);
        if (read.bad() && !data_of(made)->card()) {
            delete made;
            return sl_fail(error, SL_FORMAT, "An object that the store keeps cannot be read: %s.", read.text());
        }
        data_of(made)->convertToUTF8();
    } catch (const std::exception &) {
        delete made;
        return sl_fail(error, SL_MEMORY, "Memory ran out.");
    }
    *item = made;
    return SL_OK;
}

extern "C" bool sl_dicom_tag_of(const char *name, uint32_t *tag)
{
    char *end;
    if (strlen(name) == 8 && strspn(name, "0123456789abcdefABCDEF") == 8) {
        *tag = static_cast<uint32_t>(strtoul(name, &end, 16));
        return true;
    }
    if (!isalpha(static_cast<unsigned char>(*name)) || strlen(name) > 64)
        return false;
    const DcmDictEntry *entry = dcmDataDict.rdlock().findEntry(name);
    if (entry)
        *tag = static_cast<uint32_t>(entry->getGroup()) << 16 | entry->getElement();
    const bool known = entry != nullptr;
    dcmDataDict.rdunlock();
    return known;
}

extern "C" bool sl_dicom_tag_is_uid(uint32_t tag)
{
    return kind_of(tag) == EVR_UI;
}

extern "C" bool sl_dicom_tag_is_text(uint32_t tag)
{
    switch (kind_of(tag)) {
    case EVR_AE: case EVR_CS: case EVR_LO: case EVR_LT: case EVR_PN: case EVR_SH: case EVR_ST: case EVR_UC: case EVR_UR: case EVR_UT:
        return true;
    default:
        return false;
    }
}

extern "C" bool sl_dicom_tag_is_sequence(uint32_t tag)
{
    return kind_of(tag) == EVR_SQ;
}

extern "C" bool sl_dicom_item_put(sl_dicom_item *item, uint32_t tag, const char *value)
{
    return put(data_of(item), tag, value);
}

extern "C" bool sl_dicom_item_put_in(sl_dicom_item *item, uint32_t sequence, int at, uint32_t tag, const char *value)
{
    DcmItem *inner = nullptr;
    return data_of(item)->findOrCreateSequenceItem(DcmTag(key_of(sequence)), inner, at).good() && inner && put(inner, tag, value);
}

extern "C" void sl_dicom_item_copy(sl_dicom_item *to, const sl_dicom_item *from, uint32_t tag)
{
    DcmElement *element = nullptr;
    if (data_of(from)->findAndGetElement(key_of(tag), element, OFFalse, OFTrue).good() && element &&
        data_of(to)->insert(element, OFTrue).bad())
        delete element;
}

extern "C" void sl_dicom_item_copy_rest(sl_dicom_item *to, const sl_dicom_item *from)
{
    for (unsigned long i = 0; i < data_of(from)->card(); i++) {
        DcmElement *copy = OFstatic_cast(DcmElement *, data_of(from)->getElement(i)->clone());
        if (copy && data_of(to)->insert(copy, OFFalse).bad())
            delete copy;
    }
}

extern "C" bool sl_dicom_item_text(const sl_dicom_item *item, uint32_t sequence, int at, uint32_t tag, char *text, size_t room)
{
    DcmItem *in = data_of(item);
    OFString value;
    *text = 0;
    if (sequence && (data_of(item)->findAndGetSequenceItem(key_of(sequence), in, at).bad() || !in))
        return false;
    if (in->findAndGetOFStringArray(key_of(tag), value).good())
        snprintf(text, room, "%s", value.c_str());
    return true;
}

extern "C" char *sl_dicom_item_json(sl_dicom_item *item, const char *bulk, size_t *length)
{
    try {
        Compact format;
        std::ostringstream out;
        DcmDataset *data = data_of(item);
        prepare(data, bulk, "", format.bulk);
        const bool written = data->writeJson(out, format).good();
        std::string text = "{" + out.str() + "}"; /* which the toolkit leaves to its caller */
        if (!written || !is_json(text))
            text = piecewise(data, bulk);
        return copy_of(text, length);
    } catch (const std::exception &) {
        return nullptr;
    }
}

extern "C" char *sl_dicom_item_xml(sl_dicom_item *item, size_t *length)
{
    try {
        std::ostringstream out;
        if (item->format.getDataset()->writeXML(out, DCMTypes::XF_useNativeModel | DCMTypes::XF_useXMLNamespace).bad())
            return nullptr;
        return copy_of("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n" + out.str(), length);
    } catch (const std::exception &) {
        return nullptr;
    }
}

extern "C" sl_status sl_dicom_item_bulk(sl_dicom_item *item, const char *where, FILE *to, sl_error *error)
{
    DcmItem *in = data_of(item);
    DcmElement *element = nullptr;
    for (const char *at = where; in;) {
        char *end;
        const unsigned long tag = strtoul(at, &end, 16);
        if (end - at != 8)
            break;
        if (!*end) {
            if (in->findAndGetElement(key_of(static_cast<uint32_t>(tag)), element).bad())
                element = nullptr;
            break;
        }
        const unsigned long number = *end == '.' ? strtoul(end + 1, &end, 10) : 0;
        DcmItem *inner = nullptr;
        if (*end != '.' || number < 1 || number > 1000000 || in->findAndGetSequenceItem(key_of(static_cast<uint32_t>(tag)), inner, static_cast<signed long>(number) - 1).bad())
            break;
        in = inner;
        at = end + 1;
    }
    if (!element || !is_binary(element->ident()))
        return sl_fail(error, SL_USAGE, "The object has no such value.");
    DcmPixelData *pixels = dynamic_cast<DcmPixelData *>(element);
    const DcmXfer syntax(data_of(item)->getOriginalXfer());
    if (pixels && syntax.isEncapsulated())
        return sl_fail(error, SL_UNSUPPORTED, "These pixels are coded; ask for them frame by frame.");
    std::vector<Uint8> block(1 << 16);
    DcmFileCache cache;
    const Uint32 length = element->getLength();
    for (Uint32 at = 0; at < length;) {
        const Uint32 count = length - at < block.size() ? length - at : static_cast<Uint32>(block.size());
        const OFCondition got = element->getPartialValue(block.data(), at, count, &cache);
        if (got.bad())
            return sl_fail(error, SL_FORMAT, "The value cannot be read from the object: %s.", got.text());
        if (fwrite(block.data(), 1, count, to) != count)
            return sl_fail(error, SL_IO, "There is no room on the store's disk for a copy of the value.");
        at += count;
    }
    return fflush(to) ? sl_fail(error, SL_IO, "There is no room on the store's disk for a copy of the value.") : SL_OK;
}
