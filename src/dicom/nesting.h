/* How deep the sequences of a file lie in each other. C++: for the shim only. */
#ifndef SL_DICOM_NESTING_H
#define SL_DICOM_NESTING_H

/* The toolkit goes one call deeper for each level and a small file can hold more levels than a stack (measured: 10,000 in 360 kB end
 * it), so files with more than these are not given to it. What the standard defines nests fewer than ten deep. */
enum { SL_DICOM_LEVELS = 64 };

/* False also for what is no DICOM file: the toolkit says so itself. */
bool sl_dicom_nests_too_deep(const char *path);

#endif
