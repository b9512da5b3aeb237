"""Ultrasound DICOM files written with pydicom, invented content, for check_dicom.py."""
import pathlib
import warnings

import numpy
import pydicom
from openjpeg.utils import encode_array
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.uid import (DeflatedExplicitVRLittleEndian, ExplicitVRBigEndian, ExplicitVRLittleEndian, HTJ2K, HTJ2KLossless,
                         HTJ2KLosslessRPCL,
                         ImplicitVRLittleEndian, JPEG2000, JPEG2000Lossless, JPEGBaseline8Bit, JPEGLSLossless, RLELossless, generate_uid)

US, US_MULTI = "1.2.840.10008.5.1.4.1.1.6.1", "1.2.840.10008.5.1.4.1.1.3.1"
SYNTAXES = {"implicit": ImplicitVRLittleEndian, "explicit": ExplicitVRLittleEndian, "big endian": ExplicitVRBigEndian,
            "deflated": DeflatedExplicitVRLittleEndian}


def picture(height, width, frame, most=255):
    y, x = numpy.mgrid[0:height, 0:width]
    level = 0.5 + 0.55 * numpy.sin(x / 9 + frame * 0.4) * numpy.cos(y / 11)
    return numpy.clip(numpy.round(level * most), 0, most)


def coloured(height, width, frame):
    gray = picture(height, width, frame)
    rgb = numpy.stack([gray] * 3, axis=-1)
    rgb[4:20, 4:24] = (220, 30, 60)
    return rgb.astype(numpy.uint8)


def dataset(frames, height, width, photometric, samples, stored=8, allocated=8, signed=0, **extra):
    made = Dataset()
    made.SOPClassUID = US_MULTI if frames > 1 else US
    made.SOPInstanceUID = generate_uid(entropy_srcs=["strandline", photometric, str(frames)])
    made.PatientName, made.PatientID, made.Modality = "Invented^Example", "DEMO", "US"
    made.Rows, made.Columns, made.SamplesPerPixel, made.PhotometricInterpretation = height, width, samples, photometric
    made.BitsAllocated, made.BitsStored, made.HighBit, made.PixelRepresentation = allocated, stored, stored - 1, signed
    if frames > 1:
        made.NumberOfFrames = frames
    if samples == 3:
        made.PlanarConfiguration = extra.pop("planar", 0)
    for key, value in extra.items():
        setattr(made, key, value)
    return made


def save(made, path, syntax, data):
    made.file_meta = FileMetaDataset()
    made.file_meta.TransferSyntaxUID = syntax
    made.file_meta.MediaStorageSOPClassUID = made.SOPClassUID
    made.file_meta.MediaStorageSOPInstanceUID = made.SOPInstanceUID
    made.PixelData = data if len(data) % 2 == 0 else data + b"\0"
    made["PixelData"].VR = "OB" if made.BitsAllocated == 8 else "OW"
    made["PixelData"].is_undefined_length = syntax.is_compressed
    made.save_as(path, enforce_file_format=True)
    return path


def words(array, syntax, allocated):
    if allocated == 8:
        raw = array.astype(numpy.uint8).tobytes()
        return raw
    return array.astype(numpy.uint16).astype("<u2" if syntax.is_little_endian else ">u2").tobytes()


def ybr(rgb):
    r, g, b = (rgb[..., i].astype(float) for i in range(3))
    y = 0.299 * r + 0.587 * g + 0.114 * b
    return numpy.clip(numpy.round(numpy.stack([y, 128 + (b - y) / 1.772, 128 + (r - y) / 1.402], -1)), 0, 255).astype(
        numpy.uint8)


def pairs_422(full):
    """Y Y Cb Cr."""
    shared = full[:, ::2, 1:]
    return numpy.concatenate([full[:, ::2, :1], full[:, 1::2, :1], shared], axis=-1).astype(numpy.uint8)


def region():
    made = Dataset()
    made.RegionSpatialFormat, made.RegionDataType, made.RegionFlags = 1, 1, 2
    made.RegionLocationMinX0, made.RegionLocationMinY0 = 5, 6
    made.RegionLocationMaxX1, made.RegionLocationMaxY1 = 60, 50
    made.PhysicalUnitsXDirection = made.PhysicalUnitsYDirection = 3
    made.PhysicalDeltaX, made.PhysicalDeltaY = 0.02, 0.025
    made.ReferencePixelX0, made.ReferencePixelY0 = 27, -3
    made.TransducerFrequency = 3500
    return made


def natives(folder):
    height, width, count = 55, 67, 3
    grays = numpy.stack([picture(height, width, i) for i in range(count)])
    colours = numpy.stack([coloured(height, width, i) for i in range(count)])
    for label, syntax in SYNTAXES.items():
        made = dataset(count, height, width, "MONOCHROME2", 1, FrameTime="40", FrameIncrementPointer=0x00181063)
        yield f"grey, {label}", save(made, folder / f"grey {label}", syntax, words(grays, syntax, 8)), {
            "frames_stated": 3, "times": [0, 0.04, 0.08]}
        made = dataset(count, height, width, "MONOCHROME2", 1, 12, 16)
        deep = numpy.stack([picture(height, width, i, 4095) for i in range(count)])
        yield f"12 bits, {label}", save(made, folder / f"deep {label}", syntax, words(deep, syntax, 16)), {
            "times_known": False}
        made = dataset(count, height, width, "RGB", 3)
        yield f"RGB, {label}", save(made, folder / f"rgb {label}", syntax, words(colours, syntax, 8)), {}
    plain = ExplicitVRLittleEndian
    made = dataset(1, height, width, "MONOCHROME1", 1)
    yield "inverted", save(made, folder / "inverted", plain, words(grays[0], plain, 8)), {"is_still": True}
    made = dataset(1, height, width, "MONOCHROME2", 1, WindowCenter="100", WindowWidth="120")
    yield "window", save(made, folder / "window", plain, words(grays[0], plain, 8)), {}
    made = dataset(1, height, width, "MONOCHROME2", 1, 16, 16, 1, RescaleSlope="2", RescaleIntercept="-100",
                   WindowCenter="0", WindowWidth="20000")
    with_sign = numpy.round((picture(height, width, 0, 16000) - 8000)).astype(numpy.int16).view(numpy.uint16)
    yield "signed with window", save(made, folder / "signed", plain, words(with_sign, plain, 16)), {}
    made = dataset(count, height, width, "RGB", 3, planar=1)
    yield "RGB by plane", save(made, folder / "planar", plain, words(numpy.moveaxis(colours, -1, 1), plain, 8)), {}
    made = dataset(count, height, width, "YBR_FULL", 3)
    yield "YBR_FULL", save(made, folder / "ybr", plain, ybr(colours).tobytes()), {}
    made = dataset(count, height, width, "YBR_FULL", 3, planar=1)
    yield "YBR_FULL by plane", save(made, folder / "ybr planar", plain, numpy.moveaxis(ybr(colours), -1, 1).tobytes()), {}
    even = ybr(colours[:, :, :66])
    made = dataset(count, height, 66, "YBR_FULL_422", 3)
    yield "YBR_FULL_422", save(made, folder / "ybr 422", plain, b"".join(pairs_422(f).tobytes() for f in even)), {}


def palettes(folder):
    height, width = 40, 50
    ramp = numpy.arange(256)
    for bits in (8, 16):
        made = dataset(1, height, width, "PALETTE COLOR", 1)
        table = {"Red": 255 - ramp, "Green": ramp // 2, "Blue": ramp}
        for colour, values in table.items():
            setattr(made, f"{colour}PaletteColorLookupTableDescriptor", [256, 0, bits])
            data = values.astype(numpy.uint8) if bits == 8 else (values * 257).astype("<u2")
            setattr(made, f"{colour}PaletteColorLookupTableData", data.tobytes())
        yield f"palette of {bits} bits", save(made, folder / f"palette {bits}", ExplicitVRLittleEndian,
                                              words(picture(height, width, 0), ExplicitVRLittleEndian, 8)), {}


def times(folder):
    height, width, count, plain = 16, 18, 5, ExplicitVRLittleEndian
    data = words(numpy.stack([picture(height, width, i) for i in range(count)]), plain, 8)
    ways = {"frame time": ({"FrameTime": "25", "FrameIncrementPointer": 0x00181063}, [0, 0.025, 0.05, 0.075, 0.1]),
            "vector": ({"FrameTimeVector": [0, 20, 30, 20, 30], "FrameIncrementPointer": 0x00181065},
                       [0, 0.02, 0.05, 0.07, 0.1]),
            "cine rate": ({"CineRate": "50"}, [0, 0.02, 0.04, 0.06, 0.08]),
            "display rate": ({"RecommendedDisplayFrameRate": "20"}, [0, 0.05, 0.1, 0.15, 0.2]),
            "zero time": ({"FrameTime": "0"}, [None] * 5), "no time": ({}, [None] * 5)}
    for label, (extra, wanted) in ways.items():
        made = dataset(count, height, width, "MONOCHROME2", 1, **extra)
        yield label, save(made, folder / label, plain, data), {"times": wanted}
    made = dataset(count, height, width, "MONOCHROME2", 1, SequenceOfUltrasoundRegions=[region(), region()])
    made.Rows, made.Columns = 60, 70
    big = words(numpy.stack([picture(60, 70, i) for i in range(count)]), plain, 8)
    made.DepthOfScanField, made.FocusDepth, made.MechanicalIndex, made.SoftTissueThermalIndex = "160", "85.5", "1.1", "0.3"
    made.TransducerType, made.BodyPartExamined, made.ImageLaterality, made.ViewName = "CURVED LINEAR", "LUNG", "L", "apical"
    made.SequenceOfUltrasoundRegions[1].RegionLocationMaxX1 = 70  # one behind the picture, as some machines count
    made.SequenceOfUltrasoundRegions.append(region())
    made.SequenceOfUltrasoundRegions[2].RegionLocationMaxY1 = 400  # tells nothing
    first = [5, 6, 60, 50, 1, 1, 3, 3, 0.02, 0.025, 27, -3]
    yield "regions", save(made, folder / "regions", plain, big), {
        "region": [first, [*first[:2], 69, *first[3:]]], "depth_mm": 160, "focus_mm": 85.5, "mechanical_index": 1.1,
        "thermal_index": 0.3, "freq_mhz": 3.5, "transducer": "CURVED LINEAR", "body_part": "LUNG", "laterality": "L",
        "view_name": "apical"}
    made = dataset(1, 16, 18, "MONOCHROME2", 1, PixelAspectRatio=["8", "9"])
    yield "aspect", save(made, folder / "aspect", plain, data[: 16 * 18]), {"pixel_aspect": 1.125}


def compressed(folder):
    height, width, count = 63, 79, 4
    gray = numpy.stack([picture(height, width, i) for i in range(count)]).astype(numpy.uint8)
    colour = numpy.stack([coloured(height, width, i) for i in range(count)])
    for label, syntax in (("RLE", RLELossless), ("JPEG-LS", JPEGLSLossless)):
        for kind, pixels, samples in (("grey", gray, 1), ("RGB", colour, 3)):
            made = dataset(count, height, width, "MONOCHROME2" if samples == 1 else "RGB", samples)
            save(made, folder / "plain", ExplicitVRLittleEndian, pixels.tobytes())
            made = pydicom.dcmread(folder / "plain")
            plugin = "pydicom" if syntax == RLELossless else "pyjpegls"  # GDCM's coder ends the process on odd sizes
            made.compress(syntax, generate_instance_uid=False, encoding_plugin=plugin)
            path = folder / f"{label} {kind}"
            made.save_as(path)
            yield f"{label}, {kind}", path, {"frames_stated": count}
    deep = numpy.stack([picture(height, width, i, 4095) for i in range(count)]).astype(numpy.uint16)
    for kind, pixels, shape in (("grey", gray, ("MONOCHROME2", 1)), ("12 bits", deep, ("MONOCHROME2", 1, 12, 16)),
                                ("RGB", colour, ("YBR_RCT", 3))):
        for label, syntax in (("lossless", JPEG2000Lossless), ("lossy", JPEG2000)):
            if label == "lossy" and kind != "grey":
                continue
            pieces = [encode_array(frame, photometric_interpretation=2 if shape[1] == 1 else 1, use_mct=shape[1] == 3,
                                   **({"compression_ratios": [4]} if label == "lossy" else {})) for frame in pixels]
            made = dataset(count, height, width, *shape)
            yield f"JPEG 2000 {label}, {kind}", save(made, folder / f"j2k {label} {kind}", syntax, encapsulate(pieces)), {
                "frames_stated": count}
    yield from jpegs(folder, gray, colour)


def htj2k(folder):
    """Codestreams of tests/cases/htj2k, coded by OpenJPH (the reader has OpenJPEG)."""
    streams = pathlib.Path(__file__).parents[1] / "cases/htj2k"
    height, width, count = 33, 47, 2
    shapes = {"grey": ("MONOCHROME2", 1), "deep": ("MONOCHROME2", 1, 12, 16), "rgb": ("YBR_RCT", 3), "lossy": ("MONOCHROME2", 1)}
    for kind, shape in shapes.items():
        pieces = [(streams / f"{kind}-{i}.j2c").read_bytes() for i in range(count)]
        exact = [coloured(height, width, i) if kind == "rgb" else picture(height, width, i, 4095 if kind == "deep" else 255)
                 for i in range(count)]
        for syntax in (HTJ2K,) if kind == "lossy" else (HTJ2KLossless, HTJ2KLosslessRPCL):
            made = dataset(count, height, width, *shape)
            path = save(made, folder / f"htj2k {kind} {syntax[-3:]}", syntax, encapsulate(pieces))
            yield f"HTJ2K {kind}, {syntax}", path, {"frames_stated": count, **({} if kind == "lossy" else {"pixels": exact})}


def without_padding(path, count):
    """The pixel data at the file's end cut to `count` bytes, an odd number, and stated so (PS3.5 8.1.1 wants a byte more)."""
    raw = path.read_bytes()
    at = raw.rindex(b"\xe0\x7f\x10\x00")
    path.write_bytes(raw[: at + 8] + count.to_bytes(4, "little") + raw[at + 12 : at + 12 + count])
    return path


def with_wrong_table(path, frames):
    """Each offset of the basic table four bytes too far."""
    raw = bytearray(path.read_bytes())
    at = raw.rindex(b"\xe0\x7f\x10\x00") + 12 + 8
    for i in range(1, frames):
        entry = int.from_bytes(raw[at + 4 * i : at + 4 * i + 4], "little") + 4
        raw[at + 4 * i : at + 4 * i + 4] = entry.to_bytes(4, "little")
    path.write_bytes(raw)
    return path


def oddities(folder):
    height, width, plain = 55, 67, ExplicitVRLittleEndian
    gray = picture(height, width, 0)
    made = dataset(1, height, width, "MONOCHROME2", 1)
    path = save(made, folder / "odd length", plain, words(gray, plain, 8))
    yield "no padding", without_padding(path, height * width), {"pixels": [gray]}
    for name, sets in (("Latin", "ISO_IR 100"), ("Cyrillic", "ISO_IR 144"), ("UTF-8", "ISO_IR 192"), ("Japanese", ["", "ISO 2022 IR 87"]),
                       ("Chinese", "GB18030"), ("unknown", "ISO_IR 999")):
        made = dataset(1, height, width, "MONOCHROME2", 1, SpecificCharacterSet=sets)
        odd = b"Inv\xe4nted\xff^\x1b$B;3ED\x1b(B"
        made.PatientName, made.ViewName = "N" * len(odd), "apical"
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            path = save(made, folder / f"names {name}", plain, words(gray, plain, 8) + b"\0")
        path.write_bytes(path.read_bytes().replace(b"N" * len(odd), odd))
        yield f"names in {name}", path, {"pixels": [gray], "view_name": "apical"}
    colours = ybr(coloured(height, 66, 0)[None])
    made = dataset(1, height, 66, "YBR_PARTIAL_422", 3)
    partial = colours.astype(float)
    partial[..., 0] = numpy.round(16 + partial[..., 0] * 219 / 255)
    partial[..., 1:] = numpy.round(128 + (partial[..., 1:] - 128) * 224 / 255)
    wanted = numpy.clip(numpy.round((partial[0, ..., 0] - 16) * 255 / 219), 0, 255)
    yield "YBR_PARTIAL_422", save(made, folder / "partial", plain, pairs_422(partial[0].astype(numpy.uint8)).tobytes()), {
        "pixels": [wanted], "no reference": True}
    for bits in (9, 10, 14, 16):
        most = 2**bits - 1
        deep = picture(height, width, 0, most)
        made = dataset(1, height, width, "MONOCHROME2", 1, bits, 16)
        yield f"{bits} bits", save(made, folder / f"bits {bits}", plain, words(deep, plain, 16)), {"pixels": [deep * 255 / most]}


def jpegs(folder, gray, colour):
    """Baseline JPEG by Pillow: every sampling; one fragment a frame, several, with and without an offset table."""
    import io

    import PIL.Image

    def coded(array, **options):
        buffer = io.BytesIO()
        PIL.Image.fromarray(array).save(buffer, "JPEG", quality=92, **options)
        return buffer.getvalue()

    count, height, width = gray.shape
    for label, options in (("444", {"subsampling": 0}), ("422", {"subsampling": 1}), ("420", {"subsampling": 2})):
        made = dataset(count, height, width, "YBR_FULL_422", 3)
        pieces = [coded(frame, **options) for frame in colour]
        yield f"JPEG {label}", save(made, folder / f"jpeg {label}", JPEGBaseline8Bit, encapsulate(pieces)), {"off": 2}
    pieces = [coded(frame) for frame in gray]
    for label, fragments, table in (("one fragment a frame", 1, True), ("three fragments a frame", 3, True),
                                    ("three fragments, no table", 3, False)):
        made = dataset(count, height, width, "MONOCHROME2", 1)
        data = encapsulate(pieces, fragments_per_frame=fragments, has_bot=table)
        yield f"JPEG grey, {label}", save(made, folder / label, JPEGBaseline8Bit, data), {"frames_stated": count}
    made = dataset(count, height, width, "MONOCHROME2", 1)
    path = save(made, folder / "wrong table", JPEGBaseline8Bit, encapsulate(pieces, fragments_per_frame=3, has_bot=True))
    yield "JPEG grey, wrong table", with_wrong_table(path, count), {"frames_stated": count, "like": "three fragments, no table"}


def made_files(folder):
    """(name, path, what dump_frames must say) of each."""
    for part in (natives, palettes, times, oddities, compressed, htj2k):
        yield from part(folder)
