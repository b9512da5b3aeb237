"""Nodes that are not DCMTK, for check_fetch.py: pynetdicom's server (https://pydicom.github.io/pynetdicom), well behaved, refusing,
breaking off, lying, and a bare socket that says what no standard allows."""
import socket
import threading
import time

import pydicom
from pydicom.dataset import Dataset
from pynetdicom import AE, evt
from pynetdicom.presentation import build_role
from pynetdicom.sop_class import (ModalityWorklistInformationFind, StudyRootQueryRetrieveInformationModelFind,
                                  StudyRootQueryRetrieveInformationModelGet, StudyRootQueryRetrieveInformationModelMove, Verification)

LEVEL_KEY = {"STUDY": "StudyInstanceUID", "SERIES": "SeriesInstanceUID", "IMAGE": "SOPInstanceUID"}


def matches(objects, asked):
    """Objects that the identifier asks for, by UIDs (lists of UIDs too) and patient."""
    def wanted(data, name):
        said = asked.get(name)
        values = [] if said in (None, "") else [str(v) for v in said] if isinstance(said, pydicom.multival.MultiValue) else [str(said)]
        return not values or str(data.get(name, "")) in values
    return [d for d in objects if all(wanted(d, n) for n in ("StudyInstanceUID", "SeriesInstanceUID", "SOPInstanceUID", "PatientID"))]


class Node:
    """`how`: no-get, no-image (not to be asked for objects), no-find, break=N (ends the association after N objects, each time),
    slow=S (seconds before each answer), foreign (sends another study's objects too), endless (answers without end), other-patient
    (answers of other patients, and of a wrong study), missing (sends one object less and calls it success), failing."""

    def __init__(self, objects, ours=None, steps=(), **how):
        self.objects, self.how, self.sent, self.steps, self.answers = objects, how, [], steps, 0
        self.requests, self.acknowledged = [], set()
        node = AE(ae_title="OTHER")
        node.require_called_aet = True
        node.maximum_pdu_size = 16384
        node.add_supported_context(Verification)
        if not how.get("no-find"):
            node.add_supported_context(StudyRootQueryRetrieveInformationModelFind)
        node.add_supported_context(StudyRootQueryRetrieveInformationModelMove)
        if steps:
            node.add_supported_context(ModalityWorklistInformationFind)
        if not how.get("no-get"):
            node.add_supported_context(StudyRootQueryRetrieveInformationModelGet)
            for kind in {d.SOPClassUID for d in objects}:
                syntaxes = sorted({str(d.file_meta.TransferSyntaxUID) for d in objects if d.SOPClassUID == kind})
                node.add_supported_context(kind, syntaxes, scu_role=True, scp_role=True)
        for kind, syntax in {(d.SOPClassUID, str(d.file_meta.TransferSyntaxUID)) for d in objects}:
            node.add_requested_context(kind, syntax)
        self.ours = ours
        self.server = node.start_server(("127.0.0.1", 0), block=False, ssl_context=how.get("tls"), evt_handlers=[
            (evt.EVT_C_FIND, self.find), (evt.EVT_C_GET, self.get), (evt.EVT_C_MOVE, self.move), (evt.EVT_DIMSE_RECV, self.hear)])
        self.port = self.server.socket.getsockname()[1]
        self.name = f"OTHER@127.0.0.1:{self.port}"

    def stop(self):
        self.server.shutdown()

    def hear(self, event):
        """Which objects the other side says it has (responses of C-STORE)."""
        said = event.message.command_set
        if said.get("CommandField") == 0x8001 and said.get("Status") == 0:
            self.acknowledged.add(str(said.AffectedSOPInstanceUID))

    def find(self, event):
        asked = event.identifier
        if self.how.get("slow"):
            time.sleep(self.how["slow"])
        if event.request.AffectedSOPClassUID == ModalityWorklistInformationFind:
            for step in self.steps:
                yield 0xFF00, step
            return
        level = asked.QueryRetrieveLevel
        self.requests.append(level)
        if self.how.get("no-image") and level != "STUDY":
            yield 0xA900, None
            return
        if self.how.get("endless"):
            while not event.is_cancelled and self.answers < 100000:
                self.answers += 1
                yield 0xFF00, self.answer(self.objects[0], asked, level)
            yield 0xFE00, None
            return
        seen = set()
        known = self.objects if self.how.get("other-patient") and level == "STUDY" else matches(self.objects, asked)
        for data in known:
            key = str(data[LEVEL_KEY[level]].value)
            if key not in seen:
                seen.add(key)
                yield 0xFF00, self.answer(data, asked, level)

    def answer(self, data, asked, level):
        said = Dataset()
        said.QueryRetrieveLevel = level
        if "SpecificCharacterSet" in data:
            said.SpecificCharacterSet = data.SpecificCharacterSet
        of_study = [d for d in self.objects if d.StudyInstanceUID == data.StudyInstanceUID]
        for element in asked:
            if element.keyword == "ModalitiesInStudy":
                said.ModalitiesInStudy = sorted({d.Modality for d in of_study})
            elif element.keyword == "NumberOfStudyRelatedInstances":
                said.NumberOfStudyRelatedInstances = str(len(of_study))
            elif element.keyword not in ("SpecificCharacterSet", "QueryRetrieveLevel", "NumberOfSeriesRelatedInstances"):
                setattr(said, element.keyword, data.get(element.keyword, ""))
        return said

    def sending(self, event):
        asked = event.identifier
        self.requests.append(asked.QueryRetrieveLevel)
        objects = matches(self.objects, asked)
        if self.how.get("foreign"):
            objects = objects + [d for d in self.objects if d not in objects][:2]
        if self.how.get("missing"):
            objects = [d for d in objects if d is not self.objects[0]]
        return objects

    def get(self, event):
        if self.how.get("failing"):
            yield 1
            yield 0xC001, None
            return
        objects = self.sending(event)
        yield len(objects)
        for count, data in enumerate(objects):
            if self.how.get("break") and count == self.how["break"]:
                event.assoc.abort()
                return
            self.sent.append(str(data.SOPInstanceUID))
            yield 0xFF00, data

    def move(self, event):
        if event.move_destination != "STRAND":
            yield None, None
            return
        yield "127.0.0.1", self.ours
        objects = self.sending(event)
        yield len(objects)
        for data in objects:
            self.sent.append(str(data.SOPInstanceUID))
            yield 0xFF00, data


class Bare:
    """A socket that takes what comes and says `says`, a list of bytes (a number: seconds of pause), again and again."""

    def __init__(self, says, hold=0.0):
        self.says, self.hold, self.ended = says, hold, False
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.port = self.socket.getsockname()[1]
        self.name = f"BARE@127.0.0.1:{self.port}"
        threading.Thread(target=self.run, daemon=True).start()

    def run(self):
        while not self.ended:
            try:
                wire, _ = self.socket.accept()
            except OSError:
                return
            threading.Thread(target=self.serve, args=(wire,), daemon=True).start()

    def serve(self, wire):
        try:
            with wire:
                wire.recv(65536)
                for said in self.says() if callable(self.says) else self.says:
                    if isinstance(said, bytes):
                        wire.sendall(said)
                    else:
                        time.sleep(said)
                time.sleep(self.hold)
        except OSError:
            pass

    def stop(self):
        self.ended = True
        self.socket.close()


# ---- what a hostile node says, byte by byte (PS3.8 9.3) ----

def item(kind, content):
    return bytes([kind, 0]) + len(content).to_bytes(2, "big") + content


def accepts(context=1, syntax=b"1.2.840.10008.1.2"):
    """A-ASSOCIATE-AC for presentation context `context`."""
    body = b"\0\1\0\0" + b"BARE".ljust(16) + b"STRAND".ljust(16) + b"\0" * 32
    body += item(0x10, b"1.2.840.10008.3.1.1.1") + item(0x21, bytes([context, 0, 0, 0]) + item(0x40, syntax))
    body += item(0x50, item(0x51, (16384).to_bytes(4, "big")) + item(0x52, b"1.2.3.4"))
    return b"\2\0" + len(body).to_bytes(4, "big") + body


def pdata(content, command, last=True, context=1):
    value = bytes([context, (1 if command else 0) | (2 if last else 0)]) + content
    return b"\4\0" + (len(value) + 4).to_bytes(4, "big") + len(value).to_bytes(4, "big") + value


def element(group, number, content):
    return group.to_bytes(2, "little") + number.to_bytes(2, "little") + len(content).to_bytes(4, "little") + content


def find_answer(status=0xFF00, data=True, to=1):
    """The command of a C-FIND response."""
    body = element(0, 2, b"1.2.840.10008.5.1.4.1.2.2.1\0") + element(0, 0x100, b"\x20\x80") + element(0, 0x120, to.to_bytes(2, "little"))
    body += element(0, 0x800, b"\1\0" if data else b"\1\1") + element(0, 0x900, status.to_bytes(2, "little"))
    return pdata(element(0, 0, len(body).to_bytes(4, "little")) + body, True)
