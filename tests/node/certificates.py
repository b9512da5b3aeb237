"""Certificates of invented authorities and machines, by OpenSSL, for the tests of DICOM over TLS."""
import subprocess


def issue(folder, name, signer=None):
    """An invented authority (without `signer`) or someone whose certificate it signed."""
    key, certificate, asked, names = (folder / f"{name}.{end}" for end in ("key", "pem", "csr", "txt"))
    openssl = lambda *words: subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True)
    names.write_text("subjectAltName=DNS:localhost,IP:127.0.0.1")
    if not signer:
        openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={name} (invented)", "-keyout", key, "-out", certificate)
    else:
        openssl("req", "-newkey", "rsa:2048", "-nodes", "-subj", f"/CN={name} (invented)", "-keyout", key, "-out", asked)
        openssl("x509", "-req", "-in", asked, "-CA", signer[1], "-CAkey", signer[0], "-CAcreateserial", "-days", "2", "-extfile", names, "-out", certificate)
    return key, certificate
