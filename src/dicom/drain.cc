#include "dicom/drain.h"

#include <cstdint>
#include <cstring>
#include <fcntl.h>
#include <unistd.h>

namespace
{

enum : size_t { LEAD = 132, GROUP_LENGTH = 12, START = LEAD + GROUP_LENGTH, MOST_HEADER = 1 << 16 };

uint32_t number(const char *at, int bytes)
{
    uint32_t value = 0;
    for (int i = bytes - 1; i >= 0; i--)
        value = value << 8 | static_cast<unsigned char>(at[i]);
    return value;
}

void set(char *at, int bytes, uint32_t value)
{
    for (int i = 0; i < bytes; i++, value >>= 8)
        at[i] = static_cast<char>(value & 0xff);
}

/* How long the header is; 0 while that is not known. */
size_t length_of(const std::vector<char> &header)
{
    return header.size() < START ? 0 : START + number(&header[LEAD + 8], 4);
}

} /* namespace */

bool sl_dicom_restate(std::vector<char> &header, const std::string &syntax)
{
    const size_t end = length_of(header);
    if (!end || end != header.size() || memcmp(&header[128], "DICM\2\0\0\0UL\4\0", 12))
        return false;
    for (size_t at = START; at + 8 <= end;) { /* explicit little endian (PS3.5 7.1.2) */
        const bool is_long = !memcmp(&header[at + 4], "OB", 2) || !memcmp(&header[at + 4], "UN", 2);
        if (is_long && at + 12 > end)
            return false;
        const size_t value = at + (is_long ? 12 : 8), length = is_long ? number(&header[at + 8], 4) : number(&header[at + 6], 2);
        if (length > end - value)
            return false;
        if (number(&header[at], 2) == 2 && number(&header[at + 2], 2) == 0x10) {
            std::string padded = syntax + std::string(syntax.size() % 2, '\0');
            header.erase(header.begin() + static_cast<long>(value), header.begin() + static_cast<long>(value + length));
            header.insert(header.begin() + static_cast<long>(value), padded.begin(), padded.end());
            set(&header[at + 6], 2, static_cast<uint32_t>(padded.size()));
            set(&header[LEAD + 8], 4, static_cast<uint32_t>(header.size() - START));
            return true;
        }
        at = value + length;
    }
    return false;
}

sl_drain::sl_drain(const char *path, unsigned long long limit, const char *syntax) : most(limit), stated(syntax)
{
    file = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (file < 0 || pipe(ends))
        good = false;
    else
        worker = std::thread([this] { run(); });
}

bool sl_drain::finish()
{
    if (ends[1] >= 0)
        close(ends[1]);
    ends[1] = -1;
    if (worker.joinable())
        worker.join();
    if (ends[0] >= 0)
        close(ends[0]);
    ends[0] = -1;
    if (file >= 0 && close(file))
        good = false;
    file = -1;
    return good && stated.empty(); /* it is still there while its header has not come */
}

void sl_drain::put(const char *bytes, size_t length)
{
    for (size_t at = 0; good && at < length;) {
        ssize_t done = write(file, bytes + at, length - at);
        good = done > 0;
        at += static_cast<size_t>(done);
    }
}

void sl_drain::take(const char *bytes, size_t length)
{
    if (stated.empty()) {
        put(bytes, length);
        return;
    }
    header.insert(header.end(), bytes, bytes + length);
    const size_t end = length_of(header);
    if (end > MOST_HEADER)
        good = false;
    if (!good || !end || header.size() < end)
        return;
    std::vector<char> rest(header.begin() + static_cast<long>(end), header.end());
    header.resize(end);
    good = sl_dicom_restate(header, stated);
    stated.clear();
    put(header.data(), header.size());
    put(rest.data(), rest.size());
}

void sl_drain::run()
{
    std::vector<char> block(1 << 16);
    for (ssize_t got; (got = read(ends[0], block.data(), block.size())) > 0;) {
        came += static_cast<unsigned long long>(got);
        good = good && (!most || came <= most);
        if (good)
            take(block.data(), static_cast<size_t>(got));
    }
}
