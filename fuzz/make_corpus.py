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
        (root / "fuzz/corpus" / target / name.replace(" ", "-").replace(",", "").replace("/", "-")).write_bytes(data)


def dicoms(folder):
    makers = [value for key, value in vars(dicom_made).items() if callable(value) and key == "made_files"]
    for name, path, _ in makers[0](folder):
        keep("dicom", name, pathlib.Path(path).read_bytes())


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
    keep("csv", "plain", b"file,zone,depth_cm,notes\na.mp4,R1,12,\"with, comma\"\n")
    keep("csv", "semicolons", b"\xef\xbb\xbffile;zone\r\na;L2\r\n\"x\"\"y\";\r\n")
    keep("reading", "one", (b'{"by":"person","author":"A","clip":"a.mp4","method":"","findings":[{"finding":"b_lines","known":true,'
                            b'"answer":"present","value":0.9,"interval":[0.8,1.0],"confidence":0.9,"reason":"","evidence":[{"label":'
                            b'"x","frames":[0,3],"times_s":[0,0.1],"beams":[0.1,0.2],"depths":[0.2,0.9]}]}]}'))


import tempfile  # noqa: E402

with tempfile.TemporaryDirectory() as place:
    dicoms(pathlib.Path(place))
videos()
texts()
