"""DICOM by the web against dicomweb-client and pydicom: stored, searched (PS3.18 2024c 10.5, 10.6, I.1; the tables of attributes are
copied below), given out again (10.4) as stored, decoded and as pictures, hostile bodies,
many at once, killed at random, and over TLS with users.

    check_dicomweb.py STRANDLINE [KILLS]

Objects are invented: noise under invented names."""
import base64
import concurrent.futures
import contextlib
import http.client
import io
import json
import pathlib
import re
import shutil
import signal
import socket
import ssl
import struct
import subprocess
import sys
import tempfile
import threading
import warnings
import zlib

import numpy
import PIL.Image
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


def deep_files(levels):
    """Sequences in sequences, in every way they can be written: the toolkit's stack ends at some 10,000 of them."""
    def element(tag, kind, value, order="<", implicit=False):
        value += b" " * (len(value) % 2) if kind != "UI" else b"\0" * (len(value) % 2)
        start = struct.pack(order + "HH", tag >> 16, tag & 0xFFFF)
        if implicit:
            return start + struct.pack(order + "I", len(value)) + value
        long = kind in ("OB", "SQ", "UN")
        return start + kind.encode() + (b"\0\0" + struct.pack(order + "I", len(value)) if long else struct.pack(order + "H", len(value))) + value

    def whole(syntax, middle, order="<", implicit=False, deflate=False):
        head = b"".join(element(tag, kind, value) for tag, kind, value in
                        ((0x00020001, "OB", b"\0\1"), (0x00020002, "UI", CLIP.encode()), (0x00020003, "UI", b"1.2.3.4711.90"), (0x00020010, "UI", syntax.encode())))
        head = element(0x00020000, "UL", struct.pack("<I", len(head))) + head
        names = [element(tag, "UI", value, order, implicit) for tag, value in
                 ((0x00080016, CLIP.encode()), (0x00080018, b"1.2.3.4711.90"), (0x0020000D, b"1.2.3.4711.91"), (0x0020000E, b"1.2.3.4711.92"))]
        body = names[0] + names[1] + middle + names[2] + names[3]
        if deflate:
            packer = zlib.compressobj(9, zlib.DEFLATED, -15)
            body = packer.compress(body) + packer.flush()
        return b"\0" * 128 + b"DICM" + head + body

    def opened(order="<", kind=b"SQ\0\0", tag=(0x0008, 0x1140)):
        begin = struct.pack(order + "HH", *tag) + kind + b"\xff" * 4 + struct.pack(order + "HHI", 0xFFFE, 0xE000, 0xFFFFFFFF)
        close = struct.pack(order + "HHI", 0xFFFE, 0xE00D, 0) + struct.pack(order + "HHI", 0xFFFE, 0xE0DD, 0)
        return begin * levels + close * levels

    def measured(implicit):
        inner = 16 if implicit else 20
        return b"".join(struct.pack("<HH", 0x0008, 0x1140) + (b"" if implicit else b"SQ\0\0") + struct.pack("<IHHI", (levels - i) * inner - inner + 8, 0xFFFE, 0xE000, (levels - i - 1) * inner)
                        for i in range(levels))

    unknown = struct.pack("<HH", 0x0009, 0x1001) + b"UN\0\0" + b"\xff" * 4 + struct.pack("<HHI", 0xFFFE, 0xE000, 0xFFFFFFFF) + opened(kind=b"", tag=(0x0009, 0x1002))
    odd = struct.pack("<HH", 0x0008, 0x0070) + b"??" + struct.pack("<H", 2) + b"ab"
    explicit = "1.2.840.10008.1.2.1"
    return {"explicit": whole(explicit, opened()), "explicit, with lengths": whole(explicit, measured(False)), "implicit": whole("1.2.840.10008.1.2", opened(kind=b""), implicit=True),
            "implicit, with lengths": whole("1.2.840.10008.1.2", measured(True), implicit=True), "big endian": whole("1.2.840.10008.1.2.2", opened(">"), ">"),
            "deflated": whole("1.2.840.10008.1.2.1.99", opened(), deflate=True), "of unknown kind": whole(explicit, unknown), "behind something odd": whole(explicit, odd + opened())}


def deep(server):
    for levels in (20, 60000):
        for name, data in deep_files(levels).items():
            answer = post(server, part(data) + b"--x--")
            if levels > 1000:
                check(answer.status_code == 409, f"{levels} sequences in each other, {name}: refused ({len(data)} bytes)")
            elif name not in ("behind something odd", "of unknown kind"):
                check(answer.status_code == 200, f"{levels} of them, {name}: taken")
    for path in ("/metadata", ""):
        check(requests.get(f"{server.url}/studies/1.2.3.4711.91{path}", timeout=60).status_code == 200, f"those are given out{path}")
    requests.get(f"{server.url}/studies", timeout=60)
    subprocess.run([strandline, "store", "drop", "1.2.3.4711.91", "--yes", "--store", str(work / "store")], check=True, capture_output=True)


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


# ---- objects out ----

def coded_objects():
    """One object of noise in each kind of coding, written by pydicom and its encoders; pixels are asked of pydicom."""
    def rgb(number, **more):
        data = made(number, 6, 1, frames=2, **more)
        data.SamplesPerPixel, data.PhotometricInterpretation, data.PlanarConfiguration = 3, "RGB", 0
        x, y = numpy.meshgrid(numpy.arange(48), numpy.arange(48))
        smooth = numpy.stack([x * 5, y * 5, (x + y) * 2], -1)
        data.PixelData = numpy.stack([smooth, smooth[::-1]]).astype(numpy.uint8).tobytes()
        return data

    deep = made(74, 6, 1, frames=2)
    deep.BitsAllocated, deep.BitsStored, deep.HighBit = 16, 12, 11
    deep.PixelData = generator.integers(0, 4096, (2, 48, 48), numpy.uint16).tobytes()
    odd = made(75, 6, 1, frames=1, side=47)
    odd.PixelData = generator.integers(0, 256, 47 * 47, numpy.uint8).tobytes() + b"\0"
    objects = {"explicit": rgb(70), "RLE": rgb(71), "JPEG-LS": rgb(72), "JPEG 2000": rgb(73), "12 bits": deep, "an odd number of bytes": odd}
    for name, syntax in (("RLE", pydicom.uid.RLELossless), ("JPEG-LS", pydicom.uid.JPEGLSLossless), ("JPEG 2000", pydicom.uid.JPEG2000Lossless)):
        objects[name].compress(syntax, generate_instance_uid=False)
    implicit = made(76, 6, 1, frames=2)
    implicit.file_meta.TransferSyntaxUID = pydicom.uid.ImplicitVRLittleEndian
    objects["implicit"] = implicit
    picture = made(77, 6, 1, frames=2)
    coded = []
    for shift in (0, 9):
        x, y = numpy.meshgrid(numpy.arange(48), numpy.arange(48))
        out = io.BytesIO()
        PIL.Image.fromarray(((x * 4 + y + shift) % 256).astype(numpy.uint8)).save(out, "JPEG", quality=90)
        coded.append(out.getvalue())
    picture.PixelData = pydicom.encaps.encapsulate(coded)
    picture["PixelData"].VR = "OB"
    picture.file_meta.TransferSyntaxUID = pydicom.uid.JPEGBaseline8Bit
    picture.LossyImageCompression = "01"
    objects["JPEG"] = picture
    return objects, coded


def retrieve(server, client):
    objects, coded = coded_objects()
    study, series = "1.2.3.4711.78.6", "1.2.3.4711.79.6.1"
    answer = post(server, b"".join(part(file_of(data)) for data in objects.values()) + b"--x--")
    check(answer.status_code == 200, "objects in eight codings are stored")
    pixels = {}
    for name, data in objects.items():
        (work / "one.dcm").write_bytes(file_of(data))
        pixels[name] = pydicom.dcmread(work / "one.dcm").pixel_array

    for name, data in objects.items():
        uid = data.SOPInstanceUID
        stored = client.retrieve_instance(study, series, uid)
        check(stored.file_meta.TransferSyntaxUID == data.file_meta.TransferSyntaxUID and stored.PixelData == data.PixelData and
              stored.PatientName == data.PatientName, f"{name}: as it is stored, byte for byte")
        plain = client.retrieve_instance(study, series, uid, media_types=(("application/dicom", "1.2.840.10008.1.2.1"),))
        near = 1 if name == "JPEG" else 0
        same = numpy.abs(plain.pixel_array.astype(int) - pixels[name]).max() <= near
        check(plain.file_meta.TransferSyntaxUID == pydicom.uid.ExplicitVRLittleEndian and same and len(plain.PixelData) % 2 == 0 and
              plain.PatientName == data.PatientName, f"{name}: in explicit little endian, pixels as pydicom decodes them")
        metadata = Dataset.from_json(client.retrieve_instance_metadata(study, series, uid))
        reference = {element.tag: element for element in data if element.tag != 0x7FE00010}
        check({tag for tag in reference if tag != 0x00080005} <= set(metadata.keys()) and metadata.PatientName == data.PatientName and
              all(metadata[tag].value == element.value for tag, element in reference.items() if tag != 0x00080005), f"{name}: metadata as pydicom has them")
        raw = requests.get(f"{server.url}/studies/{study}/series/{series}/instances/{uid}/metadata", timeout=60).json()[0]
        address = raw["7FE00010"]["BulkDataURI"]
        check(address.startswith(server.url) and "InlineBinary" not in json.dumps(raw), f"{name}: pixels by their address alone")
        count = getattr(data, "NumberOfFrames", 1)
        wanted = pixels[name] if count > 1 else pixels[name][None]
        got = client.retrieve_instance_frames(study, series, uid, list(range(count, 0, -1)), media_types=("application/octet-stream",))
        decoded = [numpy.frombuffer(frame, wanted.dtype).reshape(wanted[0].shape) for frame in got][::-1]
        check(len(got) == count and all(numpy.abs(a.astype(int) - b).max() <= near for a, b in zip(decoded, wanted)), f"{name}: frames as pydicom decodes them")
        bulk = requests.get(address, headers={"Accept": "application/octet-stream"}, timeout=60)
        whole = numpy.frombuffer(bulk.content[:wanted.nbytes], wanted.dtype).reshape(wanted.shape)
        check(bulk.status_code == 200 and numpy.abs(whole.astype(int) - wanted).max() <= near, f"{name}: all of them by that address")
        for kind, suffix in (("image/png", "rendered"), ("image/jpeg", "rendered"), ("image/jpeg", "thumbnail")):
            shown = requests.get(f"{server.url}/studies/{study}/series/{series}/instances/{uid}/{suffix}", headers={"Accept": kind}, timeout=60)
            image = PIL.Image.open(io.BytesIO(shown.content))
            check(shown.headers["Content-Type"] == kind and image.size == (data.Columns, data.Rows) and image.format == kind[6:].upper(), f"{name}: {suffix} as {kind}")
        if name in ("explicit", "RLE", "JPEG-LS", "JPEG 2000"):
            shown = requests.get(f"{server.url}/studies/{study}/series/{series}/instances/{uid}/frames/2/rendered", headers={"Accept": "image/png"}, timeout=60)
            image = numpy.asarray(PIL.Image.open(io.BytesIO(shown.content)).convert("RGB")).astype(int)
            check(numpy.abs(image - wanted[1]).max() <= 2, f"{name}: frame 2 in its colours within two levels, by luma and chroma ({numpy.abs(image - wanted[1]).max()})")

    where = f"{server.url}/studies/{study}/series/{series}/instances/{objects['JPEG'].SOPInstanceUID}"
    stored = client.retrieve_instance_frames(study, series, objects["JPEG"].SOPInstanceUID, [2, 1], media_types=(("image/jpeg", "1.2.840.10008.1.2.4.50"),))
    check([frame.rstrip(b"\0") for frame in stored] == [coded[1].rstrip(b"\0"), coded[0].rstrip(b"\0")], "JPEG frames as they are stored")
    one = requests.get(where + "/frames/1", headers={"Accept": "image/jpeg"}, timeout=60)
    check(one.headers["Content-Type"] == "image/jpeg" and one.content.rstrip(b"\0") == coded[0].rstrip(b"\0"), "one frame needs no parts")
    bulk = client.retrieve_bulkdata(where + "/bulkdata/7FE00010", media_types=("image/jpeg",))
    check(len(bulk) == 2, "coded pixels by their address, a part a frame")
    small = PIL.Image.open(io.BytesIO(requests.get(where + "/rendered?viewport=24,100&quality=50", headers={"Accept": "image/jpeg"}, timeout=60).content))
    check(small.size == (24, 24), "made smaller to fit the viewport")
    level = requests.get(f"{server.url}/studies/{study}/series/{series}/instances/{objects['12 bits'].SOPInstanceUID}/rendered?window=2048,4096,linear", headers={"Accept": "image/png"}, timeout=60)
    grey = numpy.asarray(PIL.Image.open(io.BytesIO(level.content))).astype(int)
    wanted = numpy.clip(((pixels["12 bits"][0] - 2047.5) / 4095 + 0.5) * 255, 0, 255)
    check(numpy.abs(grey - wanted).max() <= 1, "a window that is asked for (PS3.3 C.11.2.1.2.1)")

    check(len(client.retrieve_study(study)) == 8 and len(client.retrieve_series(study, series)) == 8, "a whole study, a whole series")
    check(len(client.retrieve_study_metadata(study)) == 8 and len(client.retrieve_series_metadata(study, series)) == 8, "and their metadata")
    alone = requests.get(where, headers={"Accept": "application/dicom; transfer-syntax=*"}, timeout=60)
    check(alone.headers["Content-Type"].startswith("application/dicom") and alone.content[128:132] == b"DICM", "one object needs no parts")
    anything = requests.get(where, timeout=60)
    check(anything.headers["Content-Type"].startswith('multipart/related; type="application/dicom"') and b"transfer-syntax=1.2.840.10008.1.2.4.50" in anything.content[:300], "anything: as it is stored")
    usual = requests.get(where, headers={"Accept": 'multipart/related; type="application/dicom"'}, timeout=60)
    check(b"transfer-syntax=1.2.840.10008.1.2.1\r" in usual.content[:300], "nothing said: explicit little endian (8.7.3.5.2)")
    listed = requests.get(where, headers={"Accept": 'image/jpeg;q=0.9, multipart/related;type=application/dicom;transfer-syntax=1.2.840.10008.1.2.4.50;q=0.2'}, timeout=60)
    check(b"1.2.840.10008.1.2.4.50" in listed.content[:300], "the first that can be given of those accepted")
    nested(server, client)
    for path, status in (("/frames/0", 404), ("/frames/3", 404), ("/frames/1,", 404), ("/frames/x", 404), ("/frames/1,-2", 404), ("/frames/99999999999999999999", 404),
                         ("/bulkdata/00100010", 404), ("/bulkdata/7FE00010.1.x", 404), ("/bulkdata/zz", 404), ("/nothing", 404), ("/frames/1/nothing", 404),
                         ("/frames/3/rendered", 404), ("/rendered?viewport=0,0", 400), ("/rendered?quality=101", 400), ("/rendered?window=1,2,sigmoid", 400), ("/rendered?viewport=nan,1", 400),
                         ("9", 404), ("/frames/" + ",".join(["1"] * 3000), 400)):
        answer = requests.get(where + path, timeout=60)
        check(answer.status_code in (status, 404) and sentence(answer), f"{path[:40]}: {answer.status_code} {sentence(answer)[:60]}")
    for accept in ("text/html", 'multipart/related; type="application/dicom"; transfer-syntax=1.2.840.10008.1.2.4.90', "/", 'a/b; c="'):
        answer = requests.get(where, headers={"Accept": accept}, timeout=60)
        check(answer.status_code in (400, 406) and sentence(answer), f"{accept}: {answer.status_code}")
    head = requests.head(where, timeout=60)
    check(head.status_code == 200 and not head.content, "HEAD")


def nested(server, client):
    """Large values within sequences, many digits, odd numbers, a private attribute."""
    data = made(80, 7, 1)
    item = Dataset()
    item.Rows, item.Columns, item.BitsAllocated, item.BitsStored, item.HighBit, item.PixelRepresentation, item.SamplesPerPixel = 64, 64, 8, 8, 7, 0, 1
    item.PhotometricInterpretation = "MONOCHROME2"
    item.PixelData = bytes(range(256)) * 16
    item["PixelData"].VR = "OW"
    data.IconImageSequence = [item]
    data.private_block(0x0099, "INVENTED", create=True).add_new(1, "LO", "one\\two")
    data.add_new(0x00181622, "DS", ["000.50", "1e3", ""])
    data.add_new(0x00204000, "LT", 'quotes " and \\ and\r\nlines')
    post(server, part(file_of(data)) + b"--x--")
    where = f"{server.url}/studies/{data.StudyInstanceUID}/series/{data.SeriesInstanceUID}/instances/{data.SOPInstanceUID}"
    raw = requests.get(where + "/metadata", timeout=60).json()[0]
    address = raw["00880200"]["Value"][0]["7FE00010"]["BulkDataURI"]
    check(address.endswith("/bulkdata/00880200.1.7FE00010"), "a large value within a sequence has an address of its own")
    check(requests.get(address, headers={"Accept": "application/octet-stream"}, timeout=60).content == item.PixelData, "and is there")
    check(raw["00991001"]["Value"] == ["one", "two"] and raw["00204000"]["Value"] == ['quotes " and \\ and\r\nlines'] and raw["00181622"]["Value"][:2] == [0.5, 1000],
          "private attributes, quotes, odd numbers")


# ---- at once, and cut off ----

def at_once(server):
    objects = [file_of(made(100 + i, 8)) for i in range(12)]

    def one(number):
        client = DICOMwebClient(server.url)
        statuses = [post(server, part(objects[(number + i) % 12]) + b"--x--").status_code for i in range(6)]
        return statuses, len(client.search_for_instances("1.2.3.4711.78.8")), len(client.retrieve_study("1.2.3.4711.78.8"))

    with concurrent.futures.ThreadPoolExecutor(12) as pool:
        done = list(pool.map(one, range(12)))
    check(all(statuses == [200] * 6 and 0 < found <= 12 and 0 < given <= 12 for statuses, found, given in done), "twelve send, search and fetch at once")
    check(len(DICOMwebClient(server.url).search_for_instances("1.2.3.4711.78.8")) == 12, "each object is there once")


def cut_off(kills):
    """Killed at random moments while objects come in, one a request and several: what was told to be kept is kept."""
    kept, number = [], 200
    for kill in range(kills):
        server = Server()
        timer, left = threading.Timer(generator.uniform(0, 0.08), server.process.kill), int(generator.integers(0, 4))
        with contextlib.suppress(requests.RequestException):
            while server.process.poll() is None:
                if left == 0:  # within the next
                    timer.start()
                left -= 1
                some = [made(number + i, 9, side=160) for i in range(1 + kill % 3)]
                number += len(some)
                answer = post(server, b"".join(part(file_of(data)) for data in some) + b"--x--")
                if answer.status_code == 200:
                    kept += [(item.ReferencedSOPInstanceUID, next(data for data in some if data.SOPInstanceUID == item.ReferencedSOPInstanceUID).PixelData)
                             for item in Dataset.from_json(answer.json()).ReferencedSOPSequence]
        timer.join()
        server.process.wait(60)
        server.process.stdout.close()
    server = Server()
    client = DICOMwebClient(server.url)
    there = {one["00080018"]["Value"][0] for one in client.search_for_instances("1.2.3.4711.78.9")}
    check(kept and {uid for uid, _ in kept} <= there, f"killed {kills} times: all {len(kept)} objects that were told to be kept are there ({len(there)})")
    check(all(client.retrieve_instance("1.2.3.4711.78.9", "1.2.3.4711.79.9.1", uid).PixelData == pixels for uid, pixels in kept), "and whole")
    check(not list((work / "store" / "arriving").glob("*")), "what came half is cleared at the next start")
    server.stop()


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
    deep(first)
    search(first, web)
    retrieve(first, web)
    at_once(first)
    first.stop()
    cut_off(int(sys.argv[2]) if len(sys.argv) > 2 else 6)
    door()
finally:
    shutil.rmtree(work, ignore_errors=True)
print(f"{len(failures)} failures")
sys.exit(1 if failures else 0)
