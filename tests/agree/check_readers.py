"""strandline readers from outside: blind lists, reads that are never overwritten, differences, decisions, and the
agreed labels. Argument: the program. Standard library only; all reads are invented here."""
import csv
import io
import json
import random
import subprocess
import sys

import asked

program = sys.argv[1]
folder = asked.folder
study = folder / "study"


def run(*words, **expected):
    return asked.ask(program, "readers", *words, **expected)


clips = [f"person_{p}_{z}.mp4" for p in range(1, 13) for z in ("a", "b")]
(folder / "clips").mkdir()
for clip in clips:
    (folder / "clips" / clip).write_bytes(b"")
(folder / "clips/notes.txt").write_text("no clip")

# the blind list: every clip once, an order of the reader's own, nothing of others' answers
lists = {}
for name in "AB":
    text = run("list", folder / "clips", "--reader", name, "--findings", "b_lines,score,b_line_count")
    rows = list(csv.DictReader(io.StringIO(text)))
    if sorted(r["clip"] for r in rows) != sorted(clips) or any(r["b_lines"] or r["score"] for r in rows):
        raise SystemExit("the list is not blind or not complete")
    lists[name] = [r["clip"] for r in rows]
    if text != run("list", folder / "clips", "--reader", name, "--findings", "b_lines,score,b_line_count"):
        raise SystemExit("the list of a reader changes from call to call")
if lists["A"] == lists["B"] or lists["A"] == sorted(clips):
    raise SystemExit("two readers see the same order, or the clips' own")
(folder / "old.csv").write_text("clip,b_lines,score\n" + "".join(f"{c},yes,3\n" for c in clips))
run("list", folder / "old.csv", "--reader", "A", silent=("yes", ",3"))
run("list", folder / "clips", "--reader", "A", "--findings", "weather", status=2, says=("weather is no finding",))
run("list", folder / "clips", status=2, says=("--reader",))

# codes in place of names: no name in the list or the folder, the same bytes under each code, names back on entering
coded = folder / "coded"
for c in clips:
    (folder / "clips" / c).write_bytes(c.encode())
text = run("list", folder / "clips", "--reader", "A", "--study", coded, "--findings", "b_lines", silent=("person",))
rows = list(csv.DictReader(io.StringIO(text)))
key = {r["code"]: r["clip"] for r in csv.DictReader(open(coded / "keys/A-1.csv"))}
placed = {p.stem: p.read_bytes().decode() for p in (coded / "clips/A-1").iterdir()}
if [r["clip"] for r in rows] != [f"A-1-{i:03d}" for i in range(1, len(clips) + 1)] or sorted(key.values()) != sorted(clips):
    raise SystemExit("the codes are not one a clip")
if placed != key or [key[r["clip"]] for r in rows] != lists["A"]:
    raise SystemExit("a code stands for another clip than its file holds")
run("list", folder / "clips", "--reader", "A", "--study", coded, status=2, says=("codes are given once",))
second = run("list", folder / "clips", "--reader", "A", "--study", coded, "--sitting", "2")
again = [r["clip"] for r in csv.DictReader(open(coded / "keys/A-2.csv"))]
if "A-2-001" not in second or again == lists["A"]:
    raise SystemExit("the second sitting has the order of the first")
(folder / "coded.csv").write_text("clip,b_lines\nA-1-001,yes\nA-1-002.mp4,no\n" + f"{key['A-1-003']},yes\n")
run("enter", coded, folder / "coded.csv", "--reader", "A", says=("3 clips entered",))
entered = json.loads((coded / "reads/A-1.json").read_text())["readings"]
if [r["clip"] for r in entered] != [key[f"A-1-00{i}"] for i in (1, 2, 3)]:
    raise SystemExit("the names were not put back")
(folder / "coded2.csv").write_text("clip,b_lines\nA-2-001,yes\nA-2-099,no\n" + f"{again[0]},yes\n")
run("enter", coded, folder / "coded2.csv", "--reader", "A", "--sitting", "2", status=1,
    says=("A-2-099 is neither a code nor a clip", "twice, once by its code", "nothing was entered"))
run("list", folder / "old.csv", "--reader", "B", "--study", coded, silent=("person",))
if (coded / "clips/B-1").exists():
    raise SystemExit("a table has no files to put under codes")
run("list", folder / "clips", "--reader", "../x", "--study", coded, status=2, says=("cannot name a reader's file",))

# reads
truth = {c: random.Random(c).random() < 0.5 for c in clips}


def fill(name, wrong=(), unsure=(), **other):
    with open(folder / f"{name}.csv", "w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["order", "clip", "B-lines", "score", "b_line_count"])
        for i, c in enumerate(lists["A"]):
            said = truth[c] != (c in wrong)
            out.writerow([i + 1, c, other.get("word", "uncertain" if c in unsure else "yes" if said else "no"),
                          3 if said else 0, 4 if said else 0])
    return folder / f"{name}.csv"


run("enter", study, fill("A"), "--reader", "A", says=("24 clips entered",))
before = (study / "reads/A-1.json").read_bytes()
run("enter", study, fill("B", wrong=clips[:2], unsure=clips[5:6]), "--reader", "A", status=2,
    says=("is not overwritten", "--sitting 2"))
if (study / "reads/A-1.json").read_bytes() != before or [p.name for p in (study / "reads").iterdir()] != ["A-1.json"]:
    raise SystemExit("a read was overwritten or a stray file was left")
run("compare", study, says=("one reader only",))
run("enter", study, folder / "B.csv", "--reader", "B")
run("enter", study, fill("C", wrong=clips[1:4]), "--reader", "C")
run("enter", study, fill("A2", wrong=clips[9:10]), "--reader", "A", "--sitting", "2")
run("enter", study, fill("D", word="perhaps so"), "--reader", "D", status=1, says=("nothing was entered", "row 2"))
if (study / "reads/D-1.json").exists():
    raise SystemExit("a file with words nobody understands was entered")
run("enter", study, folder / "A.csv", "--reader", "../x", status=2, says=("cannot name a reader's file",))
run("enter", study, folder / "absent.csv", "--reader", "E", status=1, says=("could not be opened",))

# agreement: kappa of A and B on 23 clips of which 2 differ, and what differs
run("compare", study, "--out", folder / "out", says=("all 3 readers", "Fleiss' kappa", "Krippendorff's alpha, ordinal",
                                                    "A, sittings 1 and 2", "repeatability coefficient",
                                                    "not replace a clinician"))
rows = json.loads((folder / "out/agreement.json").read_text())["agreement"]
both = [(truth[c], truth[c] != (c in clips[:2])) for c in clips if c != clips[5]]
po = sum(a == b for a, b in both) / len(both)
pa, pb = sum(a for a, _ in both) / len(both), sum(b for _, b in both) / len(both)
pe = pa * pb + (1 - pa) * (1 - pb)
found = [r for r in rows if r["finding"] == "b_lines" and r["who"] == "A and B" and r["measure"] == "kappa"]
if len(found) != 1 or found[0]["clips"] != 23 or abs(found[0]["value"] - (po - pe) / (1 - pe)) > 1e-6:
    raise SystemExit(f"kappa of A and B: {found}, by hand {(po - pe) / (1 - pe)}")
differ = list(csv.DictReader(open(folder / "out/differences.csv")))
if {(r["clip"], r["finding"]) for r in differ} != {(c, f) for c in clips[:4]
                                                  for f in ("b_lines", "score", "b_line_count")}:
    raise SystemExit(f"the list of differences is off: {differ}")
if any(r["settled"] for r in differ):
    raise SystemExit("something is settled that nobody settled")

# decisions stand beside the reads; a later one counts, the earlier stays
reads = {p.name: p.read_bytes() for p in (study / "reads").iterdir()}
stem = clips[0].removesuffix(".mp4")
run("settle", study, "--clip", stem, "--finding", "b_lines", "--as", "yes", "--by", "chair", "--why", "frames 4 to 30")
run("settle", study, "--clip", clips[0], "--finding", "b_lines", "--as", "no", "--by", "chair", "--why", "a comet only")
run("settle", study, "--clip", "person_99.mp4", "--finding", "b_lines", "--as", "no", "--by", "chair", "--why", "x",
    status=2, says=("nothing to settle",))
run("settle", study, "--clip", clips[0], "--finding", "b_lines", "--as", "wet", "--by", "chair", "--why", "x", status=2,
    says=("is no word for B-lines",))
run("settle", study, "--clip", clips[0], status=2, says=("--why",))
if reads != {p.name: p.read_bytes() for p in (study / "reads").iterdir()}:
    raise SystemExit("settling changed a read")
if len((study / "settled.jsonl").read_text().splitlines()) != 2:
    raise SystemExit("a decision was lost")
run("compare", study, says=("settled to absent",))
with open(study / "settled.jsonl", "a") as file:
    file.write("{half a line")
run("compare", study, says=("settled to absent", "line 3 is damaged"))

# what is agreed serves as labels
run("agreed", study, "--out", folder / "agreed.json")
run("agreed", study, "--out", folder / "agreed.json", status=2, says=("is not overwritten",))
agreed = {r["clip"]: {f["finding"]: f for f in r["findings"]} for r in
          json.loads((folder / "agreed.json").read_text())["readings"]}
if agreed[clips[0]]["b_lines"]["answer"] != "absent" or "b_lines" in agreed.get(clips[1], {}):
    raise SystemExit("agreed labels: the decision is missing or an open point is in")
done = subprocess.run([program, "evaluate", folder / "A.csv", "--labels", folder / "agreed.json"], text=True,
                      capture_output=True)
if done.returncode or "B-lines" not in done.stdout or "of 11 persons" not in done.stdout:
    raise SystemExit(done.stdout + done.stderr)
run("dance", status=2, says=("say what to do",))
run("compare", folder / "nowhere", status=1, says=("holds no reads yet",))
print(f"{asked.passed} passed, 0 failed")
