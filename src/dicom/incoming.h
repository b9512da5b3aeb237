/* An object on its way from the network to a file; for the C++ of this folder. */
#ifndef SL_DICOM_INCOMING_H
#define SL_DICOM_INCOMING_H

#include "dicom/association.h"

#include <string>
#include <thread>

struct T_DIMSE_C_StoreRQ;

/* Takes what the toolkit writes through a pipe to the disk. The toolkit cannot go on after a failed write; this reads to the end
 * whatever happens, so that the sender can be told. */
class sl_drain
{
public:
    sl_drain(const char *path, unsigned long long limit); /* bytes; 0 = no limit */
    ~sl_drain() { finish(); }
    sl_drain(const sl_drain &) = delete;
    sl_drain &operator=(const sl_drain &) = delete;
    bool ready() const { return worker.joinable(); }
    std::string path() const { return "/proc/self/fd/" + std::to_string(ends[1]); }
    bool finish(); /* after the toolkit has closed its side: did everything go to the file? */

private:
    int file = -1, ends[2] = {-1, -1};
    bool good = true;
    unsigned long long came = 0, most;
    std::thread worker;

    void run();
};

/* Is every byte there of a file with a data set of `received` bytes? */
bool sl_incoming_is_whole(const char *part, unsigned long received);

/* Does the file hold what the command promised? Fills `arrived` but for `from`. */
unsigned sl_incoming_examine(const T_DIMSE_C_StoreRQ &request, const char *part, const char *syntax, sl_dicom_arrived *arrived);

#endif
