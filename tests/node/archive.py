"""Invented DICOM objects and nodes to ask, for check_fetch.py and check_worklist.py: DCMTK's servers as processes."""
import pathlib
import socket
import subprocess
import time

import numpy
import pydicom
from pydicom.dataset import Dataset, FileMetaDataset

ROOT = "1.2.826.0.1.3680043.10.511.77"  # no registered one is needed: nothing of this leaves the test
US_MULTI, CT, SR = "1.2.840.10008.5.1.4.1.1.3.1", "1.2.840.10008.5.1.4.1.1.2", "1.2.840.10008.5.1.4.1.1.88.33"
generator = numpy.random.default_rng(11)


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(port, process=None, seconds=20):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if process and process.poll() is not None:
            raise SystemExit(f"a server ended: {process.args}")
        with socket.socket() as probe:
            probe.settimeout(1)
            if not probe.connect_ex(("127.0.0.1", port)):
                return
        time.sleep(0.05)
    raise SystemExit(f"nobody listens on port {port}")


def made(study, series, number, side=48, frames=3, **words):
    """One object: study number, series number, instance number, and what else it says."""
    data = Dataset()
    data.file_meta = FileMetaDataset()
    data.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
    syntax = words.pop("syntax", data.file_meta.TransferSyntaxUID)
    data.SOPClassUID = words.pop("kind", US_MULTI)
    data.StudyInstanceUID, data.SeriesInstanceUID = f"{ROOT}.{study}", f"{ROOT}.{study}.{series}"
    data.SOPInstanceUID = f"{ROOT}.{study}.{series}.{number}"
    data.file_meta.MediaStorageSOPClassUID, data.file_meta.MediaStorageSOPInstanceUID = data.SOPClassUID, data.SOPInstanceUID
    data.Modality, data.PatientName, data.PatientID = "US", "Invented^Example", "DEMO-1"
    data.StudyDate, data.StudyTime, data.StudyID, data.AccessionNumber, data.ReferringPhysicianName = "20260110", "0915", str(study), f"A{study}", ""
    data.SeriesNumber, data.InstanceNumber, data.PatientBirthDate, data.PatientSex = str(series), str(number), "19500131", "O"
    if data.SOPClassUID == US_MULTI:
        data.NumberOfFrames, data.Rows, data.Columns = frames, side, side
        data.SamplesPerPixel, data.PhotometricInterpretation, data.PixelRepresentation = 1, "MONOCHROME2", 0
        data.BitsAllocated = data.BitsStored = 8
        data.HighBit = 7
        data.PixelData = generator.integers(0, 256, (frames, side, side), numpy.uint8).tobytes()
        if syntax.is_compressed:
            data.compress(syntax, generate_instance_uid=False)
    for name, value in words.items():
        setattr(data, name, value)
    return data


def save(folder, objects):
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for data in objects:
        paths.append(folder / f"{data.SOPInstanceUID}.dcm")
        data.save_as(paths[-1], enforce_file_format=True)
    return paths


class Archive:
    """DCMTK's dcmqrscp with `paths` in it; `ours` is the port it sends to as STRAND."""

    def __init__(self, folder, paths, ours, *options):
        self.port = free_port()
        base = folder / "ARCHIVE"
        base.mkdir(parents=True)
        config = folder / "dcmqrscp.cfg"
        config.write_text(f'NetworkTCPPort = {self.port}\nMaxPDUSize = 16384\nMaxAssociations = 16\nHostTable BEGIN\n'
                          f'strand = (STRAND, 127.0.0.1, {ours})\nHostTable END\nVendorTable BEGIN\nVendorTable END\nAETable BEGIN\n'
                          f'ARCHIVE {base} RW (200, 1024mb) ANY\nAETable END\n')
        kept = []
        for path in paths:
            kept.append(base / pathlib.Path(path).name)
            kept[-1].write_bytes(pathlib.Path(path).read_bytes())
        subprocess.run(["dcmqridx", str(base), *map(str, kept)], check=True, capture_output=True)
        self.process = subprocess.Popen(["dcmqrscp", "-c", str(config), *options], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        wait_for(self.port, self.process)
        self.name = f"ARCHIVE@127.0.0.1:{self.port}"

    def stop(self):
        self.process.kill()
        self.process.wait()
