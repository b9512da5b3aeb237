"""DICOM objects that strandline writes, against dciodvfy (dicom3tools), pydicom and highdicom: simulated clips as ultrasound
multi-frame, findings as a structured report by TID 1500, the PDF encapsulated. All data are simulated."""
import csv
import json
import pathlib
import subprocess
import sys
import tempfile

import highdicom
import numpy
import pydicom
from PIL import Image

strandline, scenario = sys.argv[1:3]
problems = []


def run(*words):
    done = subprocess.run([strandline, *map(str, words)], capture_output=True, text=True, timeout=300)
    if done.returncode:
        problems.append(f"{words[0]}: {done.stderr}")


def validate(path):
    """Without the complaint about a private coding scheme, which is a warning there."""
    said = subprocess.run(["dciodvfy", str(path)], capture_output=True, text=True, errors="replace", timeout=60)
    for line in sorted({line for line in (said.stdout + said.stderr).splitlines() if line.startswith("Error")}):
        problems.append(f"{path.name}: {line}")


def check_clip(folder):
    size = "--set", "controls.duration_s=1"
    run("simulate", scenario, "--out", folder / "in/R1.dcm", "--truth", folder / "truth.json", *size)
    run("simulate", scenario, "--out", folder / "again.dcm", *size)
    run("simulate", scenario, "--out", folder / "frames", *size)
    validate(folder / "in/R1.dcm")
    clip = pydicom.dcmread(folder / "in/R1.dcm")
    frames = [numpy.asarray(Image.open(path)) for path in sorted((folder / "frames").glob("*.png"))]
    if not numpy.array_equal(clip.pixel_array, numpy.stack(frames)):
        problems.append("the multi-frame image differs from the frames saved as PNG")
    if (folder / "again.dcm").read_bytes() != (folder / "in/R1.dcm").read_bytes():
        problems.append("the same scenario gives other bytes")
    region = clip.SequenceOfUltrasoundRegions[0]
    if (region.RegionSpatialFormat, region.RegionDataType, region.PhysicalUnitsXDirection) != (1, 1, 3):
        problems.append("the region is no tissue in cm")
    print(f"clip: {len(frames)} frames equal, scale {region.PhysicalDeltaX * 10:.5f} mm a pixel")


def frames_of(item):
    return [int(frame) for child in item.get("ContentSequence", []) if child.ValueType == "IMAGE"
            for frame in numpy.atleast_1d(child.ReferencedSOPSequence[0].get("ReferencedFrameNumber", []))]


def findings_of(path):
    """{clip label: {concept code: (value or answer, unit, frames)}} by highdicom, as a TID 1500 report of TID 1501 groups."""
    report = highdicom.sr.srread(str(path))
    if not isinstance(report.content, highdicom.sr.MeasurementReport):
        problems.append(f"highdicom takes the report for a {type(report.content).__name__}")
    found = {}
    for group in report.content.get_image_measurement_groups():
        values = found[group.tracking_identifier] = {}
        for measurement in group.get_measurements():
            values[measurement.name.value] = (measurement.value, measurement.unit.value, frames_of(measurement[0]))
        for answer in group.get_qualitative_evaluations():
            values[answer.name.value] = (answer.value.value, "", frames_of(answer[0]))
    return report, found


def check_report(folder):
    run("simulate", scenario, "--out", folder / "in/L2.mp4", "--set", "controls.duration_s=1")
    run("read", folder / "in", "--out", folder / "out", "--dicom")
    objects = folder / "out/dicom"
    for path in (objects / "findings.dcm", objects / "report.dcm", objects / "clips/L2.dcm"):
        validate(path)
    report, found = findings_of(objects / "findings.dcm")
    template = report.ContentTemplateSequence[0]
    if (report.SOPClassUID.name, template.TemplateIdentifier, template.MappingResource) != ("Comprehensive SR Storage", "1500", "DCMR"):
        problems.append(f"the report is a {report.SOPClassUID.name} by template {template.TemplateIdentifier}")
    images = {pydicom.dcmread(path).SOPInstanceUID: path for path in (folder / "in/R1.dcm", objects / "clips/L2.dcm")}
    referred = {item.ReferencedSOPInstanceUID for study in report.CurrentRequestedProcedureEvidenceSequence
                for series in study.ReferencedSeriesSequence for item in series.ReferencedSOPSequence}
    if referred != set(images):
        problems.append("the report refers to other images than there are")
    rows = {row["clip"]: row for row in csv.DictReader((folder / "out/readings.csv").open())}
    truth = {finding["finding"]: finding.get("value") for finding in json.loads((folder / "truth.json").read_text())["findings"]}
    compared = 0
    for label, values in found.items():
        row = rows[label.split(", ")[-1]]
        same = {"pleura_depth": "pleura_depth_rel", "pleura_depth_mm": "pleura_depth_mm", "a_line_count": "a_line_count",
                "b_line_count": "b_line_count", "score": "score", "rib_share": "rib_share"}
        for code, column in same.items():
            if (code in values) != bool(row[column]):
                problems.append(f"{label}: {code} is in one of the reports only")
            elif code in values:
                compared += 1
                if abs(values[code][0] - float(row[column])) > 0.006:
                    problems.append(f"{label}: {code} is {values[code][0]} in the DICOM report, {row[column]} in readings.csv")
        for code in ("a_lines", "b_lines", "white_lung"):
            compared += 1
            if code not in values or values[code][0] != (row[code] or "not_told"):
                problems.append(f"{label}: {code} is {values.get(code)} in the DICOM report, {row[code]} in readings.csv")
        if any(f < 1 or f > int(row["frames"]) for value in values.values() for f in value[2]):
            problems.append(f"{label}: a frame is named that is not there")
        if "pleura_depth_mm" in values and (values["pleura_depth_mm"][1] != "mm" or
                                            abs(values["pleura_depth_mm"][0] - truth["pleura_depth_mm"]) > 1):
            problems.append(f"{label}: a depth of {values['pleura_depth_mm'][:2]}; the simulator's truth is {truth['pleura_depth_mm']} mm")
    if compared < 14 or not any(value[2] for values in found.values() for value in values.values()):
        problems.append(f"only {compared} values compared, or no frames named")
    pdf = pydicom.dcmread(objects / "report.dcm")
    if pdf.EncapsulatedDocument[: pdf.EncapsulatedDocumentLength] != (folder / "out/report.pdf").read_bytes():
        problems.append("the encapsulated PDF differs from report.pdf")
    if len({pydicom.dcmread(path).StudyInstanceUID for path in (*images.values(), objects / "report.dcm", objects / "findings.dcm")}) != 1:
        problems.append("the objects belong to several studies")
    print(f"report: {len(found)} groups, {compared} values read back equal")


with tempfile.TemporaryDirectory() as place:
    folder = pathlib.Path(place)
    (folder / "in").mkdir()
    try:
        subprocess.run(["dciodvfy"], capture_output=True, timeout=10)
    except FileNotFoundError:
        print("skipped: dciodvfy (package dicom3tools) is not there")
        sys.exit(77)
    except subprocess.TimeoutExpired:
        pass
    check_clip(folder)
    check_report(folder)
print("\n".join(problems + [f"{len(problems)} problems"]))
sys.exit(1 if problems else 0)
