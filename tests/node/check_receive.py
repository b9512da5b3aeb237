"""`strandline receive` under fault, with DCMTK's storescu and echoscu as senders: killed at random moments, twenty associations at
once, malformed and half-open connections, no room. Nothing acknowledged may be lost, nothing be there twice.

    check_receive.py STRANDLINE [KILLS]      # dozens in the suite; 1000 by hand

Objects are invented: noise under invented names."""
import contextlib
import pathlib
import random
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time

import numpy
import pydicom
from pydicom.dataset import Dataset, FileMetaDataset

from certificates import issue

strandline, kills = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 24
problems = []
generator = numpy.random.default_rng(5)
chance = random.Random(5)


def made(folder, number, side=160, frames=4):
    data = Dataset()
    data.file_meta = FileMetaDataset()
    data.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
    data.SOPClassUID, data.SOPInstanceUID = "1.2.840.10008.5.1.4.1.1.3.1", f"1.2.3.4711.77.{number}"
    data.StudyInstanceUID, data.SeriesInstanceUID = f"1.2.3.4711.78.{number % 3}", "1.2.3.4711.79"
    data.file_meta.MediaStorageSOPClassUID, data.file_meta.MediaStorageSOPInstanceUID = data.SOPClassUID, data.SOPInstanceUID
    data.Modality, data.PatientName, data.PatientID, data.NumberOfFrames = "US", "Invented^Example", "DEMO", frames
    data.Rows = data.Columns = side
    data.SamplesPerPixel, data.PhotometricInterpretation, data.PixelRepresentation = 1, "MONOCHROME2", 0
    data.BitsAllocated = data.BitsStored = 8
    data.HighBit = 7
    data.PixelData = generator.integers(0, 256, (frames, side, side), numpy.uint8).tobytes()
    path = folder / f"{number}.dcm"
    data.save_as(path, enforce_file_format=True)
    return path


into = "--store"  # or "--out": where the objects are kept


class Receiver:
    def __init__(self, box, *options, port=0):
        self.process = subprocess.Popen([strandline, "receive", "--port", str(port), "--title", "WARD", into, str(box),
                                         "--keep-free-mb", "1", *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        line = self.process.stdout.readline()
        hit = re.search(r"port (\d+)", line)
        if not hit:
            sys.exit(f"the receiver did not start: {line}{self.process.stderr.read()}")
        self.port = int(hit[1])

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.communicate()

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        try:
            self.process.communicate(timeout=30)
        except subprocess.TimeoutExpired:
            problems.append("the receiver does not end when it is told to")
            self.kill()
        if self.process.returncode not in (0, -9):
            problems.append(f"the receiver ended with {self.process.returncode}")


def send(port, paths, *options):
    return subprocess.Popen(["storescu", "-v", "-to", "20", "-aec", "WARD", *options, "127.0.0.1", str(port), *map(str, paths)],
                            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)


def acknowledged(output):
    """Files whose sending was answered with success."""
    done, current = [], None
    for line in output.splitlines():
        if hit := re.search(r"Sending file: (.*)", line):
            current = hit[1].strip()
        elif "Received Store Response (Success)" in line and current:
            done.append(current)
    return done


def kept(box):
    """Files of the objects that are kept; in a store they must be its records, one each, and the store be whole."""
    if into == "--out":
        return [path for path in box.rglob("*.dcm")]
    if not (box / "store.db").exists():
        return []
    whole = subprocess.run([strandline, "store", "check", "--store", str(box)], capture_output=True, text=True)
    if whole.returncode:
        problems.append(f"the store is not whole: {whole.stdout}{whole.stderr}")
    with contextlib.closing(sqlite3.connect(f"file:{box}/store.db?mode=ro", uri=True)) as base:
        return [box / "files" / row[0][:2] / row[0] for row in base.execute("SELECT hash FROM object ORDER BY id")]


def leftovers(box):
    parts = box / (".arriving" if into == "--out" else "arriving")
    return list(parts.iterdir()) if parts.exists() else []


def compare(box, paths, what):
    """Each of `paths` is there once, with its pixels."""
    there = {}
    for path in kept(box):
        data = pydicom.dcmread(path)
        there.setdefault(data.SOPInstanceUID, []).append(data)
    for path in paths:
        sent = pydicom.dcmread(path)
        got = there.get(sent.SOPInstanceUID, [])
        if len(got) != 1:
            problems.append(f"{what}: {path} is there {len(got)} times")
        elif got[0].PixelData != sent.PixelData or got[0].PatientName != sent.PatientName:
            problems.append(f"{what}: {path} came with other content")


def check_titles(box, paths):
    receiver = Receiver(box, "--from", "CART1,CART2")
    echo = subprocess.run(["echoscu", "-aet", "CART1", "-aec", "WARD", "127.0.0.1", str(receiver.port)], capture_output=True)
    other = subprocess.run(["echoscu", "-aet", "CART1", "-aec", "OTHER", "127.0.0.1", str(receiver.port)], capture_output=True)
    stranger = subprocess.run(["echoscu", "-aet", "STRANGER", "-aec", "WARD", "127.0.0.1", str(receiver.port)], capture_output=True)
    if echo.returncode or not other.returncode or not stranger.returncode:
        problems.append(f"titles: {echo.returncode} {other.returncode} {stranger.returncode}")
    receiver.stop()
    receiver = Receiver(box, "--peers", "192.0.2.1")
    if not subprocess.run(["echoscu", "-to", "5", "-ta", "5", "-aec", "WARD", "127.0.0.1", str(receiver.port)], capture_output=True).returncode:
        problems.append("an address that is not listed was served")
    receiver.stop()


def check_kills(box, paths):
    safe, cut, port = set(), 0, 0
    for _ in range(kills):
        receiver = Receiver(box, port=port)
        port = receiver.port
        order = chance.sample(paths, len(paths))
        sender = send(port, order)
        time.sleep(chance.uniform(0.0, 0.15))
        receiver.kill()
        output = sender.communicate(timeout=60)[0]
        done = acknowledged(output)
        cut += len(done) < len(paths)
        safe.update(done)
    compare(box, sorted(safe), "killed receiver")
    time.sleep(0.3)  # its associations end a moment after it
    receiver = Receiver(box)
    if leftovers(box):
        problems.append("what broke off was not cleared at the start")
    rest = send(receiver.port, paths)
    if len(acknowledged(rest.communicate(timeout=60)[0])) != len(paths):
        problems.append("after the kills the receiver does not take everything")
    receiver.stop()
    compare(box, paths, "after the kills")
    print(f"{kills} kills, {cut} of them before the end of a sending, {len(safe)} of {len(paths)} objects acknowledged on the way, "
          f"none lost, none twice" if not problems else "kills: see below")


def check_crowd(box, folder):
    receiver = Receiver(box, "--associations", "24")
    paths = [made(folder, 100 + i) for i in range(20)]
    senders = [send(receiver.port, [path, paths[0]]) for path in paths]  # the first one twenty times at once
    said = [sender.communicate(timeout=120)[0] for sender in senders]
    if any(len(acknowledged(text)) != 2 for text in said):
        problems.append("of twenty associations at once some were not served")
    receiver.stop()
    compare(box, paths, "twenty at once")


def check_malformed(box, paths):
    receiver = Receiver(box)
    half_open = [socket.create_connection(("127.0.0.1", receiver.port)) for _ in range(5)]
    for message in (b"GET / HTTP/1.1\r\n\r\n", b"\x01\x00" + b"\xff" * 4000, b"\x01\x00\x00\x00\x00\x44" + b"\0" * 30,
                    bytes(generator.integers(0, 256, 3000, numpy.uint8)), b"\x04\x00\x00\x00\x00\x08" + b"\0" * 8,
                    b"\x01\x00\x7f\xff\xff\xff\x00\x01"):
        with socket.create_connection(("127.0.0.1", receiver.port)) as wire:
            wire.sendall(message)
            wire.shutdown(socket.SHUT_WR)
    sender = send(receiver.port, paths[:3])
    if len(acknowledged(sender.communicate(timeout=60)[0])) != 3:
        problems.append("after malformed and half-open connections nobody is served")
    for wire in half_open:
        wire.close()
    receiver.stop()
    compare(box, paths[:3], "malformed")


def check_room(box, folder, paths):
    large, small = made(folder, 900, 800, 4), made(folder, 901)
    receiver = Receiver(box, "--most-mb", "1")
    text = send(receiver.port, [large, small], "-nh").communicate(timeout=60)[0]
    if acknowledged(text) != [str(small)] or "OutOfResources" not in text.replace(" ", ""):
        problems.append(f"an object over the limit: {text}")
    receiver.stop()
    receiver = Receiver(box, "--keep-free-mb", str(1 << 29))
    text = send(receiver.port, paths[:1], "-nh").communicate(timeout=60)[0]
    if acknowledged(text) or "OutOfResources" not in text.replace(" ", ""):
        problems.append(f"no room: {text}")
    receiver.stop()
    if [pydicom.dcmread(path).SOPInstanceUID for path in kept(box)] != ["1.2.3.4711.77.901"]:
        problems.append(f"no room: {len(kept(box))} objects are there instead of 1")


def check_full_disk(folder, paths):
    """A disk that really fills up, where this machine lets a test mount one."""
    disk = folder / "disk"
    disk.mkdir(parents=True)
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=700k", "tmpfs", str(disk)], capture_output=True).returncode:
        return print("a real full disk is not tried: no right to mount one")
    try:
        receiver = Receiver(disk / "box", "--keep-free-mb", "0")
        text = send(receiver.port, paths[:8], "-nh").communicate(timeout=60)[0]
        receiver.stop()
        done = acknowledged(text)
        if not done or len(done) == 8 or "OutOfResources" not in text.replace(" ", ""):
            problems.append(f"full disk: {len(done)} of 8 acknowledged: {text}")
        compare(disk / "box", done, "full disk")
        if len(kept(disk / "box")) != len(done):
            problems.append("full disk: other objects are there than were acknowledged")
    finally:
        subprocess.run(["umount", str(disk)], check=False)


def check_twins(box, folder):
    path = made(folder, 950)
    receiver = Receiver(box)
    for _ in range(2):
        send(receiver.port, [path]).communicate(timeout=60)
    if len(kept(box)) != 1:
        problems.append(f"the same object sent twice is there {len(kept(box))} times")
    changed = pydicom.dcmread(path)
    changed.PatientID = "DEMO2"
    changed.save_as(path)
    for _ in range(2):
        if len(acknowledged(send(receiver.port, [path]).communicate(timeout=60)[0])) != 1:
            problems.append("another object under a known UID is not taken")
    receiver.stop()
    if {pydicom.dcmread(one).PatientID for one in kept(box)} != {"DEMO", "DEMO2"} or len(kept(box)) != 2:
        problems.append("another object under a known UID was not kept beside it, once")


def check_tls(box, folder, paths):
    """Over TLS by the BCP 195 profile (PS3.15 B.9), DCMTK's storescu as the caller; OpenSSL's s_client for the protocol."""
    house = issue(folder, "house")
    ward, cart = issue(folder, "ward", house), issue(folder, "cart", house)
    stranger = issue(folder, "stranger")
    own = ["--certificate", str(ward[1]), "--key", str(ward[0]), "--trust", str(house[1])]
    trusting = ["+cf", str(house[1])]
    receiver = Receiver(box, *own)
    if len(acknowledged(send(receiver.port, paths, "+tls", str(cart[0]), str(cart[1]), *trusting).communicate(timeout=60)[0])) != len(paths):
        problems.append("TLS: who is trusted is not served")
    for name, options in {"a stranger": ["+tls", str(stranger[0]), str(stranger[1]), *trusting], "no certificate": ["+tla", *trusting],
                          "no TLS": []}.items():
        if acknowledged(send(receiver.port, paths[:1], *options).communicate(timeout=60)[0]):
            problems.append(f"TLS: {name} is served")
    for version, wanted in {"-tls1_1": False, "-tls1_2": True, "-tls1_3": True}.items():
        said = subprocess.run(["openssl", "s_client", "-connect", f"127.0.0.1:{receiver.port}", version, "-cipher", "DEFAULT@SECLEVEL=0", "-cert", str(cart[1]),
                               "-key", str(cart[0])], input=b"", capture_output=True, timeout=30).stdout
        if (b"BEGIN CERTIFICATE" in said) != wanted:
            problems.append(f"TLS: {version} is {'not ' if wanted else ''}spoken")
    receiver.stop()
    compare(box, paths, "TLS")
    receiver = Receiver(box, *own, "--anyone")
    if len(acknowledged(send(receiver.port, paths[:1], "+tla", *trusting).communicate(timeout=60)[0])) != 1:
        problems.append("TLS: with --anyone who has no certificate is not served")
    receiver.stop()
    junk = folder / "junk.pem"
    junk.write_text("no certificate")
    for wrong, word in {("--certificate", str(ward[1])): "key", ("--certificate", str(ward[1]), "--key", str(cart[0]), "--trust", str(house[1])): "does not belong",
                        ("--certificate", str(junk), "--key", str(ward[0]), "--trust", str(house[1])): "no certificate",
                        ("--certificate", str(ward[1]), "--key", str(ward[0])): "trusted",
                        ("--certificate", "absent.pem", "--key", str(ward[0]), "--anyone"): "cannot be read"}.items():
        ended = subprocess.run([strandline, "receive", "--port", "0", "--title", "WARD", "--store", str(box), *wrong], capture_output=True, text=True, timeout=30)
        if ended.returncode not in (1, 2) or word not in ended.stderr:
            problems.append(f"TLS: {wrong[0:2]} is not refused with a sentence: {ended.returncode} {ended.stderr}")


if not shutil.which("storescu"):
    print("skipped: storescu (package dcmtk) is not there")
    sys.exit(77)
with tempfile.TemporaryDirectory() as place:
    folder = pathlib.Path(place)
    objects = [made(folder, number) for number in range(10)]
    for into in ("--store", "--out"):
        where = folder / into.strip("-")
        print(f"into {'the store' if into == '--store' else 'a folder'}:")
        check_titles(where / "titles", objects)
        check_kills(where / "kills", objects)
        check_crowd(where / "crowd", folder)
        check_malformed(where / "malformed", objects)
        check_room(where / "room", folder, objects)
        check_full_disk(where, objects)
        check_twins(where / "twins", folder)
        if into == "--store":
            check_tls(where / "tls", folder, objects)
print("\n".join(problems + [f"{len(problems)} problems"]))
sys.exit(1 if problems else 0)
