"""Makes fuzz/corpus: a few small inputs for each target. Run with the tests' Python: fuzz/make_corpus.py ROOT."""
import io
import pathlib
import sys

import av
import numpy
from PIL import Image

root = pathlib.Path(sys.argv[1])
sys.path.insert(0, str(root / "tests/oracle"))
import dicom_made  # noqa: E402

MOST = 12_000


def keep(target, name, data):
    if len(data) <= MOST:
        (root / "fuzz/corpus" / target).mkdir(parents=True, exist_ok=True)
        (root / "fuzz/corpus" / target / name.replace(" ", "-").replace(",", "").replace("/", "-")).write_bytes(data)


def dicoms(folder):
    makers = [value for key, value in vars(dicom_made).items() if callable(value) and key == "made_files"]
    for name, path, _ in makers[0](folder):
        keep("dicom", name, pathlib.Path(path).read_bytes())


def received():
    """Requests for storage commitment, and file headers alone."""
    for name, rows, uid in (("one", 1, "1.2.3.4711.1"), ("many", 40, "1.2.3.4711.1"), ("none", 0, "1.2.3.4711.1"), ("no UID", 1, "../1")):
        item = lambda i: element(0xFFFE, 0xE000, element(8, 0x1150, b"1.2.840.10008.5.1.4.1.1.3.1\0") + element(8, 0x1155, f"{uid}.{i:02d}".encode()))
        keep("received", name, element(8, 0x1195, b"1.2.3.4711.55\0") + element(8, 0x1199, b"".join(map(item, range(rows)))))


def element(group, number, value):
    """Implicit little endian (PS3.5 7.1.3)."""
    value += b"\0" * (len(value) % 2)
    return group.to_bytes(2, "little") + number.to_bytes(2, "little") + len(value).to_bytes(4, "little") + value


def videos():
    frames = [(numpy.indices((32, 40)).sum(0) * 3 + 9 * i).astype(numpy.uint8) for i in range(4)]
    for ending, codec, form in (("mp4", "libx264", "yuv420p"), ("avi", "mjpeg", "yuvj420p"), ("mov", "mpeg4", "yuv420p"),
                                ("mpeg", "mpeg2video", "yuv420p"), ("gif", "gif", "rgb8"), ("mkv", "ffv1", "gray")):
        buffer = io.BytesIO()
        with av.open(buffer, "w", format={"mkv": "matroska"}.get(ending, ending)) as movie:
            stream = movie.add_stream(codec, rate=25)
            stream.width, stream.height, stream.pix_fmt = 40, 32, form
            for frame in frames:
                movie.mux(stream.encode(av.VideoFrame.from_ndarray(frame, "gray").reformat(format=form)))
            movie.mux(stream.encode())
        keep("video", ending, buffer.getvalue())
    for ending in ("png", "jpeg", "bmp", "tiff"):
        buffer = io.BytesIO()
        Image.fromarray(frames[0]).save(buffer, ending)
        keep("video", ending, buffer.getvalue())


def texts():
    for path in sorted((root / "scenarios").glob("*.json"))[::6]:
        keep("scenario", path.stem, path.read_bytes())
    keep("scenario", "set", b"controls.depth_mm=90\nprobe.freq_mhz=5e0\ncontrols.harmonics=true\ncontrols.grey_map=soft\nribs=[]\n")
    keep("json", "protocol", (b'{"key":"short-round","name":"A short round","zones":["R-upper-anterior","L-lower-lateral"],'
                             b'"numbers":["upper-anterior","lower-lateral"]}'))
    keep("csv", "plain", b"file,zone,depth_cm,notes\na.mp4,R1,12,\"with, comma\"\n")
    keep("csv", "semicolons", b"\xef\xbb\xbffile;zone\r\na;L2\r\n\"x\"\"y\";\r\n")
    keep("json", "reading", (b'{"by":"person","author":"A","clip":"a.mp4","method":"","findings":[{"finding":"b_lines","known":true,'
                            b'"answer":"present","value":0.9,"interval":[0.8,1.0],"confidence":0.9,"reason":"","evidence":[{"label":'
                            b'"x","frames":[0,3],"times_s":[0,0.1],"beams":[0.1,0.2],"depths":[0.2,0.9]}]}]}'))


def requests():
    entry = (b'[{"uid":"u1","tab":"t","seen":0,"kind":"%s"%s}]')
    bodies = {
        "find": (b"POST api/exams/@/says", entry % (b"find", b',"clip":"a.mp4","code":"b_lines","say":{"answer":"present","value":3,'
                                                    b'"place":[{"frame":2,"time_s":0.1,"beam":0.4,"depth":0.5}]}')),
        "zone": (b"POST api/exams/@/says", entry % (b"zone", b',"clip":"a.mp4","say":"R-upper-anterior"')),
        "conclude": (b"POST api/exams/@/says", entry % (b"conclude", b',"say":"Dry \\u00e9"')),
        "sign": (b"POST api/exams/@/says", entry % (b"sign", b',"say":{"name":"A. Reader"}')),
        "undo": (b"POST api/exams/@/says", entry % (b"undo", b',"of":1')),
        "new": (b"POST api/exams", b'{"title":"Evening round","date":"2031-05-04","person":"P1","question":"","protocol":"zones-12"}'),
        "bench": (b"POST api/bench", b'{"chest":"none","frame":3,"height":240,"set":{"controls.depth_mm":90,"controls.harmonics":true}}'),
        "clip": (b"POST api/exams/@/clips?name=..%2Fa%20b.mp4", b"no clip at all"),
        "list": (b"GET api/exams", b""), "exam": (b"GET api/exams/@", b""), "plan": (b"GET api/plan?probe=convex&target=b_lines&place=anterior&harmonics=1", b""),
        "page": (b"GET api/exams/@/page.png?page=2&dots=50", b""), "frames": (b"GET api/exams/@/clips/0/frames?from=1&count=2", b""),
        "foreign": (b"POST api/exams\nOrigin: http://localhost:1\nSec-Fetch-Site: cross-site", b"{}"),
        "search": (b"GET dicom/instances?PatientName=a*&StudyDate=2031-&includefield=all&limit=2", b""),
        "objects": (b"POST dicom/studies", b"--x\r\nContent-Type: application/dicom\r\n\r\nno object\r\n--x--\r\n"),
        "metadata": (b"GET dicom/studies/1.2/series/1.3/instances/1.4/metadata\nAccept: application/dicom+json", b""),
        "chunked": (b"POST api/exams\nTransfer-Encoding: chunked", b"2\r\n{}\r\n0\r\n\r\n"), "asset": (b"GET index.html", b"")}
    for name, (asked, body) in bodies.items():
        keep("http", name, asked + b"\n\n" + body)


def bodies():
    kind = b'multipart/related; type="application/dicom"; boundary='
    part = b"--x\r\nContent-Type: application/dicom\r\n\r\nbytes\r\n--xbytes\r"
    keep("dicomweb", "two", kind + b"x\n" + b"--x\r\nContent-Type: application/dicom\r\n\r\nbytes\r\n-\r\n--y\r\r\n--x\r\n\r\n\r\n--x--\r\nbehind")
    keep("dicomweb", "goes-on", kind + b"x\n" + part)
    keep("dicomweb", "quoted", kind + b'"a\'()+_,-./:=? b"\nbefore\r\n--a\'()+_,-./:=? b \t\r\nContent-Type: application/dicom; transfer-syntax=1.2\r\n'
                               b"Content-Transfer-Encoding: binary\r\nA: b\r\n\r\n\r\n--a'()+_,-./:=? b--")
    keep("dicomweb", "empty", kind + b"x\n--x--")
    keep("dicomweb", "accept", b'image/jpeg;q=0.9, multipart/related;type="a\\"b";transfer-syntax=*;q=0, */*\nx')
    keep("dicomweb", "search", b"00080020=20310101-&PatientName=*a?b*&RequestAttributesSequence.00400009=1&includefield=all,00181063&limit=1&offset=2&fuzzymatching=true\nabc")
    keep("dicomweb", "name", b"*in*v?nted^E*\nInvented^Ex\xc3\xa4mple=Other^One\\Second^^")
    keep("dicomweb", "range", b"20310101-20310203\n20310102")


def answers():
    """What STOW-RS servers say (PS3.18 10.5.3): JSON (F.2) and XML (PS3.19 A.1)."""
    uid = b"1.2.3.4712.77.1"
    for name, sequence, number in (("stored", b"00081199", b""), ("warned", b"00081199", b"00081196"), ("failed", b"00081198", b"00081197")):
        more = b',"%s":{"vr":"US","Value":[272]}' % number if number else b""
        keep("answer", f"{name}.json", b'{"%s":{"vr":"SQ","Value":[{"00081155":{"vr":"UI","Value":["%s"]}%s}]}}' % (sequence, uid, more))
        more = b'<DicomAttribute tag="%s" vr="US"><Value number="1">272</Value></DicomAttribute>' % number if number else b""
        keep("answer", f"{name}.xml", b'<?xml version="1.0"?><NativeDicomModel><DicomAttribute tag="%s" vr="SQ"><Item number="1"><DicomAttribute tag="00081155" vr="UI">'
                                      b'<Value number="1">%s</Value></DicomAttribute>%s</Item></DicomAttribute></NativeDicomModel>' % (sequence, uid, more))
    keep("answer", "entities.xml", b'<!DOCTYPE a [<!ENTITY b "bbbbbbbb"><!ENTITY c "&b;&b;&b;&b;&b;&b;">]><NativeDicomModel>&c;</NativeDicomModel>')


import tempfile  # noqa: E402

with tempfile.TemporaryDirectory() as place:
    dicoms(pathlib.Path(place))
videos()
texts()
requests()
bodies()
answers()
received()
