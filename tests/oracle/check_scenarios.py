"""Every scenario of the library against the published schema by an independent validator (jsonschema, PyPI), the schema
against the one that the program prints, and the truth that the program states for a scenario."""
import json
import pathlib
import subprocess
import sys
import tempfile

try:
    import jsonschema
except ImportError as error:
    print(f"the reference validator is not there ({error}); ./check installs it")
    sys.exit(77)

program, root = sys.argv[1], pathlib.Path(sys.argv[2])
printed = subprocess.run([program, "simulate", "--schema"], check=True, capture_output=True, text=True).stdout
schema_path = root / "docs" / "scenario.schema.json"
bad = 0
if printed != schema_path.read_text(encoding="utf-8"):
    print("docs/scenario.schema.json differs from the program: build/strandline simulate --schema > docs/scenario.schema.json")
    bad += 1
schema = json.loads(printed)
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
names = set()
files = sorted((root / "scenarios").glob("*.json"))
for path in files:
    scenario = json.loads(path.read_text(encoding="utf-8"))
    for error in validator.iter_errors(scenario):
        print(f"{path.name}: {error.json_path}: {error.message}")
        bad += 1
    if scenario["name"] != path.stem or scenario["name"] in names or not scenario["title"].startswith("Invented"):
        print(f"{path.name}: its name must be the file's, its title must begin with \"Invented\"")
        bad += 1
    names.add(scenario["name"])
if len(files) < 30:
    print(f"only {len(files)} scenarios; the library is to hold at least 30")
    bad += 1
grades = [json.loads(path.read_text())["grade"] for path in files]
if set(grades) != {1, 2, 3}:
    print("the library must hold all three grades of difficulty")
    bad += 1
# A schema that takes everything would prove nothing.
for broken in ({"name": "a", "title": "b"}, {"name": "a", "title": "b", "probe": {"kind": "round"}},
               {"name": "a", "title": "b", "probe": {"kind": "convex"}, "controls": {"depth_mm": -4}}):
    if validator.is_valid(broken):
        print(f"the schema takes {broken}")
        bad += 1
with tempfile.TemporaryDirectory() as folder:
    for path in files:
        truth = pathlib.Path(folder) / "truth.json"
        run = subprocess.run([program, "simulate", str(path), "--out", str(pathlib.Path(folder) / "pictures"), "--truth", str(truth),
                              "--set", "controls.duration_s=0.2", "--set", "controls.picture_height=96"], capture_output=True, text=True)
        if run.returncode:
            print(f"{path.name}: {run.stderr.strip()}")
            bad += 1
            continue
        found = json.loads(truth.read_text())
        if found["by"] != "simulator" or "Invented" not in found["simulated"]["caution"] or not found["simulated"]["frames"]:
            print(f"{path.name}: the truth lacks its author, its caution or its frames")
            bad += 1
print(f"{len(files)} scenarios")
print("1 passed, 0 failed" if not bad else f"0 passed, {bad} failed")
sys.exit(bool(bad))
