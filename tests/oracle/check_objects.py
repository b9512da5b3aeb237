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


def images_of(item):
    """Image references of a finding: its own, and those that its coordinates are selected from."""
    for child in item.get("ContentSequence", []):
        if child.ValueType == "IMAGE":
            yield child
        elif child.ValueType == "SCOORD":
            yield from images_of(child)


def frames_of(item):
    return [int(frame) for image in images_of(item)
            for frame in numpy.atleast_1d(image.ReferencedSOPSequence[0].get("ReferencedFrameNumber", []))]


def places_of(path):
    """{clip label: {concept code: [(graphic type, points)]}} of the coordinates, straight from the content tree."""
    found = {}

    def walk(item, label):
        for child in item.get("ContentSequence", []):
            code = child.ConceptNameCodeSequence[0] if "ConceptNameCodeSequence" in child else {}
            name = code.get("CodeValue") or code.get("LongCodeValue", "")  # long ones have more than 16 letters
            if name == "125007":
                label = next(own.TextValue for own in child.ContentSequence
                             if own.ValueType == "TEXT" and own.ConceptNameCodeSequence[0].get("CodeValue") == "112039")
            for own in child.get("ContentSequence", []):
                if own.ValueType == "SCOORD":
                    if own.RelationshipType != "INFERRED FROM" or own.ContentSequence[0].RelationshipType != "SELECTED FROM":
                        problems.append(f"{label}: coordinates of {name} hang by {own.RelationshipType}")
                    points = numpy.reshape(numpy.asarray(own.GraphicData, float), (-1, 2))
                    found.setdefault(label, {}).setdefault(name, []).append((own.GraphicType, points))
            walk(child, label)

    walk(pydicom.dcmread(path), "")
    return found


def middle_of(findings):
    """Depth of the simulated pleural line in the middle beam, mm."""
    by = {finding["finding"]: finding for finding in findings}
    beams, depths = numpy.transpose(by["pleura_depth"]["evidence"][0]["line"])
    return numpy.interp(0.5, beams, depths) * by["pleura_depth_mm"]["value"] / by["pleura_depth"]["value"]


def check_places(path, clips, truth_mm):
    """Places lie in the picture, and the pleural line in the middle beam as deep as the simulator put it there."""
    count = 0
    for label, places in places_of(path).items():
        clip = pydicom.dcmread(clips[label.split(", ")[-1]])
        for name, own in places.items():
            for kind, points in own:
                count += 1
                if (kind == "POINT") != (len(points) == 1) or points.min() < 0 or (points > (clip.Columns, clip.Rows)).any():
                    problems.append(f"{label}: {name} has a {kind} of {len(points)} points, up to {points.max(0)}")
        if "SequenceOfUltrasoundRegions" not in clip:  # no scale, no millimetres
            continue
        region = clip.SequenceOfUltrasoundRegions[0]
        if "pleura_depth_mm" not in places:
            problems.append(f"{label}: no place of the pleural line")
            continue
        points = numpy.concatenate([points for _, points in places["pleura_depth_mm"]])
        middle = points[numpy.abs(points[:, 0] - (region.RegionLocationMinX0 + region.ReferencePixelX0 + 0.5)).argmin()]
        deep = 10 * region.PhysicalDeltaY * (middle[1] - (region.RegionLocationMinY0 + region.ReferencePixelY0 + 0.5))
        print(f"{label}: pleural line drawn {deep:.2f} mm deep, simulated {truth_mm:.2f} mm")
        if abs(deep - truth_mm) > 0.5:
            problems.append(f"{label}: the pleural line is drawn {deep:.2f} mm deep")
    print(f"places: {count}")
    if count < 6:
        problems.append(f"only {count} places in the picture are given")


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


def check_annotated(folder, sources):
    """Each clip with its findings drawn in: a colour multi-frame image that refers to its clip and shows it wherever nothing is drawn."""
    for name, source in sources.items():
        validate(folder / f"{name}.dcm")
        drawn, clip = pydicom.dcmread(folder / f"{name}.dcm"), pydicom.dcmread(source)
        if drawn.SourceImageSequence[0].ReferencedSOPInstanceUID != clip.SOPInstanceUID or drawn.StudyInstanceUID != clip.StudyInstanceUID:
            problems.append(f"{name}: the annotated clip does not refer to its clip")
        if drawn.ImageType[:2] != ["DERIVED", "SECONDARY"] or drawn.PhotometricInterpretation != "RGB" or drawn.NumberOfFrames != clip.NumberOfFrames:
            problems.append(f"{name}: {drawn.ImageType}, {drawn.PhotometricInterpretation}, {drawn.NumberOfFrames} frames")
        picture = drawn.pixel_array[:, :clip.Rows, :clip.Columns].astype(int)
        plain = numpy.abs(picture - clip.pixel_array[..., None]).max(-1) <= 1
        colour = picture.max(-1) - picture.min(-1) > 24
        print(f"annotated {name}: {plain.mean():.3f} of the pixels as in the clip, {colour.mean():.4f} in colour")
        if plain.mean() < 0.85 or not 0.0005 < colour.mean() < 0.15:
            problems.append(f"{name}: the annotated clip does not show its clip with something drawn on it")


def check_report(folder):
    run("simulate", scenario, "--out", folder / "in/L2.mp4", "--set", "controls.duration_s=1")
    run("read", folder / "in", "--out", folder / "out", "--dicom", "--annotated-clips")
    objects = folder / "out/dicom"
    for path in (objects / "findings.dcm", objects / "report.dcm", objects / "clips/L2.dcm"):
        validate(path)
    check_annotated(objects / "annotated", {"R1": folder / "in/R1.dcm", "L2": objects / "clips/L2.dcm"})
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
    check_places(objects / "findings.dcm", {"R1.dcm": folder / "in/R1.dcm", "L2.mp4": objects / "clips/L2.dcm"},
                 middle_of(json.loads((folder / "truth.json").read_text())["findings"]))
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
