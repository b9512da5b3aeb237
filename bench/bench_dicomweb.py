"""Searching and giving out objects by the web (`strandline serve`), beside doing the same from the files with pydicom: what one request costs
the server in processor time, and how many times less that is. Invented objects.

    bench_dicomweb.py STRANDLINE [STUDIES [OBJECTS_A_STUDY]]"""
import os
import pathlib
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

import numpy
import pydicom
import requests
from pydicom.dataset import Dataset, FileMetaDataset

strandline = sys.argv[1]
studies, objects = (int(word) for word in (sys.argv[2:4] + ["100", "10"][len(sys.argv) - 2:]))
work = pathlib.Path(tempfile.mkdtemp(prefix="strandline-bench-"))
noise = numpy.random.default_rng(3).integers(0, 256, (20, 240, 320), numpy.uint8).tobytes()


def made(study, number):
    data = Dataset()
    data.file_meta = FileMetaDataset()
    data.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
    data.SOPClassUID, data.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.3.1", f"1.2.3.4711.{study}.{number}"
    data.StudyInstanceUID, data.SeriesInstanceUID = f"1.2.3.4711.78.{study}", f"1.2.3.4711.79.{study}.{number % 2}"
    data.Modality, data.PatientName, data.PatientID = "US", f"Invented^Number {study}", f"D{study}"
    data.StudyDate, data.StudyTime = f"2031{1 + study // 28 % 12:02}{1 + study % 28:02}", "101500"
    data.InstanceNumber, data.SeriesNumber, data.NumberOfFrames, data.FrameTime = number, number % 2, 20, 40
    data.Rows, data.Columns, data.SamplesPerPixel, data.PhotometricInterpretation, data.PixelRepresentation = 240, 320, 1, "MONOCHROME2", 0
    data.BitsAllocated, data.BitsStored, data.HighBit = 8, 8, 7
    data.PixelData = noise
    path = work / "one.dcm"
    data.save_as(path, enforce_file_format=True)
    return path.read_bytes()


def spent(process):
    fields = pathlib.Path(f"/proc/{process.pid}/stat").read_text().rsplit(") ", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def cost(process, what, times):
    """Processor seconds of the server and seconds on the clock, a request."""
    before, start = spent(process), time.perf_counter()
    for _ in range(times):
        what()
    return (spent(process) - before) / times, (time.perf_counter() - start) / times


def own(what, times=1):
    start = time.process_time()
    for _ in range(times):
        what()
    return (time.process_time() - start) / times


try:
    (work / "place").mkdir()
    server = subprocess.Popen([strandline, "serve", str(work / "place"), "--store", str(work / "store")], stdout=subprocess.PIPE, text=True)
    for line in server.stdout:
        if line.startswith("http"):
            break
    url, session = line.strip() + "dicom", requests.Session()
    start, bytes_in = time.perf_counter(), 0
    for study in range(studies):
        body = b"".join(b"--x\r\nContent-Type: application/dicom\r\n\r\n" + made(study, number) + b"\r\n" for number in range(objects)) + b"--x--"
        bytes_in += len(body)
        session.post(url + "/studies", data=body, headers={"Content-Type": 'multipart/related; type="application/dicom"; boundary=x'}).raise_for_status()
    wall = time.perf_counter() - start
    print(f"stored: {studies * objects} objects, {bytes_in / 1e6:.0f} MB in {wall:.1f} s, {spent(server):.2f} s of processor, each on the disk before it was answered")
    files = list((work / "store" / "files").rglob("*/*"))

    def scan():
        return [(one.StudyInstanceUID, str(one.PatientName), one.StudyDate) for one in (pydicom.dcmread(path, stop_before_pixels=True) for path in files)]

    by_hand = own(scan)
    for name, question in (("all studies", "/studies"), ("one study of a date range", "/studies?StudyDate=20310103-20310103&limit=1"), ("series of a study", "/studies/1.2.3.4711.78.1/series"),
                           ("instances of a study", "/studies/1.2.3.4711.78.1/instances"), ("all instances", "/instances")):
        processor, clock = cost(server, lambda: session.get(url + question).raise_for_status(), 20)
        print(f"{name}: {1e3 * processor:.1f} ms of processor, {1e3 * clock:.1f} ms on the clock; {by_hand / max(processor, 1e-4):.0f} times less than opening every file with pydicom")
    one = "/studies/1.2.3.4711.78.1/series/1.2.3.4711.79.1.0/instances/1.2.3.4711.1.0"
    path = next(path for path in files if pydicom.dcmread(path, stop_before_pixels=True).SOPInstanceUID == "1.2.3.4711.1.0")
    processor, clock = cost(server, lambda: session.get(url + one, headers={"Accept": 'multipart/related; type="application/dicom"; transfer-syntax=*'}).content, 50)
    print(f"an object of 1.5 MB: {1e3 * processor:.1f} ms of processor, {1e3 * clock:.1f} ms on the clock; copying the file {1e3 * own(lambda: shutil.copyfile(path, work / 'copy'), 50):.1f} ms")
    peak = re.search(r"VmHWM:\s+(\d+) kB", pathlib.Path(f"/proc/{server.pid}/status").read_text())[1]
    print(f"most memory of the server: {int(peak) / 1024:.0f} MB")
    server.send_signal(signal.SIGTERM)
    server.wait(60)
finally:
    shutil.rmtree(work, ignore_errors=True)
