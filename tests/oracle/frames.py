"""Reads what tests/clip/dump_frames writes."""
import dataclasses
import json
import subprocess

import numpy


@dataclasses.dataclass
class Frame:
    time_s: float | None
    gray: numpy.ndarray
    cb: numpy.ndarray | None
    cr: numpy.ndarray | None


@dataclasses.dataclass
class Clip:
    info: dict
    frames: list
    damage: str
    has_colour: bool


def dump(dump_frames, path, *options):
    """A Clip, or the sentence why not."""
    done = subprocess.run([dump_frames, *options, path], capture_output=True, timeout=120)
    if done.returncode:
        return done.stderr.decode()
    data, at = done.stdout, done.stdout.index(b"\n") + 1
    info, frames = json.loads(data[: at - 1]), []

    def plane(width, height):
        nonlocal at
        at += width * height
        return numpy.frombuffer(data, numpy.uint8, width * height, at - width * height).reshape(height, width)

    while True:
        end = data.index(b"\n", at)
        line, at = json.loads(data[at:end]), end + 1
        if "damage" in line:
            return Clip(info, frames, line["damage"], line["has_colour"])
        gray = plane(line["width"], line["height"])
        chroma = [plane(line["chroma_width"], line["chroma_height"]) if line["chroma_width"] else None for _ in range(2)]
        frames.append(Frame(line["time_s"], gray, *chroma))
