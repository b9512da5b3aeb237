#include "agree/words.h"

#include "agree/names.h"
#include "core/units.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool among(const char *word, const char *const *list)
{
    for (; *list; list++)
        if (!strcmp(word, *list))
            return true;
    return false;
}

sl_word sl_word_of(const char *text)
{
    static const char *const none[] = {"", "na", "nan", "null", "missing", "notstated", "notread", NULL};
    static const char *const yes[] = {"yes", "y", "true", "t", "present", "positive", "pos", "seen",
                                      "detected", "found", "ill", "abnormal", "pathological", "oui", "ja", "si",
                                      "sim", NULL};
    static const char *const no[] = {"no", "n", "false", "f", "absent", "negative", "neg", "notseen",
                                     "noneseen", "notdetected", "notfound", "none", "well", "normal", "healthy", "non",
                                     "nein", "nao", NULL};
    static const char *const unsure[] = {"uncertain", "unsure", "unclear", "maybe", "equivocal", "indeterminate",
                                         "couldnottell", "cannottell", "notassessable", "unreadable", "unknown",
                                         "nottold", NULL};
    char word[64];
    sl_plain_word(text, word, sizeof word);
    const char *at = text;
    while (*at == ' ')
        at++;
    if (!strcmp(at, "?"))
        return SL_WORD_UNSURE;
    double number = sl_number_of(text);
    if (sl_known(number))
        return number == 1 ? SL_WORD_YES : number == 0 ? SL_WORD_NO : SL_WORD_UNKNOWN;
    if (!strcmp(at, "+") || among(word, yes))
        return SL_WORD_YES;
    if (!word[0])
        return strspn(at, "-. ") == strlen(at) ? SL_WORD_NONE : SL_WORD_UNKNOWN;
    return among(word, no) ? SL_WORD_NO : among(word, unsure) ? SL_WORD_UNSURE : among(word, none) ? SL_WORD_NONE
                                                                                                 : SL_WORD_UNKNOWN;
}

double sl_number_of(const char *text)
{
    char copy[64];
    while (*text == ' ')
        text++;
    if (!*text || strlen(text) >= sizeof copy || !strchr("0123456789+-.,", *text))
        return SL_UNKNOWN;
    snprintf(copy, sizeof copy, "%s", text);
    char *comma = strchr(copy, ',');
    if (comma && !strchr(copy, '.'))
        *comma = '.';
    char *end;
    double value = strtod(copy, &end);
    while (*end == ' ')
        end++;
    return *end || end == copy ? SL_UNKNOWN : value;
}

/* Titles beside the findings' own keys and names. */
static const struct {
    const char *plain, *key;
} titles[] = {
    {"aline", "a_lines"},
    {"apattern", "a_lines"},
    {"bline", "b_lines"},
    {"bpattern", "b_lines"},
    {"coalescentblines", "white_lung"},
    {"confluentblines", "white_lung"},
    {"severityscore", "score"},
    {"severity", "score"},
    {"lungscore", "score"},
    {"lungultrasoundscore", "score"},
    {"lusscore", "score"},
    {"aerationscore", "score"},
    {"zonescore", "score"},
    {"sliding", "sliding"},
    {"pleuralsliding", "sliding"},
    {"effusion", "effusion"},
    {"consolidations", "consolidation"},
    {"irregularpleura", "pleura_irregular"},
    {"pleuralirregularity", "pleura_irregular"},
    {"curtainsign", "curtain"},
    {"numberofalines", "a_line_count"},
    {"numberofblines", "b_line_count"},
    {"blinenumber", "b_line_count"},
    {"nblines", "b_line_count"},
    {"pleuradepthrel", "pleura_depth"},
    {"pleuraldepthmm", "pleura_depth_mm"},
    {"effusiondepthmm", "effusion_depth_mm"},
};

static const sl_finding_info *exact_title(const char *plain)
{
    char other[64];
    for (int code = 0; code < SL_CODES; code++) {
        const sl_finding_info *info = sl_finding_info_of((sl_code)code);
        sl_plain_word(info->key, other, sizeof other);
        if (!strcmp(plain, other))
            return info;
        sl_plain_word(info->name, other, sizeof other);
        if (!strcmp(plain, other))
            return info;
    }
    for (size_t i = 0; i < sizeof titles / sizeof *titles; i++)
        if (!strcmp(plain, titles[i].plain))
            return sl_finding_info_by_key(titles[i].key);
    return NULL;
}

const sl_finding_info *sl_finding_of_title(const char *title, bool *noted)
{
    static const char *const tails[] = {"noted", "present", "seen", "label", "yesno", NULL};
    char plain[64];
    sl_plain_word(title, plain, sizeof plain);
    *noted = false;
    for (;;) {
        const sl_finding_info *info = exact_title(plain);
        if (info)
            return info;
        bool cut = false;
        for (int i = 0; tails[i] && !cut; i++) {
            size_t length = strlen(plain), tail = strlen(tails[i]);
            if (length > tail && !strcmp(plain + length - tail, tails[i])) {
                plain[length - tail] = 0;
                *noted |= i == 0;
                cut = true;
            }
        }
        if (!cut)
            return NULL;
    }
}

bool sl_title_is_clip(const char *title)
{
    static const char *const known[] = {"clip",     "clipname", "clipid", "video",    "videofile", "videoname", "videoid",
                                        "filename", "file",     "path",   "filepath", "image",     "imagefile", "name",
                                        "id",       NULL};
    char plain[64];
    sl_plain_word(title, plain, sizeof plain);
    return among(plain, known);
}

bool sl_title_is_person(const char *title)
{
    static const char *const known[] = {"person",      "patient",       "subject",   "participant", "volunteer",
                                        "patientid",   "personid",      "subjectid", "participantid", "case",
                                        "caseid",      "patientnumber", NULL};
    char plain[64];
    sl_plain_word(title, plain, sizeof plain);
    return among(plain, known);
}
