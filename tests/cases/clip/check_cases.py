"""Broken, odd and hostile clips: each is made here (a few kB, from the clips of make_clips), opened by dump_frames, and
must end within 20 s with the status and the sentence that stand beside it. Standard library only.

check_cases.py MAKE_CLIPS DUMP_FRAMES
"""
import os
import pathlib
import random
import re
import struct
import subprocess
import sys
import tempfile
import zlib

make_clips, dump_frames = sys.argv[1:3]
NOT_A_CLIP = r"format: {name} is not a video, picture or DICOM file that can be read\. Check .*"
ENDS_EARLY = r"The file ends early, after \d+ frames; copy or export it again to have them all\..*"
NO_FRAME = r"format: {name} holds no frame that can be decoded; .* Copy or export it again\."


def part(data, share):
    return data[: int(len(data) * share)]


def png(width, height, payload=b"\0" * 1000):
    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(payload)) + chunk(b"IEND", b"")


def wav():
    sound = bytes(16000)
    return (b"RIFF" + struct.pack("<I", 36 + len(sound)) + b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, 8000, 16000, 2, 16)
            + b"data" + struct.pack("<I", len(sound)) + sound)


def flipped(data, first, count, seed):
    broken = bytearray(data)
    source = random.Random(seed)
    for _ in range(count):
        broken[source.randrange(first, len(broken))] ^= 1 << source.randrange(8)
    return bytes(broken)


def moov_first(data):
    """The same MP4 with its index before its pictures, chunk offsets corrected: what a web page serves."""
    boxes, at = [], 0
    while at < len(data):
        size = struct.unpack(">I", data[at : at + 4])[0]
        boxes.append(data[at : at + size])
        at += size
    index = bytearray(next(box for box in boxes if box[4:8] == b"moov"))
    where = index.find(b"stco") + 4
    for i in range(struct.unpack(">I", index[where + 4 : where + 8])[0]):
        entry = where + 8 + 4 * i
        offset = struct.unpack(">I", index[entry : entry + 4])[0] + len(index)
        index[entry : entry + 4] = struct.pack(">I", offset)
    return boxes[0] + bytes(index) + b"".join(box for box in boxes[1:] if box[4:8] != b"moov")


def audio_only(data):
    """An MP4 whose only track calls itself sound."""
    return data.replace(b"vide", b"soun").replace(b"vmhd", b"smhd").replace(b"avc1", b"mp4a")


def element(group, number, kind, value):
    """Explicit little endian, PS3.5 7.1.2."""
    if isinstance(value, int):
        value = struct.pack("<H", value)
    if isinstance(value, str):
        value = value.encode()
    value += (b"\0" if kind == "UI" else b" ") * (len(value) % 2)
    long_form = kind in ("OB", "OW", "SQ", "UN")
    head = struct.pack("<HH2s", group, number, kind.encode())
    return head + (struct.pack("<HI", 0, len(value)) if long_form else struct.pack("<H", len(value))) + value


def dicom(frames=3, rows=16, columns=20, pixels=None, syntax="1.2.840.10008.1.2.1", bits=8, samples=1,
          photometric="MONOCHROME2", extra=b""):
    meta = element(2, 0x10, "UI", syntax)
    data = element(8, 0x16, "UI", "1.2.840.10008.5.1.4.1.1.3.1") + extra
    data += element(0x28, 2, "US", samples) + element(0x28, 4, "CS", photometric) + element(0x28, 8, "IS", str(frames))
    data += element(0x28, 0x10, "US", rows) + element(0x28, 0x11, "US", columns)
    data += element(0x28, 0x100, "US", bits) + element(0x28, 0x101, "US", bits) + element(0x28, 0x102, "US", bits - 1)
    data += element(0x28, 0x103, "US", 0)
    if pixels is None:
        pixels = bytes(i % 251 for i in range(frames * rows * columns))
    if isinstance(pixels, list):  # fragments
        data += struct.pack("<HH2sHI", 0x7FE0, 0x10, b"OB", 0, 0xFFFFFFFF)
        for piece in [b"", *pixels]:
            data += struct.pack("<HHI", 0xFFFE, 0xE000, len(piece)) + piece
        data += struct.pack("<HHI", 0xFFFE, 0xE0DD, 0)
    elif pixels:
        data += element(0x7FE0, 0x10, "OB", pixels)
    return bytes(128) + b"DICM" + element(2, 0, "UL", struct.pack("<I", len(meta))) + meta + data


def dicom_cases(jpeg):
    """JPEG of 97 x 81 pixels."""
    baseline, shape = "1.2.840.10008.1.2.4.50", {"rows": 81, "columns": 97, "samples": 3, "photometric": "YBR_FULL_422"}
    early = r"The file ends early, after {0} of {1} frames; send or export it again to have them all\."
    damaged = r"format: {name} is a DICOM file whose .* cannot be read \(.*\)\. Send or export it again\."
    yield "whole.dcm", dicom(), 0, 3, ""
    yield "dicom without extension", dicom(), 0, 3, ""
    yield "dicom named.mp4", dicom(), 0, 3, ""
    yield "breaks off.dcm", dicom()[:-400], 0, 1, early.format(1, 3)
    yield "breaks off in the middle.dcm", part(dicom(20, 100, 100), 0.5), 0, 9, early.format(9, 20)
    yield "breaks off at once.dcm", dicom(20, 100, 100)[:2000], 1, 0, damaged
    yield "breaks off in jpeg.dcm", dicom(3, pixels=[jpeg + b"\0" * (len(jpeg) % 2)] * 3, syntax=baseline,
                                          **shape)[:-300], 0, (2, 3), r"The file ends early, after [23] of 3 frames; .*"
    yield "fewer frames.dcm", dicom(pixels=bytes(700)), 0, 2, early.format(2, 3)
    yield "header only.dcm", dicom(pixels=b""), 1, 0, r"format: {name} is a DICOM object without pictures .*"
    yield "header breaks off.dcm", dicom()[:200], 1, 0, damaged + r"|format: {name} is a DICOM object without pictures.*"
    yield "only DICM.dcm", bytes(128) + b"DICM", 1, 0, damaged + r"|format: {name} is a DICOM object without pictures.*"
    yield "no rows.dcm", dicom(rows=0, pixels=bytes(100)), 1, 0, r"format: {name} is a DICOM object without pictures.*"
    yield "too wide.dcm", dicom(rows=9000, columns=2, frames=1), 1, 0, r"limit: {name} has pictures of 2 x 9000 pixels; .*"
    yield "lying size.dcm", dicom(rows=8000, columns=8000, pixels=bytes(5000)), 1, 0, damaged
    yield "odd bits.dcm", dicom(bits=12), 1, 0, r"unsupported: {name} stores pixels of 1 samples of 12 in 12 bits, .*"
    yield "odd colours.dcm", dicom(frames=1, samples=3, photometric="CMYK", pixels=bytes(960)), 1, 0, \
        r"unsupported: {name} stores its pictures as CMYK, which is not read\. .*"
    yield "unknown coding.dcm", dicom(1, pixels=[jpeg], syntax="1.2.3.4.5"), 1, 0, r"(unsupported|format): {name} .*"
    yield "many frames.dcm", dicom(pixels=bytes(960), extra=b"")[:].replace(b"IS\x02\x003 ", b"IS\x02\x0099"), 0, 3, \
        early.format(3, 99)
    yield "jpeg.dcm", dicom(2, pixels=[jpeg + b"\0" * (len(jpeg) % 2)] * 2, syntax=baseline, **shape), 0, 2, ""
    yield "jpeg damaged.dcm", dicom(2, pixels=[jpeg + b"\0" * (len(jpeg) % 2), b"\xff\xd8" + bytes(400)], syntax=baseline,
                                    **shape), 0, 1, r"1 frames are damaged beyond decoding and were left out\."
    yield "jpeg cut.dcm", dicom(1, pixels=[part(jpeg, 0.7) + b"\0" * (len(part(jpeg, 0.7)) % 2)], syntax=baseline,
                                **shape), 0, 1, r"1 frames are damaged and were patched up by the decoder\."
    yield "jpeg of another size.dcm", dicom(1, pixels=[jpeg + b"\0" * (len(jpeg) % 2)], syntax=baseline,
                                            **{**shape, "rows": 80}), 1, 0, r"format: {name} is a DICOM file none of .*"
    yield "no fragments.dcm", dicom(1, pixels=[], syntax=baseline, **shape), 1, 0, damaged
    noise = random.Random(4).randbytes(600)
    for label, syntax in (("rle", "1.2.840.10008.1.2.5"), ("jpeg lossless", "1.2.840.10008.1.2.4.70"),
                          ("jpeg-ls", "1.2.840.10008.1.2.4.80"), ("jpeg 2000", "1.2.840.10008.1.2.4.90")):
        yield f"noise as {label}.dcm", dicom(1, pixels=[noise], syntax=syntax), 1, 0, r"format: {name} is a DICOM file .*"
    source = random.Random(9)
    for i in range(40):
        broken = bytearray(dicom(2, pixels=[jpeg + b"\0" * (len(jpeg) % 2)] * 2, syntax=baseline, **shape))
        for _ in range(6):
            broken[source.randrange(132, 420)] = source.randrange(256)
        yield f"header damaged {i}.dcm", bytes(broken), None, (0, 1000), r".*"


def cases(clip):
    """name, bytes, exit status, frames (None = any, a pair = bounds), sentence on failure or of damage."""
    mp4, avi, mpeg = clip("plain.mp4"), clip("huff.avi"), clip("two.mpeg")
    yield "text.mp4", b"This is a letter, not a clip.\n" * 40, 1, 0, NOT_A_CLIP
    yield "one letter.mp4", b"x", 1, 0, NOT_A_CLIP
    yield "empty.mp4", b"", 1, 0, r"format: {name} is empty\. Export or copy it again from where it came\."
    yield "zeros.mp4", bytes(100000), 1, 0, NOT_A_CLIP
    yield "noise.avi", random.Random(1).randbytes(100000), 1, 0, NOT_A_CLIP
    yield "playlist.mp4", b"#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\n/etc/hostname\n#EXT-X-ENDLIST\n", 1, 0, NOT_A_CLIP
    yield "list of files.mp4", b"ffconcat version 1.0\nfile plain.mp4\n", 1, 0, NOT_A_CLIP
    yield "sound.wav", wav(), 1, 0, NOT_A_CLIP
    yield "sound.mp4", audio_only(mp4), 1, 0, r"format: {name} holds (sound but no moving pictures|no pictures)\. Check .*"
    yield "no index.mp4", part(mp4, 0.5), 1, 0, r"format: {name} is a video whose index is missing or damaged: .*"
    yield "breaks off.mp4", part(moov_first(mp4), 0.6), 0, (1, 11), ENDS_EARLY
    yield "whole.mp4", moov_first(mp4), 0, 12, ""
    yield "only index.mp4", part(moov_first(mp4), 0.1), 1, 0, NO_FRAME + r"|format: .*index is missing.*"
    yield "breaks off.avi", part(avi, 0.6), 0, (1, 3), ENDS_EARLY
    yield "breaks off.mpeg", part(mpeg, 0.6), 0, (1, 13), r".*"  # a program stream does not say how long it is
    yield "breaks off.gif", part(clip("grey.gif"), 0.6), 0, (1, 6), ENDS_EARLY
    yield "breaks off.png", part(clip("grey.png"), 0.6), 1, 0, NO_FRAME
    yield "breaks off.jpg", part(clip("still.jpg"), 0.7), 0, 1, ENDS_EARLY
    yield "breaks off.mkv", part(clip("deep.mkv"), 0.6), 0, (1, 3), r".*"  # FFmpeg does not tell
    yield "bits flipped.mp4", flipped(moov_first(mp4), 2000, 60, 3), 0, (1, 12), r"\d+ frames are damaged.*"
    yield "bits flipped.mpeg", flipped(mpeg, 2000, 60, 3), 0, (1, 14), r".*\d+ frames are damaged.*"
    yield "bits flipped.gif", flipped(clip("grey.gif"), 900, 30, 5), 0, (0, 7), r".*"
    yield "huge.png", png(60000, 60000), 1, 0, r"limit: {name} has pictures of 60000 x 60000 pixels; more than 8192 .*"
    yield "too wide.png", png(8193, 2), 1, 0, r"limit: {name} has pictures of 8193 x 2 pixels; more than 8192 .*"
    yield "3 x 3.png", png(3, 3, b"\0\1\2\3" * 3), 0, 1, ""
    yield "clip à côté, ü 100%d.mp4", mp4, 0, 12, ""
    yield "no extension", mp4, 0, 12, ""
    yield "wrong extension.png", mp4, 0, 12, ""
    yield "data:image.mp4", mp4, 0, 12, ""
    yield from dicom_cases(clip("still.jpg"))


def read(path):
    """Exit status, frames, what was said."""
    done = subprocess.run([dump_frames, path], capture_output=True, timeout=20)
    if done.returncode < 0:
        said = f"killed by signal {-done.returncode}"
    elif done.returncode:
        said = done.stderr.decode()
    else:
        last = done.stdout[done.stdout.rindex(b'{"damage": ') :].decode()
        said = re.search(r'"damage": "(.*)", "has_colour"', last).group(1)
    return done.returncode, done.stdout.count(b'{"index": '), said.strip()


def check(name, path, status, frames, sentence):
    try:
        got_status, got_frames, said = read(path)
    except subprocess.TimeoutExpired:
        return f"{name}: still running after 20 s"
    low, high = frames if isinstance(frames, tuple) else (frames, frames)
    wanted = sentence.replace("{name}", re.escape(name))
    if got_status not in ((0, 1) if status is None else (status,)):
        return f"{name}: exit status {got_status} instead of {status}: {said}"
    if not low <= got_frames <= high:
        return f"{name}: {got_frames} frames instead of {low} to {high}"
    if not re.fullmatch(wanted, said):
        return f"{name}: said {said!r} instead of {wanted!r}"
    return None


def main():
    problems, count = [], 0
    with tempfile.TemporaryDirectory() as folder:
        base, made = pathlib.Path(folder) / "base", pathlib.Path(folder) / "made"
        base.mkdir()
        made.mkdir()
        subprocess.run([make_clips, base], check=True)
        for name, data, status, frames, sentence in cases(lambda clip: (base / clip).read_bytes()):
            (made / name).write_bytes(data)
            problems.append(check(name, made / name, status, frames, sentence))
            count += 1
        (made / "folder.mp4").mkdir()
        os.mkfifo(made / "pipe.mp4")
        (made / "locked.mp4").write_bytes(b"x")
        (made / "locked.mp4").chmod(0)
        (made / "dangling.mp4").symlink_to("nothing")
        odd = [("folder.mp4", r"io: {name} is a folder, not a clip\. .*"),
               ("pipe.mp4", r"io: {name} is a device or pipe, not a file\. .*"),
               ("dangling.mp4", r"io: {name} could not be opened: No such file or directory\. .*"),
               ("absent.mp4", r"io: {name} could not be opened: No such file or directory\. .*")]
        if os.geteuid():  # root may read everything
            odd.append(("locked.mp4", r"io: {name} could not be opened: Permission denied\. Ask .*"))
        for name, sentence in odd:
            problems.append(check(name, made / name, 1, 0, sentence))
            count += 1
    problems = [problem for problem in problems if problem]
    print("\n".join(problems + [f"{count} cases, {len(problems)} wrong"]))
    return 1 if problems else 0


sys.exit(main())
