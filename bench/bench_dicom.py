"""A multi-frame, 800 x 600, colour JPEG cine with invented pictures: bench_dicom on it (one frame against all, this program
against the toolkit); with the program as well, what de-identifying costs against copying the file and decoding it once on one
thread, for a cine with burned-in names and one without. bench_dicom.py BENCH_DICOM [FRAMES [STRANDLINE]]."""
import io
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

import numpy
import pydicom
from PIL import Image, ImageDraw, ImageFont
from pydicom.dataset import Dataset, FileMetaDataset

bench, frames = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 1000
strandline = sys.argv[3] if len(sys.argv) > 3 else None
y, x = numpy.mgrid[0:600, 0:800]
inside = (numpy.hypot(x - 400, y + 100) < 680) & (abs(numpy.arctan2(x - 400, y + 100)) < 0.6)


def cine(path, text):
    generator = numpy.random.default_rng(1)
    coded = []
    for _ in range(20):
        speckle = numpy.kron(generator.rayleigh(30, (200, 200)), numpy.ones((3, 4)))
        picture = Image.fromarray(numpy.where(inside, speckle.clip(0, 255), 0).astype(numpy.uint8)).convert("RGB")
        if text:
            draw = ImageDraw.Draw(picture)
            font = ImageFont.load_default(18)
            draw.text((20, 8), "INVENTED, EXAMPLE 1961-04-03", (230, 230, 230), font)
            draw.text((20, 34), "ID 4711-0815  WARD 7", (230, 230, 230), font)
        buffer = io.BytesIO()
        picture.save(buffer, "JPEG", quality=85)
        coded.append(buffer.getvalue())
    data = Dataset()
    data.file_meta = FileMetaDataset()
    data.file_meta.TransferSyntaxUID = pydicom.uid.JPEGBaseline8Bit
    data.SOPClassUID, data.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.3.1", "1.2.3.4711.5"
    data.StudyInstanceUID, data.SeriesInstanceUID = "1.2.3.4711.6", "1.2.3.4711.7"
    data.file_meta.MediaStorageSOPClassUID, data.file_meta.MediaStorageSOPInstanceUID = data.SOPClassUID, data.SOPInstanceUID
    data.PatientName, data.PatientID = "Invented^Example", "4711-0815"
    data.Modality, data.NumberOfFrames, data.FrameTime, data.FrameIncrementPointer = "US", frames, "33", 0x00181063
    data.Rows, data.Columns, data.SamplesPerPixel, data.PhotometricInterpretation, data.PlanarConfiguration = 600, 800, 3, "YBR_FULL_422", 0
    data.BitsAllocated = data.BitsStored = 8
    data.HighBit, data.PixelRepresentation = 7, 0
    data.PixelData = pydicom.encaps.encapsulate([coded[i % 20] for i in range(frames)])
    data["PixelData"].is_undefined_length = True
    data.save_as(path, enforce_file_format=True)


def seconds(work):
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def deidentify(path, folder, name):
    """Best of three, side by side: copy, decode, de-identify."""
    copied, decoded, cleaned = [], [], []
    for i in range(3):
        copied.append(seconds(lambda: shutil.copyfile(path, folder / "copy")))
        decoded.append(seconds(lambda: subprocess.run([bench, "--decode", str(path)], check=True)))
        out = folder / f"out-{name}-{i}"
        cleaned.append(seconds(lambda: subprocess.run([strandline, "deidentify", str(path), "--out", str(out), "--workers", "1"],
                                                      check=True, stdout=subprocess.DEVNULL)))
    copy, decode, clean = min(copied), min(decoded), min(cleaned)
    print(f"{name}: copy {1000 * copy:.0f} ms, decode once {1000 * decode:.0f} ms, de-identify {1000 * clean:.0f} ms: "
          f"{clean / (copy + decode):.2f} times copying and one decode")


with tempfile.TemporaryDirectory() as place:
    folder = pathlib.Path(place)
    cine(folder / "cine.dcm", False)
    status = subprocess.run([bench, str(folder / "cine.dcm")]).returncode
    if strandline:
        cine(folder / "named.dcm", True)
        deidentify(folder / "cine.dcm", folder, "no text")
        deidentify(folder / "named.dcm", folder, "two lines of text")
    sys.exit(status)
