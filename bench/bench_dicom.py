"""A 1,000-frame, 800 x 600, colour JPEG cine with invented pictures, then bench_dicom on it: bench_dicom.py BENCH_DICOM [FRAMES]."""
import io
import pathlib
import subprocess
import sys
import tempfile

import numpy
import pydicom
from PIL import Image
from pydicom.dataset import Dataset, FileMetaDataset

frames = int(sys.argv[2]) if len(sys.argv) > 2 else 1000
generator = numpy.random.default_rng(1)
y, x = numpy.mgrid[0:600, 0:800]
inside = (numpy.hypot(x - 400, y + 100) < 680) & (abs(numpy.arctan2(x - 400, y + 100)) < 0.6)
coded = []
for i in range(20):
    speckle = numpy.kron(generator.rayleigh(30, (200, 200)), numpy.ones((3, 4)))
    buffer = io.BytesIO()
    Image.fromarray(numpy.where(inside, speckle.clip(0, 255), 0).astype(numpy.uint8)).convert("RGB").save(buffer, "JPEG", quality=85)
    coded.append(buffer.getvalue())
data = Dataset()
data.file_meta = FileMetaDataset()
data.file_meta.TransferSyntaxUID = pydicom.uid.JPEGBaseline8Bit
data.SOPClassUID, data.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.3.1", "1.2.3.4711.5"
data.file_meta.MediaStorageSOPClassUID, data.file_meta.MediaStorageSOPInstanceUID = data.SOPClassUID, data.SOPInstanceUID
data.Modality, data.NumberOfFrames, data.FrameTime, data.FrameIncrementPointer = "US", frames, "33", 0x00181063
data.Rows, data.Columns, data.SamplesPerPixel, data.PhotometricInterpretation, data.PlanarConfiguration = 600, 800, 3, "YBR_FULL_422", 0
data.BitsAllocated = data.BitsStored = 8
data.HighBit, data.PixelRepresentation = 7, 0
data.PixelData = pydicom.encaps.encapsulate([coded[i % 20] for i in range(frames)])
data["PixelData"].is_undefined_length = True
with tempfile.TemporaryDirectory() as folder:
    path = pathlib.Path(folder) / "cine.dcm"
    data.save_as(path, enforce_file_format=True)
    sys.exit(subprocess.run([sys.argv[1], str(path)]).returncode)
