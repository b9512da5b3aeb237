"""DICOM by the web against dicomweb-client and pydicom: stored, searched (PS3.18 2024c 10.5, 10.6, I.1; the tables of attributes are
copied below), hostile bodies, and over TLS with users.

    check_dicomweb.py STRANDLINE

Objects are invented: noise under invented names."""
import base64
import contextlib
import http.client
import json
import pathlib
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import tempfile
import warnings

import numpy
import pydicom
import pydicom.encaps
import requests
from dicomweb_client.api import DICOMwebClient
from pydicom.dataset import Dataset, FileMetaDataset

warnings.simplefilter("ignore")
strandline = sys.argv[1]
work = pathlib.Path(tempfile.mkdtemp(prefix="strandline-dicomweb-"))
generator = numpy.random.default_rng(7)
failures = []
CLIP = "1.2.840.10008.5.1.4.1.1.3.1"


def check(truth, what):
    print("ok  " if truth else "FAIL", what)
    if not truth:
        failures.append(what)


def made(number, study=1, series=1, frames=3, side=48, name="Invented^Exämple", **more):
    data = Dataset()
    data.file_meta = FileMetaDataset()
    data.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
    data.SpecificCharacterSet = "ISO_IR 100"
    data.SOPClassUID, data.SOPInstanceUID = CLIP, f"1.2.3.4711.{number}"
    data.StudyInstanceUID, data.SeriesInstanceUID = f"1.2.3.4711.78.{study}", f"1.2.3.4711.79.{study}.{series}"
    data.file_meta.MediaStorageSOPClassUID, data.file_meta.MediaStorageSOPInstanceUID = data.SOPClassUID, data.SOPInstanceUID
    data.Modality, data.PatientName, data.PatientID, data.PatientSex = "US", name, f"D{study}", "O"
    data.StudyDate, data.StudyTime, data.StudyID, data.AccessionNumber = f"2031010{study}", "101500", str(study), f"A{study}"
    data.InstanceNumber, data.SeriesNumber, data.NumberOfFrames, data.FrameTime = number, series, frames, 40
    data.Rows = data.Columns = side
    data.SamplesPerPixel, data.PhotometricInterpretation, data.PixelRepresentation = 1, "MONOCHROME2", 0
    data.BitsAllocated = data.BitsStored = 8
    data.HighBit = 7
    data.PixelData = generator.integers(0, 256, (frames, side, side), numpy.uint8).tobytes()
    for keyword, value in more.items():
        setattr(data, keyword, value)
    return data


def file_of(data):
    path = work / "one.dcm"
    data.save_as(path, enforce_file_format=True)
    return path.read_bytes()


class Server:
    def __init__(self, *more):
        self.process = subprocess.Popen([strandline, "serve", str(work / "place"), "--store", str(work / "store"), *more],
                                        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for line in self.process.stdout:
            if line.startswith("http"):
                break
        self.url = line.strip() + "dicom"
        self.port = int(re.search(r":(\d+)/", line)[1])
        self.path = "/" + self.url.split("/", 3)[3]

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        check(self.process.wait(60) == 0, "the server stops in order")


def post(server, body, boundary="x", kind='multipart/related; type="application/dicom"; boundary=', path="/studies", **headers):
    return requests.post(server.url + path, data=body, headers={"Content-Type": kind + boundary if kind.endswith("=") else kind, **headers}, timeout=60)


def part(data, boundary="x", head="Content-Type: application/dicom\r\n"):
    return b"--" + boundary.encode() + b"\r\n" + head.encode() + b"\r\n" + data + b"\r\n"


def sentence(answer):
    try:
        return answer.json().get("error", "")
    except ValueError:
        return ""


# ---- objects in ----

def store(server, client):
    objects = [made(i, 1 + i % 2, 1 + i % 3) for i in range(1, 9)]
    said = client.store_instances(objects)
    check([item.ReferencedSOPInstanceUID for item in said.ReferencedSOPSequence] == [data.SOPInstanceUID for data in objects] and
          all(item.ReferencedSOPClassUID == CLIP and item.RetrieveURL.startswith(server.url + "/studies/") for item in said.ReferencedSOPSequence) and
          "FailedSOPSequence" not in said, "eight objects are stored, each told with its address (I.1)")
    kept = subprocess.run([strandline, "store", "arrived", "--store", str(work / "store")], capture_output=True, text=True).stdout
    check("1.2.3.4711.78.1" in kept and "1.2.3.4711.78.2" in kept, "they are in the store when it is answered")
    one = file_of(made(1, 2, 2))
    known = post(server, part(file_of(objects[2])) + b"--x--\r\n")
    check(known.status_code == 200 and not known.headers.get("Warning"), "the same object again: fine, and it is there once")
    beside = post(server, part(one) + b"--x--\r\n")
    check(beside.status_code == 200 and "kept beside" in beside.headers["Warning"], "another object under a known UID: kept, with a warning")
    mixed = post(server, part(file_of(made(20, 3))) + part(b"no object") + part(file_of(made(21, 3, SOPClassUID="1.2.840.10008.5.1.4.1.1.481.3"))) + b"--x--")
    answer = Dataset.from_json(mixed.json())
    check(mixed.status_code == 202 and len(answer.ReferencedSOPSequence) == 1 and answer.FailedSOPSequence[0].FailureReason == 0x0122 and
          answer.FailedSOPSequence[0].ReferencedSOPInstanceUID == "1.2.3.4711.21" and answer["0008119A"].value[0].FailureReason == 0xC000,
          "some fit, some not: 202, each with its reason")
    check(answer.RetrieveURL == server.url + "/studies/1.2.3.4711.78.3", "and the study's address")
    wrong = post(server, part(file_of(made(22, 3))) + b"--x--", path="/studies/1.2.3.99")
    check(wrong.status_code == 409 and "not the one in the address" in wrong.headers["Warning"], "of another study than the address says: 409")
    right = post(server, part(file_of(made(22, 3))) + b"--x--", path="/studies/1.2.3.4711.78.3", Accept="application/dicom+xml")
    check(right.status_code == 200 and b"<NativeDicomModel" in right.content and b"1.2.3.4711.22" in right.content, "of the one it says: 200, told in XML when asked")
    check(post(server, part(file_of(made(23, 3))) + b"--x--", Accept="text/html").status_code == 406, "an answer that cannot be given: 406 before the body")
    syntax = made(24, 3)
    syntax.file_meta.TransferSyntaxUID, syntax.PixelData = "1.2.840.10008.1.2.4.94", pydicom.encaps.encapsulate([b"\0\0"] * 3)
    refused = post(server, part(file_of(syntax)) + b"--x--")
    check(refused.status_code == 409 and Dataset.from_json(refused.json()).FailedSOPSequence[0].FailureReason == 0xC122, "a transfer syntax that is not taken: C122")
    return objects


def hostile(server):
    good = file_of(made(40, 4))
    cases = {
        "another boundary than announced": (part(good, "y") + b"--y--", 400, "does not occur"),
        "no last boundary": (part(good)[:-2], 400, "breaks off"),
        "broken off within header lines": (b"--x\r\nContent-Ty", 400, "breaks off"),
        "no part": (b"--x--\r\n", 400, "no part"),
        "an empty body": (b"", 400, "does not occur"),
        "a boundary that goes on": (b"--xy\r\nContent-Type: application/dicom\r\n\r\n" + good + b"\r\n--x--", 400, "goes on"),
        "header lines with LF alone": (b"--x\nContent-Type: application/dicom\n\n" + good + b"\n--x--", 400, "goes on"),
        "a folded header line": (part(good, head="Content-Type: application/dicom;\r\n a=b\r\n") + b"--x--", 400, "is none"),
        "two types": (part(good, head="Content-Type: application/dicom\r\nContent-Type: text/html\r\n") + b"--x--", 400, "twice"),
        "base64": (part(base64.b64encode(good), head="Content-Type: application/dicom\r\nContent-Transfer-Encoding: base64\r\n") + b"--x--", 400, "as it is"),
        "endless header lines": (b"--x\r\n" + b"A: " + b"b" * 100000 + b"\r\n\r\n--x--", 413, "too long"),
        "many header lines": (b"--x\r\n" + b"A: b\r\n" * 10000 + b"\r\n--x--", 413, "too long"),
        "a hundred thousand parts": (b"--x\r\n\r\n" * 100000 + b"--x--", 413, "parts in one body"),
        "a zero byte in a header line": (part(good, head="Content-Type: application/dicom\0\r\n") + b"--x--", 400, "zero byte"),
    }
    for what, (body, status, words) in cases.items():
        answer = post(server, body)
        check(answer.status_code == status and words in sentence(answer), f"{what}: {status} {sentence(answer)[:70]}")
    for what, kind, status in (("no multipart", "application/dicom", 415), ("JSON", "application/json", 415), ("no boundary", "multipart/related; type=\"application/dicom\"", 400),
                               ("a boundary of 71 letters", "multipart/related; type=\"application/dicom\"; boundary=" + "b" * 71, 400),
                               ("metadata with bulk data apart", 'multipart/related; type="application/dicom+json"; boundary=x', 415),
                               ("quotes that do not end", 'multipart/related; type="application/dicom; boundary=x', 415)):
        answer = post(server, part(good) + b"--x--", kind=kind)
        check(answer.status_code == status and sentence(answer), f"{what}: {status}")
    for path in ("/studies/..%2f..%2fetc", "/studies/../../api/exams", "/studies/1.2.3/series", "/studies/%00", "/studies/.hidden", "/studies/" + "1" * 65):
        answer = requests.Request("POST", server.url + path, data=part(good) + b"--x--", headers={"Content-Type": 'multipart/related; type="application/dicom"; boundary=x'}).prepare()
        answer.url = server.url + path
        check(requests.Session().send(answer, timeout=60).status_code in (403, 404, 415), f"nothing is brought in at {path}")
    check(post(server, part(good) + b"--x--", Origin="http://elsewhere.example").status_code == 403, "another page may not send")
    check(requests.delete(server.url + "/studies/1.2.3", timeout=60).status_code == 405, "nothing is deleted")
    weird = post(server, part(good, "a'()+_,-./:=? b") + b"--a'()+_,-./:=? b--", boundary='"a\'()+_,-./:=? b"')
    check(weird.status_code == 200, "every letter a boundary may have")
    inside = made(41, 4)
    inside.PixelData = (b"\r\n--y\r\n--\r\n-" * 700)[:3 * 48 * 48]
    check(post(server, b"preamble\r\n" + part(file_of(inside)) + b"--x--\r\nepilogue --x\r\n").status_code == 200, "what looks like boundaries within, before and after")
    with socket.create_connection(("127.0.0.1", server.port), timeout=60) as link:  # chunks of a byte, and a length that lies
        body = part(file_of(made(42, 4))) + b"--x--"
        link.sendall(f"POST {server.path}/studies HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: multipart/related; type=\"application/dicom\"; boundary=x\r\n"
                     "Transfer-Encoding: chunked\r\n\r\n".encode())
        link.sendall(b"".join(b"1\r\n%c\r\n" % byte for byte in body[:300]))
        link.sendall(b"%x\r\n%s\r\n0\r\n\r\n" % (len(body) - 300, body[300:]))
        check(b" 200 " in link.recv(4000).split(b"\r\n")[0], "byte by byte it is the same object")
    with socket.create_connection(("127.0.0.1", server.port), timeout=60) as link:
        link.sendall(f"POST {server.path}/studies HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: multipart/related; type=\"application/dicom\"; boundary=x\r\n"
                     f"Content-Length: {len(body) + 1000}\r\n\r\n".encode() + part(file_of(made(43, 4)))[:-20])
    with socket.create_connection(("127.0.0.1", server.port), timeout=60) as link:
        link.sendall(f"POST {server.path}/studies HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\nContent-Type: multipart/related; type=\"application/dicom\"; boundary=x\r\n"
                     f"Content-Length: {1 << 40}\r\n\r\n".encode())
        check(b" 413 " in link.recv(4000).split(b"\r\n")[0], "a terabyte that is announced is refused before it comes")
    check(not DICOMwebClient(server.url).search_for_instances(search_filters={"SOPInstanceUID": "1.2.3.4711.43"}), "what broke off is not there")
    left = list((work / "store" / "arriving").glob("*"))
    check(not left, f"and nothing half is left ({len(left)})")


# ---- searching ----

STUDY = "00080020 00080030 00080050 00080056 00080061 00080090 00081190 00100010 00100020 00100030 00100040 0020000D 00200010 00201206 00201208".split()
SERIES = "00080060 0008103E 00081190 0020000E 00200011 00201209".split()
INSTANCE = "00080016 00080018 00080056 00081190 00200013 00280010 00280011 00280100 00280008".split()


def search(server, client):
    studies = client.search_for_studies()
    check(all(set(STUDY) <= set(one) for one in studies), "studies have the attributes of Table 10.6.3-3")
    check([one["00080020"]["Value"][0] for one in studies] == ["20310104", "20310103", "20310102", "20310101"], "the newest first")
    first = Dataset.from_json(studies[3])
    check((first.PatientName, first.NumberOfStudyRelatedSeries, first.NumberOfStudyRelatedInstances, first.ModalitiesInStudy) == ("Invented^Exämple", 3, 4, "US"),
          "names in UTF-8, counts, modalities")
    series = client.search_for_series("1.2.3.4711.78.1")
    check(len(series) == 3 and all(set(SERIES) <= set(one) and "00100010" not in one for one in series), "series of a study: Table 10.6.3-4, and not the study's again")
    check(all(set(SERIES) | set(STUDY) - {"00201206"} <= set(one) for one in client.search_for_series()), "series of all studies: the study's attributes too")
    some = client.search_for_instances("1.2.3.4711.78.1", "1.2.3.4711.79.1.1")
    check(len(some) == 1 and all(set(INSTANCE) <= set(one) and "00080060" not in one for one in some), "instances of a series: Table 10.6.3-5")
    check(some[0]["00280008"]["Value"] == [3] and some[0]["00280100"]["Value"] == [8], "with frames and bits")
    check(all(set(INSTANCE) | {"00080060", "00100010"} <= set(one) for one in client.search_for_instances()), "instances of everything: all levels")

    def found(what, **filters):
        return {one["0020000D"]["Value"][0].split(".")[-1] for one in what(search_filters=filters)}

    cases = [({"PatientName": "invented*"}, "1234"), ({"PatientName": "INVENTED^EX?MPLE"}, "1234"), ({"PatientName": "Exämple*"}, ""), ({"PatientID": "D1"}, "1"),
             ({"PatientID": "d1"}, ""), ({"PatientID": "D?"}, "1234"), ({"StudyDate": "20310102"}, "2"), ({"StudyDate": "20310102-"}, "234"), ({"StudyDate": "-20310102"}, "12"),
             ({"StudyDate": "20310102-20310103"}, "23"), ({"StudyTime": "1000-1100"}, "1234"), ({"StudyTime": "10"}, "1234"), ({"StudyTime": "1100-"}, ""),
             ({"StudyInstanceUID": "1.2.3.4711.78.1,1.2.3.4711.78.3"}, "13"), ({"StudyInstanceUID": "1.2.3.4711.78.1\\1.2.3.4711.78.3"}, "13"),
             ({"StudyInstanceUID": "1.2.3.4711.78.*"}, ""), ({"ModalitiesInStudy": "US"}, "1234"), ({"ModalitiesInStudy": "CT"}, ""), ({"AccessionNumber": "A2"}, "2"),
             ({"00200010": "3"}, "3"), ({"PatientSex": "O", "PatientID": "D4"}, "4"), ({"PatientName": ""}, "1234"), ({"PatientID": "[D]1"}, "")]
    for filters, expected in cases:
        check(found(client.search_for_studies, **filters) == set(expected), f"{filters}: studies {expected or 'none'}")
    check(len(client.search_for_series(search_filters={"SeriesNumber": "2"})) == 2, "series by their number")
    check(len(client.search_for_instances(search_filters={"InstanceNumber": "3", "Modality": "US", "SOPClassUID": CLIP})) == 1, "instances by number, modality and class")
    check(len(client.search_for_instances(search_filters={"FrameTime": "40"})) > 8 and not client.search_for_instances(search_filters={"FrameTime": "41"}), "and by what only the object knows")
    pages = [one["00080018"]["Value"][0] for at in range(0, 20, 3) for one in client.search_for_instances(limit=3, offset=at)]
    check(pages == [one["00080018"]["Value"][0] for one in client.search_for_instances()], "page by page it is the same list")
    more = requests.get(server.url + "/instances?limit=2", timeout=60)
    check(len(more.json()) == 2 and re.search(r'299 .*There are \d+ additional results', more.headers["Warning"]), "that there is more is said (10.6.3.1)")
    fields = client.search_for_instances(limit=1, fields=["FrameTime", "00281050", "PatientName"])[0]
    check(fields["00181063"]["Value"] == [40] and "00281050" not in fields, "includefield: what is there comes too")
    every = client.search_for_instances(limit=1, fields=["all"])[0]
    check(every["00181063"]["Value"] == [40] and every["00280004"]["Value"] == ["MONOCHROME2"] and "7FE00010" not in every, "includefield=all: the whole header, without pixels")
    fuzzy = requests.get(server.url + "/studies?fuzzymatching=true&PatientID=D1", timeout=60)
    check(fuzzy.status_code == 200 and len(fuzzy.json()) == 1 and "fuzzymatching" in fuzzy.headers["Warning"], "fuzzymatching is not done, and that is said")
    check(requests.get(server.url + "/studies?PatientID=nobody", timeout=60).status_code == 204, "nothing found: 204")
    for bad in ("?limit=-1", "?limit=x", "?NoSuchThing=1", "?includefield=NoSuchThing", "?StudyDate.PatientID=1", "?fuzzymatching=perhaps"):
        answer = requests.get(server.url + "/studies" + bad, timeout=60)
        check(answer.status_code == 400 and sentence(answer), f"{bad}: 400 {sentence(answer)[:60]}")
    check(requests.get(server.url + "/studies", headers={"Accept": "text/html"}, timeout=60).status_code == 406, "an answer in HTML: 406")
    for path in ("/studies/1.2.x/series", "/studies/%2e%2e/series", "/nothing", "/studies/1.2.3/series/1.2/instances/..", "/studies/1.2.3/lines"):
        request = requests.Request("GET", server.url + path).prepare()
        request.url = server.url + path
        check(requests.Session().send(request, timeout=60).status_code in (400, 404), f"{path}: nothing")
    check(requests.get(server.url.replace(server.path[1:9], "0" * 8) + "/studies", timeout=60).status_code == 404, "nothing without the token")


# ---- beyond this machine ----

def door():
    access = work / "access"
    for name, role in (("warden", "administrator"), ("machine", "reader"), ("leo", "learner")):
        subprocess.run([strandline, "users", "add", name, "--role", role, "--access", str(access)], input=f"seven quiet herons {role}\n", text=True, check=True, capture_output=True)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = Server("--on", "127.0.0.1", "--name", "127.0.0.1", "--port", str(port), "--access", str(access))
    check(server.url == f"https://127.0.0.1:{port}/dicom", "its address beyond this machine")

    def ask(name=None, password=None, path="/studies", **headers):
        link = http.client.HTTPSConnection("127.0.0.1", port, timeout=60, context=ssl.create_default_context(cafile=str(access / "server.pem")))
        if name:
            headers["Authorization"] = "Basic " + base64.b64encode(f"{name}:{password}".encode()).decode()
        link.request("GET", "/dicom" + path, headers=headers)
        answer = link.getresponse()
        answer.read()
        return answer

    none = ask()
    check(none.status == 401 and none.getheader("WWW-Authenticate").startswith("Basic realm="), "nobody: 401, and how to sign in (RFC 7617)")
    check(ask("leo", "seven quiet herons learner").status == 403, "a learner: 403")
    check(ask("machine", "seven quiet herons reader").status == 200 and ask("warden", "seven quiet herons administrator").status == 200, "a reader, an administrator: fine")
    for header in ("Basic", "Basic !!!", "Basic " + base64.b64encode(b"no colon").decode(), "Bearer x", "Basic " + base64.b64encode(b":" + b"x" * 999).decode()):
        check(ask(Authorization=header).status == 401, f"{header[:20]}: 401")
    session = requests.Session()
    session.auth, session.verify = ("machine", "seven quiet herons reader"), str(access / "server.pem")
    session.trust_env = False
    client = DICOMwebClient(server.url, session=session)
    said = client.store_instances([made(60, 5)])
    check(said.ReferencedSOPSequence[0].RetrieveURL.startswith(f"https://127.0.0.1:{port}/dicom/studies/"), "stored over TLS")
    check(len(client.search_for_instances("1.2.3.4711.78.5")) == 1, "and found")
    statuses = [ask("machine", f"wrong {i}").status for i in range(8)]
    check(statuses[0] == 401 and statuses[-1] == 429, "wrong passwords have to wait")
    check(client.search_for_studies(limit=1) != [], "who is known goes on")
    session.close()
    log = (access / "access.jsonl").read_text()
    check('"brought in"' in log and '"wrong password or name"' in log and "seven quiet" not in log, "the log has it, without passwords")
    server.stop()


try:
    (work / "place").mkdir()
    first = Server()
    web = DICOMwebClient(first.url)
    store(first, web)
    hostile(first)
    search(first, web)
    first.stop()
    door()
finally:
    shutil.rmtree(work, ignore_errors=True)
print(f"{len(failures)} failures")
sys.exit(1 if failures else 0)
