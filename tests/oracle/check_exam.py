"""exam.json against docs/exam.schema.json, by the jsonschema library (JSON Schema 2020-12), and against readings.csv.
Usage: check_exam.py SCHEMA COMMAND..., the last word of COMMAND being replaced by a folder that it fills."""
import csv
import json
import pathlib
import subprocess
import sys
import tempfile

try:
    import jsonschema
except ImportError:
    print("skipped: the library jsonschema is not here (./check installs it)")
    sys.exit(77)

schema = json.loads(pathlib.Path(sys.argv[1]).read_text(encoding="utf-8"))
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
CONTRACT = ["clip", "zone", "status", "reason", "frames", "shape", "pleura_found", "pleura_depth_rel", "pleura_depth_mm",
            "a_line_index", "a_lines", "b_line_index", "b_lines", "b_line_count", "b_line_coverage", "score", "seconds"]
failures = []


def expect(holds, what):
    if not holds:
        failures.append(what)


with tempfile.TemporaryDirectory() as folder:
    out = pathlib.Path(folder) / "out"
    command = [word.replace("@OUT@", str(out)) for word in sys.argv[2:]]
    done = subprocess.run(command, capture_output=True, text=True)
    expect(done.returncode == 0, f"{command[0]} ended with {done.returncode}: {done.stderr}")
    if not failures:
        exam = json.loads((out / "exam.json").read_text(encoding="utf-8"))
        for error in validator.iter_errors(exam):
            failures.append(f"{'/'.join(map(str, error.absolute_path))}: {error.message}")
        with open(out / "readings.csv", newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        expect(rows and all(name in rows[0] for name in CONTRACT), "readings.csv lacks a column of the contract")
        expect(len(rows) == len(exam["clips"]), "readings.csv and exam.json list different numbers of clips")
        for row, clip in zip(rows, exam["clips"]):
            found = {f["finding"]: f for f in (clip["reading"] or {"findings": []})["findings"]}
            expect(row["clip"] == clip["clip"] and row["status"] == clip["status"], f"{row['clip']}: name or status differs")
            expect(row["zone"] == (clip["zone"] or ""), f"{row['clip']}: zone differs")
            expect(int(row["frames"]) == clip["frames"], f"{row['clip']}: frames differ")
            expect(row["pleura_found"] in ("0", "1"), f"{row['clip']}: pleura_found is {row['pleura_found']}")
            for column, key in (("pleura_depth_rel", "pleura_depth"), ("pleura_depth_mm", "pleura_depth_mm"),
                                ("b_line_count", "b_line_count"), ("b_line_coverage", "b_line_coverage"),
                                ("score", "score"), ("a_line_index", "a_lines"), ("b_line_index", "b_lines")):
                finding = found.get(key)
                told = finding and finding["value"] is not None and (finding["known"] or finding["kind"] == "answer")
                expect(bool(row[column]) == bool(told), f"{row['clip']}: {column} is {row[column]!r}")
                if told and row[column]:
                    expect(abs(float(row[column]) - finding["value"]) < 0.006, f"{row['clip']}: {column} differs")
            if clip["scale"]["source"] == "none":
                expect(row["pleura_depth_mm"] == "", f"{row['clip']}: millimetres without a scale")
        # nothing of what makes the schema strict is decoration: a wrong file must be refused
        if exam["clips"]:
            exam["clips"][0]["status"] = "fine"
            expect(list(validator.iter_errors(exam)), "the schema accepts a status that does not exist")
print("\n".join(failures[:30]) or f"exam.json of {len(rows)} clips fits the schema and the table")
sys.exit(1 if failures else 0)
