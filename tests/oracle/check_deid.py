"""`strandline deidentify` against the table of PS3.15 E.1-1 as the package dicom-anonymizer carries it (edition 2026c), with
pydicom as reader and writer, and against text that is burned in here. All names, numbers and dates are invented.

check_deid.py STRANDLINE ROWS FONT [TEXTS]: 30 texts are burned in, or as many as are asked for."""
import datetime
import hashlib
import io
import json
import pathlib
import re
import subprocess
import sys
import tempfile

import av
import numpy
import pydicom
from dicomanonymizer.dicom_anonymization_databases import dicomfields_2026c as published
from PIL import Image, ImageDraw, ImageFont, PngImagePlugin
from pydicom.datadict import dictionary_has_tag, dictionary_VR
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.tag import Tag
from scipy.ndimage import gaussian_filter

strandline, rows_file, font_file = sys.argv[1:4]
texts_wanted = int(sys.argv[4]) if len(sys.argv) > 4 else 30
problems = []
CANARY = "Zyxquandt"
SECRET = "a secret of this test"


def run(folder, inputs, name, secret=True):
    (folder / "secret").write_text(SECRET)
    out = folder / name
    words = [strandline, "deidentify", *map(str, inputs), "--out", str(out)]
    done = subprocess.run(words + (["--secret", str(folder / "secret")] if secret else []), capture_output=True, text=True,
                          timeout=900)
    return out, json.loads((folder / f"{name}-report.json").read_text()), done


def options():
    """Columns device, dates, descriptors by tag: the package has the basic profile only."""
    said = {}
    for row in re.finditer(r"ROW\((0x\w+), (0x\w+), \w+, '(.)', '(.)', '(.)'", pathlib.Path(rows_file).read_text()):
        said[int(row[1], 16)] = row[3], row[4], row[5]
    return said


VALUES = {"PN": f"{CANARY}^Ada", "LO": CANARY, "SH": CANARY, "ST": CANARY, "LT": CANARY, "UT": CANARY, "UC": CANARY,
          "CS": CANARY.upper(), "AE": CANARY, "DA": "20210314", "TM": "101112", "DT": "20210314101112", "AS": "041Y",
          "IS": "4711", "DS": "47.11", "UI": "1.2.3.4711.8.15", "UR": f"https://{CANARY}.invalid", "US": 4711, "UL": 4711,
          "SS": 4711, "SL": 4711, "FL": 47.25, "FD": 47.25, "OB": CANARY.encode() + b"\0", "OW": CANARY.encode() + b"\0",
          "UN": CANARY.encode() + b"\0", "OF": b"Zyxq", "OD": b"Zyxquand", "OV": b"Zyxquand", "AT": 0x00100010}


def vr_of(tag):
    if tag.group & 0xFF00 == 0x6000:
        return "OB" if tag.element == 0x3000 else "LO"
    if tag.group & 0xFF00 == 0x5000:
        return "OB"
    return dictionary_VR(tag).split(" ")[0] if dictionary_has_tag(tag) else "LO"


def everything():
    """A data set with each attribute of the table; those that do not fit into one are named."""
    made, left_out = picture(), []
    for group, element, *_ in published.ALL_TAGS:
        tag = Tag(group + (0x10 if group in (0x5000, 0x6000) else 0), element or 0x10)
        if group in (0x0000, 0x0002, 0x0004) or tag == Tag(0xFFFC, 0xFFFC):
            left_out.append(tag)
            continue
        vr = vr_of(tag)
        if vr == "SQ":
            item = Dataset()
            item.PatientName, item.CodeMeaning = VALUES["PN"], CANARY
            item.ReferencedSOPInstanceUID = VALUES["UI"]
            made.add_new(tag, "SQ", [item])
        else:
            made.add_new(tag, vr, VALUES[vr])
    return made, left_out


def picture(height=64, width=80):
    made = Dataset()
    made.file_meta = FileMetaDataset()
    made.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
    made.SOPClassUID, made.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.6.1", "1.2.3.4711.1"
    made.StudyInstanceUID, made.SeriesInstanceUID = "1.2.3.4711.2", "1.2.3.4711.3"
    made.file_meta.MediaStorageSOPClassUID, made.file_meta.MediaStorageSOPInstanceUID = made.SOPClassUID, made.SOPInstanceUID
    made.Modality, made.PatientName, made.PatientID = "US", VALUES["PN"], "MRN471142"
    made.Rows, made.Columns, made.SamplesPerPixel, made.PhotometricInterpretation = height, width, 1, "MONOCHROME2"
    made.BitsAllocated = made.BitsStored = 8
    made.HighBit, made.PixelRepresentation = 7, 0
    y, x = numpy.mgrid[0:height, 0:width]
    made.PixelData = (40 + 20 * numpy.sin(x / 19) * numpy.cos(y / 23)).astype(numpy.uint8).tobytes()
    return made


def dates_of(element):
    return re.sub(r"^(\d{8}).*", r"\1", str(element.value))


def days_between(a, b):
    return (datetime.date.fromisoformat(f"{b[:4]}-{b[4:6]}-{b[6:8]}") - datetime.date.fromisoformat(
        f"{a[:4]}-{a[4:6]}-{a[6:8]}")).days


def names_nobody(element):
    return CANARY.lower() not in str(element.value).lower() and "471142" not in str(element.value)


def check_row(made, clean, tag, actions, option, moved):
    """One attribute of the table: what the standard allows for it under the options. Returns what is wrong, or None."""
    before, after = made[tag], clean.get(tag)
    device, dates, descriptors = option
    if device == "K":
        if after is None:
            return "is gone although device identity is retained"
        return None if before.VR == "SQ" or after.value == before.value else "changed although device identity is retained"
    if before.VR in ("DA", "DT") and "C" in (dates, device):
        if after is None or not dates_of(after):
            return "is gone although modified dates are retained"
        moved.add(days_between(dates_of(before), dates_of(after)))
        return None
    if before.VR == "TM" and dates == "C":
        return None if after is not None and after.value else "is gone although times are retained"
    if after is None:
        return None if "X" in actions or before.VR not in VALUES or before.VR in "US UL SS SL FL FD OB OW OF OD OV AT UN" else (
            f"is gone; the table says {actions}")
    if before.VR == "SQ":
        inside = str(after)
        return "still names somebody in its items" if CANARY in inside or "1.2.3.4711" in inside else (
            "is still there" if actions == {"X"} else None)
    if actions == {"X"} and not ("C" in (descriptors, device)):
        return f"is still there: {after.value!r}"
    if actions == {"U"}:
        return None if str(after.value).startswith("2.25.") else f"is {after.value!r}, no new UID"
    empty = after.value in ("", None, b"") or len(str(after.value)) == 0
    if actions == {"Z"} and not empty and not names_nobody(after):
        return f"still holds {after.value!r}"
    if actions == {"D"} and empty:
        return "is empty where a dummy is due"
    return None if names_nobody(after) and (after.value != before.value or before.VR == "TM") else f"still holds {after.value!r}"


LISTS = {"D_TAGS": "D", "Z_TAGS": "Z", "X_TAGS": "X", "U_TAGS": "U", "Z_D_TAGS": "ZD", "X_Z_TAGS": "XZ", "X_D_TAGS": "XD",
         "X_Z_D_TAGS": "XZD", "X_Z_U_STAR_TAGS": "XZU"}


def check_table(folder):
    made, left_out = everything()
    for tag in (Tag(0x0040, 0xA730), Tag(0x0042, 0x0011), Tag(0x0070, 0x0001)):
        left_out.append(tag)
        del made[tag]  # reports, documents, annotations: such files are refused as a whole (check_refused)
    made.save_as(folder / "all.dcm", enforce_file_format=True)
    out, report, done = run(folder, [folder / "all.dcm"], "table")
    if not report["files"][0]["copied"]:
        return problems.append(f"the table: {done.stderr}")
    clean, said, moved, count = pydicom.dcmread(out / "0001.dcm"), options(), set(), 0
    for key, actions in LISTS.items():
        for group, element, *_ in getattr(published, key):
            tag = Tag(group + (0x10 if group in (0x5000, 0x6000) else 0), element or 0x10)
            if tag in left_out:
                continue
            wrong = check_row(made, clean, tag, set(actions), said.get(group << 16 | element, "---"), moved)
            count += 1
            if wrong:
                problems.append(f"{tag} {made[tag].name} ({made[tag].VR}, {actions}) {wrong}")
    if len(moved) != 1 or not -3651 < min(moved) < -365:
        problems.append(f"dates moved by {moved} days")
    if clean.file_meta.MediaStorageSOPInstanceUID != clean.SOPInstanceUID:
        problems.append("the file header names another instance than the data set")
    codes = {item.CodeValue for item in clean.DeidentificationMethodCodeSequence}
    if codes != {"113100", "113101", "113105", "113107", "113109"} or clean.PatientIdentityRemoved != "YES":
        problems.append(f"the method is stated as {codes}")
    if clean.PatientID in ("", "MRN471142"):
        problems.append("no pseudonym for the patient")
    print(f"the table of PS3.15 E.1-1, edition 2026c: {count} attributes checked, {len(left_out)} do not fit into an image")


def canaries(data):
    """In what way the bytes still name somebody."""
    low = data.lower()
    forms = {"plain": CANARY.lower().encode(), "UTF-16": CANARY.lower().encode("utf-16-le"), "number": b"mrn471142"}
    return [how for how, form in forms.items() if form in low]


def jpeg_with_comment(width=96, height=64):
    import io
    picture_ = Image.fromarray((numpy.indices((height, width)).sum(0) % 60 + 30).astype(numpy.uint8))
    buffer = io.BytesIO()
    picture_.save(buffer, "JPEG", quality=90, comment=CANARY)
    return buffer.getvalue() + CANARY.encode()


def check_canaries(folder):
    """Where a name hides beside the attributes: preamble, private, overlay, icon, comments in pictures, behind their end."""
    made = picture()
    made.preamble = CANARY.encode().ljust(128, b"\0")
    made.StudyDescription, made.TransducerData, made.BodyPartExamined = f"Lung ultrasound {CANARY} left", f"probe {CANARY}", "CHEST"
    block = made.private_block(0x0009, f"{CANARY} private", create=True)
    block.add_new(1, "LO", CANARY)
    made.DataSetTrailingPadding = CANARY.encode() + b"\0"
    made.IconImageSequence = [Dataset()]
    made.IconImageSequence[0].PixelData = CANARY.encode() + b"\0"
    made.IconImageSequence[0]["PixelData"].VR = "OB"
    made.RequestAttributesSequence = [Dataset()]
    made.RequestAttributesSequence[0].ScheduledProcedureStepDescription = CANARY
    made.save_as(folder / "hidden.dcm", enforce_file_format=True)
    coded = picture(64, 96)
    coded.file_meta.TransferSyntaxUID = pydicom.uid.JPEGBaseline8Bit
    coded.PixelData = pydicom.encaps.encapsulate([jpeg_with_comment()])
    coded["PixelData"].is_undefined_length = True
    coded.save_as(folder / "comment.dcm", enforce_file_format=True)
    before = {path: hashlib.sha256(path.read_bytes()).digest() for path in folder.glob("*.dcm")}
    out, report, done = run(folder, [folder / "comment.dcm", folder / "hidden.dcm"], "hidden")
    for index, file in enumerate(report["files"], 1):
        if not file["copied"]:
            problems.append(f"hidden names: {file['why_not']}")
            continue
        found = canaries((out / file["copy"]).read_bytes())
        if found:
            problems.append(f"{file['original']}: a name is left in the bytes ({found})")
    clean = pydicom.dcmread(out / "0002.dcm")
    if clean.get("StudyDescription") != "lung ultrasound left" or clean.get("BodyPartExamined") != "CHEST":
        problems.append(f"descriptors cleaned to {clean.get('StudyDescription')!r}, {clean.get('BodyPartExamined')!r}")
    if any(hashlib.sha256(path.read_bytes()).digest() != digest for path, digest in before.items()):
        problems.append("an original changed")
    again, *_ = run(folder, [folder / "comment.dcm", folder / "hidden.dcm"], "again")
    if (again / "0002.dcm").read_bytes() != (out / "0002.dcm").read_bytes():
        problems.append("the same secret gives other bytes")
    other, *_ = run(folder, [folder / "hidden.dcm"], "other", secret=False)
    if pydicom.dcmread(other / "0001.dcm").SOPInstanceUID == clean.SOPInstanceUID:
        problems.append("without a secret the UID can be foretold")
    if pydicom.dcmread(out / "0001.dcm").StudyInstanceUID != clean.StudyInstanceUID:
        problems.append("one study became two")


def check_refused(folder):
    report = picture()
    report.ContentSequence = [Dataset()]
    report.save_as(folder / "report.dcm", enforce_file_format=True)
    (folder / "noise.bin").write_bytes(b"no picture" * 20)
    out, said, done = run(folder, [folder / "report.dcm", folder / "noise.bin"], "refused")
    if any(file["copied"] for file in said["files"]) or list(out.iterdir()) or done.returncode != 1:
        problems.append("a report or a file of noise was exported")
    done = subprocess.run([strandline, "deidentify", str(folder / "report.dcm"), "--out", str(folder)], capture_output=True,
                          text=True)
    if done.returncode != 2 or "not empty" not in done.stderr:
        problems.append(f"a full folder was taken for the copies: {done.stderr}")


# ---- burned-in text ----
TEXTS = ["Nebelung, Ivo", "14.03.1957", "MRN 47114288", "TVEIT HILDA", "1971-08-21 12:39", "Quist^Zoe"]


def scene(generator, frames, height=230, width=300):
    """Speckle that moves inside a sector, black around it."""
    y, x = numpy.mgrid[0:height, 0:width]
    inside = numpy.hypot(x - width / 2, y + 20) < 235
    inside &= abs(numpy.arctan2(x - width / 2, y + 20)) < 0.55
    inside &= y > 30
    # Speckle cells wider than deep, sliding as lung does with breathing, and flickering a little.
    cells = gaussian_filter(generator.normal(size=(2, height + 3 * frames, width + 2 * frames)), (0, 1.2, 2.8))
    echo = (numpy.hypot(*cells) / cells.std()) ** 0.8 * 75
    clip = []
    for i in range(frames):
        slid = echo[3 * i : 3 * i + height, 2 * i : 2 * i + width] + generator.normal(0, 4, (height, width))
        clip.append(numpy.where(inside, numpy.clip(slid, 0, 255), 0))
    return numpy.stack(clip), inside


def burn(clip, text, size, level, x, y):
    mask = Image.new("L", clip.shape[:0:-1])
    ImageDraw.Draw(mask).text((x, y), text, fill=255, font=ImageFont.truetype(font_file, size))
    cover = numpy.asarray(mask) / 255
    return numpy.rint(clip * (1 - cover) + level * cover), cover > 0.3


def invented(generator):
    """A name, a date or a number that belongs to nobody."""
    kind = generator.integers(3)
    if kind == 0:
        parts = ["ma", "rel", "to", "vin", "qua", "sor", "ti", "hel", "gan", "wex"]
        name = ["".join(generator.choice(parts, 3)).capitalize() for _ in range(2)]
        return f"{name[0]}, {name[1]}"
    digits = "".join(map(str, generator.integers(0, 10, 8)))
    return f"{digits[:2]}.{digits[2:4]}.19{digits[4:6]}" if kind == 1 else f"ID {digits}"


FILES = 10  # of three texts each; a number on the command line asks for more texts


def burned_file(folder, number, generator):
    clip, inside = scene(generator, 20)
    places, covers = [(6, 4), (60, 120), (150, 205)], []
    for k, (x, y) in enumerate(places):
        size, level = [10, 12, 14, 18, 22][(number + k) % 5], [90, 140, 200, 255][(number + 2 * k) % 4]
        if k == 1:
            level = 255  # over moving lung
        text = TEXTS[(number + k) % len(TEXTS)]
        if number >= FILES:  # of the long run: other words, sizes, contrasts, places
            size, level, text = int(generator.integers(9, 29)), int(generator.integers(60, 256)), invented(generator)
            level = 255 if k == 1 else level
            x, y = x + int(generator.integers(0, 12)), y + int(generator.integers(0, 8))
        clip, cover = burn(clip, text, size, level, x, y)
        covers.append(cover)
    made = picture(*clip.shape[1:])
    made.SOPClassUID = made.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.3.1"
    made.SOPInstanceUID = made.file_meta.MediaStorageSOPInstanceUID = f"1.2.3.4711.9.{number}"
    made.NumberOfFrames, made.FrameTime, made.FrameIncrementPointer = len(clip), "40", 0x00181063
    made.PixelData = clip.astype(numpy.uint8).tobytes()
    path = folder / f"burned {number}.dcm"
    kind = ["native", "RLE", "JPEG-LS", "JPEG 2000", "JPEG"][number % 5]
    if kind == "RLE":
        made.compress(pydicom.uid.RLELossless, generate_instance_uid=False)
    elif kind == "JPEG-LS":
        made.compress(pydicom.uid.JPEGLSLossless, generate_instance_uid=False)
    elif kind == "JPEG 2000":
        made.compress(pydicom.uid.JPEG2000Lossless, generate_instance_uid=False)
    elif kind == "JPEG":
        frames = []
        for frame in clip.astype(numpy.uint8):
            buffer = io.BytesIO()
            Image.fromarray(frame).save(buffer, "JPEG", quality=92)
            frames.append(buffer.getvalue())
        made.file_meta.TransferSyntaxUID = pydicom.uid.JPEGBaseline8Bit
        made.PixelData = pydicom.encaps.encapsulate(frames)
        made["PixelData"].is_undefined_length = True
    made.save_as(path, enforce_file_format=True)
    return path, kind, pydicom.dcmread(path).pixel_array, inside, covers


def check_burned(folder):
    generator = numpy.random.default_rng(8)
    files = [burned_file(folder, number, generator) for number in range(max(FILES, -(-texts_wanted // 3)))]
    out, report, done = run(folder, [path for path, *_ in files], "burned")
    lung = []
    for (path, kind, before, inside, covers), said in zip(files, report["files"]):
        if not said["copied"]:
            problems.append(f"{path.name} ({kind}): {said['why_not']}")
            continue
        after = pydicom.dcmread(out / said["copy"]).pixel_array
        for cover in covers:
            if after[:, cover].max() > 8:
                problems.append(f"{path.name} ({kind}): text is left, up to level {after[:, cover].max()}")
        text = numpy.any(covers, axis=0)
        boxes = numpy.zeros(text.shape, bool)
        for change in said["changes"]:
            if hit := re.match(r"pixels (\d+)\.\.(\d+), rows (\d+)\.\.(\d+)", change["where"]):
                x0, x1, y0, y1 = map(int, hit.groups())
                boxes[y0:y1 + 1, x0:x1 + 1] = True
        if kind == "JPEG":  # whole blocks of 8
            tall, wide = -(-boxes.shape[0] // 8) * 8, -(-boxes.shape[1] // 8) * 8
            padded = numpy.zeros((tall, wide), bool)
            padded[: boxes.shape[0], : boxes.shape[1]] = boxes
            blocks = padded.reshape(tall // 8, 8, wide // 8, 8).any((1, 3))
            boxes = numpy.kron(blocks, numpy.ones((8, 8), bool))[: boxes.shape[0], : boxes.shape[1]].astype(bool)
        if not numpy.array_equal(after[:, ~boxes], before[:, ~boxes]):
            problems.append(f"{path.name} ({kind}): pixels outside the boxes changed")
        lung.append((boxes & inside & ~text).sum() / inside.sum())
    print(f"burned in: {3 * len(files)} texts; of the imaged area {100 * numpy.mean(lung):.1f} % blackened beside the letters, "
          f"at most {100 * numpy.max(lung):.1f} %")
    if numpy.max(lung) > 0.25:
        problems.append("more than a quarter of an imaged area is blackened")


def check_cut(folder):
    """Rows of letters of which the picture's upper or lower edge leaves a half."""
    generator, files = numpy.random.default_rng(12), []
    for number, (edge, share) in enumerate([("upper", 0.45), ("lower", 0.45), ("lower", 0.7)]):
        clip, inside = scene(generator, 12)
        size, text = 16 + 3 * number, TEXTS[number]
        _, top, _, bottom = ImageFont.truetype(font_file, size).getbbox(text)
        visible = round(share * (bottom - top))
        clip, cover = burn(clip, text, size, 170, 40, visible - bottom if edge == "upper" else clip.shape[1] - top - visible)
        made = picture(*clip.shape[1:])
        made.SOPClassUID = made.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.3.1"
        made.SOPInstanceUID = made.file_meta.MediaStorageSOPInstanceUID = f"1.2.3.4711.12.{number}"
        made.NumberOfFrames, made.FrameTime, made.FrameIncrementPointer = len(clip), "40", 0x00181063
        made.PixelData = clip.astype(numpy.uint8).tobytes()
        made.save_as(folder / f"cut {number}.dcm", enforce_file_format=True)
        files.append((folder / f"cut {number}.dcm", edge, cover))
    out, report, done = run(folder, [path for path, *_ in files], "cut")
    for (path, edge, cover), said in zip(files, report["files"]):
        if not said["copied"]:
            problems.append(f"{path.name}: {said['why_not']}")
        elif (left := pydicom.dcmread(out / said["copy"]).pixel_array[:, cover].max()) > 8:
            problems.append(f"{path.name}: of a text that the {edge} edge cuts some is left, up to level {left}")


def check_video(folder):
    clip, inside = scene(numpy.random.default_rng(9), 12, 232)
    clip, cover = burn(clip, TEXTS[0], 16, 230, 10, 6)
    with av.open(str(folder / "clip.mp4"), "w") as movie:
        movie.metadata["title"] = movie.metadata["comment"] = CANARY
        stream = movie.add_stream("libx264", rate=20)
        stream.width, stream.height, stream.pix_fmt = 300, 232, "yuv420p"
        for frame in clip.astype(numpy.uint8):
            movie.mux(stream.encode(av.VideoFrame.from_ndarray(frame, "gray").reformat(format="yuv420p")))
        movie.mux(stream.encode())
    still, label = burn(clip[:1], TEXTS[3], 18, 255, 100, 4)
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Comment", CANARY)
    Image.fromarray(still[0].astype(numpy.uint8)).save(folder / f"{CANARY}.png", pnginfo=notes)
    out, report, done = run(folder, [folder / "clip.mp4", folder / f"{CANARY}.png"], "video")
    for file, place, count in zip(report["files"], (cover, label), (12, 1)):
        if not file["copied"]:
            problems.append(f"video: {file['why_not']}")
            continue
        path = out / file["copy"]
        frames = [frame.to_ndarray(format="gray") for frame in av.open(str(path)).decode(video=0)]
        if len(frames) != count or max(frame[place].max() for frame in frames) > 40:
            problems.append(f"{path.name}: {len(frames)} frames, text up to {max(frame[place].max() for frame in frames)}")
        if canaries(path.read_bytes()):
            problems.append(f"{path.name}: metadata of the container are left")


def check_dicom_video(folder):
    """MPEG-2, H.264 and HEVC in DICOM: text gone, lung as it was, comments inside the stream gone, the copy sound."""
    clip, inside = scene(numpy.random.default_rng(10), 12, 232)
    clip, cover = burn(clip, TEXTS[1], 16, 230, 10, 6)
    kinds = (("libx264", "h264", "102", "ISO_14496_10"), ("mpeg2video", "mpeg2video", "100", "ISO_13818_1"),
             ("libx265", "hevc", "107", "ISO_23008_2"))
    for codec, form, syntax, method in kinds:
        buffer = io.BytesIO()
        with av.open(buffer, "w", format=form) as movie:
            stream = movie.add_stream(codec, rate=20, options={"x265-params": "log-level=none", "b": "4000000"})
            stream.width, stream.height, stream.pix_fmt = 300, 232, "yuv420p"
            for frame in clip.astype(numpy.uint8):
                movie.mux(stream.encode(av.VideoFrame.from_ndarray(frame, "gray").reformat(format="yuv420p")))
            movie.mux(stream.encode())
        made = picture(232, 300)
        made.SOPClassUID = made.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.3.1"
        made.SOPInstanceUID = made.file_meta.MediaStorageSOPInstanceUID = f"1.2.3.4711.11.{syntax}"
        made.NumberOfFrames, made.FrameTime, made.FrameIncrementPointer = len(clip), "50", 0x00181063
        made.SamplesPerPixel, made.PhotometricInterpretation, made.PlanarConfiguration = 3, "YBR_PARTIAL_420", 0
        made.file_meta.TransferSyntaxUID = f"1.2.840.10008.1.2.4.{syntax}"
        data = buffer.getvalue()
        if form == "h264":  # a unit of unregistered user data (ITU-T H.264 D.1.7) with a name in it
            secret = b"\x05" + bytes([16 + len(CANARY)]) + b"0123456789abcdef" + CANARY.encode() + b"\x80"
            data = data[: data.index(b"\0\0\0\1", 4)] + b"\0\0\0\1\x06" + secret + data[data.index(b"\0\0\0\1", 4):]
        made.PixelData = pydicom.encaps.encapsulate([data + b"\0" * (len(data) % 2)], has_bot=False)
        made["PixelData"].is_undefined_length = True
        made.save_as(folder / f"{form}.dcm", enforce_file_format=True)
        with av.open(io.BytesIO(data), format=form) as movie:
            before = [numpy.clip((frame.to_ndarray()[:232].astype(float) - 16) * 255 / 219, 0, 255) for frame in movie.decode(video=0)]
        out, report, done = run(folder, [folder / f"{form}.dcm"], f"stream-{form}")
        if not report["files"][0]["copied"]:
            problems.append(f"{form} in DICOM: {report['files'][0]['why_not']}")
            continue
        copy = pydicom.dcmread(out / "0001.dcm")
        frames = copy.pixel_array.astype(float)
        if frames.ndim == 4:
            problems.append(f"{form} in DICOM: grey became colour")
            continue
        lung = inside & ~cover
        off = numpy.abs(frames[:, lung] - numpy.stack(before)[:, lung])
        masked = (frames[:, lung] < 3).all(0).mean()
        print(f"{form} in DICOM: {off[off < 40].mean():.2f} grey levels off in the mean, {100 * masked:.1f} % of the area blackened")
        if len(frames) != 12 or frames[:, cover].max() > 20 or off[off < 40].mean() > 2.5 or masked > 0.1:
            problems.append(f"{form} in DICOM: {len(frames)} frames, text up to {frames[:, cover].max()}, {off.mean():.2f} off")
        if str(copy.LossyImageCompressionMethod[-1]) != "ISO_10918_1" or str(copy.LossyImageCompressionMethod[0]) != method:
            problems.append(f"{form} in DICOM: losses {copy.get('LossyImageCompressionMethod')}")
        if canaries((out / "0001.dcm").read_bytes()):
            problems.append(f"{form} in DICOM: what the stream carried is left")
        done = subprocess.run(["dciodvfy", str(out / "0001.dcm")], capture_output=True, text=True)
        told = [line for line in done.stderr.splitlines() if "Error" in line and ("Lossy" in line or "Photometric" in line or "Planar" in line)]
        problems.extend(f"{form} in DICOM: {line}" for line in told)


for check in (check_table, check_canaries, check_refused, check_burned, check_cut, check_video, check_dicom_video):
    with tempfile.TemporaryDirectory() as place:
        check(pathlib.Path(place))
print("\n".join(problems + [f"{len(problems)} problems"]))
sys.exit(1 if problems else 0)
