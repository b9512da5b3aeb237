"""Storage commitment (PS3.4 J) of `strandline receive`, with pynetdicom as the sender that asks and is told; and every transfer
syntax that it takes, pynetdicom as the sender.

    check_commitment.py STRANDLINE

Objects are invented: noise under invented names."""
import pathlib
import queue
import re
import sqlite3
import ssl
import subprocess
import sys
import tempfile
import threading
import time

import numpy
import pydicom
import pydicom.misc
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.uid import DeflatedExplicitVRLittleEndian, ExplicitVRLittleEndian, ImplicitVRLittleEndian, generate_uid

try:
    import pynetdicom
    from pynetdicom import AE, build_role, evt
    from pynetdicom.sop_class import StorageCommitmentPushModel, StorageCommitmentPushModelInstance, UltrasoundMultiFrameImageStorage
except ImportError:
    print("skipped: pynetdicom (tests/requirements.txt) is not there")
    sys.exit(77)

strandline = sys.argv[1]
problems = []
streams = pathlib.Path(__file__).parents[1] / "cases/htj2k"
generator = numpy.random.default_rng(8)


def expect(good, what):
    if not good:
        problems.append(what)
        print(what, flush=True)


def made(number, side=64, syntax=ExplicitVRLittleEndian, pieces=None):
    data = Dataset()
    data.file_meta = FileMetaDataset()
    data.file_meta.TransferSyntaxUID = syntax
    data.SOPClassUID, data.SOPInstanceUID = UltrasoundMultiFrameImageStorage, f"1.2.3.4711.88.{number}"
    data.StudyInstanceUID, data.SeriesInstanceUID = "1.2.3.4711.89", "1.2.3.4711.90"
    data.file_meta.MediaStorageSOPClassUID, data.file_meta.MediaStorageSOPInstanceUID = data.SOPClassUID, data.SOPInstanceUID
    data.Modality, data.PatientName, data.PatientID, data.NumberOfFrames = "US", "Invented^Example", "DEMO", 2
    data.Rows = data.Columns = side
    data.SamplesPerPixel, data.PhotometricInterpretation, data.PixelRepresentation = 1, "MONOCHROME2", 0
    data.BitsAllocated = data.BitsStored = 8
    data.HighBit = 7
    data.PixelData = encapsulate(pieces) if pieces else generator.integers(0, 256, (2, side, side), numpy.uint8).tobytes()
    data["PixelData"].VR = "OB"
    return data


class Receiver:
    def __init__(self, box, *options, port=0):
        self.process = subprocess.Popen([strandline, "receive", "--port", str(port), "--title", "WARD", "--keep-free-mb", "1", *options,
                                         *(["--store", str(box)] if box else [])], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        line = self.process.stdout.readline()
        hit = re.search(r"port (\d+)", line)
        if not hit:
            sys.exit(f"the receiver did not start: {line}{self.process.stderr.read()}")
        self.port, self.said = int(hit[1]), []
        self.reader = threading.Thread(target=lambda: self.said.extend(self.process.stdout), daemon=True)
        self.reader.start()

    def stop(self):
        self.process.terminate()
        try:
            self.process.wait(timeout=30)
        except subprocess.TimeoutExpired:
            problems.append("the receiver does not end when it is told to")
            self.process.kill()
        self.reader.join()
        expect(self.process.returncode == 0, f"the receiver ended with {self.process.returncode}")


class Asker:
    """A sender that hears answers, on its own association and, with `listen`, when it is called."""

    def __init__(self, title="CART1", answer=0x0000):
        self.heard, self.answer = queue.Queue(), answer
        self.ae = AE(ae_title=title)
        self.ae.add_requested_context(StorageCommitmentPushModel)
        self.ae.add_requested_context(UltrasoundMultiFrameImageStorage)
        self.handlers = [(evt.EVT_N_EVENT_REPORT, self.take)]
        self.server = None

    def take(self, event):
        self.heard.put((event.request.EventTypeID, event.event_information, event.assoc.is_requestor))
        return self.answer, None

    def listen(self, port=0, ssl_context=None):
        self.ae.add_supported_context(StorageCommitmentPushModel, scu_role=True, scp_role=True)
        self.server = self.ae.start_server(("127.0.0.1", port), block=False, evt_handlers=self.handlers, ssl_context=ssl_context)
        return self.server.socket.getsockname()[1]

    def hang_up(self):
        self.server.shutdown()

    def call(self, port, tls_args=None):
        return self.ae.associate("127.0.0.1", port, ae_title="WARD", evt_handlers=self.handlers, tls_args=tls_args)

    def send(self, port, objects):
        line = self.call(port)
        for one in objects:
            status = line.send_c_store(one)
            expect(status and status.Status == 0, f"{one.SOPInstanceUID} is not taken")
        line.release()


def request(pairs, transaction=None):
    data = Dataset()
    data.TransactionUID = transaction or generate_uid()
    data.ReferencedSOPSequence = []
    for class_uid, uid in pairs:
        row = Dataset()
        row.ReferencedSOPClassUID, row.ReferencedSOPInstanceUID = class_uid, uid
        data.ReferencedSOPSequence.append(row)
    return data


def ask(line, data, action=1, instance=StorageCommitmentPushModelInstance):
    status, _ = line.send_n_action(data, action, StorageCommitmentPushModel, instance)
    return status.Status if status else None


def hear(asker, wait=20):
    try:
        kind, data, own = asker.heard.get(timeout=wait)
    except queue.Empty:
        problems.append("an answer did not come")
        return 0, "", [], {}, None
    uids = lambda rows: [(row.ReferencedSOPClassUID, row.ReferencedSOPInstanceUID) for row in rows]
    good, bad = data.get("ReferencedSOPSequence", []), data.get("FailedSOPSequence", [])
    return kind, data.TransactionUID, uids(good), {pair: row.FailureReason for pair, row in zip(uids(bad), bad)}, own


def pair(one):
    return one.SOPClassUID, one.SOPInstanceUID


def waiting(box):
    return list((box / "commitments").iterdir()) if (box / "commitments").exists() else []


def settle(box, count):
    """The request is let go just after its answer was heard."""
    for _ in range(50):
        if len(waiting(box)) == count:
            return True
        time.sleep(0.1)
    return False


def damage(box, uid):
    with sqlite3.connect(f"file:{box}/store.db?mode=ro", uri=True) as base:
        name = base.execute("SELECT hash FROM object WHERE uid = ?", (uid,)).fetchone()[0]
    path = box / "files" / name[:2] / name
    path.chmod(0o600)
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.write_bytes(content)


def check_same_association(box):
    objects = [made(number) for number in range(6)]
    receiver, asker = Receiver(box), Asker()
    asker.send(receiver.port, objects)
    line = asker.call(receiver.port)
    data = request(map(pair, objects))
    expect(ask(line, data) == 0, "a request is not taken")
    kind, transaction, good, bad, own = hear(asker)
    expect((kind, transaction, good, bad, own) == (1, data.TransactionUID, [pair(one) for one in objects], {}, True), f"all kept: answered {kind} {good} {bad}")
    # PS3.3 C.14.1.1: 0112 no such object, 0119 another class, 0110 processing failure (here: the file is not what came)
    damage(box, objects[0].SOPInstanceUID)
    stranger, other_class = (UltrasoundMultiFrameImageStorage, "1.2.3.4711.88.99"), ("1.2.840.10008.5.1.4.1.1.7", objects[1].SOPInstanceUID)
    expect(ask(line, request([stranger, other_class, pair(objects[0]), pair(objects[2])])) == 0, "a second request is not taken")
    kind, _, good, bad, _ = hear(asker)
    expect((kind, good, bad) == (2, [pair(objects[2])], {stranger: 0x0112, other_class: 0x0119, pair(objects[0]): 0x0110}), f"some kept: {kind} {good} {bad}")
    # objects go on coming on the association on which an answer is on its way
    expect(ask(line, request([pair(objects[3])])) == 0, "a third request is not taken")
    expect(line.send_c_store(made(7)).Status == 0, "after a request nothing is taken")
    expect(hear(asker)[0] == 1, "the third answer")
    # what is no such request is refused with the reason (PS3.7 annex C), and the association goes on
    expect(ask(line, request([pair(objects[3])]), action=2) == 0x0123, "another action")
    expect(ask(line, request([pair(objects[3])]), instance="1.2.3.4711.1") == 0x0112, "another instance")
    expect(ask(line, request([])) == 0x0115, "nothing asked for")
    expect(ask(line, request([(UltrasoundMultiFrameImageStorage, "../../etc")])) == 0x0115, "a UID that is none")
    nameless = request([pair(objects[3])])
    del nameless.TransactionUID
    expect(ask(line, nameless) == 0x0115, "no transaction")
    expect(ask(line, request([pair(objects[3])] * 3000)) == 0, "3,000 rows")
    kind, _, good, _, _ = hear(asker)
    expect(kind == 1 and len(good) == 3000, f"3,000 rows: {len(good)} answered")
    line.release()
    expect(settle(box, 0), "requests that were answered are still there")
    receiver.stop()
    expect(sum("kept, answered" in said for said in receiver.said) == 4, f"said: {receiver.said}")


def check_call(box):
    """A sender whose address is known is called; over a restart of the receiver; when it is not there, again."""
    objects = [made(20 + number) for number in range(3)]
    asker = Asker("CART2", answer=0x0110)
    port = asker.listen()
    options = ["--answer", f"CART2=127.0.0.1:{port},CART3=127.0.0.1:1", "--idle", "10"]
    receiver = Receiver(box, *options)
    asker.send(receiver.port, objects)
    asker.hang_up()
    line = asker.call(receiver.port)
    data = request(map(pair, objects))
    expect(ask(line, data) == 0, "a request is not taken")
    line.release()
    time.sleep(2.5)
    expect(len(waiting(box)) == 1, "a request was forgotten because its sender was away")
    receiver.stop()
    expect(any("not told" in said for said in receiver.said), f"nothing is said of a sender that is away: {receiver.said}")
    asker.listen(port)
    receiver = Receiver(box, *options)
    kind, transaction, good, bad, own = hear(asker, 30)
    expect((kind, transaction, good, bad, own) == (1, data.TransactionUID, [pair(one) for one in objects], {}, False), f"called: {kind} {good} {bad} {own}")
    expect(len(waiting(box)) == 1, "a request was forgotten though its sender did not accept the answer")
    asker.answer = 0
    expect(hear(asker, 30)[0] == 1, "the answer that was not accepted is not repeated")
    expect(settle(box, 0), "a request that was answered is still there")
    asker.hang_up()
    receiver.stop()


def check_tls(box, folder):
    """Both ways over TLS: who calls and who is called show certificates that the other one trusts; a stranger hears nothing."""
    for name in ("ward", "cart", "stranger"):
        subprocess.run(["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={name} (invented)",
                        "-keyout", folder / f"{name}.key", "-out", folder / f"{name}.pem"], check=True, capture_output=True)

    def context(name, purpose):
        made_of = ssl.create_default_context(purpose, cafile=folder / "ward.pem")
        made_of.check_hostname, made_of.verify_mode = False, ssl.CERT_REQUIRED
        made_of.load_cert_chain(folder / f"{name}.pem", folder / f"{name}.key")
        return made_of

    asker = Asker("CART5")
    port = asker.listen(ssl_context=context("stranger", ssl.Purpose.CLIENT_AUTH))
    receiver = Receiver(box, "--answer", f"CART5=127.0.0.1:{port}", "--certificate", str(folder / "ward.pem"), "--key", str(folder / "ward.key"),
                        "--trust", str(folder / "cart.pem"), "--idle", "5")
    line = asker.call(receiver.port, (context("cart", ssl.Purpose.SERVER_AUTH), None))
    one = made(35)
    expect(line.is_established and line.send_c_store(one).Status == 0 and ask(line, request([pair(one)])) == 0, "over TLS a request is not taken")
    line.release()
    time.sleep(2)
    expect(asker.heard.empty() and len(waiting(box)) == 1, "a stranger was told what is kept")
    asker.hang_up()
    asker.listen(port, context("cart", ssl.Purpose.CLIENT_AUTH))
    expect(hear(asker, 30)[2] == [pair(one)] and settle(box, 0), "over TLS the answer does not come")
    asker.hang_up()
    receiver.stop()


def check_release(box):
    """Who releases at once and has no known address may ask again."""
    receiver, asker = Receiver(box), Asker("CART4")
    one = made(30, side=512)
    asker.send(receiver.port, [one])
    for _ in range(2):
        line = asker.call(receiver.port)
        expect(ask(line, request([pair(one)])) == 0, "a request is not taken")
        line.release()
    line = asker.call(receiver.port)
    transaction = generate_uid()
    ask(line, request([pair(one)], transaction))
    heard = hear(asker)[1]
    while heard and heard != transaction:  # answers to what was released may still have come through
        heard = hear(asker)[1]
    line.release()
    receiver.stop()


def check_hostile(box):
    """Requests that nest without end or are larger than any can be end their own association at most."""
    receiver = Receiver(box)
    deep = (b"\x08\x00\x99\x11\xff\xff\xff\xff" + b"\xfe\xff\x00\xe0\xff\xff\xff\xff") * 40000
    for what, raw in {"deep": deep, "large": bytes(48 << 20)}.items():
        ae = AE(ae_title="CART6")
        ae.add_requested_context(StorageCommitmentPushModel, ImplicitVRLittleEndian)  # in which the tag alone says that it is a sequence
        ae.dimse_timeout = 20
        line = ae.associate("127.0.0.1", receiver.port, ae_title="WARD")
        data = Dataset()
        data.TransactionUID = generate_uid()
        data.add_new(0x00081199 if what == "deep" else 0x00091001, "OB", raw)
        try:
            expect(ask(line, data) is None, f"a {what} request is answered")
        except RuntimeError:
            pass  # the association had ended before the request was sent whole
        if line.is_established:
            line.abort()
    # a deflated object of 500 bytes with a value that says it has 3 GB
    ae = AE(ae_title="CART7")
    ae.add_requested_context(UltrasoundMultiFrameImageStorage, DeflatedExplicitVRLittleEndian)
    line = ae.associate("127.0.0.1", receiver.port, ae_title="WARD")
    pynetdicom._config.STORE_SEND_CHUNKED_DATASET = True  # as it is in the file
    status = line.send_c_store(pathlib.Path(__file__).parents[1] / "cases/fuzz/dicom/deflated-value-of-3-GB")
    pynetdicom._config.STORE_SEND_CHUNKED_DATASET = False
    expect(status and status.Status == 0xC000, f"an object that lies of its length: {status}")
    line.release()
    asker = Asker()
    one = made(36)
    asker.send(receiver.port, [one])
    line = asker.call(receiver.port)
    expect(ask(line, request([pair(one)])) == 0 and hear(asker)[0] == 1, "after hostile requests nobody is answered")
    line.release()
    receiver.stop()


def check_folder(folder):
    receiver = Receiver(None, "--out", str(folder))
    asker = Asker()
    line = asker.call(receiver.port)
    expect([one.abstract_syntax for one in line.accepted_contexts] == [UltrasoundMultiFrameImageStorage], "a folder promises what it cannot keep")
    line.release()
    receiver.stop()


def check_syntaxes(box):
    """Every syntax of the list is taken, objects in those that the toolkit does not know are kept as they were sent."""
    source = (pathlib.Path(__file__).parents[2] / "src/dicom/syntaxes.c").read_text()
    ends = re.findall(r'SYNTAX( "([.\d]+)")?[,}]', source[source.index("sl_dicom_syntaxes"):source.index("sl_dicom_classes")])
    syntaxes = ["1.2.840.10008.1.2" + end for _, end in ends]
    expect(len(syntaxes) > 25, f"{len(syntaxes)} syntaxes in the list")
    receiver = Receiver(box)
    ae = AE(ae_title="CART1")
    for syntax in syntaxes:
        ae.add_requested_context(UltrasoundMultiFrameImageStorage, syntax)
    line = ae.associate("127.0.0.1", receiver.port, ae_title="WARD")
    taken = {context.transfer_syntax[0] for context in line.accepted_contexts}
    expect(taken == set(syntaxes), f"not taken: {set(syntaxes) - taken}")
    grey = [(streams / f"grey-{i}.j2c").read_bytes() for i in range(2)]
    unknown = ["201", "202", "203", "102.1"]
    for number, end in enumerate(unknown):
        one = made(40 + number, syntax=f"1.2.840.10008.1.2.4.{end}", pieces=grey)
        one.Rows, one.Columns = shape_of(grey[0])
        status = line.send_c_store(one)
        expect(status and status.Status == 0, f"an object in {end} is not taken")
    line.release()
    receiver.stop()
    with sqlite3.connect(f"file:{box}/store.db?mode=ro", uri=True) as base:
        rows = base.execute("SELECT syntax, hash, frames FROM object ORDER BY uid").fetchall()
    expect([row[0] for row in rows] == [f"1.2.840.10008.1.2.4.{end}" for end in unknown] and all(row[2] == 2 for row in rows), f"kept: {rows}")
    for _, name, _ in rows:
        data = pydicom.dcmread(box / "files" / name[:2] / name)
        expect(pydicom.misc.is_dicom(box / "files" / name[:2] / name) and data.file_meta.TransferSyntaxUID in [row[0] for row in rows], "the file header")
        expect(data.PixelData == encapsulate(grey), f"{data.file_meta.TransferSyntaxUID}: kept with other content")


def shape_of(codestream):
    """Rows and columns by the SIZ segment (ISO/IEC 15444-1 A.5.1)."""
    at = codestream.index(b"\xff\x51") + 6
    wide, high = (int.from_bytes(codestream[at + 4 * i:at + 4 * i + 4], "big") for i in range(2))
    return high, wide


with tempfile.TemporaryDirectory() as place:
    folder = pathlib.Path(place)
    check_same_association(folder / "same")
    check_call(folder / "call")
    check_tls(folder / "tls", folder)
    check_release(folder / "release")
    check_hostile(folder / "hostile")
    check_folder(folder / "folder")
    check_syntaxes(folder / "syntaxes")
print("\n".join(problems + [f"{len(problems)} problems"]))
sys.exit(1 if problems else 0)
