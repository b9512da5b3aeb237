#!/usr/bin/env python3
"""Makes docs/accuracy.md and docs/accuracy-pleura.md: how well the program reads the development clips, with intervals by
person, beside published figures for the same signs; and whether findings stay when the clips are changed.

    scripts/accuracy.py [--build build] [--work FOLDER]

Needs the clips of ../shared/clips (without them it says so and stops); for the figures with the person left out NumPy,
SciPy and OpenCV (those of .venv, which ./check makes); for the changed copies the command ffmpeg. Pictures of clips go to the work folder only, which lies outside the
repository; a clip that was read there by the same program is not read again."""
import argparse
import csv
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile

root = pathlib.Path(__file__).resolve().parent.parent
clips = root.parent / "shared" / "clips"

COVID_BLUES = "114 clips of 21 people, one convex probe (COVID-BLUES, doi 10.1109/JBHI.2025.3543686; labels by two experts)"
DEVICES = "59 clips of 7 sources, many devices (open collection, doi 10.3390/app11020672; signs only noted where striking)"
SAME_362 = "362 clips of 63 people, the whole of COVID-BLUES"

# Published figures for the same signs: sign, measure, figure, test set, source. "M" in the last column: the figure is
# from memory and was not read again in the paper.
PUBLISHED = [
    ("B-lines", "area", "0.864 to 0.955", "1,419 videos of 113 patients, one hospital network",
     "several networks, Lucassen et al., IEEE J Biomed Health Inform 2023;27:4352, doi 10.1109/JBHI.2023.3282596", ""),
    ("B-lines", "area", "0.87 (0.82 to 0.91); chosen within folds 0.85 (0.79 to 0.91)", SAME_362,
     "two physical numbers, a study made for this program", ""),
    ("B-lines", "area", "0.70 (0.64 to 0.76)", SAME_362, "a residual network trained on the other folds, same study", ""),
    ("B-lines", "lines found", "87 %", "100 images of 9 patients",
     "Radon transform with a sparse penalty, Karakus et al., IEEE TUFFC 2020;67:2218, doi 10.1109/TUFFC.2020.3016092", ""),
    ("B- or A-pattern", "sensitivity, specificity by clip", "90 / 92 % at the same, 83 / 82 % at other hospitals",
     "1,162 clips",
     "a network trained on 272,891 frames, Arntfield et al., Diagnostics 2021;11:2049, doi 10.3390/diagnostics11112049", ""),
    ("A-lines", "area", "0.81 (0.74 to 0.86); chosen within folds 0.76 to 0.80", SAME_362,
     "six physical numbers, a study made for this program", ""),
    ("A-lines", "area", "0.79 (0.72 to 0.85)", SAME_362, "a residual network trained on the other folds, same study", ""),
    ("Score", "quadratic kappa", "0.32", SAME_362, "a residual network trained on the other folds, same study", ""),
    ("Score", "same class by clip", "59.5 %", "clips of one clinical network, not the same as here",
     "a residual network, benchmark from frame to prognosis", ""),
    ("Score", "F1 by clip", "61 % (+- 12)", "277 videos of 35 patients in all",
     "a spatial-transformer network, Roy et al., IEEE Trans Med Imaging 2020;39:2676, doi 10.1109/TMI.2020.2994459", "M"),
    ("Score, by people", "Fleiss' kappa", "0.87 (0.815 to 0.931)", "25 selected clips, 20 experts",
     "Boero et al., J Anesth Analg Crit Care 2024;4:50, doi 10.1186/s44158-024-00187-x", ""),
    ("Score, by people", "kappa a pattern", "0.26 to 0.74", "consecutive clips of 20 patients, 33 physicians",
     "Herraiz et al., Appl Sci 2023;13:1321, doi 10.3390/app13031321", ""),
]


def run(*words, **more):
    return subprocess.run([str(w) for w in words], check=True, **more)


def figures(program, readings, labels, folder, *words):
    run(program, "evaluate", readings, "--labels", labels, "--out", folder, "--quiet", *words)
    found = json.loads((folder / "evaluation.json").read_text())
    return {c["comparison"]: {m["measure"]: m for m in c["measures"]} | {"_": c} for c in found["comparisons"]}


def one(measure, percent=False, closed=True):
    """value (interval by person, else the closed one)"""
    if measure is None or measure["value"] is None:
        return "not defined"
    low, high = measure.get("interval_by_person") or [None, None]
    if low is None and closed:
        low, high = measure["interval"]
    show = (lambda v: f"{100 * v:.0f}") if percent else (lambda v: f"{v:.2f}")
    unit = " %" if percent else ""
    span = f" ({show(low)} to {show(high)}{unit})" if low is not None else ""
    return show(measure["value"]) + unit + span


def pleura(marks, exams, sources):
    """Share of the points marked by eye within 3 % of the picture's height, with its interval by person."""
    by_person = {}
    for mark in marks:
        if mark["confidence"] == "low":
            continue
        name = pathlib.PurePosixPath(mark["clip"]).name
        clip = exams.get(mark["clip"])
        match = re.match(r"(patient_\d+)_", name)
        person = match.group(1) if match else "source " + sources.get(name, name)
        line = (clip or {}).get("pleural_line_px") or []
        for x, y in mark["points"]:
            at = None
            for (x0, y0), (x1, y1) in zip(line, line[1:]):
                if min(x0, x1) <= x <= max(x0, x1) and x0 != x1:
                    at = y0 + (y1 - y0) * (x - x0) / (x1 - x0)
                    break
            by_person.setdefault(person, []).append(at is not None and abs(at - y) <= 0.03 * mark["height"])
    points = [p for person in by_person.values() for p in person]
    rng, names, shares = random.Random(1), sorted(by_person), []
    for _ in range(2000):
        drawn = [p for n in rng.choices(names, k=len(names)) for p in by_person[n]]
        shares.append(sum(drawn) / len(drawn))
    shares.sort()
    low, high = shares[49], shares[1949]
    return (f"{100 * sum(points) / len(points):.0f} % ({100 * low:.0f} to {100 * high:.0f} %)", len(points), len(names))


def opened(folder):
    rows = list(csv.DictReader(open(folder / "readings.csv", newline="", encoding="utf-8")))
    read = [r for r in rows if r["status"] == "read"]
    found = [r for r in read if r["pleura_found"] == "1"]
    return f"{len(read)} of {len(rows)}", f"{len(found)} of {len(rows)}"


RULE = {"b_lines": "b_line_rule", "a_lines": "a_line_rule"}

COPIES = {  # what is done to the clips, as filters of ffmpeg, and how strongly they are encoded (the constant rate factor)
    "half": ("scale=iw/2:ih/2:flags=area", 12, "resized to 50 %"),
    "double": ("scale=iw*2:ih*2:flags=bicubic", 12, "resized to 200 %"),
    "gamma07": ("lutyuv=y=gammaval(0.7)", 12, "gamma 0.7"),
    "gamma14": ("lutyuv=y=gammaval(1.4)", 12, "gamma 1.4"),
    "mirror": ("hflip", 12, "mirrored"),
    "lowrate": ("null", 34, "encoded anew at a low rate"),
}


def changed_copies(program, work, before):
    """Rows of the table of copies: how many findings stay; none where ffmpeg is missing."""
    if not shutil.which("ffmpeg"):
        print("ffmpeg is missing, so changed copies are not measured.")
        return []
    sources = sorted((clips / "videos").iterdir()) + sorted((clips / "devices/videos").iterdir())
    rows = []
    for name, (change, rate, words) in COPIES.items():
        folder = work / "copies" / name
        folder.mkdir(parents=True, exist_ok=True)
        for source in sources:
            copy = folder / (source.stem + ".mp4")
            if not copy.exists():
                part = copy.with_suffix(".part.mp4")
                run("ffmpeg", "-v", "error", "-y", "-threads", 1, "-i", source, "-vf", change + ",pad=ceil(iw/2)*2:ceil(ih/2)*2",
                    "-an", "-c:v", "libx264", "-preset", "ultrafast", "-crf", rate, "-pix_fmt", "yuv420p", "-vsync",
                    "passthrough", part)
                part.rename(copy)
        run(program, "read", folder, "--out", work / "copies-read" / name)
        after = readings(work / "copies-read" / name)
        kept = [(before[k], after[k]) for k in before if k in after]

        def share(test, pairs=kept):
            told = [test(a, b) for a, b in pairs]
            told = [t for t in told if t is not None]
            return f"{100 * sum(told) / len(told):.0f} %"

        def side(index):
            return lambda a, b: (float(a[index]) > 0.5) == (float(b[index]) > 0.5) if a[index] and b[index] else None

        def answer(key):
            return lambda a, b: a[key] == b[key]

        turned = sum({a[k], b[k]} == {"present", "absent"} for a, b in kept for k in ("a_lines", "b_lines"))
        near = share(lambda a, b: bool(b["pleura_depth_rel"]) and abs(float(a["pleura_depth_rel"]) -
                                                                      float(b["pleura_depth_rel"])) <= 0.02
                     if a["pleura_depth_rel"] else None)
        rows.append((words, share(side("a_line_index")), share(side("b_line_index")), share(answer("a_lines")),
                     share(answer("b_lines")), str(turned), near))
    return rows


def readings(folder):
    with open(folder / "readings.csv", newline="", encoding="utf-8") as file:
        return {pathlib.PurePath(r["clip"]).stem: r for r in csv.DictReader(file)}


def left_out(work, name):
    """Area with persons left out in pairs (scripts/fit_lines.py), as text."""
    path = work / "areas.json"
    if not path.exists():
        return "not measured"
    area = json.loads(path.read_text())[name]
    return f"{area['area']:.2f} ({area['low']:.2f} to {area['high']:.2f}); pooled {area['pooled']:.2f}"


def pleura_left_out(build, work):
    """Points within 3 % with the people left out of the fit (scripts/fit_pleura.py), as text; docs/accuracy-pleura.md."""
    python = root / ".venv/bin/python"
    path = work / "pleura.json"
    if subprocess.run([str(python if python.exists() else sys.executable), root / "scripts/fit_pleura.py", "--build", build,
                       "--numbers", path, "--figures", root / "docs/accuracy-pleura.md"]).returncode:
        print("The pleural line's figures with people left out are not given.")
        return "not measured", "not measured"
    found = json.loads(path.read_text())
    return tuple(f"{100 * found[k][0]:.0f} % ({100 * found[k][1]:.0f} to {100 * found[k][2]:.0f} %)"
                 for k in ("one_device", "devices"))


def unseen_readings(build, work):
    """readings.csv with each clip read by a fit without its person; None where NumPy is missing."""
    python = root / ".venv/bin/python"
    python = python if python.exists() else sys.executable
    if subprocess.run([str(python), "-c", "import numpy"], capture_output=True).returncode:
        print("NumPy is missing, so the figures with the person left out are not given; ./check installs it.")
        return None
    with open(work / "signs.tsv", "w", encoding="utf-8") as signs:
        run(build / "tests/tools/read_one", *sorted((clips / "videos").glob("*.mp4")), stdout=signs)
    run(python, root / "scripts/fit_lines.py", work / "signs.tsv", clips / "labels.csv", work / "unseen.csv",
        work / "areas.json", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return work / "unseen.csv"


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--build", type=pathlib.Path, default=root / "build")
    parser.add_argument("--work", type=pathlib.Path,
                        default=pathlib.Path(tempfile.gettempdir()) / f"strandline-accuracy-{os.getuid()}")
    options = parser.parse_args()
    if not clips.is_dir():
        sys.exit("The clips of ../shared/clips are absent, so there is nothing to measure on; docs/accuracy.md stays as it is.")
    program, work = (options.build / "strandline").resolve(), options.work
    work.mkdir(parents=True, exist_ok=True)
    one_device, devices = work / "one-device", work / "devices"
    run(program, "read", clips / "videos", "--out", one_device)
    run(program, "read", clips / "devices/videos", "--out", devices)

    seen = figures(program, one_device / "readings.csv", clips / "labels.csv", work / "seen", "--by", "patient_<n>_",
                   "--map", "Severity Score=score", "--map", "Severity Score>=1=score", "--map", "Severity Score>=2=score",
                   "--map", "A-lines=a_lines", "--map", "B-lines=b_lines")
    unseen_csv = unseen_readings(options.build, work)
    unseen = figures(program, unseen_csv, clips / "labels.csv", work / "unseen", "--by", "patient_<n>_",
                     "--map", "Severity Score=score", "--map", "Severity Score>=3=white_lung") if unseen_csv else {}
    other = figures(program, devices / "readings.csv", clips / "devices/labels.csv", work / "other", "--by", "source",
                    "--map", "lung:ill=score", "--map", "lung:ill=b_line_index", "--map", "b_lines_noted=b_lines",
                    "--map", "a_lines_noted=a_lines")
    white = figures(program, one_device / "exam.json", clips / "labels.csv", work / "white", "--by", "patient_<n>_",
                    "--map", "Severity Score>=3=white_lung")
    exams = {}
    for folder, prefix in ((one_device, "videos/"), (devices, "devices/videos/")):
        for clip in json.loads((folder / "exam.json").read_text())["clips"]:
            exams[prefix + pathlib.PurePath(clip["path"]).name] = clip
    marks = json.loads((clips / "pleura_by_eye.json").read_text())
    sources = {r["clip"]: r["source"] for r in csv.DictReader(open(clips / "devices/labels.csv", newline=""))}
    pleura_own = pleura([m for m in marks if m["clip"].startswith("videos/")], exams, sources)
    pleura_other = pleura([m for m in marks if not m["clip"].startswith("videos/")], exams, sources)

    own_left_out, other_left_out = pleura_left_out(options.build, work)

    def row(*cells):
        return "| " + " | ".join(cells) + " |\n"

    def get(table, comparison, measure):
        return table.get(comparison, {}).get(measure)

    version = run(program, "--version", capture_output=True, text=True).stdout.strip()
    text = f"""# Accuracy

Made by `scripts/accuracy.py` with {version}. Supports and does not replace a clinician's judgement; not a medical device.

## How to read these figures
- **Development clips.** The program was built while looking at these clips; people, devices and formats never seen decide
  how well it reads. "Person left out" means that the few fitted weights (`src/reading/rules_table.h`) were fitted anew
  without that person's clips (`scripts/fit_lines.py`); the signs themselves were chosen with all clips in view, so even
  those figures are a little kind. Areas with persons left out compare the clips of each pair of persons by a rule fitted
  without both (Airola et al., doi 10.1016/j.csda.2010.11.018); the other figures of that column rest on one answer a clip,
  given by the rule fitted without its person. ("Pooled" areas rank these answers of different fits against each other, which
  understates: whoever has many lines lowers the intercept of the fit without them.) "As shipped" are the program's own answers, fitted on the same clips.
- Intervals (95 %) come from drawing whole persons (devices: whole sources) with replacement, 2000 times.
- Labels by eye of whole clips are noisy: "yes" seems to mean "seen anywhere in the clip".
- Sets: **one device** = {COVID_BLUES}; **devices** = {DEVICES}.

## What it reaches
"""
    text += row("sign", "measure", "one device, person left out", "one device, as shipped", "devices, as shipped", "goal")
    text += row(*["---"] * 6)
    for key, name, goal, right in (("b_lines", "B-lines", "0.88", "88 %"), ("a_lines", "A-lines", "0.84", "")):
        text += row(name, "area under the ROC curve", left_out(work, RULE[key]), one(get(seen, key, "auc")),
                    one(get(other, key, "auc")) + " against signs noted as striking", goal)
        text += row(name, "right among the surest 80 %", one(get(unseen, key, "right_at_80"), True),
                    one(get(seen, key, "right_at_80"), True), "labels do not allow it", right)
        text += row(name, "answered", one(get(unseen, key, "answered"), True), one(get(seen, key, "answered"), True),
                    one(get(other, key, "answered"), True), "")
        text += row(name, "right among the answered", one(get(unseen, key, "right"), True), one(get(seen, key, "right"), True),
                    "labels do not allow it", "")
        for measure, words in (("sensitivity", "sensitivity of the answers"), ("specificity", "specificity of the answers")):
            device = one(get(other, key, measure), True) if measure == "sensitivity" else "labels do not allow it"
            text += row(name, words, one(get(unseen, key, measure), True), one(get(seen, key, measure), True), device, "")
        text += row(name, "Brier score", one(get(unseen, key, "brier")), one(get(seen, key, "brier")),
                    "labels do not allow it", "")
    text += row("Score 0 to 3", "quadratic kappa", one(get(unseen, "score", "kappa_quadratic")),
                one(get(seen, "score", "kappa_quadratic")), "no labels", "0.40")
    text += row("Score 0 to 3", "same class", one(get(unseen, "score", "exact"), True), one(get(seen, "score", "exact"), True),
                "no labels", "")
    text += row("Score 0 to 3", "within one class", one(get(unseen, "score", "within_one"), True),
                one(get(seen, "score", "within_one"), True), "no labels", "")
    for n in (1, 2):
        text += row(f"Score of {n} or more", "area, from the score read", "", one(get(seen, f"score_at_least_{n}", "auc")),
                    "no labels", "")
    text += row("White lung (labels of score 3)", "area", left_out(work, "white_lung_rule"),
                one(get(white, "white_lung_at_least_3", "auc")), "no labels", "")
    text += row("Ill against well lung", "area, from the score read", "", "no labels", one(get(other, "score_of_ill", "auc")),
                "0.85")
    text += row("Ill against well lung", "area, from the B-line index", "", "no labels",
                one(get(other, "b_line_index_of_ill", "auc")), "")
    text += row("Pleural line", "points within 3 % of the picture's height", own_left_out, f"{pleura_own[0]}; {pleura_own[1]} points",
                f"{pleura_other[0]}; {pleura_other[1]} points; weights fitted on the first set alone: {other_left_out}", "92 %")
    read_own, found_own = opened(one_device)
    read_other, found_other = opened(devices)
    text += row("Clips read", "of all", "", read_own, read_other, "")
    text += row("Pleural line found", "of all clips", "", found_own, found_other, "95 %, devices 85 %")
    text += """
Points of the pleural line were marked by eye (high and medium confidence) in the middle of the clip; "as shipped" its weights
were fitted to the same points (`docs/accuracy-pleura.md` has more). On the device clips a "no" only means that a sign
was not noted, so specificity and what follows from it is left out; seven sources, most well lungs from one of them, make
the intervals there rough.

## When the clips are changed
All 173 clips, changed and encoded anew (half of an already small picture; a constant rate factor of 34 of x264 for the low
rate). "Side": the index stays on its side of one half. "Answer": yes, no and uncertain stay
what they were (near a limit a small change makes uncertain of yes). Goal: presence unchanged in 95 %, depth within 2 %.

"""
    copies = changed_copies(program, work, {**readings(one_device), **readings(devices)})
    if copies:
        text += row("copy", "A-lines: side", "B-lines: side", "A-lines: answer", "B-lines: answer",
                    "yes turned no or no turned yes (of 346)", "pleura within 2 % of the imaged depth")
        text += row(*["---"] * 7)
        for cells in copies:
            text += row(*cells)
    else:
        text += "Not measured this time: ffmpeg was missing.\n"
    text += """
## Beside published figures
No two of these were measured on the same clips unless the test set says so; a difference of a few hundredths means little.

"""
    text += row("sign", "measure", "figure", "test set", "by")
    text += row(*["---"] * 5)
    text += row("**B-lines**", "area", "**" + (left_out(work, "b_line_rule") if unseen else one(get(seen, "b_lines", "auc"))) + "**",
                COVID_BLUES,
                "this program, person left out" if unseen else "this program, as shipped")
    text += row("**A-lines**", "area", "**" + (left_out(work, "a_line_rule") if unseen else one(get(seen, "a_lines", "auc"))) + "**",
                COVID_BLUES,
                "this program, person left out" if unseen else "this program, as shipped")
    text += row("**Score**", "quadratic kappa", "**" + one(get(unseen or seen, "score", "kappa_quadratic")) + "**",
                COVID_BLUES, "this program, person left out" if unseen else "this program, as shipped")
    text += row("**B-lines**", "area", "**" + one(get(other, "b_lines", "auc")) + "**", DEVICES, "this program, as shipped")
    for sign, measure, figure, test_set, by, memory in PUBLISHED:
        text += row(sign, measure, figure, test_set, by + (" (figure from memory)" if memory else ""))
    (root / "docs/accuracy.md").write_text(text, encoding="utf-8")
    print(f"docs/accuracy.md is made; what it rests on is in {work}.")


if __name__ == "__main__":
    main()
