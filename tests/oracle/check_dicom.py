"""DICOM frames against pydicom (with NumPy) and GDCM: pydicom's own test files that hold pictures, and files written here in the
photometric interpretations, depths and codings that ultrasound comes in. Photometric interpretations: PS3.3 C.7.6.3.1.2;
window: PS3.3 C.11.2.1.2.1; cine: C.7.6.5; regions: C.8.5.5.

check_dicom.py DUMP_FRAMES
"""
import io
import pathlib
import sys
import tempfile
import warnings

try:
    import av
    import gdcm
    import numpy
    import pydicom
    import pydicom.data
    import pydicom.pixels
except ImportError as missing:
    print(f"skipped: {missing}. ./check installs the reference libraries.")
    sys.exit(77)

import dicom_made
from dicom_made import made_files
from frames import dump

dump_frames = sys.argv[1]
warnings.simplefilter("ignore")
pydicom.config.settings.reading_validation_mode = pydicom.config.IGNORE
problems = []

# No pictures, or pictures that are no ultrasound's: one bit, 32 bits, no pixel data; and what is stated beside each.
NOT_READ = {
    "liver": "1 bit segmentation", "rtdose": "32 bits", "SC_rgb_rle_32bit": "32 bits", "badVR": "32 bits",
    "JPEG2000-embedded": "its size field is overwritten by a delimiter's bytes", "ExplVR_BigEndNoMeta": "big endian without a header", "no_meta.dcm": "bare data set of a few elements",
}
BREAKS_OFF = {"SC_rgb_jpeg.dcm": "pixel data without an end", "MR_truncated.dcm": "cut"}


def grey_of(dataset, pixels):
    """Full-range grey, float, of raw samples as the standard says."""
    kind = dataset.PhotometricInterpretation
    if kind == "PALETTE COLOR":
        rgb = pydicom.pixels.apply_color_lut(pixels, dataset).astype(float)
        most = 65535 if rgb.max() > 255 else 255
        return rgb @ [0.299, 0.587, 0.114] * 255 / most
    if kind.startswith("MONOCHROME"):
        if "WindowWidth" in dataset:
            value = pydicom.pixels.apply_modality_lut(pixels, dataset)
            center = float(pydicom.multival.MultiValue(float, numpy.atleast_1d(dataset.WindowCenter))[0])
            width = float(pydicom.multival.MultiValue(float, numpy.atleast_1d(dataset.WindowWidth))[0])
            level = numpy.clip(((value - (center - 0.5)) / max(width - 1, 1e-9) + 0.5) * 255, 0, 255)
        else:
            low = -(2 ** (dataset.BitsStored - 1)) if dataset.PixelRepresentation else 0
            level = (pixels.astype(float) - low) / (2**dataset.BitsStored - 1) * 255
        return 255 - level if kind == "MONOCHROME1" else level
    scale = 255 / (2**dataset.BitsStored - 1)
    if kind.startswith("YBR_FULL"):
        return pixels[..., 0] * scale
    return pixels.astype(float) @ [0.299, 0.587, 0.114] * scale


def reference(path):
    """Grey of each frame: NumPy over pydicom's samples."""
    dataset = pydicom.dcmread(path, force=True)
    if "TransferSyntaxUID" not in dataset.file_meta:
        dataset.file_meta.TransferSyntaxUID = pydicom.uid.ImplicitVRLittleEndian
    decoder = pydicom.pixels.get_decoder(dataset.file_meta.TransferSyntaxUID)
    decoded, meta = decoder.as_array(dataset, raw=True)
    coded_as = str(meta["photometric_interpretation"])
    dataset.PhotometricInterpretation = "RGB" if coded_as in ("YBR_RCT", "YBR_ICT") else coded_as
    rgb = dataset.SamplesPerPixel == 3
    frames = decoded if int(dataset.get("NumberOfFrames", 1) or 1) > 1 else decoded[None]
    if rgb and dataset.get("PlanarConfiguration") == 1 and frames.shape[1] == 3 and frames.shape[-1] != 3:
        frames = numpy.moveaxis(frames, 1, -1)
    return [grey_of(dataset, frame) for frame in frames]


# What GDCM 3.2 decodes otherwise than pydicom, and what was seen there; pydicom judges these alone.
NOT_BY_GDCM = {"SC_rgb_rle_16bit.dcm": "bytes of 16-bit colour out of step", "SC_rgb_rle_16bit_2frame.dcm": "the same",
               "J2K_pixelrep_mismatch.dcm": "the sign is the header's there, the codestream's here and in pydicom"}
by_gdcm = 0


def reference_gdcm(path):
    """Grey of each frame by GDCM's decoders, or a sentence. Its colours of JPEG are RGB or YBR as it says itself."""
    reader = gdcm.ImageReader()
    reader.SetFileName(str(path))
    if not reader.Read():
        return "not read"
    picture = reader.GetImage()
    form = picture.GetPixelFormat()
    kinds = {gdcm.PixelFormat.UINT8: "u1", gdcm.PixelFormat.INT8: "i1", gdcm.PixelFormat.UINT12: "u2",
             gdcm.PixelFormat.UINT16: "u2", gdcm.PixelFormat.INT16: "i2"}
    if form.GetScalarType() not in kinds:
        return f"pixels of {form}"
    raw = picture.GetBuffer().encode("utf-8", "surrogateescape")
    dataset = pydicom.dcmread(path, force=True)
    frames, samples = int(dataset.get("NumberOfFrames", 1) or 1), form.GetSamplesPerPixel()
    pixels = numpy.frombuffer(raw, kinds[form.GetScalarType()])
    if pixels.size != frames * dataset.Rows * dataset.Columns * samples:
        return f"{pixels.size} samples"
    shape = (frames, dataset.Rows, dataset.Columns, samples)
    if picture.GetPlanarConfiguration() == 1 and samples == 3:
        pixels = numpy.moveaxis(pixels.reshape(frames, samples, dataset.Rows, dataset.Columns), 1, -1)
    pixels = pixels.reshape(shape)
    kind = str(picture.GetPhotometricInterpretation()).strip()
    dataset.PhotometricInterpretation = "RGB" if kind in ("YBR_RCT", "YBR_ICT") else kind
    return [grey_of(dataset, frame if samples == 3 else frame[..., 0]) for frame in pixels]


def compare_gdcm(path, clip, worst_allowed, name):
    global by_gdcm
    wanted = reference_gdcm(path)
    if isinstance(wanted, str):
        print(f"GDCM: {name}: {wanted}")
        return
    by_gdcm += 1
    if len(wanted) != len(clip.frames):
        problems.append(f"{name}: {len(clip.frames)} frames, GDCM gives {len(wanted)}")
    for i, (gray, mine) in enumerate(zip(wanted, clip.frames)):
        off = numpy.abs(numpy.clip(gray, 0, 255) - mine.gray) if gray.shape == mine.gray.shape else numpy.full(1, 999)
        if off.max() > worst_allowed + 0.51:
            problems.append(f"{name} frame {i}: grey differs from GDCM's by {off.max():.1f}, {off.mean():.2f} in the mean")
            return


def compare(path, worst_allowed=1, name=None):
    name = name or path.name
    clip = dump(dump_frames, path)
    if isinstance(clip, str):
        problems.append(f"{name}: {clip.strip()}")
        return None
    if name not in NOT_BY_GDCM:
        compare_gdcm(path, clip, worst_allowed, name)
    try:
        wanted = reference(path)
    except RuntimeError as failure:
        print(f"{name}: opens here; no plugin of pydicom decodes it ({str(failure).splitlines()[-1].strip()[:90]})")
        return clip
    if len(wanted) != len(clip.frames):
        problems.append(f"{name}: {len(clip.frames)} frames, pydicom gives {len(wanted)}")
    for i, (gray, mine) in enumerate(zip(wanted, clip.frames)):
        if gray.shape != mine.gray.shape:
            problems.append(f"{name}: {mine.gray.shape}, pydicom gives {gray.shape}")
            return clip
        off = numpy.abs(numpy.clip(gray, 0, 255) - mine.gray)
        if off.max() > worst_allowed + 0.51:
            problems.append(f"{name} frame {i}: grey differs by {off.max():.1f}, {off.mean():.2f} in the mean")
            return clip
    return clip


def check_shipped():
    """pydicom's files. Lossy ones within two levels: other decoders round otherwise, and pydicom goes by RGB."""
    folder = pathlib.Path(pydicom.data.__file__).parent / "test_files"
    read = told = 0
    for path in sorted(folder.glob("*.dcm")):
        dataset = pydicom.dcmread(path, force=True)
        if "PixelData" not in dataset or "Rows" not in dataset or any(path.name.startswith(prefix) for prefix in {**NOT_READ, **BREAKS_OFF}):
            clip = dump(dump_frames, path)
            if not isinstance(clip, str) and not clip.damage and path.name in BREAKS_OFF:
                problems.append(f"{path.name}: read without a word of its damage")
            if not isinstance(clip, str) and path.name not in BREAKS_OFF:
                problems.append(f"{path.name}: read although it holds no pictures of ultrasound")
            told += 1
            continue
        if "TransferSyntaxUID" not in dataset.file_meta:
            dataset.file_meta.TransferSyntaxUID = pydicom.uid.ImplicitVRLittleEndian
        lossy = "LossyImageCompression" in dataset or "JPEG" in dataset.file_meta.TransferSyntaxUID.name
        compare(path, 2 if lossy else 1)
        read += 1
    print(f"pydicom's files: {read} compared, {told} refused with a sentence")


def compare_options(name, path, plain):
    """Two threads, and a rewind half way, give the same frames."""
    for options in (("--threads", "2"), ("--twice", "--threads", "2"), ("--twice",)):
        other = dump(dump_frames, path, *options)
        same = not isinstance(other, str) and len(plain.frames) == len(other.frames) and all(
            a.time_s == b.time_s and numpy.array_equal(a.gray, b.gray) and (a.cb is None) == (b.cb is None)
            and (a.cb is None or numpy.array_equal(a.cb, b.cb)) for a, b in zip(plain.frames, other.frames))
        if not same:
            problems.append(f"{name}: other frames with {' '.join(options)}")


def check_made():
    with tempfile.TemporaryDirectory() as folder:
        for name, path, facts in made_files(pathlib.Path(folder)):
            like = facts.pop("like", None)
            if like or facts.pop("no reference", False):  # pydicom gives up on these
                clip = dump(dump_frames, path)
                if isinstance(clip, str):
                    problems.append(f"{name}: {clip.strip()}")
                    continue
                other = dump(dump_frames, pathlib.Path(folder) / like).frames if like else clip.frames
                if len(other) != len(clip.frames) or any(not numpy.array_equal(a.gray, b.gray) for a, b in zip(clip.frames, other)):
                    problems.append(f"{name}: other frames than those of {like}")
            else:
                clip = compare(path, facts.pop("off", 1), name)
            if clip is None:
                continue
            if clip.damage:
                problems.append(f"{name}: {clip.damage}")
            compare_options(name, path, clip)
            for i, exact in enumerate(facts.pop("pixels", [])):
                level = exact @ [0.299, 0.587, 0.114] if exact.ndim == 3 else exact * (255 / 4095 if exact.max() > 255 else 1)
                if numpy.abs(level - clip.frames[i].gray).max() > 0.51 + facts.get("off", 0):
                    problems.append(f"{name} frame {i}: not the picture that was coded")
            for key, value in facts.items():
                got = [frame.time_s for frame in clip.frames] if key == "times" else clip.info.get(key)
                same = numpy.allclose(got, value) if key == "times" and None not in got else got == value
                if not same:
                    problems.append(f"{name}: {key} is {got} instead of {value}")
    print("files written here: compared")


def bit_stream(codec, form):
    """A stream of invented frames and what FFmpeg makes of it again."""
    buffer = io.BytesIO()
    with av.open(buffer, "w", format=form) as movie:
        stream = movie.add_stream(codec, rate=25, options={"x265-params": "log-level=none"})
        stream.width, stream.height, stream.pix_fmt = 96, 64, "yuv420p"
        for i in range(6):
            picture = (numpy.indices((64, 96)).sum(0) * 1.3 + 8 * i).astype(numpy.uint8)
            movie.mux(stream.encode(av.VideoFrame.from_ndarray(picture, "gray").reformat(format="yuv420p")))
        movie.mux(stream.encode())
    with av.open(io.BytesIO(buffer.getvalue()), format=form) as movie:
        luma = [frame.to_ndarray()[: frame.height] for frame in movie.decode(video=0)]
    return buffer.getvalue(), luma


def check_videos():
    """One stream in one fragment and in several, against FFmpeg on the bare stream (limited range stretched)."""
    kinds = (("libx264", "h264", "1.2.840.10008.1.2.4.102"), ("mpeg2video", "mpeg2video", "1.2.840.10008.1.2.4.100"),
             ("libx265", "hevc", "1.2.840.10008.1.2.4.107"), ("libx264", "h264", "1.2.840.10008.1.2.4.102.1"))
    with tempfile.TemporaryDirectory() as folder:
        for codec, form, syntax in kinds:
            data, luma = bit_stream(codec, form)
            for parts in (1, 3):
                made = dicom_made.dataset(len(luma), 64, 96, "YBR_PARTIAL_420", 3, FrameTime="40", FrameIncrementPointer=0x00181063)
                size = -(-len(data) // parts) + 1 & ~1
                pieces = [data[at : at + size] for at in range(0, len(data), size)]
                path = pathlib.Path(folder) / f"{form} {parts} {syntax[-5:]}"
                dicom_made.save(made, path, pydicom.uid.UID(syntax), pydicom.encaps.encapsulate(pieces, has_bot=False))
                for options in ((), ("--twice",)):
                    clip = dump(dump_frames, path, *options)
                    if isinstance(clip, str) or len(clip.frames) != len(luma) or clip.damage:
                        problems.append(f"{path.name}: {clip if isinstance(clip, str) else (len(clip.frames), clip.damage)}")
                        continue
                    wanted = [numpy.clip(numpy.rint((y.astype(float) - 16) * 255 / 219), 0, 255) for y in luma]
                    off = max(abs(frame.gray - y).max() for frame, y in zip(clip.frames, wanted))
                    if off > 1 or not numpy.allclose([frame.time_s for frame in clip.frames], numpy.arange(len(luma)) * 0.04):
                        problems.append(f"{path.name}: grey differs by {off}, or the times are off")
    print("video streams: compared")


check_shipped()
check_made()
check_videos()
print(f"GDCM: {by_gdcm} files compared too")
print("\n".join(problems + [f"{len(problems)} problems"]))
sys.exit(1 if problems else 0)
