"""The report of the invented examination: text that can be searched, cautions and the mark of invented data on every
page, embedded fonts, the same bytes twice, pictures that open. Text is taken out by poppler's tools, a PDF reader that is not ours.
Usage: check_report.py DRAW_FAKE TOKENS"""
import pathlib
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import zlib

draw = sys.argv[1]
if not (shutil.which("pdftotext") and shutil.which("pdffonts") and shutil.which("pdfimages")):
    print("skipped: poppler-utils is not here (./check installs it)")
    sys.exit(77)
failures = []


def expect(holds, what):
    if not holds:
        failures.append(what)


def run(*command):
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


def png_size(path):
    data = path.read_bytes()
    expect(data[:8] == b"\x89PNG\r\n\x1a\n", f"{path.name} is no PNG")
    at, raw, size = 8, b"", (0, 0)
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at:at + 8])
        body = data[at + 8:at + 8 + length]
        expect(zlib.crc32(kind + body) == struct.unpack(">I", data[at + 8 + length:at + 12 + length])[0],
               f"{path.name}: check sum of {kind}")
        if kind == b"IHDR":
            size = struct.unpack(">II", body[:8])
        if kind == b"PLTE":
            greys = [body[i] for i in range(0, 3 * 128, 3) if body[i] == body[i + 1] == body[i + 2]]
            expect(len(greys) == 128 and all(min(abs(g - v) for g in greys) <= 1 for v in range(256)),
                   f"{path.name}: greys are not kept to within one level")
        if kind == b"IDAT":
            raw += body
        at += 12 + length
    expect(len(zlib.decompress(raw)) == size[1] * (size[0] + 1), f"{path.name}: wrong amount of pixels")
    return size


def luminance(colour):
    """Relative luminance, WCAG 2.1."""
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(a, b):
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


tokens = dict(re.findall(r"^colour\s+(\S+)\s+(#[0-9A-F]{6})", pathlib.Path(sys.argv[2]).read_text(encoding="utf-8"), re.M))
for text, ground in (("ink", "paper"), ("quiet", "paper"), ("thread", "paper"), ("ink", "aerated-0"), ("ink", "aerated-1"),
                     ("ink", "aerated-2"), ("paper", "aerated-3"), ("mark-rib", "night")):
    expect(contrast(tokens[text], tokens[ground]) >= 4.5, f"{text} on {ground} has too little contrast (WCAG 2.1 AA: 4.5)")
ramp = [luminance(tokens[f"aerated-{i}"]) for i in range(4)]
expect(all(a > 1.25 * b for a, b in zip(ramp, ramp[1:])), "the ramp does not darken step by step")

with tempfile.TemporaryDirectory() as folder:
    first, second, many = (pathlib.Path(folder) / name for name in ("first", "second", "many"))
    run(draw, str(first))
    run(draw, str(second))
    for name in ("report.pdf", "exam.json", "readings.csv"):
        expect((first / name).read_bytes() == (second / name).read_bytes(), f"{name} differs between two runs")
    pdf = str(first / "report.pdf")
    pages = run("pdftotext", "-layout", pdf, "-").split("\f")[:-1]
    expect(len(pages) == 6, f"{len(pages)} pages for 9 clips")
    for number, page in enumerate(pages, 1):
        flat = " ".join(page.split())
        for words in ("does not replace a clinician’s judgement", "Not a medical device", "Local protocols and licensed practice come first",
                      "INVENTED DATA", "What was not scanned is unknown", f"page {number} of {len(pages)}"):
            expect(words in flat, f"page {number} lacks: {words}")
    front = " ".join(pages[0].split())
    for words in ("Harbour 7", "total 8 of 15 from 5 of 8 zones", "all 8 zones: 4 to 17 of 24", "92 % of the space",
                  "L basal lateral: no clip", "the pleural line lies under a rib", "breathless since the morning",
                  "right side", "sternum", "could not tell", "no clip", "31.8 mm", "Scan again first"):
        expect(words in front, f"the first page lacks: {words}")
    whole = " ".join(" ".join(pages).split())
    for words in ("clip 03 étage.mp4", "every frame is black", "the probe moved over the skin", "30.9 to 32.7 mm",
                  "patient sat up", "letter.pdf", "cannot exclude disease that does not touch the pleura"):
        expect(words in whole, f"the report lacks: {words}")
    fonts = run("pdffonts", pdf).splitlines()[2:]
    expect(fonts and all(re.search(r" yes yes yes ", line) for line in fonts), "a font is not embedded or has no text map")
    images = run("pdfimages", "-list", pdf).splitlines()[2:]
    expect(len(images) >= 6 + 3 * 8 and all(" jpeg " in line for line in images), "pictures are not embedded as they were kept")
    rows = [" ".join(page.split()) for page in pages if "motion trace" in page]
    expect(sum(page.count("motion trace: pleura ") for page in rows) == 8, "not every clip that was read shows its motion trace with the pleura's depth")
    # 0.24 + 0.02 sin(1.5) of a depth of 430 pixels of 0.29 mm
    expect("motion trace: pleura 32.4 mm deep, 0.50 across" in rows[0], "the pleura's depth on the motion trace is off")
    pictures = sorted((first / "evidence").glob("*.png"))
    expect(len(pictures) == 9, f"{len(pictures)} evidence pictures")
    for picture in pictures:
        expect(png_size(picture) > (1000, 400), f"{picture.name} is small")
    expect(not list(first.rglob("*.part")), "a half-written file was left")
    run(draw, str(many), "40")
    expect(len(run("pdftotext", str(many / "report.pdf"), "-").split("\f")[:-1]) == 1 + 14 + 2, "40 clips fill 17 pages")
print("\n".join(failures) or "the report says what it must")
sys.exit(1 if failures else 0)
