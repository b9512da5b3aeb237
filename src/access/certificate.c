#include "access/certificate.h"

#include "core/file.h"
#include "core/text.h"

#include <arpa/inet.h>
#include <openssl/ec.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/rand.h>
#include <openssl/x509v3.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { PEM_MOST = 1 << 18, DAYS = 397, DAYS_LEAST = 14 };

static X509 *parse(const char *pem)
{
    BIO *bio = BIO_new_mem_buf(pem, -1);
    X509 *certificate = bio ? PEM_read_bio_X509(bio, NULL, NULL, NULL) : NULL;
    BIO_free(bio);
    return certificate;
}

static EVP_PKEY *parse_key(const char *pem)
{
    BIO *bio = BIO_new_mem_buf(pem, -1);
    EVP_PKEY *key = bio ? PEM_read_bio_PrivateKey(bio, NULL, NULL, (void *)(uintptr_t)"") : NULL;
    BIO_free(bio);
    return key;
}

static void finger(const X509 *certificate, char text[SL_FINGERPRINT])
{
    unsigned char hash[EVP_MAX_MD_SIZE];
    unsigned length = 0;
    text[0] = 0;
    X509_digest(certificate, EVP_sha256(), hash, &length);
    for (unsigned i = 0; i < length && i < 32; i++)
        snprintf(text + 3 * i, 4, i + 1 < length ? "%02X:" : "%02X", hash[i]);
}

sl_status sl_certificate_load(const char *certificate_path, const char *key_path, sl_arena *arena, sl_certificate *into,
                              sl_error *error)
{
    char *pem, *key_pem;
    size_t length;
    sl_status status = sl_file_read(certificate_path, PEM_MOST, arena, &pem, &length, error);
    if (status == SL_OK)
        status = sl_file_read(key_path, PEM_MOST, arena, &key_pem, &length, error);
    if (status != SL_OK)
        return status;
    X509 *certificate = parse(pem);
    EVP_PKEY *key = parse_key(key_pem);
    int days = 0, seconds = 0;
    if (!certificate)
        status = sl_fail(error, SL_FORMAT, "%s holds no certificate in PEM form (\"BEGIN CERTIFICATE\").", certificate_path);
    else if (!key)
        status = sl_fail(error, SL_FORMAT, "%s holds no private key in PEM form without a password.", key_path);
    else if (X509_check_private_key(certificate, key) != 1)
        status = sl_fail(error, SL_FORMAT, "The key in %s is not the key of the certificate in %s.", key_path, certificate_path);
    else if (!ASN1_TIME_diff(&days, &seconds, NULL, X509_get0_notAfter(certificate)) || days < 0 || seconds < 0)
        status = sl_fail(error, SL_FORMAT, "The certificate in %s has run out. Get a new one.", certificate_path);
    else {
        *into = (sl_certificate){.pem = pem, .key = key_pem, .days_left = days};
        finger(certificate, into->fingerprint);
    }
    X509_free(certificate);
    EVP_PKEY_free(key);
    return status;
}

static bool add_extension(X509 *certificate, int which, const char *value)
{
    X509V3_CTX context;
    X509V3_set_ctx_nodb(&context);
    X509V3_set_ctx(&context, certificate, certificate, NULL, NULL, 0);
    X509_EXTENSION *extension = X509V3_EXT_conf_nid(NULL, &context, which, value);
    bool fine = extension && X509_add_ext(certificate, extension, -1);
    X509_EXTENSION_free(extension);
    return fine;
}

static bool is_address(const char *name)
{
    unsigned char bytes[16];
    return inet_pton(AF_INET, name, bytes) == 1 || inet_pton(AF_INET6, name, bytes) == 1;
}

/* RFC 5280: version 3, a random serial number of 127 bits, the name in subjectAltName. */
static X509 *make(EVP_PKEY *key, const char *name)
{
    X509 *certificate = X509_new();
    unsigned char serial[16];
    char other[300];
    if (!certificate || RAND_bytes(serial, sizeof serial) != 1)
        goto failed;
    serial[0] = (unsigned char)((serial[0] & 0x7f) | 0x40);
    BIGNUM *number = BN_bin2bn(serial, sizeof serial, NULL);
    bool numbered = number && BN_to_ASN1_INTEGER(number, X509_get_serialNumber(certificate));
    BN_free(number);
    X509_NAME *subject = X509_get_subject_name(certificate);
    snprintf(other, sizeof other, "%s:%s", is_address(name) ? "IP" : "DNS", name);
    if (numbered && X509_set_version(certificate, X509_VERSION_3) &&
        X509_gmtime_adj(X509_getm_notBefore(certificate), -300) &&
        X509_time_adj_ex(X509_getm_notAfter(certificate), DAYS - 1, 0, NULL) && X509_set_pubkey(certificate, key) &&
        X509_NAME_add_entry_by_txt(subject, "CN", MBSTRING_UTF8, (const unsigned char *)"strandline on this network", -1, -1, 0) &&
        X509_set_issuer_name(certificate, subject) && add_extension(certificate, NID_subject_alt_name, other) &&
        add_extension(certificate, NID_basic_constraints, "critical,CA:FALSE") &&
        add_extension(certificate, NID_key_usage, "critical,digitalSignature") &&
        add_extension(certificate, NID_ext_key_usage, "serverAuth") && X509_sign(certificate, key, EVP_sha256()))
        return certificate;
failed:
    X509_free(certificate);
    return NULL;
}

/* Key and certificate in one file that none but its owner may read. */
static sl_status write_both(const char *path, X509 *certificate, EVP_PKEY *key, sl_error *error)
{
    BIO *bio = BIO_new(BIO_s_mem());
    char *bytes = NULL;
    long length = 0;
    if (bio && PEM_write_bio_X509(bio, certificate) && PEM_write_bio_PKCS8PrivateKey(bio, key, NULL, NULL, 0, NULL, NULL))
        length = BIO_get_mem_data(bio, &bytes);
    mode_t mask = umask(077);
    sl_status status = length > 0 ? sl_file_write(path, bytes, (size_t)length, error)
                                  : sl_fail(error, SL_MEMORY, "The certificate could not be written.");
    umask(mask);
    BIO_free(bio);
    return status;
}

static bool serves(const sl_certificate *kept, const char *name)
{
    X509 *certificate = parse(kept->pem);
    int right = !certificate ? 0 : is_address(name) ? X509_check_ip_asc(certificate, name, 0) : X509_check_host(certificate, name, 0, 0, NULL);
    X509_free(certificate);
    return right == 1;
}

sl_status sl_certificate_own(const char *folder, const char *name, sl_arena *arena, sl_certificate *into, sl_error *error)
{
    sl_error ignored;
    char *path = sl_path_join(arena, folder, "server.pem");
    if (!path)
        return sl_fail(error, SL_MEMORY, "Memory ran out while the certificate was read.");
    if (!access(path, R_OK) && sl_certificate_load(path, path, arena, into, &ignored) == SL_OK && into->days_left >= DAYS_LEAST &&
        serves(into, name))
        return SL_OK;
    sl_status status = sl_folder_make(folder, error);
    EVP_PKEY *key = status == SL_OK ? EVP_EC_gen("P-256") : NULL;
    X509 *certificate = key ? make(key, name) : NULL;
    if (status == SL_OK)
        status = certificate ? write_both(path, certificate, key, error)
                             : sl_fail(error, SL_USAGE, "No certificate could be made for the name \"%.100s\".", name);
    X509_free(certificate);
    EVP_PKEY_free(key);
    return status == SL_OK ? sl_certificate_load(path, path, arena, into, error) : status;
}
