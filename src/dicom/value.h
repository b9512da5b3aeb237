/* Values as text, for the C++ of this folder. */
#ifndef SL_DICOM_VALUE_H
#define SL_DICOM_VALUE_H

#include <cstddef>
#include <string>

class DcmItem;
class DcmTagKey;

/* Converts the item to UTF-8. Returns what its texts are coded in where the toolkit of this machine cannot (it has no tables for the
 * Japanese, Korean and Chinese sets with code extensions, PS3.3 C.12.1.1.2), else "". */
std::string sl_dicom_to_utf8(DcmItem *item);

/* The value, several of them with their backslashes, as valid UTF-8, blanks around it gone, cut at a letter's end; "" where it is
 * absent. `coded`: what sl_dicom_to_utf8 said of the item that it stands in. */
void sl_dicom_value(DcmItem *item, const DcmTagKey &tag, const std::string &coded, char *to, size_t room);

#endif
