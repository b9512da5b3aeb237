/* From the toolkit, which can write to a named file only and cannot go on after a failed write, to the disk. C++ only. */
#ifndef SL_DICOM_DRAIN_H
#define SL_DICOM_DRAIN_H

#include <string>
#include <thread>
#include <vector>

/* A pipe under a name, read to its end whatever happens, so that a sender can be told. */
class sl_drain
{
public:
    /* Not more than `limit` bytes, 0: any number. `syntax`: the transfer syntax the file header is to state instead of what the toolkit
     * takes it for; "" leaves it. */
    sl_drain(const char *path, unsigned long long limit, const char *syntax = "");
    ~sl_drain() { finish(); }
    sl_drain(const sl_drain &) = delete;
    sl_drain &operator=(const sl_drain &) = delete;

    bool ready() const { return worker.joinable(); }
    std::string path() const { return "/proc/self/fd/" + std::to_string(ends[1]); }
    /* After the toolkit has closed its side: did everything go to the file? */
    bool finish();

private:
    int file = -1, ends[2] = {-1, -1};
    bool good = true;
    unsigned long long came = 0, most;
    std::string stated;
    std::vector<char> header; /* held back until it is whole */
    std::thread worker;

    void run();
    void put(const char *bytes, size_t length);
    void take(const char *bytes, size_t length);
};

/* The file header `header` (preamble to its end, PS3.10 7.1) with another transfer syntax; false when it is none. */
bool sl_dicom_restate(std::vector<char> &header, const std::string &syntax);

#endif
