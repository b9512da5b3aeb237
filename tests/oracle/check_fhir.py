"""fhir.json of the invented examination against the FHIR model classes of the library fhir.resources (R4B, whose resources
used here are those of R4), and against what R4 says that classes do not check: statuses, references lead somewhere, each local code is
in the bundle's code system, codes of LOINC and SNOMED CT have right check digits, no name is in it, unknown has a reason.
Usage: check_fhir.py DRAW_FAKE"""
import copy
import json
import pathlib
import subprocess
import sys
import tempfile

try:
    from fhir.resources.R4B.bundle import Bundle
except ImportError:
    print("skipped: fhir.resources is not here (./check installs it)")
    sys.exit(77)
draw = sys.argv[1]
failures = []
SYSTEMS = {"http://loinc.org", "http://snomed.info/sct", "http://dicom.nema.org/resources/ontology/DCM", "http://unitsofmeasure.org",
           "urn:strandline:findings", "urn:strandline:pseudonym", "urn:strandline:clip-content",
           "http://terminology.hl7.org/CodeSystem/observation-category", "http://terminology.hl7.org/CodeSystem/v3-ActReason",
           "http://terminology.hl7.org/CodeSystem/data-absent-reason",
           "http://terminology.hl7.org/CodeSystem/provenance-participant-type"}


def expect(holds, what):
    if not holds:
        failures.append(what)


def walk(value, found):
    if isinstance(value, dict):
        found(value)
        for item in value.values():
            walk(item, found)
    elif isinstance(value, list):
        for item in value:
            walk(item, found)


def luhn(code):
    """LOINC's check digit: mod 10 over the digits before the dash (LOINC Users' Guide)."""
    digits, check = code.split("-")
    total = 0
    for place, digit in enumerate(reversed(digits)):
        doubled = int(digit) * (2 if place % 2 == 0 else 1)
        total += doubled // 10 + doubled % 10
    return int(check) == -total % 10


def verhoeff(code):
    """SNOMED CT's check digit (SNOMED CT Release File Specification)."""
    d = [[0] * 10 for _ in range(10)]
    for a in range(10):
        for b in range(10):  # the dihedral group of a pentagon
            d[a][b] = (a + b) % 5 + 0 if a < 5 and b < 5 else 5 + (a + (b - 5)) % 5 if a < 5 else 5 + (a - 5 - b) % 5 if b < 5 else (a - b) % 5
    p, row = [list(range(10))], [1, 5, 7, 6, 2, 8, 3, 0, 9, 4]
    for _ in range(7):
        p.append([row[i] for i in p[-1]])
    check = 0
    for place, digit in enumerate(reversed(code)):
        check = d[check][p[place % 8][int(digit)]]
    return check == 0


# worked examples: the digits of the clinical sheet of the project, one wrong by one
expect(luhn("24630-6") and not luhn("24630-7") and verhoeff("39607008") and not verhoeff("39607009"), "the check digits' own check")


def accepted(bundle):
    try:
        Bundle.model_validate(bundle)
        return ""
    except Exception as problem:  # noqa: BLE001 - whatever the library says is the finding
        return str(problem)


def look(folder, status, conclusions):
    bundle = json.loads((folder / "fhir.json").read_text(encoding="utf-8"))
    exam = json.loads((folder / "exam.json").read_text(encoding="utf-8"))
    said = accepted(bundle)
    expect(not said, f"{folder.name}: {said[:600]}")
    resources = {entry["fullUrl"]: entry["resource"] for entry in bundle["entry"]}
    expect(len(resources) == len(bundle["entry"]), "two resources have the same URN")
    kinds = [resource["resourceType"] for resource in resources.values()]
    for kind in ("DiagnosticReport", "ImagingStudy", "Device", "Provenance", "CodeSystem"):
        expect(kinds.count(kind) == 1, f"{kinds.count(kind)} of {kind}")
    codes = {c["code"] for r in resources.values() if r["resourceType"] == "CodeSystem" for c in r["concept"]}

    def part(value):
        if "reference" in value:
            expect(value["reference"] in resources, f"leads nowhere: {value['reference']}")
        if "system" in value:
            expect(value["system"] in SYSTEMS, f"a system that was not verified: {value['system']}")
            code = value.get("code", "")
            if value["system"] == "http://loinc.org" and not code.startswith("LP"):
                expect(luhn(code), f"LOINC {code}: check digit")
            if value["system"] == "http://snomed.info/sct":
                expect(verhoeff(code), f"SNOMED CT {code}: check digit")
            if value["system"] == "urn:strandline:findings":
                expect(code in codes, f"local code {code} is not in the code system")

    walk(bundle, part)
    report = next(r for r in resources.values() if r["resourceType"] == "DiagnosticReport")
    # value sets of R4: observation-status, diagnostic-report-status, imagingstudy-status, device-status, publication-status
    allowed = {"Observation": {"preliminary", "final"}, "DiagnosticReport": {"preliminary", "final", "appended"},
               "ImagingStudy": {"available"}, "Device": {"active"}, "CodeSystem": {"active"}, "Provenance": {None}}
    expect(all(r.get("status") in allowed[r["resourceType"]] for r in resources.values()), "a status that is not in its value set")
    expect(report["status"] == status, f"the report is {report['status']}, not {status}")
    expect(all(text in report["conclusion"] for text in conclusions), "the conclusion lacks its words")
    expect((folder / "report.txt").read_text(encoding="utf-8").strip() == report["conclusion"].replace("\n", " "), "text and FHIR differ")
    expect((folder / "report.txt").read_text(encoding="utf-8").count("\n") == 1, "report.txt is not one paragraph")
    total, *zones = [resources[result["reference"]] for result in report["result"]]
    expect(total.get("valueInteger") == exam["total"]["score"], "the total differs from exam.json")
    expect([zone.get("valueInteger") for zone in zones] == [zone["score"] for zone in exam["zones"]], "scores differ from exam.json")
    for zone in zones:
        parts = [zone, *zone.get("component", [])]
        for one in parts:
            values = [key for key in one if key.startswith("value")]
            expect((len(values) == 1) != ("dataAbsentReason" in one), "a value and a reason for its absence, or neither")
            if "dataAbsentReason" in one:
                expect(one["dataAbsentReason"].get("text"), "unknown without a reason")
    coverage = [c for z in zones for c in z.get("component", []) if c["code"]["coding"][0]["code"] == "b_line_coverage"]
    expect(coverage and all(c["extension"][0]["valueRange"]["low"]["value"] <= c["valueQuantity"]["value"] for c in coverage), "intervals")
    expect(any("frames 20 to 48" in n["text"] or "Bilder 20 bis 48" in n["text"] for z in zones for n in z.get("note", [])), "no evidence")
    expect(all(r["meta"]["security"][0]["code"] == "HTEST" for r in resources.values()), "invented data is not marked everywhere")
    expect("Dr. Invented" not in json.dumps(bundle), "the signer's name is in the bundle")
    return bundle


with tempfile.TemporaryDirectory() as temporary:
    folder = pathlib.Path(temporary)
    cases = ((("draft", "en"), "preliminary", []), (("signed", "de", "Trocken."), "final", ["Trocken."]),
             (("appended", "en", "Dry.", "Left base unseen."), "appended", ["Dry.", "Left base unseen."]))
    for (name, code, *texts), status, conclusions in cases:
        subprocess.run([draw, folder / name, "9", code, "a4", *texts], check=True)
        bundle = look(folder / name, status, conclusions)
    # the library refuses what is wrong, so its word counts
    for what, change in (("a date", lambda b: b["entry"][0]["resource"].update(effectiveDateTime="yesterday")),
                         ("a field", lambda b: b["entry"][0]["resource"].update(verdict="dry")),
                         ("a missing code", lambda b: b["entry"][1]["resource"].pop("code"))):
        broken = copy.deepcopy(bundle)
        change(broken)
        expect(accepted(broken), f"the library accepts {what} that is wrong")
print("\n".join(failures) or "the bundle is FHIR R4")
sys.exit(1 if failures else 0)
