/* A value as text, for the C++ of this folder. */
#ifndef SL_DICOM_VALUE_H
#define SL_DICOM_VALUE_H

#include <cstddef>

class DcmItem;
class DcmTagKey;

/* The value, several of them with their backslashes, as valid UTF-8 (of a data set that was converted to it), blanks around it gone,
 * cut at a letter's end; "" where it is absent. */
void sl_dicom_value(DcmItem *item, const DcmTagKey &tag, char *to, size_t room);

#endif
