#!/usr/bin/env python3
"""Flow in colour on simulated chests whose truth is known, from rows of build/tests/loop/colour_loop: what was told, directions with both
bars, speeds read, grey readings with and without colour. Prints the tables of docs/colour.md. Standard library only.

    scripts/colour.py ROWS.csv..."""
import csv
import math
import sys

rows = [row for path in sys.argv[1:] for row in csv.DictReader(open(path, encoding="utf-8"))]


def share(count, of):
    """With its 95 % interval (Wilson 1927)."""
    if not of:
        return "0 of 0"
    p, z = count / of, 1.96
    middle, half = (p + z * z / (2 * of)) / (1 + z * z / of), z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return f"{count} of {of} ({max(middle - half, 0):.2f} to {min(middle + half, 1):.2f})"


def number(text):
    return float(text)


kinds = list(dict.fromkeys(row["kind"] for row in rows))
print(f"{len(rows)} chests, {sum(row['read'] == '1' for row in rows)} read\n")
print("| kind | chests | no colour seen | moving fluid: present / uncertain / absent | vessel: present / uncertain / absent |\n| --- | --- | --- | --- | --- |")
for kind in kinds:
    mine = [row for row in rows if row["kind"] == kind]
    counts = [" / ".join(str(sum(row[sign] in words for row in mine)) for words in (("present",), ("uncertain", "unknown"), ("absent",)))
              for sign in ("fluid_colour", "vessel_colour")]
    print(f"| {kind} | {len(mine)} | {sum(row['fluid_colour'] == 'none' for row in mine)} | {counts[0]} | {counts[1]} |")

for sign, truth in (("fluid_colour", "moving fluid"), ("vessel_colour", "vessel in solid lung")):
    there = [row for row in rows if row["kind"] == truth and number(row["true_" + sign.split("_")[0]]) > 0.01]
    none = [row for row in rows if row["kind"] != truth]
    print(f"\n{sign}: stated present where it flows {share(sum(r[sign] == 'present' for r in there), len(there))}, "
          f"where not {share(sum(r[sign] == 'present' for r in none), len(none))}; "
          f"stated absent where it flows {share(sum(r[sign] == 'absent' for r in there), len(there))}")

for blue in ("0", "1"):
    mine = [row for row in rows if row["blue_toward"] == blue and max(number(row["true_toward"]), number(row["true_away"])) > 0.01
            and abs(number(row["true_toward"]) - number(row["true_away"])) > 0.1 * (number(row["true_toward"]) + number(row["true_away"]))]
    right = sum((number(r["toward"]) > number(r["away"])) == (number(r["true_toward"]) > number(r["true_away"])) for r in mine if r["toward"] != "nan")
    print(f"{'blue' if blue == '1' else 'red'} towards the probe: the prevailing direction right {share(right, len(mine))}")
off = sorted(abs(number(r["toward"]) / (number(r["toward"]) + number(r["away"])) - number(r["true_toward"]) / (number(r["true_toward"]) + number(r["true_away"])))
             for r in rows if number(r["true_toward"]) + number(r["true_away"]) > 0.01 and r["toward"] != "nan" and number(r["toward"]) + number(r["away"]) > 0)
if off:
    print(f"share towards of what flows: median error {off[len(off) // 2]:.3f}, 95 % within {off[int(0.95 * (len(off) - 1))]:.3f} ({len(off)} chests)")

seen = [row for row in rows if row["fluid_colour"] != "none"]
told = [row for row in seen if row["scale"] != "nan"]
print(f"speed at the bar's ends read: {share(len(told), len(seen))}; of these right to 0.06 cm/s: "
      f"{share(sum(abs(number(r['scale']) - number(r['true_scale'])) <= 0.06 for r in told), len(told))}")
flows = [row for row in seen if number(row["true_fluid"]) + number(row["true_vessel"]) > 0.01]
for head, mine in (("over 1 % of what flows is faster than the bar's end", [r for r in flows if number(r["true_over"]) > 0.01]),
                   ("nothing is", [r for r in flows if number(r["true_over"]) == 0])):
    print(f"aliasing where {head}: present {share(sum(r['aliasing'] == 'present' for r in mine), len(mine))}, "
          f"absent {share(sum(r['aliasing'] == 'absent' for r in mine), len(mine))}")

print("\n| finding | pairs | largest change of the index | median | answers that differ | ... present against absent |\n| --- | --- | --- | --- | --- | --- |")
for key in [name[5:] for name in rows[0] if name.startswith("grey_") and not name.endswith("_answer")]:
    pairs = [row for row in rows if row["grey_" + key] not in ("nan", "") and row[key] != "nan" and row["fluid_colour"] != "none"]
    change = sorted(abs(number(r["grey_" + key]) - number(r[key])) for r in pairs) or [0]
    words = [(r["grey_" + key + "_answer"], r[key + "_answer"]) for r in pairs]
    print(f"| `{key}` | {len(pairs)} | {change[-1]:.2f} | {change[len(change) // 2]:.3f} | {sum(a != b for a, b in words)} | {sum({a, b} == {'present', 'absent'} for a, b in words)} |")
