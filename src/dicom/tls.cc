#include <dcmtk/config/osconfig.h>

#include "dicom/tls.h"

#include <dcmtk/dcmtls/tlslayer.h>
#include <memory>
#include <unistd.h>

namespace
{

bool readable(const char *path, const char *what, sl_error *error)
{
    if (access(path, R_OK) == 0)
        return true;
    sl_fail(error, SL_IO, "%s cannot be read; name the PEM file of the %s.", path, what);
    return false;
}

} /* namespace */

DcmTLSTransportLayer *sl_dicom_tls_layer(const sl_dicom_tls *tls, bool answers, sl_error *error)
{
    if (answers && (!tls->certificate || !tls->key)) {
        sl_fail(error, SL_USAGE, "Who is called over TLS needs a certificate and its key.");
        return nullptr;
    }
    if (!tls->trust && !tls->anyone) {
        sl_fail(error, SL_USAGE, answers ? "Say whose certificates are trusted, or that anyone may call."
                                         : "Say whose certificates are trusted, or that whoever answers is taken.");
        return nullptr;
    }
    if ((tls->certificate && !readable(tls->certificate, "certificate", error)) || (tls->key && !readable(tls->key, "key", error)) ||
        (tls->trust && !readable(tls->trust, "trusted certificates", error)))
        return nullptr;
    std::unique_ptr<DcmTLSTransportLayer> layer(
        new DcmTLSTransportLayer(answers ? NET_ACCEPTOR : NET_REQUESTOR, nullptr, OFTrue));
    layer->setPrivateKeyPasswd(""); /* a key under a passphrase is refused, nobody is asked for it in the middle of a call */
    if (tls->key && layer->setPrivateKeyFile(tls->key, DCF_Filetype_PEM).bad()) {
        sl_fail(error, SL_FORMAT, "%s holds no private key in PEM form without a passphrase.", tls->key);
        return nullptr;
    }
    if (tls->certificate && layer->setCertificateFile(tls->certificate, DCF_Filetype_PEM).bad()) {
        sl_fail(error, SL_FORMAT, "%s holds no certificate in PEM form.", tls->certificate);
        return nullptr;
    }
    if (tls->certificate && tls->key && !layer->checkPrivateKeyMatchesCertificate()) {
        sl_fail(error, SL_FORMAT, "The key in %s does not belong to the certificate in %s.", tls->key, tls->certificate);
        return nullptr;
    }
    if (tls->trust && layer->addTrustedCertificateFile(tls->trust, DCF_Filetype_PEM).bad()) {
        sl_fail(error, SL_FORMAT, "%s holds no certificate in PEM form.", tls->trust);
        return nullptr;
    }
    if (layer->setTLSProfile(TSP_Profile_BCP195_ND).bad() || layer->activateCipherSuites().bad()) {
        sl_fail(error, SL_UNSUPPORTED, "The toolkit of this machine knows no secure TLS profile. Update it.");
        return nullptr;
    }
    layer->setCertificateVerification(!tls->anyone ? DCV_requireCertificate : tls->trust && answers ? DCV_checkCertificate : DCV_ignoreCertificate);
    return layer.release();
}

extern "C" sl_status sl_dicom_tls_check(const sl_dicom_tls *tls, bool answers, sl_error *error)
{
    sl_error own = {};
    std::unique_ptr<DcmTLSTransportLayer> layer(sl_dicom_tls_layer(tls, answers, error ? error : &own));
    return layer ? SL_OK : (error ? error : &own)->status;
}
