"""Decoded frames against reference libraries: PyAV's grey (its own FFmpeg) frame by frame, with its times; OpenCV's
decoder and grey for what it reads; Pillow for GIF and stills.

check_clip.py MAKE_CLIPS DUMP_FRAMES CLIPS_FOLDER
"""
import pathlib
import subprocess
import sys
import tempfile

try:
    import av
    import cv2
    import numpy
    import PIL.Image
except ImportError as missing:
    print(f"skipped: {missing}. ./check installs the reference libraries.")
    sys.exit(77)

from frames import dump

make_clips, dump_frames, clips_folder = sys.argv[1], sys.argv[2], pathlib.Path(sys.argv[3])
av.logging.set_level(av.logging.PANIC)
problems = []


def off(a, b):
    return int(numpy.abs(a.astype(int) - b.astype(int)).max()) if a.shape == b.shape else 999


def by_pyav(path):
    """(seconds or None, grey) of each frame."""
    with av.open(str(path)) as source:
        for frame in source.decode(video=0):
            rgb = frame.format.is_rgb or frame.format.name == "pal8"
            if rgb:  # swscale's weights for RGB round otherwise; BT.601 by numpy
                packed = frame.to_ndarray(format="rgb24").astype(float)
                gray = numpy.round(packed @ [0.299, 0.587, 0.114]).astype(numpy.uint8)
            else:
                gray = frame.to_ndarray(format="gray")
            yield frame.time, gray


def compare_pyav(path, turned=0, gif=False):
    clip = dump(dump_frames, path)
    if isinstance(clip, str):
        problems.append(f"{path.name}: {clip}")
        return 0
    frames = list(by_pyav(path))
    if len(frames) != len(clip.frames):
        problems.append(f"{path.name}: {len(clip.frames)} frames, PyAV gives {len(frames)}")
    if clip.damage:
        problems.append(f"{path.name}: {clip.damage}")
    first = frames[0][0]
    for i, ((time, gray), mine) in enumerate(zip(frames, clip.frames)):
        worst = off(numpy.rot90(gray, -turned), mine.gray)
        if worst > 1:
            problems.append(f"{path.name} frame {i}: grey differs from PyAV's by {worst}")
            break
        if mine.time_s is not None and time is not None and not gif and abs(time - first - mine.time_s) > 1e-6:
            problems.append(f"{path.name} frame {i}: at {mine.time_s} s, PyAV says {time - first}")
            break
    return len(frames)


def compare_opencv(path):
    """OpenCV gives BGR; its grey of neutral pixels equals luma within the rounding of two conversions."""
    clip, source = dump(dump_frames, path), cv2.VideoCapture(str(path))
    count = 0
    while True:
        got, bgr = source.read()
        if not got:
            break
        mine = clip.frames[count].gray
        neutral = bgr.max(axis=2).astype(int) - bgr.min(axis=2) <= 2
        gray = cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY)
        if gray.shape != mine.shape or off(gray[neutral], mine[neutral]) > 2 or neutral.mean() < 0.5:
            problems.append(f"{path.name} frame {count}: differs from OpenCV's grey")
            break
        count += 1
    return count


def compare_pillow(path):
    clip = dump(dump_frames, path)
    with PIL.Image.open(path) as picture:
        for i in range(getattr(picture, "n_frames", 1)):
            picture.seek(i)
            if picture.mode.startswith("I;16"):
                gray = (numpy.asarray(picture) / 257).round()
            else:
                gray = numpy.asarray(picture.convert("RGB")).astype(float) @ [0.299, 0.587, 0.114]
            if off(gray.round(), clip.frames[i].gray) > 1:
                problems.append(f"{path.name} frame {i}: differs from Pillow's grey")
                return
        if len(clip.frames) != i + 1:
            problems.append(f"{path.name}: {len(clip.frames)} frames, Pillow gives {i + 1}")


def check_made(folder):
    subprocess.run([make_clips, folder], check=True)
    turns = {"turned 1.mov": 1, "turned 2.mov": 2, "turned 3.mov": 3}
    count = 0
    for path in sorted(folder.iterdir()):
        if path.suffix != ".png":  # PyAV's own picking of the image reader is no reference for stills
            count += compare_pyav(path, turns.get(path.name, 0), path.suffix == ".gif")
        if path.suffix in (".png", ".gif", ".bmp"):
            compare_pillow(path)
        if path.name in ("plain.mp4", "lossy.mp4", "two.mpeg", "xvid.avi", "turned 1.mov", "turned 3.mov", "one.mpeg"):
            if not compare_opencv(path):
                problems.append(f"{path.name}: OpenCV reads nothing")
    print(f"clips made here: {count} frames compared")


def check_options(folder):
    """Two threads, and a rewind half way, give the same frames."""
    for name in ("lossy.mp4", "two.mpeg", "grey.gif", "raw yuyv.avi"):
        plain = dump(dump_frames, folder / name)
        for options in (("--threads", "2"), ("--twice",), ("--twice", "--threads", "2")):
            other = dump(dump_frames, folder / name, *options)
            same = len(plain.frames) == len(other.frames) and all(
                a.time_s == b.time_s and numpy.array_equal(a.gray, b.gray) for a, b in zip(plain.frames, other.frames))
            if not same:
                problems.append(f"{name}: other frames with {' '.join(options)}")


def check_real():
    """Every real clip opens, decodes to its end without damage, and equals PyAV's frames."""
    if not clips_folder.is_dir():
        print("real clips: skipped, ../shared/clips is absent")
        return
    for part, least in (("videos", 114), ("devices/videos", 59)):
        paths = sorted((clips_folder / part).iterdir())
        frames = sum(compare_pyav(path) for path in paths)
        if len(paths) < least:
            problems.append(f"{part}: only {len(paths)} clips")
        print(f"real clips, {part}: {len(paths)} clips, {frames} frames compared")


with tempfile.TemporaryDirectory() as made:
    check_made(pathlib.Path(made))
    check_options(pathlib.Path(made))
check_real()
print("\n".join(problems + [f"{len(problems)} problems"]))
sys.exit(1 if problems else 0)
