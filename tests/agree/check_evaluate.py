"""strandline evaluate from outside: any label file, bad input one sentence each, the same bytes with any number of
workers. Arguments: the program, the folder of real clips (its label files are used where it exists). Standard library
only; every table is invented here."""
import json
import pathlib
import random
import shutil
import subprocess
import sys

import asked

program, clips = sys.argv[1], pathlib.Path(sys.argv[2])
folder = asked.folder


def run(readings, labels, *words, **expected):
    (folder / "readings.csv").write_text(readings, encoding="utf-8")
    path = labels if isinstance(labels, pathlib.Path) else folder / "labels.csv"
    if path != labels:
        path.write_text(labels, encoding="utf-8")
    text = asked.ask(program, "evaluate", folder / "readings.csv", "--labels", path, *words, **expected)
    if not expected.get("status") and "not replace a clinician" not in text and "--quiet" not in words:
        raise SystemExit(f"no caution:\n{text}")
    return text


TITLES = ("clip,zone,status,reason,frames,shape,pleura_found,pleura_depth_rel,pleura_depth_mm,a_line_index,a_lines,"
          "b_line_index,b_lines,b_line_count,b_line_coverage,score,seconds\n")


def reading(clip, b=0.9, score=1, depth="14.2", status="read", answer=None):
    answer = answer or ("present" if b > 0.6 else "absent" if b < 0.4 else "uncertain")
    if status != "read":
        return f"{clip},,{status},the file ends early,0,,0,,,,,,,,,,0.1\n"
    return f"{clip},,read,,80,convex,1,0.2,{depth},0.3,absent,{b},{answer},2,0.3,{score},0.1\n"


rng = random.Random(4)
people, rows, labels = 9, [], []
for person in range(1, people + 1):
    for side in ("L1", "R1", "R2"):
        yes = rng.random() < 0.6
        clip = f"patient_{person}_{side}"
        rows.append(reading(clip + ".mp4", round(min(1, max(0, rng.gauss(0.7 if yes else 0.35, 0.2))), 3),
                            rng.randint(0, 3), round(rng.gauss(15, 2), 1)))
        labels.append((clip, "yes" if yes else "no", rng.randint(0, 3), round(rng.gauss(15, 2), 1)))
READINGS = TITLES + "".join(rows)


def table(spell=lambda x: x, title="B-lines", head="video_file"):
    return f"{head},{title},Severity Score,pleural depth mm\n" + "".join(
        f"{c},{spell(b)},{float(s)},{d}\n" for c, b, s, d in labels)


# the same labels in other words, titles and separators give the same numbers
base = run(READINGS, table(), "--out", folder / "a", says=("9 persons", "sensitivity", "kappa, quadratic weights",
                                                           "lower limit of agreement", "by person"))
figures = json.loads((folder / "a/evaluation.json").read_text())["comparisons"]
for spell in ({"yes": "Y", "no": "n"}, {"yes": "TRUE", "no": "False"}, {"yes": "1", "no": "0"},
              {"yes": "present", "no": "absent"}, {"yes": "Positive", "no": "neg"}):
    run(READINGS, table(spell.get), "--out", folder / "b", "--quiet")
    if json.loads((folder / "b/evaluation.json").read_text())["comparisons"] != figures:
        raise SystemExit(f"spelled {spell}, the figures differ")
run(READINGS, table(head="File name").replace(",", ";"), "--out", folder / "b", "--quiet")
if json.loads((folder / "b/evaluation.json").read_text())["comparisons"] != figures:
    raise SystemExit("with semicolons the figures differ")
run(READINGS, table(title="wet?"), says=("Columns of the labels not compared: wet?",), silent=("sensitivity",))
run(READINGS, table(title="wet?"), "--map", "wet?=b_lines", says=("sensitivity",))

# order of rows and number of workers change nothing
shuffled = rows[:]
rng.shuffle(shuffled)
run(TITLES + "".join(shuffled), table(), "--out", folder / "c", "--workers", "1")
run(READINGS, table(), "--out", folder / "d", "--workers", "7")
for name in ("evaluation.json", "evaluation.csv", "cases.csv", "evaluation.pdf"):
    if not (folder / "a" / name).read_bytes() == (folder / "c" / name).read_bytes() == (folder / "d" / name).read_bytes():
        raise SystemExit(f"{name} depends on the order or the workers")
run(READINGS, table(), "--out", folder / "e", "--seed", "2", "--quiet")
if (folder / "a/evaluation.csv").read_bytes() == (folder / "e/evaluation.csv").read_bytes():
    raise SystemExit("the seed changes nothing")

# the caution stands on every page, and the text can be selected
if shutil.which("pdftotext"):
    pages = subprocess.run(["pdftotext", "-layout", folder / "a/evaluation.pdf", "-"], text=True,
                           capture_output=True).stdout.split("\f")[:-1]
    if len(pages) != 4 or not all("Not a medical device" in p for p in pages):
        raise SystemExit(f"{len(pages)} pages, or one without the caution")
    if "ROC curve" not in pages[0] or "Bias and limits" not in pages[2]:
        raise SystemExit("the PDF's text is not as drawn")
    asked.passed += 1

# thresholds, words, persons
run(READINGS, table(), "--map", "Severity Score>=2=b_line_index", says=("for Severity Score of 2 or more", "area under"))
run(READINGS, table(), "--map", "B-lines:no=score", says=("for B-lines = no",))
run(READINGS, table(), "--by", "patient_<n>_", says=("9 persons",))
run(READINGS, table(), "--by", "clip", says=("persons not known",))
run(READINGS, table().replace("patient_", "clip"), status=1, says=("nothing in common to compare",))
run(READINGS.replace("patient_", "clip"), table().replace("patient_", "clip"), "--by", "person",
    says=("No person could be told", "persons not known"))

# two sets of readings: the same one twice is no difference, another one is
(folder / "second.csv").write_text(TITLES + "".join(reading(c + ".mp4", round(rng.random(), 3), rng.randint(0, 3))
                                                    for c, *_ in labels))
run(READINGS, table(), "--beside", folder / "second.csv", "--out", folder / "f", says=("Beside second.csv", "B-lines, area"))
beside = {b["comparison"]: b for b in json.loads((folder / "f/evaluation.json").read_text())["beside"]}
auc = {m["measure"]: m for m in figures[0]["measures"]}["auc"]["value"]
if abs(beside["b_lines"]["first"] - auc) > 1e-9 or not 0 <= beside["b_lines"]["p"] <= 1:
    raise SystemExit(f"beside: {beside}")
if abs(beside["b_lines"]["first"] - beside["b_lines"]["second"] - beside["b_lines"]["difference"]) > 2e-6:
    raise SystemExit(f"beside: {beside}")
run(READINGS, table(), "--beside", folder / "readings.csv", "--out", folder / "g", "--quiet")
for b in json.loads((folder / "g/evaluation.json").read_text())["beside"]:
    if b["difference"] != 0 or b["p"] is not None:
        raise SystemExit(f"the same readings twice differ: {b}")
run(READINGS, table(), "--beside", folder / "absent.csv", status=1, says=("could not be opened",))

# bad input: a sentence each, and the statistic left out
run(READINGS, table() + "patient_99_L1,yes,1,12\n", says=("1 labelled clips are absent from the readings: patient_99_L1",))
run(READINGS + reading("other.mp4"), table(), says=("1 readings have no label", "other.mp4"))
run(READINGS, table().replace(",yes,", ",wet,", 1), says=("hold an unknown class (\"wet\")",))
run(READINGS, table() + "patient_1_L1,yes,7,12\n", says=("contradict themselves on patient_1_L1",))
run(READINGS, table().replace(f"{float(labels[0][2])},", "7.0,", 1), says=("1 labels hold an unknown class (7)",))
line = "{},{},{}.0,{}\n".format(*labels[0])
run(READINGS, table() + line, says=("1 rows of the labels repeat a clip (patient_1_L1)",), silent=("contradict",))
run(READINGS + rows[0], table(), says=("1 rows of the readings repeat a clip",), silent=("contradict",))
run(READINGS + reading("patient_1_L1.mp4", 0.111), table(), says=("The readings contradict themselves on patient_1_L1",))
run(READINGS, table(lambda _: "yes"), says=("with one class only there is no specificity", "not defined: only one class"))
run(READINGS + reading("patient_1_X.mp4", status="failed"), table() + "patient_1_X,yes,1,12\n",
    says=("1 labelled clips could not be read", "could not tell"))
run(TITLES + "".join(rows[:3]), table(), says=("all clips are of one person",))
run(TITLES + rows[0], table(), says=("absent from the readings",))
run(READINGS, table(title="B-lines noted"), says=("may mean \"not looked for\"",))
run(READINGS, "a,b\n1,2\n", status=1, says=("has no column that names the clips",))
run(READINGS, "clip,weather\nx,fine\n", status=1, says=("has no column that this program can compare",))
run(READINGS, "clip,score\n", status=1, says=("holds titles but no labels",))
run(READINGS, "", status=1, says=("is empty",))
run("", table(), status=1, says=("is empty",))
run("zone,status\nx,read\n", table(), status=1, says=("no column that names the clips",))
run(READINGS, table(), "--map", "nothing=score", status=2, says=("has no column nothing",))
run(READINGS, table(), "--map", "score", status=2, says=("is not understood",))
run(READINGS, table(), "--speed", status=2, says=("there is no option --speed",))
run(READINGS, folder / "absent.csv", status=1, says=("could not be opened",))
run(READINGS, folder, status=1, says=("is a folder",))
run(READINGS, "clip,B-lines\n\"never closed,yes\n", status=1, says=("quotation mark",))
(folder / "zero.csv").write_bytes(b"clip,B-lines\nx\0y,yes\n")
run(READINGS, folder / "zero.csv", status=1, says=("zero bytes",))
(folder / "file").write_text("x")
run(READINGS, table(), "--out", folder / "file", status=1, says=("is not a folder",))

# thousands of rows: read in pieces, the same as a small table ten thousand times over
many, big = [], ["clip,patient,B-lines\n"]
for i in range(30000):
    many.append(reading(f"c{i}.mp4", round(rng.random(), 4)))
    big.append(f"c{i}.mp4,{i % 500},{'yes' if rng.random() < 0.5 else 'no'}\n")
text = run(TITLES + "".join(many), "".join(big), "--draws", "50", says=("30000 clips of 500 persons",))

# the published label files next to the real clips, unedited
if clips.is_dir():
    for name, by, says in (("labels.csv", "person", ("21 persons", "kappa, quadratic weights", "A-lines", "B-lines")),
                           ("devices/labels.csv", "source", ("of 7 persons", "may mean \"not looked for\""))):
        names = [line.split(",")[0] for line in (clips / name).read_text().splitlines()[1:]]
        fake = TITLES + "".join(reading(n if "." in n else n + ".mp4", round(rng.random(), 3), rng.randint(0, 3))
                                for n in names)
        run(fake, clips / name, "--by", by, says=says, silent=("absent from the readings",))
else:
    print(f"{clips} is absent: the published label files were not tried")

print(f"{asked.passed} passed, 0 failed")
