"""strandline learn from outside: sessions, answers that stay, feedback with the evidence, and a chart whose limit is
told with what it means. Argument: the program. Standard library only; the pool is invented here."""
import csv
import io
import json
import math
import sys

import asked

program = sys.argv[1]
folder = asked.folder
learner = folder / "me"


def run(*words, **expected):
    return asked.ask(program, "learn", *words, **expected)


def finding(key, kind, **fields):
    base = {"finding": key, "kind": kind, "known": True, "value": None, "interval": [None, None], "confidence": None,
            "reason": "", "evidence": []}
    return base | fields


# a pool as the simulator writes it: one reading a file, the truth with its places
pool = folder / "pool"
pool.mkdir()
truth = {}
for i in range(60):
    clip, yes = f"chest-{i:03}.mp4", i % 3 != 0
    truth[clip] = (yes, i % 4)
    place = {"frames": [3, 40], "times_s": [0.1, 1.6], "beams": [0.2, 0.3], "depths": [0.2, 1], "label": "B-line 1"}
    (pool / f"chest-{i:03}.truth.json").write_text(json.dumps({
        "by": "simulator", "author": "invented", "clip": clip, "method": "", "findings": [
            finding("b_lines", "answer", answer="present" if yes else "absent", value=float(yes),
                    evidence=[place] if yes else []),
            finding("score", "ordered", value=i % 4),
            finding("effusion", "answer", answer="uncertain", known=False, reason="not in the picture")]}))
(pool / "broken.truth.json").write_text("{")


def session(*words, says=()):
    return list(csv.DictReader(io.StringIO(run("start", learner, "--pool", pool, *words, says=says))))


rows = session("--clips", "12", "--seed", "5", says=("Left out of the pool", "broken.truth.json"))
if len(rows) != 12 or list(rows[0]) != ["order", "clip", "b_lines", "score"] or any(r["b_lines"] for r in rows):
    raise SystemExit(f"the session is off: {rows}")


def hand_in(rows, wrong=0, **said):
    with open(folder / "answers.csv", "w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["order", "clip", "b_lines", "score"])
        for i, r in enumerate(rows):
            yes, score = truth[r["clip"]]
            out.writerow([r["order"], r["clip"], said.get("b", "yes" if yes != (i < wrong) else "no"),
                          said.get("s", score)])
    return folder / "answers.csv"


run("answer", learner, hand_in(rows, b="foggy"), status=1, says=("nothing was marked", "is no word for B-lines"))
text = run("answer", learner, hand_in(rows, wrong=3), says=("frames 3 to 40 (0.10 to 1.60 s)", "20 to 30 % across",
           "[B-line 1]", "Not so. B-lines", "Right at first sight: 9 of 12", "Practise next: B-lines",
           "not replace a clinician"))
lines = (learner / "progress.jsonl").read_text().splitlines()
run("answer", learner, hand_in(rows), says=("24 answers were there before and stay as they were",
                                           "Right at first sight: 9 of 12"))
if (learner / "progress.jsonl").read_text().splitlines() != lines:
    raise SystemExit("answers were changed")

# new clips first, none twice while the pool lasts; then clips again, which do not count
seen = {r["clip"] for r in rows}
for n in range(4):
    rows = session("--clips", "12", "--seed", n)
    if seen & {r["clip"] for r in rows}:
        raise SystemExit("a clip came again though the pool had new ones")
    shown = [truth[r["clip"]][0] for r in rows]
    if n == 0 and not 5 <= sum(shown) <= 7:
        raise SystemExit(f"present and absent are not in balance: {shown}")
    seen |= {r["clip"] for r in rows}
    text = run("answer", learner, hand_in(rows))
if len(seen) != 60:
    raise SystemExit("not the whole pool was met")
rows = session("--clips", "8", "--seed", "1")
run("answer", learner, hand_in(rows), says=("of 60",))

# the chart: 3 wrong among the first 12, then right; by hand from the formula, with the limit and what it means
run("show", learner, "--out", folder / "out", says=("adequate (competent in the words of the LC-CUSUM) since attempt",
    "What that means: p0 0.30, p1 0.10, n 100, limit 4.95", "pass by luck within 100 attempts"))
if not (folder / "out/learning.pdf").read_bytes().startswith(b"%PDF"):
    raise SystemExit("learning.pdf is no PDF")
curve = {c["finding"]: c for c in json.loads((folder / "out/learning.json").read_text())["curves"]}["b_lines"]
s, signal = 0.0, None
for i, ok in enumerate(curve["success"]):
    s = max(0.0, s + (math.log(0.9 / 0.7) if ok else math.log(0.1 / 0.3)))
    if abs(s - curve["chart"][i]) > 1e-5:
        raise SystemExit(f"attempt {i + 1}: chart {curve['chart'][i]}, by hand {s}")
    signal = signal or (i + 1 if s > 4.95 else None)
if signal != curve["adequate_at_attempt"] or sum(curve["success"]) != 57 or curve["plan"]["false_discovery"] > 0.05:
    raise SystemExit(f"signal {curve['adequate_at_attempt']}, by hand {signal}; {curve['plan']}")

# on the terminal, stopped half way, taken up again
other = folder / "other"
run("start", other, "--pool", pool, "--clips", "3", "--seed", "2", "--findings", "B-lines")
run("ask", other, typed="sometimes\nyes\n", says=("That is no word for it", "Stopped; what was answered is kept"))
run("ask", other, typed="no\nuncertain\n", says=("could not tell", "of 3", "How many more: at least"),
    silent=("Stopped",))
run("ask", other, says=("is answered in full",))
with open(other / "progress.jsonl", "a") as file:
    file.write('{"event":"answer","ses')
run("show", other, says=("damaged", "of 3"))

# an expert's table as pool, and wrong use
(folder / "expert.csv").write_text("file name,B-lines,Severity Score\n" + "".join(
    f"{c},{'yes' if y else 'no'},{s}.0\n" for c, (y, s) in truth.items()))
run("start", folder / "third", "--pool", folder / "expert.csv", "--clips", "5", "--seed", "1", "--out", folder / "s.csv")
run("start", folder / "third", "--pool", folder / "expert.csv", "--out", folder / "s.csv", status=2,
    says=("is not overwritten",))
run("start", folder / "third", "--pool", folder / "expert.csv", "--findings", "effusion", status=2,
    says=("says nothing certain",))
run("start", folder / "third", "--pool", folder / "nowhere", status=1, says=("could not be opened",))
run("start", folder / "third", "--pool", folder / "out", status=1)
run("start", folder / "third", status=2, says=("--pool",))
run("show", folder / "fourth", status=1, says=("holds no answer yet",))
run("ask", folder / "fourth", status=2, says=("no session yet",))
run("answer", other, status=2)
run("sing", other, status=2, says=("say what to do",))
print(f"{asked.passed} passed, 0 failed")
