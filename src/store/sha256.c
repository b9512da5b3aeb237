#include "store/inner.h"

#include <errno.h>
#include <fcntl.h>
#include <openssl/evp.h>
#include <stdbool.h>
#include <string.h>
#include <unistd.h>

static void to_text(const uint8_t digest[32], char hash[SL_STORE_HASH])
{
    static const char digits[] = "0123456789abcdef";
    for (int i = 0; i < 32; i++) {
        hash[2 * i] = digits[digest[i] >> 4];
        hash[2 * i + 1] = digits[digest[i] & 15];
    }
    hash[64] = 0;
}

void sl_sha256(const void *bytes, size_t length, char hash[SL_STORE_HASH])
{
    uint8_t digest[32];
    hash[0] = 0; /* no memory: no hash, which equals none */
    if (EVP_Digest(bytes, length, digest, NULL, EVP_sha256(), NULL))
        to_text(digest, hash);
}

static sl_status pass(const char *from, int64_t first, int to, const char *to_name, char hash[SL_STORE_HASH], int64_t *bytes,
                      sl_error *error)
{
    enum { PIECE = 1 << 16 };
    uint8_t digest[32], piece[PIECE];
    EVP_MD_CTX *sha = EVP_MD_CTX_new();
    bool hashed = sha && EVP_DigestInit_ex(sha, EVP_sha256(), NULL);
    int file = open(from, O_RDONLY | O_CLOEXEC);
    sl_status status = SL_OK;
    *bytes = 0;
    if (file < 0)
        status = sl_store_io("opened", from, errno, error);
    else if (first && lseek(file, first, SEEK_SET) < 0)
        status = sl_store_io("read", from, errno, error);
    else if (!hashed)
        status = sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", from);
    while (status == SL_OK) {
        ssize_t got = read(file, piece, PIECE);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            status = sl_store_io("read", from, errno, error);
        if (got <= 0)
            break;
        hashed = hashed && EVP_DigestUpdate(sha, piece, (size_t)got);
        *bytes += got;
        for (ssize_t done = 0; to >= 0 && done < got && status == SL_OK;) {
            ssize_t put = write(to, piece + done, (size_t)(got - done));
            if (put >= 0)
                done += put;
            else if (errno != EINTR)
                status = sl_store_io("written", to_name, errno, error);
        }
    }
    if (status == SL_OK && !(hashed && EVP_DigestFinal_ex(sha, digest, NULL)))
        status = sl_fail(error, SL_MEMORY, "Memory ran out while reading %s.", from);
    if (status == SL_OK)
        to_text(digest, hash);
    if (file >= 0)
        close(file);
    EVP_MD_CTX_free(sha);
    return status;
}

sl_status sl_sha256_copy(const char *from, int to, const char *to_name, char hash[SL_STORE_HASH], int64_t *bytes,
                         sl_error *error)
{
    return pass(from, 0, to, to_name, hash, bytes, error);
}

sl_status sl_sha256_from(const char *path, int64_t first, char hash[SL_STORE_HASH], int64_t *bytes, sl_error *error)
{
    return pass(path, first, -1, "", hash, bytes, error);
}
