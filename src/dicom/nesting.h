/* What is not given to the toolkit: files whose sequences lie too deep in each other, deflated ones that are too large. C++: for the shim
 * only. */
#ifndef SL_DICOM_NESTING_H
#define SL_DICOM_NESTING_H

/* The toolkit goes one call deeper for each level and a small file can hold more levels than a stack (measured: 10,000 in 360 kB end
 * it), so files with more than these are not given to it. What the standard defines nests fewer than ten deep. */
enum { SL_DICOM_LEVELS = 64 };

/* SL_DICOM_FIT also for what is no DICOM file: the toolkit says so itself. SL_DICOM_INFLATES: a deflated data set that is, or says it is,
 * larger than memory should be asked for; the toolkit takes in what it inflates. */
typedef enum sl_dicom_unfit { SL_DICOM_FIT, SL_DICOM_TOO_DEEP, SL_DICOM_INFLATES } sl_dicom_unfit;
sl_dicom_unfit sl_dicom_unfit_of(const char *path);

#endif
