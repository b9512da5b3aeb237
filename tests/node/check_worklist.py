"""`strandline worklist` against DCMTK's wlmscpfs and pynetdicom's server: what is planned as text and JSON, in several character sets, a
folder prepared from it, and the report and DICOM objects of the examination read from there, which carry patient, accession number and study
while the tables and messages do not.

    check_worklist.py STRANDLINE SCENARIO

All people are invented."""
import datetime
import json
import pathlib
import re
import subprocess
import sys
import tempfile

try:
    import pynetdicom  # noqa: F401
except ImportError:
    print("skipped: pynetdicom (tests/requirements.txt) is not there")
    sys.exit(77)
import pydicom
from pydicom.dataset import Dataset, FileMetaDataset

from archive import ROOT, free_port, made, wait_for
from other_nodes import Node

strandline, scenario = sys.argv[1:3]
problems = []
today = datetime.date.today().strftime("%Y%m%d")
NAMES = ("Invented", "Example", "Müller", "山田", "DEMO-1", "ACC-1")


def planned(number, name="Invented^Example", sets=None, date=today, time="0900", modality="US", patient="DEMO-1", **words):
    """One scheduled procedure step (PS3.4 table K.6-1)."""
    step = Dataset()
    step.ScheduledStationAETitle, step.ScheduledProcedureStepStartDate, step.ScheduledProcedureStepStartTime = "CART1", date, time
    step.Modality, step.ScheduledPerformingPhysicianName, step.ScheduledProcedureStepDescription = modality, "", "Lung ultrasound, bedside"
    step.ScheduledProcedureStepID, step.ScheduledStationName, step.ScheduledProcedureStepLocation = f"S{number}", "", "ICU"
    data = Dataset()
    if sets:
        data.SpecificCharacterSet = sets
    data.PatientName, data.PatientID, data.PatientBirthDate, data.PatientSex = name, patient, "19500131", "F"
    data.AccessionNumber, data.ReferringPhysicianName, data.StudyInstanceUID = f"ACC-{number}", "Referring^Example", f"{ROOT}.9{number}"
    data.RequestedProcedureID, data.RequestedProcedureDescription, data.RequestingPhysician = f"RP{number}", "Ultrasound of the lung", ""
    data.AdmissionID, data.PatientWeight, data.MedicalAlerts, data.Allergies, data.PregnancyStatus = "", "60", "", "", 4
    data.ScheduledProcedureStepSequence = [step]
    for key, value in words.items():
        setattr(data, key, value)
    return data


def save(folder, steps):
    folder.mkdir(parents=True)
    (folder / "lockfile").write_text("")
    for i, data in enumerate(steps):
        data.file_meta = FileMetaDataset()
        data.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
        data.file_meta.MediaStorageSOPClassUID, data.file_meta.MediaStorageSOPInstanceUID = "1.2.276.0.7230010.3.1.0.1", f"{ROOT}.8{i}"
        data.save_as(folder / f"{i}.wl", enforce_file_format=True)


def ask(name, *words):
    done = subprocess.run([strandline, "worklist", "--from", name, "--title", "STRAND", "--timeout", "5", *map(str, words)], capture_output=True,
                          text=True, timeout=60)
    if any(one in done.stderr for one in NAMES):
        problems.append(f"worklist {words} names a patient in its error: {done.stderr}")
    return done


def listed(name, *words):
    done = ask(name, "--json", *words)
    if done.returncode:
        problems.append(f"worklist {words}: {done.stderr}")
        return []
    return json.loads(done.stdout)["planned"]


def check_dcmtk(base):
    steps = [planned(1), planned(2, "Müller^Jörg", "ISO_IR 100", time="0830"), planned(3, "Yamada^Tarou=山田^太郎", ["", "ISO 2022 IR 87"], time="1000"),
             planned(4, date="20260101"), planned(5, modality="CT", time="0700"), planned(6, "Ωmega^Ærø", "ISO_IR 192", time="1100")]
    save(base / "lists" / "LIST", steps)
    port = free_port()
    server = subprocess.Popen(["wlmscpfs", "-csk", "-dfp", str(base / "lists"), str(port)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_for(port, server)
        name = f"LIST@127.0.0.1:{port}"
        got = listed(name)
        if [(one["accession"], one["name"]) for one in got] != [("ACC-2", "Müller^Jörg"), ("ACC-1", "Invented^Example"),
                                                                ("ACC-3", "Yamada^Tarou=山田^太郎"), ("ACC-6", "Ωmega^Ærø")]:
            problems.append(f"what is planned today: {got}")
        first = got[1] if len(got) > 1 else {}
        if (first.get("study"), first.get("born"), first.get("procedure"), first.get("step"), first.get("station"), first.get("number")) != (
                f"{ROOT}.91", "19500131", "Ultrasound of the lung", "Lung ultrasound, bedside", "CART1", "RP1"):
            problems.append(f"an order came with other content: {first}")
        if [one["accession"] for one in listed(name, "--date", "any", "--modality", "any")] != ["ACC-4", "ACC-5", "ACC-2", "ACC-1", "ACC-3", "ACC-6"]:
            problems.append("the whole list")
        if [one["accession"] for one in listed(name, "--accession", "ACC-3")] != ["ACC-3"] or listed(name, "--patient", "NOBODY") or \
                [one["accession"] for one in listed(name, "--date", "20251231-20260102")] != ["ACC-4"]:
            problems.append("the list narrowed down")
        text = ask(name).stdout
        if not re.search(r"2  20\d\d-\d\d-\d\d 09:00  Invented\^Example, born 1950-01-31, ID DEMO-1\n +Ultrasound of the lung, accession ACC-1, for CART1", text):
            problems.append(f"the list as text: {text}")
        check_prepared(base, name)
    finally:
        server.kill()
        server.wait()


def check_prepared(base, name):
    exam = base / "exam"
    done = ask(name, "--accession", "ACC-1", "--pick", 1, "--out", exam, "--protocol", "12-zones")
    if done.returncode or "Invented^Example" not in done.stdout:
        return problems.append(f"preparing: {done.stdout}{done.stderr}")
    info = json.loads((exam / "exam-info.json").read_text())
    if info["patient"] != {"name": "Invented^Example", "id": "DEMO-1", "born": "19500131", "sex": "F"} or info["order"]["study"] != f"{ROOT}.91" or \
            info["protocol"] != "12-zones" or info["date"].replace("-", "") != today or "DEMO" in info["person"]:
        problems.append(f"exam-info.json: {info}")
    if exam.stat().st_mode & 0o77 or (exam / "exam-info.json").stat().st_mode & 0o77:
        problems.append("the examination's folder is open to others")
    if len((exam / "exam.csv").read_text().splitlines()) != 13:
        problems.append("exam.csv has not the zones of the scheme")
    before = (exam / "exam-info.json").read_bytes()
    if ask(name, "--accession", "ACC-2", "--pick", 1, "--out", exam).returncode != 2 or (exam / "exam-info.json").read_bytes() != before:
        problems.append("an examination that is there is prepared over")
    if ask(name, "--pick", 99, "--out", base / "none").returncode != 2 or (base / "none").exists():
        problems.append("a number that is not in the list")
    subprocess.run([strandline, "simulate", scenario, "--out", exam / "R1.mp4", "--set", "controls.duration_s=1"], check=True, capture_output=True)
    read = subprocess.run([strandline, "read", exam, "--out", base / "report", "--dicom", "--keep", "--store", base / "store"], capture_output=True,
                          text=True, stdin=subprocess.DEVNULL)
    if read.returncode:
        return problems.append(f"reading: {read.stderr}")
    if any(one in read.stdout + read.stderr for one in NAMES) or "exam.csv" in read.stderr:
        problems.append(f"reading names the patient or complains of waiting zones: {read.stdout}{read.stderr}")
    for path in ("findings.dcm", "report.dcm", "clips/R1.dcm"):
        data = pydicom.dcmread(base / "report/dicom" / path)
        if (data.PatientName, data.PatientID, data.PatientBirthDate, data.PatientSex, data.AccessionNumber, data.StudyInstanceUID, data.StudyID) != (
                "Invented^Example", "DEMO-1", "19500131", "F", "ACC-1", f"{ROOT}.91", "RP1"):
            problems.append(f"{path} does not carry the order: {data.PatientName}, {data.PatientID}, {data.AccessionNumber}, {data.StudyInstanceUID}")
    text = subprocess.run(["pdftotext", base / "report/report.pdf", "-"], capture_output=True, text=True).stdout
    if not re.search(r"Invented, Example, born\s+1950-01-31,\s+ID\s+DEMO-1,\s+order\s+ACC-1", text):
        problems.append(f"the report does not say whose it is: {text[:400]}")
    for path in ("exam.json", "readings.csv", "audit.csv", "report.txt", "fhir.json"):
        if any(one in (base / "report" / path).read_text() for one in NAMES):
            problems.append(f"{path} names the patient")
    moved = base / "moved"  # a clip that is of another patient than the order
    moved.mkdir()
    (moved / "exam-info.json").write_bytes(before)
    clip = pydicom.dcmread(base / "report/dicom/clips/R1.dcm")
    clip.PatientID = "DEMO-9"
    clip.save_as(moved / "R1.dcm")
    read = subprocess.run([strandline, "read", moved, "--out", base / "wrong", "--dicom"], capture_output=True, text=True, stdin=subprocess.DEVNULL)
    if read.returncode != 1 or "of another patient than exam-info.json" not in read.stderr:
        problems.append(f"clips of another patient than the order: {read.returncode} {read.stderr}")


def check_unlike(base):
    node = Node([made(1, 1, 0)], steps=[planned(i) for i in range(30)])
    if len(listed(node.name)) != 30 or len(listed(node.name, "--most", "7")) != 7 or listed(node.name, "--date", "20200101"):
        problems.append("pynetdicom's worklist")
    node.stop()
    empty = Dataset()
    empty.PatientName = "Invented^Example"
    strange = planned(7, StudyInstanceUID="1.2.3", PatientBirthDate="someday", PatientSex="")
    strange.ScheduledProcedureStepSequence[0].Modality = ""
    node = Node([made(1, 1, 0)], steps=[empty, strange])
    got = listed(node.name)
    if len(got) != 2:
        problems.append(f"answers that lack what they should have: {got}")
    done = ask(node.name, "--pick", 2, "--out", base / "strange")
    if done.returncode:
        problems.append(f"an answer that lacks what it should have cannot be prepared: {done.stderr}")
    node.stop()
    node = Node([made(1, 1, 0)])
    if ask(node.name).returncode != 1 or "does not offer a worklist" not in ask(node.name).stderr:
        problems.append("a node without a worklist")
    node.stop()
    for words in (["--pick", "1"], ["--out", base / "x"], ["--date", "today"], ["--protocol", "9"], ["--pick", "0", "--out", base / "x"]):
        if ask("A@127.0.0.1:1", *words).returncode != 2:
            problems.append(f"wrong words {words}")


with tempfile.TemporaryDirectory() as folder:
    check_dcmtk(pathlib.Path(folder))
    check_unlike(pathlib.Path(folder))

for problem in problems:
    print("wrong:", problem)
print(f"worklist: {'all as it should be' if not problems else str(len(problems)) + ' wrong'}")
sys.exit(1 if problems else 0)
