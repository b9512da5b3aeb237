/* An object on its way from the network to a file; for the C++ of this folder. */
#ifndef SL_DICOM_INCOMING_H
#define SL_DICOM_INCOMING_H

#include "dicom/association.h"
#include "dicom/drain.h"

#include <dcmtk/dcmnet/assoc.h>
#include <map>
#include <string>

struct T_DIMSE_C_StoreRQ;

/* The toolkit drops an association on the first message in a transfer syntax that it does not know (PS3.5 2026c A.4.4 to A.4.9), though
 * it does not look into data sets that it writes to files: one that it knows stands in while objects pass. */
class sl_incoming_unknown
{
public:
    void stand_in(T_ASC_Parameters *parameters); /* once the association stands */
    /* The true one of a context, "" where the toolkit knows it. */
    const char *of(int context) const;

private:
    std::map<int, std::string> syntax;
};

/* Is every byte there of a file with a data set of `received` bytes? */
bool sl_incoming_is_whole(const char *part, unsigned long received);

/* Does the file hold what the command promised? Fills `arrived` but for `from`. */
unsigned sl_incoming_examine(const T_DIMSE_C_StoreRQ &request, const char *part, const char *syntax, sl_dicom_arrived *arrived);

#endif
