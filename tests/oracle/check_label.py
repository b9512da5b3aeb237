"""The zone from words burned into the picture: simulated clips with a label drawn beside or over the moving picture, read with nothing
else that names a zone. Also that a name burned in beside it is not written down, and that an unlabelled clip gets no zone.
Labels and names are invented. Drawn by Pillow, coded by PyAV.
Usage: check_label.py STRANDLINE PROJECT_ROOT"""
import json
import pathlib
import subprocess
import sys
import tempfile

try:
    import av
    import numpy
    from PIL import Image, ImageDraw, ImageFont
except ImportError as error:
    print(f"skipped: {error} (./check installs it)")
    sys.exit(77)

strandline, root = sys.argv[1], pathlib.Path(sys.argv[2])
FONTS = [pathlib.Path("/usr/share/fonts/truetype/dejavu") / name for name in ("DejaVuSans.ttf", "DejaVuSansMono.ttf")]
# label, font, size, place, what is read
CASES = [("RIGHT UPPER ANTERIOR", 0, 12, (4, 6), "R-upper-anterior"), ("Left basal lateral", 0, 16, (10, 8), "L-basal-lateral"),
         ("R PLAPS", 1, 18, (6, 10), "R-posterolateral"), ("LUL", 1, 22, (8, 8), "L-upper-lateral"), ("", 0, 16, (0, 0), None),
         ("Harbour Mole", 0, 18, (8, 6), None)]
failures = []
if not FONTS[0].exists():
    print("skipped: the DejaVu fonts are not here (packages.txt)")
    sys.exit(77)
with tempfile.TemporaryDirectory() as temporary:
    folder = pathlib.Path(temporary)
    (folder / "frames").mkdir()
    (folder / "in").mkdir()
    subprocess.run([strandline, "simulate", root / "scenarios" / "a-lines.json", "--out", folder / "frames", "--set", "controls.duration_s=1",
                    "--set", "controls.picture_height=352"], check=True, stdout=subprocess.DEVNULL)
    pictures = [numpy.asarray(Image.open(path).convert("L")) for path in sorted((folder / "frames").glob("*.png"))]
    height, width = (size // 2 * 2 for size in pictures[0].shape)
    for number, (label, font, size, place, _) in enumerate(CASES):
        with av.open(str(folder / "in" / f"clip-{chr(97 + number)}.mp4"), "w") as made:
            stream = made.add_stream("libx264", rate=20)
            stream.width, stream.height, stream.pix_fmt, stream.options = width, height, "yuv420p", {"crf": "18"}
            for picture in pictures:
                drawn = Image.fromarray(picture[:height, :width]).convert("RGB")
                ImageDraw.Draw(drawn).text(place, label, fill=(230, 230, 230), font=ImageFont.truetype(str(FONTS[font]), size))
                made.mux(stream.encode(av.VideoFrame.from_image(drawn)))
            made.mux(stream.encode())
    done = subprocess.run([strandline, "read", folder / "in", "--out", folder / "out"], capture_output=True, text=True)
    if "tesseract-ocr-eng" in done.stderr:
        print("skipped: no language data for the recogniser")
        sys.exit(77)
    exam = (folder / "out" / "exam.json").read_text(encoding="utf-8")
    clips = {clip["clip"]: clip for clip in json.loads(exam)["clips"]}
    for number, (label, _, _, _, zone) in enumerate(CASES):
        clip = clips[f"clip-{chr(97 + number)}.mp4"]
        if clip["zone"] != zone or clip["zone_from"] != ("burned-in label" if zone else ""):
            failures.append(f"{label!r}: zone {clip['zone']} from {clip['zone_from']!r}, not {zone} ({clip['acquisition'].get('burned_label')!r})")
    if "arbour" in exam or "Mole" in exam:
        failures.append("a name that was burned in stands in exam.json")
print("\n".join(failures) or f"{len(CASES)} labels")
sys.exit(1 if failures else 0)
