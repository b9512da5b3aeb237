"""The audit's measured design as the table of docs/audit.md: simulated chests acquired well, and with one thing wrong.
Usage: audit_design.py TOOL [CASES [SEED [WELL]]] [--silent], TOOL is build/tests/loop/audit_design; --silent leaves out what a
DICOM file would state. Well acquired chests come from seeds of their own. Standard library only."""
import collections
import csv
import io
import math
import subprocess
import sys

# Another complaint that says the same thing rightly.
ALSO = {"probe-target": "frequency-high", "gain-high": "near-bright", "near-bright": "gain-high", "pleura-unseen": "ribs",
        "ribs": "not-between-ribs"}
NOTES = {"spacing", "far-empty", "persistence", "compounding", "range-high", "not-between-ribs", "orientation", "output",
         "harmonics", "frequency-low"}


def wilson(hits, of, z=1.959964):
    p = hits / of
    middle, half = p + z * z / (2 * of), z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return (middle - half) / (1 + z * z / of), (middle + half) / (1 + z * z / of)


def rows(tool, *words):
    done = subprocess.run([tool, *map(str, words)], capture_output=True, text=True, check=False)
    return [row for row in csv.reader(io.StringIO(done.stdout)) if len(row) >= 4]


silent = [word for word in sys.argv[1:] if word == "--silent"]
given = [word for word in sys.argv[1:] if word != "--silent"]
tool, cases, seed, well = (given + ["20", "200", "200"][len(given) - 1:])[:4]
told, of = collections.Counter(), collections.Counter()
for kind, _, _, keys in (row[:4] for row in rows(tool, cases, seed, *silent)):
    if kind != "well":
        of[kind] += 1
        told[kind] += bool({kind, ALSO.get(kind)} & set(keys.split()))
print("| one thing wrong | told |\n| --- | --- |")
for kind in of:
    low, high = wilson(told[kind], of[kind])
    print(f"| {kind} | {told[kind]} of {of[kind]} ({low:.2f} to {high:.2f}) |")
calm = rows(tool, well, int(seed) + 500000, "--kind", "well", *silent)
blamed = sum(bool(set(row[3].split()) - NOTES) for row in calm)
low, high = wilson(blamed, len(calm))
print(f"\nWell acquired: {blamed} of {len(calm)} ({low:.2f} to {high:.2f}) had a complaint that asks for something.")
