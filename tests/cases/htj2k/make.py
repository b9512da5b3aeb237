"""Writes the codestreams of this folder: invented pictures coded by OpenJPH (imagecodecs 2026.3.6, which wants a newer NumPy
than the other references, so that it is no part of tests/requirements.txt). make.py FOLDER"""
import pathlib
import sys

import imagecodecs
import numpy

sys.path.insert(0, str(pathlib.Path(__file__).parents[2] / "oracle"))

def picture(height, width, frame, most=255):  # as in dicom_made.py
    y, x = numpy.mgrid[0:height, 0:width]
    level = 0.5 + 0.55 * numpy.sin(x / 9 + frame * 0.4) * numpy.cos(y / 11)
    return numpy.clip(numpy.round(level * most), 0, most)

def coloured(height, width, frame):
    rgb = numpy.stack([picture(height, width, frame)] * 3, axis=-1)
    rgb[4:20, 4:24] = (220, 30, 60)
    return rgb.astype(numpy.uint8)

to = pathlib.Path(sys.argv[1])
for i in range(2):
    gray = picture(33, 47, i).astype(numpy.uint8)
    (to / f"grey-{i}.j2c").write_bytes(imagecodecs.htj2k_encode(gray, reversible=True))
    (to / f"lossy-{i}.j2c").write_bytes(imagecodecs.htj2k_encode(gray, level=0.002, reversible=False))
    (to / f"deep-{i}.j2c").write_bytes(imagecodecs.htj2k_encode(picture(33, 47, i, 4095).astype(numpy.uint16), reversible=True))
    (to / f"rgb-{i}.j2c").write_bytes(imagecodecs.htj2k_encode(coloured(33, 47, i), rgb=True, reversible=True))
