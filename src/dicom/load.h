/* Loading a file with the toolkit, transfer syntaxes included that it does not know but that are coded as one it knows. C++ only. */
#ifndef SL_DICOM_LOAD_H
#define SL_DICOM_LOAD_H

#include <dcmtk/dcmdata/dctk.h>

/* The toolkit prints nothing from now on; any number of times, any thread. */
void sl_dicom_quiet(void);

/* Quiet, and its decoders are there. */
void sl_dicom_prepare_toolkit();

/* As DcmFileFormat::loadFile, up to the tag `behind` where one is given (long values then stay on the disk); refuses what nests too
 * deep (nesting.h). The data set of such a file says it has the syntax it is coded as; the file's own stands in the
 * meta header still (sl_dicom_own_syntax). */
OFCondition sl_dicom_load(DcmFileFormat &format, const char *path, const DcmTagKey &behind = DCM_UndefinedTagKey,
                          E_FileReadMode mode = ERM_fileOnly);

/* The same up to the pixels. */
OFCondition sl_dicom_load_header(DcmFileFormat &format, const char *path, E_FileReadMode mode = ERM_fileOnly);

/* The transfer syntax UID that the file states where it is one of those, else "". */
OFString sl_dicom_own_syntax(DcmFileFormat &format);

#endif
