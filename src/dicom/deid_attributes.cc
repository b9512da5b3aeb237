#include <dcmtk/config/osconfig.h>

#include "dicom/deid_attributes.h"
#include "dicom/deid_table.h"

#include <cctype>
#include <cstring>
#include <set>
#include <string>
#include <vector>

namespace
{

struct Cleaner {
    const sl_secret *secret;
    sl_deid_notes *notes;
    int days;                     /* that dates move by */
    std::string person;           /* the patient, for the pseudonym */
    std::set<std::string> naming; /* lower-case words and numbers that name somebody */
};

uint32_t number_of(const DcmTagKey &tag)
{
    return static_cast<uint32_t>(tag.getGroup()) << 16 | tag.getElement();
}

std::string value_of(DcmElement *element)
{
    OFString value;
    if (element->getOFStringArray(value).bad())
        return "";
    std::string text(value.c_str(), value.length());
    while (!text.empty() && (text.back() == ' ' || text.back() == '\0'))
        text.pop_back();
    return text;
}

std::string value_in(DcmItem *item, const DcmTagKey &tag)
{
    DcmElement *element = nullptr;
    return item->findAndGetElement(tag, element).good() && element ? value_of(element) : "";
}

bool is_part(unsigned char letter)
{
    return isalnum(letter) || letter >= 0x80;
}

/* Lower-case words of a text; letters beyond ASCII belong to words. */
std::vector<std::string> words_of(const std::string &text)
{
    std::vector<std::string> words;
    std::string word;
    for (unsigned char letter : text + " ")
        if (is_part(letter))
            word += letter < 0x80 ? static_cast<char>(tolower(letter)) : static_cast<char>(letter);
        else if (!word.empty()) {
            words.push_back(word);
            word.clear();
        }
    return words;
}

bool is_text(DcmEVR vr)
{
    switch (vr) {
    case EVR_AE: case EVR_AS: case EVR_CS: case EVR_LO: case EVR_LT: case EVR_PN: case EVR_SH: case EVR_ST: case EVR_UC:
    case EVR_UR: case EVR_UT:
        return true;
    default:
        return false;
    }
}

/* Who and where the file is about, wherever in it that stands. */
void collect_names(DcmItem *item, Cleaner &cleaner)
{
    static const DcmTagKey numbers[] = {DCM_PatientID, DCM_RETIRED_OtherPatientIDs, DCM_AccessionNumber, DCM_PatientBirthDate,
                                        DCM_InstitutionName, DCM_InstitutionAddress, DCM_StudyID, DCM_AdmissionID,
                                        DCM_PatientAddress, DCM_PatientTelephoneNumbers};
    for (unsigned long i = 0; i < item->card(); i++) {
        DcmElement *element = item->getElement(i);
        if (element->ident() == EVR_SQ) {
            DcmSequenceOfItems *sequence = static_cast<DcmSequenceOfItems *>(element);
            for (unsigned long k = 0; k < sequence->card(); k++)
                collect_names(sequence->getItem(k), cleaner);
            continue;
        }
        bool naming = element->ident() == EVR_PN;
        for (const DcmTagKey &tag : numbers)
            naming = naming || element->getTag() == tag;
        if (!naming)
            continue;
        for (const std::string &word : words_of(value_of(element)))
            if (word.length() >= 3 && !sl_deid_word(word.c_str()))
                cleaner.naming.insert(word);
    }
}

/* What is kept of a description: words of the trade and numbers of at most two digits. */
std::string cleaned(const std::string &text, const Cleaner &cleaner)
{
    std::string kept;
    for (const std::string &word : words_of(text)) {
        bool number = word.length() <= 2 && isdigit(static_cast<unsigned char>(word[0])) &&
                      isdigit(static_cast<unsigned char>(word.back()));
        if ((number || sl_deid_word(word.c_str())) && !cleaner.naming.count(word))
            kept += (kept.empty() ? "" : " ") + word;
    }
    bool has_letter = false;
    for (unsigned char letter : kept)
        has_letter = has_letter || isalpha(letter);
    return has_letter ? kept : "";
}

std::string upper(std::string text)
{
    for (char &letter : text)
        letter = static_cast<char>(toupper(static_cast<unsigned char>(letter)));
    return text;
}

template <typename Change> std::string each_value(const std::string &values, Change change)
{
    std::string out;
    size_t at = 0;
    for (bool more = true; more;) {
        size_t end = values.find('\\', at);
        more = end != std::string::npos;
        out += change(values.substr(at, more ? end - at : std::string::npos)) + (more ? "\\" : "");
        at = end + 1;
    }
    return out;
}

std::string other_uid(const std::string &uid, const Cleaner &cleaner)
{
    if (uid.empty() || !uid.compare(0, 14, "1.2.840.10008."))
        return uid; /* the standard's own */
    char other[65];
    sl_pseudonym_uid(cleaner.secret, uid.c_str(), other);
    return other;
}

/* False where a value is no date or time. */
bool move_dates(DcmElement *element, const Cleaner &cleaner)
{
    bool good = true;
    DcmEVR vr = element->ident();
    std::string moved = each_value(value_of(element), [&](std::string value) {
        if (vr == EVR_DA && value.length() == 10 && value[4] == '.' && value[7] == '.')
            value = value.substr(0, 4) + value.substr(5, 2) + value.substr(8, 2); /* ACR-NEMA's way */
        for (size_t at = 0; vr == EVR_TM && (at = value.find(':')) != std::string::npos;)
            value.erase(at, 1); /* the same for times */
        if (value.empty())
            return value;
        for (unsigned char letter : value)
            good = good && (isdigit(letter) || (vr != EVR_DA && strchr(".:+-", letter)));
        if (vr != EVR_TM)
            good = good && value.length() >= 8 && sl_date_move(&value[0], cleaner.days);
        return value;
    });
    return good && element->putString(moved.c_str()).good();
}

std::string dummy_of(DcmEVR vr)
{
    switch (vr) {
    case EVR_DA: return "19000101";
    case EVR_TM: return "000000";
    case EVR_DT: return "19000101000000";
    case EVR_AS: return "000D";
    case EVR_DS: case EVR_IS: return "0";
    case EVR_UR: return "urn:removed";
    default: return "REMOVED";
    }
}

struct Walk {
    DcmItem *item;
    DcmElement *element;
    const char *name;
    std::string where;
};

void clean_item(DcmItem *item, Cleaner &cleaner, const std::string &path, bool all_dummy);

void say(const Walk &at, const Cleaner &cleaner, const char *done)
{
    sl_deid_note_add(cleaner.notes, (at.where + " " + at.name).c_str(), done);
}

void remove(const Walk &at, Cleaner &cleaner, const char *done = "removed")
{
    say(at, cleaner, done);
    delete at.item->remove(at.element);
}

void empty(const Walk &at, Cleaner &cleaner)
{
    if (!at.element->getLength())
        return;
    say(at, cleaner, "emptied");
    at.element->clear();
}

void recurse(const Walk &at, Cleaner &cleaner, bool all_dummy)
{
    DcmSequenceOfItems *sequence = static_cast<DcmSequenceOfItems *>(at.element);
    for (unsigned long i = 0; i < sequence->card(); i++)
        clean_item(sequence->getItem(i), cleaner, at.where + "[" + std::to_string(i + 1) + "] > ", all_dummy);
}

void put(const Walk &at, Cleaner &cleaner, const std::string &value, const char *done)
{
    if (at.element->putString(value.c_str()).bad())
        return remove(at, cleaner);
    say(at, cleaner, done);
}

void put_dummy(const Walk &at, Cleaner &cleaner)
{
    DcmEVR vr = at.element->ident();
    if (vr == EVR_SQ)
        return recurse(at, cleaner, true);
    if (at.element->getTag() == DCM_PatientID && !cleaner.person.empty())
        return put(at, cleaner, cleaner.person, "replaced by a pseudonym");
    if (at.element->getTag() == DCM_TimezoneOffsetFromUTC)
        return remove(at, cleaner);
    if (vr == EVR_UI)
        return put(at, cleaner, each_value(value_of(at.element), [&](const std::string &uid) { return other_uid(uid, cleaner); }),
                   "replaced");
    if (is_text(vr) || vr == EVR_DA || vr == EVR_TM || vr == EVR_DT || vr == EVR_DS || vr == EVR_IS)
        return put(at, cleaner, dummy_of(vr), "replaced by a dummy");
    remove(at, cleaner); /* numbers and bytes that nobody needs */
}

void basic(const Walk &at, Cleaner &cleaner, sl_deid_action action)
{
    bool sequence = at.element->ident() == EVR_SQ;
    switch (action) {
    case SL_DEID_X:
        return remove(at, cleaner);
    case SL_DEID_Z:
    case SL_DEID_XZ:
        return empty(at, cleaner);
    case SL_DEID_U:
    case SL_DEID_XZU:
        if (sequence)
            return recurse(at, cleaner, false);
        if (at.element->ident() == EVR_UI)
            return put_dummy(at, cleaner);
        return empty(at, cleaner);
    default: /* with D among the letters: good for any object */
        return put_dummy(at, cleaner);
    }
}

void by_row(const Walk &at, Cleaner &cleaner, const sl_deid_row *row)
{
    DcmEVR vr = at.element->ident();
    bool dated = vr == EVR_DA || vr == EVR_DT || vr == EVR_TM;
    if (row->device == 'K')
        return vr == EVR_SQ ? recurse(at, cleaner, false) : void();
    if (dated && (row->dates == 'C' || row->device == 'C') && move_dates(at.element, cleaner))
        return vr == EVR_TM ? void() : say(at, cleaner, "moved by the person's days");
    bool descriptor = (row->descriptors == 'C' || row->device == 'C') && is_text(vr) && vr != EVR_PN;
    if (descriptor) {
        std::string kept = each_value(value_of(at.element), [&](const std::string &text) { return cleaned(text, cleaner); });
        kept = vr == EVR_CS || vr == EVR_AE ? upper(kept) : kept;
        if (kept.find_first_not_of('\\') != std::string::npos)
            return put(at, cleaner, kept, "cleaned");
    }
    basic(at, cleaner, row->action);
}

/* Attributes that the table does not name. */
void by_kind(const Walk &at, Cleaner &cleaner)
{
    DcmEVR vr = at.element->ident();
    if (vr == EVR_SQ)
        return recurse(at, cleaner, false);
    if (vr == EVR_PN)
        return empty(at, cleaner);
    if (vr == EVR_DA || vr == EVR_DT)
        return move_dates(at.element, cleaner) ? say(at, cleaner, "moved by the person's days") : empty(at, cleaner);
    if (vr == EVR_UN)
        return remove(at, cleaner, "removed: of unknown kind");
    if (is_text(vr) && at.element->getTag() != DCM_SpecificCharacterSet)
        for (const std::string &word : words_of(value_of(at.element)))
            if (cleaner.naming.count(word))
                return empty(at, cleaner);
}

void clean_element(const Walk &at, Cleaner &cleaner, bool all_dummy)
{
    DcmTag tag = at.element->getTag();
    Uint16 group = tag.getGroup();
    if (tag.getElement() == 0)
        return void(delete at.item->remove(at.element)); /* group lengths are made anew */
    if (group & 1)
        return remove(at, cleaner, "removed: private");
    if ((group & 0xff00) == 0x6000 || (group & 0xff00) == 0x5000)
        return remove(at, cleaner, "removed: overlay or curve");
    if (tag == DCM_PixelData)
        return;
    const sl_deid_row *row = sl_deid_row_of(number_of(tag));
    if (row)
        return by_row(at, cleaner, row);
    if (!strcmp(tag.getTagName(), DcmTag_ERROR_TagName))
        return remove(at, cleaner, "removed: not in the dictionary");
    if (all_dummy && at.element->ident() != EVR_SQ && (is_text(at.element->ident()) || at.element->ident() == EVR_UI))
        return put_dummy(at, cleaner);
    by_kind(at, cleaner);
}

void clean_item(DcmItem *item, Cleaner &cleaner, const std::string &path, bool all_dummy)
{
    std::vector<DcmTagKey> tags;
    for (unsigned long i = 0; i < item->card(); i++)
        tags.push_back(item->getElement(i)->getTag());
    for (const DcmTagKey &key : tags) {
        DcmElement *element = nullptr;
        if (item->findAndGetElement(key, element).bad() || !element)
            continue;
        DcmTag tag = element->getTag();
        char number[16];
        snprintf(number, sizeof number, "(%04x,%04x)", key.getGroup(), key.getElement());
        const sl_deid_row *row = sl_deid_row_of(number_of(key));
        std::string name = key.getGroup() & 1 ? "private attribute" : row ? row->name : tag.getTagName();
        clean_element({item, element, name.c_str(), path + number}, cleaner, all_dummy);
    }
}

void add_method(DcmDataset *dataset)
{
    static const char *const codes[][2] = {{"113100", "Basic Application Confidentiality Profile"},
                                           {"113101", "Clean Pixel Data Option"},
                                           {"113105", "Clean Descriptors Option"},
                                           {"113107", "Retain Longitudinal Temporal Information Modified Dates Option"},
                                           {"113109", "Retain Device Identity Option"}};
    dataset->putAndInsertString(DCM_PatientIdentityRemoved, "YES");
    dataset->putAndInsertString(DCM_DeidentificationMethod, "strandline " SL_VERSION ": PS3.15 2026c Annex E");
    dataset->putAndInsertString(DCM_LongitudinalTemporalInformationModified, "MODIFIED");
    dataset->putAndInsertString(DCM_BurnedInAnnotation, "NO");
    for (const auto &code : codes) {
        DcmItem *item = nullptr;
        if (dataset->findOrCreateSequenceItem(DCM_DeidentificationMethodCodeSequence, item, -2).bad())
            return;
        item->putAndInsertString(DCM_CodeValue, code[0]);
        item->putAndInsertString(DCM_CodingSchemeDesignator, "DCM");
        item->putAndInsertString(DCM_CodeMeaning, code[1]);
    }
}

} /* namespace */

void sl_deid_attributes(DcmDataset *dataset, const sl_secret *secret, sl_deid_notes *notes)
{
    Cleaner cleaner{secret, notes, 0, "", {}};
    std::string person = value_in(dataset, DCM_PatientID);
    if (person.empty())
        person = value_in(dataset, DCM_PatientName);
    if (person.empty())
        person = value_in(dataset, DCM_StudyInstanceUID); /* nobody's: at least the study moves as one */
    cleaner.days = sl_pseudonym_days(secret, person.c_str());
    uint8_t number[16];
    char pseudonym[32];
    sl_pseudonym(secret, "person", person.c_str(), number);
    snprintf(pseudonym, sizeof pseudonym, "P%02X%02X%02X%02X%02X", number[0], number[1], number[2], number[3], number[4]);
    cleaner.person = pseudonym;
    collect_names(dataset, cleaner);
    delete dataset->remove(DCM_DeidentificationMethodCodeSequence); /* of an earlier pass: this one says all anew */
    clean_item(dataset, cleaner, "", false);
    add_method(dataset);
}
