"""strandline plan from outside: exit status, sentences on wrong use, the JSON against the same formulas written here.
Sources: frame rate c / (2 D N F A), time of flight; axial resolution n lambda / 2; common practice (no source): convex
2 to 5 MHz, linear 6 to 13 MHz, phased 1 to 5 MHz, compounding and harmonics off where artifacts are judged.
Standard library only."""
import itertools
import json
import subprocess
import sys

program = sys.argv[1]
failures = 0


def run(*words):
    done = subprocess.run([program, "plan", *words], capture_output=True, text=True, timeout=60)
    return done.returncode, done.stdout, done.stderr


def check(condition, what):
    global failures
    if not condition:
        failures += 1
        print("NOT SO:", what)


def wrong(words, *parts):
    status, out, err = run(*words)
    check(status == 2, f"plan {' '.join(words)} ends with 2 (was {status})")
    check(out == "", f"plan {' '.join(words)} prints nothing to standard output")
    for part in parts:
        check(part in err, f"plan {' '.join(words)} says '{part}' (said: {err.strip()})")


wrong([], "name the target first", "pleura")
wrong(["liver"], "target liver is not known", "b-lines")
wrong(["pleura", "--wall-mm", "500"], "wall-mm", "between 3 and 120 mm")
wrong(["pleura", "--wall-mm", "thick"], "--wall-mm wants a number", "thick")
wrong(["pleura", "--wall-mm", "nan"], "--wall-mm wants a number")
wrong(["pleura", "--wall-mm", "1e999"], "--wall-mm wants a number")
wrong(["pleura", "--wall-mm"], "--wall-mm wants a value")
wrong(["pleura", "--beams", "0"], "--beams wants a whole positive number")
wrong(["pleura", "--beams", "1.5"], "--beams wants a whole positive number")
wrong(["pleura", "--beams", "4000"], "beams", "between 16 and 1024")
wrong(["pleura", "--zone", "back"], "zone back is not known", "posterolateral")
wrong(["thickness", "--zone", "anterior"], "zone is anterior", "lateral")
wrong(["pleura", "--probe", "square"], "probe square is not known", "convex")
wrong(["pleura", "--rules", "mine"], "rule set mine is not known", "consensus")
wrong(["pleura", "--probe", "linear", "--freq-mhz", "3"], "freq-mhz", "between 6 and 13 MHz")
wrong(["pleura", "--depth-mm", "-4"], "depth-mm", "between 10 and 300 mm")
wrong(["pleura", "--frame-rate-hz", "999"], "frame-rate-hz", "Allowed: 1 to")
wrong(["pleura", "--frobnicate"], "--frobnicate is not an option")

band = {"convex": (2, 5), "microconvex": (4, 8), "linear": (6, 13), "phased": (1, 5)}
beams = {"convex": 128, "microconvex": 128, "linear": 192, "phased": 128}
targets = "pleura a-lines b-lines consolidation effusion excursion thickness spine".split()
for target, wall, rules in itertools.product(targets, (12, 30), ("consensus", "practice", "least")):
    status, out, err = run(target, "--wall-mm", str(wall), "--rules", rules, "--json")
    name = f"{target}, {wall} mm, {rules}"
    check(status == 0 and err == "", f"{name}: ends well")
    plan = json.loads(out)
    s = plan["setting"]
    low, high = band[s["probe"]]
    check(low <= s["freq_mhz"] <= high, f"{name}: frequency in the probe's band")
    rate = 1540 / (2 * s["depth_mm"] * 1e-3 * beams[s["probe"]])
    check(abs(s["frame_rate_most_hz"] - rate) < 1e-3 * rate, f"{name}: frame rate c / (2 D N)")
    check(abs(s["axial_mm"] - 2 * 1.54 / s["freq_mhz"] / 2) < 1e-3, f"{name}: axial resolution, two cycles")
    check([a["rules"] for a in plan["alternatives"]] == ["consensus", "practice", "least"], f"{name}: all rule sets")
    check([a["rules"] for a in plan["alternatives"] if a["chosen"]] == [rules], f"{name}: the chosen one")
    check(all(c["source"] == "common practice, no source" for c in plan["common_practice"]), f"{name}: marked so")
    check(all(line["source"] for line in plan["lines"]), f"{name}: every line has a source")
    check("not replace a clinician" in plan["caution"], f"{name}: the caution")
    if target in ("pleura", "a-lines", "b-lines"):
        off = {line["topic"]: line["choice"] for line in plan["lines"]}
        check(off["compounding"] == "off" and off["harmonics"] == "off", f"{name}: artifact-removing filters off")

status, out, err = run("b-lines", "--angles", "3", "--focal-zones", "2", "--harmonics", "--parallel", "4", "--depth-mm", "100",
                       "--probe", "convex", "--json")
rate = 1540 * 4 / (2 * 0.1 * 128 * 2 * 3 * 2)
check(abs(json.loads(out)["setting"]["frame_rate_most_hz"] - rate) < 1e-3, "every part of the frame-rate budget counts")
status, out, err = run("b-lines")
check(status == 0 and "not replace a clinician" in " ".join(out.split()), "the text ends with the caution")
check(max(len(line) for line in out.splitlines()) <= 110, "lines fit a terminal")
status, again, err = run("b-lines")
check(out == again, "the same request gives the same bytes")
sys.exit(1 if failures else 0)
