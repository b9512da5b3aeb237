"""`strandline fetch` against DCMTK's dcmqrscp and pynetdicom's server: listing, the last examination, C-GET, C-MOVE where C-GET is
refused, broken associations, nodes that are slow, lie or say what no standard allows. Nothing may be acknowledged that is not kept,
nothing hang, nothing name a patient in an error.

    check_fetch.py STRANDLINE SCENARIOS

Objects are invented: noise under invented names."""
import concurrent.futures
import contextlib
import json
import pathlib
import random
import re
import sqlite3
import ssl
import subprocess
import sys
import tempfile
import time

try:
    import pynetdicom  # noqa: F401
except ImportError:
    print("skipped: pynetdicom (tests/requirements.txt) is not there")
    sys.exit(77)
import pydicom

from archive import CT, ROOT, SR, Archive, free_port, made, save
from certificates import issue
from other_nodes import Bare, Node, accepts, element, find_answer, pdata

strandline, scenarios = sys.argv[1], pathlib.Path(sys.argv[2])
problems = []
NAMES = ("Invented", "Müller", "山田", "DEMO-1")


def ask(node, *words, seconds=60):
    name = node if isinstance(node, str) else node.name
    try:
        done = subprocess.run([strandline, "fetch", "--from", name, "--title", "STRAND", "--timeout", "4", *map(str, words)],
                              capture_output=True, text=True, timeout=seconds)
    except subprocess.TimeoutExpired:
        problems.append(f"fetch hangs: {words}")
        return subprocess.CompletedProcess(words, -1, "", "")
    if done.returncode not in (0, 1, 2):
        problems.append(f"fetch {words} ended with {done.returncode}: {done.stderr[-600:]}")
    if any(one in done.stderr for one in NAMES):
        problems.append(f"fetch {words} names a patient in its error: {done.stderr}")
    return done


def expect(done, code, *patterns, what=""):
    said = done.stdout + done.stderr
    if done.returncode != code or not all(re.search(one, said) for one in patterns):
        problems.append(f"{what}: status {done.returncode} instead of {code}, or not {patterns}: {said}")


def in_store(store):
    with contextlib.closing(sqlite3.connect(f"file:{store}/store.db?mode=ro", uri=True)) as base:
        return [(uid, store / "files" / key[:2] / key) for uid, key in base.execute("SELECT uid, hash FROM object ORDER BY id")]


def compare(store, objects, what):
    """Each of `objects` is there once, as it was."""
    there = {}
    for uid, path in in_store(store):
        there.setdefault(uid, []).append(pydicom.dcmread(path))
    if sorted(there) != sorted(str(d.SOPInstanceUID) for d in objects) or any(len(one) != 1 for one in there.values()):
        problems.append(f"{what}: {len(there)} objects are there instead of {len(objects)}, or some twice")
        return
    for data in objects:
        got = there[data.SOPInstanceUID][0]
        if got.get("PixelData") != data.get("PixelData") or got.PatientName != data.PatientName or \
                got.file_meta.TransferSyntaxUID != data.file_meta.TransferSyntaxUID:
            problems.append(f"{what}: {data.SOPInstanceUID} came with other content")
    if subprocess.run([strandline, "store", "check", "--store", str(store)], capture_output=True).returncode:
        problems.append(f"{what}: the store is not whole")


def invented():
    chest = [made(1, 1, i, StudyDescription="Chest ultrasound", syntax=pydicom.uid.RLELossless if i % 2 else pydicom.uid.ExplicitVRLittleEndian)
             for i in range(6)]
    chest += [made(1, 2, 0, kind=SR, Modality="SR", SeriesDescription="Findings")]
    belly = [made(2, 1, i, StudyDate="20260115", BodyPartExamined="ABDOMEN") for i in range(2)]
    open_one = [made(3, 1, i, StudyDate="20260112", PatientName="Müller^Jörg", SpecificCharacterSet="ISO_IR 100") for i in range(2)]
    scan = [made(4, 1, 0, StudyDate="20260122", Modality="CT", kind=CT)]
    other = [made(5, 1, 0, StudyDate="20260118", PatientID="DEMO-2", PatientName="Yamada^Tarou=山田^太郎", StudyDescription="Lung",
                  SpecificCharacterSet=["", "ISO 2022 IR 87"])]
    return chest, belly, open_one, scan, other


def check_dcmtk(base, chest, belly, open_one, scan, other):
    chest = [made(1, 1, i, StudyDescription="Chest ultrasound") for i in range(6)] + chest[6:]  # it sends what is uncompressed
    paths = save(base / "made", [*chest, *belly, *open_one, *scan, *other])
    ours = free_port()
    archive = Archive(base / "a", paths, ours)
    expect(ask(archive, "--echo"), 0, "answers", what="C-ECHO")
    done = ask(archive, "--list", "--json")
    listed = {one["study"]: one for one in json.loads(done.stdout)["studies"]}
    if set(listed) != {f"{ROOT}.{i}" for i in (1, 2, 3, 5)} or listed[f"{ROOT}.3"]["name"] != "Müller^Jörg" or \
            listed[f"{ROOT}.5"]["name"] != "Yamada^Tarou=山田^太郎":
        problems.append(f"C-FIND of DCMTK: {done.stdout}")
    if [one["date"] for one in json.loads(done.stdout)["studies"]] != sorted((one["date"] for one in listed.values()), reverse=True):
        problems.append("the list is not newest first")
    done = ask(archive, "--list", "--json", "--dates", "20260111-20260116", "--patient", "DEMO-1")
    if {one["study"] for one in json.loads(done.stdout)["studies"]} != {f"{ROOT}.2", f"{ROOT}.3"}:
        problems.append(f"C-FIND by patient and dates: {done.stdout}")
    done = ask(archive, "--study", f"{ROOT}.1", "--store", base / "got", "--take", base / "clips")
    expect(done, 0, "7 of 7 objects there, 0 of them before", "6 clips", what="C-GET from DCMTK")
    compare(base / "got", chest, "C-GET from DCMTK")
    expect(ask(archive, "--study", f"{ROOT}.1", "--store", base / "got"), 0, "7 of 7 objects there, 7 of them before", what="fetched again")
    compare(base / "got", chest, "fetched again")
    expect(ask(archive, "--study", f"{ROOT}.99", "--store", base / "got"), 1, "nothing of that examination", what="no such study")
    expect(ask(archive, "--study", f"{ROOT}.4", "--store", base / "none"), 1, "0 of 1 object", "could not send", what="only CT")
    archive.stop()
    archive = Archive(base / "b", paths, ours, "--disable-get")
    expect(ask(archive, "--study", f"{ROOT}.1", "--store", base / "refused"), 1, "C-GET", what="C-GET refused")
    done = ask(archive, "--study", f"{ROOT}.1", "--store", base / "moved", "--port", ours)
    expect(done, 0, "7 of 7 objects there, 0 of them before; sent to our receiver", what="C-MOVE from DCMTK")
    compare(base / "moved", chest, "C-MOVE from DCMTK")
    done = ask(archive, "--study", f"{ROOT}.2", "--out", base / "folder", "--port", ours, "--move")
    expect(done, 0, "2 of 2", what="C-MOVE into a folder")
    if len(list((base / "folder").rglob("*.dcm"))) != 2:
        problems.append("C-MOVE into a folder brought other than 2 files")
    archive.stop()


def check_last(base, chest, belly, open_one, scan, other):
    node = Node([*chest, *belly, *open_one, *scan, *other])

    def last(*words):
        done = ask(node, "--last", "--show", "--json", "--patient", "DEMO-1", *words)
        return json.loads(done.stdout) if done.returncode == 0 else {}
    now = last("--before", "20260201")
    # newest first: 4 is CT, 2 shows the abdomen, 3 does not say what it shows, 1 is of the chest
    if now.get("study") != f"{ROOT}.3" or now["sure"] or now["surer"] != f"{ROOT}.1" or now["passed_over"] != 1:
        problems.append(f"the last examination: {now}")
    earlier = last("--before", "20260112")
    if earlier.get("study") != f"{ROOT}.1" or not earlier["sure"] or earlier["same_day"] != 1:
        problems.append(f"the last examination before a day: {earlier}")
    if last("--before", "202601121000").get("study") != f"{ROOT}.3" or last("--before", "202601120900").get("study") != f"{ROOT}.1":
        problems.append("the last examination before a time of day")
    if last("--before", "20260201", "--present", f"{ROOT}.3").get("study") != f"{ROOT}.1":
        problems.append("the present examination is taken for the last one")
    expect(ask(node, "--last", "--patient", "DEMO-1", "--before", "20260110", "--show"), 1, "no examination with ultrasound", what="none before")
    done = ask(node, "--last", "--patient", "DEMO-1", "--before", "20260201", "--store", base / "last")
    expect(done, 0, "Doubtful", "2 of 2 objects", what="the last one fetched")
    compare(base / "last", open_one, "the last one fetched")
    node.stop()


def check_refusing(base, chest, belly, scan, other):
    ours = free_port()
    node = Node(chest + belly, ours, **{"no-get": True})
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "m"), 1, "C-GET", what="pynetdicom without C-GET, no port")
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "m", "--port", ours), 0, "7 of 7", "C-MOVE", what="C-MOVE from pynetdicom")
    compare(base / "m", chest, "C-MOVE from pynetdicom")
    node.stop()


def check_foreign(base, chest, belly, scan, other):
    ours = free_port()
    node = Node(chest + belly, ours, foreign=True)
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "f"), 0, "7 of 7", "refused", what="objects that were not asked for")
    compare(base / "f", chest, "objects that were not asked for")
    node.stop()
    node = Node(chest + belly, ours, **{"no-get": True, "foreign": True})
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "fm", "--port", ours), 0, "7 of 7", what="C-MOVE of what was not asked for")
    compare(base / "fm", chest, "C-MOVE of what was not asked for")
    node.stop()


def check_broken(base, chest, belly, scan, other):
    node = Node(chest, **{"break": 2})
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "b"), 0, "7 of 7", what="an association that breaks off after every second object")
    compare(base / "b", chest, "broken off")
    if len(node.sent) != len(set(node.sent)):
        problems.append(f"after breaking off objects were fetched again: {node.sent}")
    node.stop()


def check_missing(base, chest, belly, scan, other):
    node = Node(chest, missing=True)
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "x"), 1, "6 of 7 objects there", "1 of 7 objects did not come", what="one object less")
    compare(base / "x", chest[1:], "one object less")
    node.stop()
    node = Node(chest)
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "x"), 0, "7 of 7 objects there, 6 of them before", what="going on")
    if node.sent != [str(chest[0].SOPInstanceUID)]:
        problems.append(f"going on, other than the missing one was fetched: {node.sent}")
    node.stop()


def check_untold(base, chest, belly, scan, other):
    node = Node(chest, **{"no-image": True})
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "n"), 0, "7 objects there; the node does not say", what="not to be asked for objects")
    compare(base / "n", chest, "not to be asked for objects")
    node.stop()
    node = Node(chest + other, **{"other-patient": True})
    done = ask(node, "--list", "--patient", "DEMO-1", "--json")
    if [one["study"] for one in json.loads(done.stdout)["studies"]] != [f"{ROOT}.1"]:
        problems.append(f"answers of another patient are believed: {done.stdout}")
    node.stop()


def check_endless(base, chest, belly, scan, other):
    node = Node(chest, endless=True)
    expect(ask(node, "--list", "--most", "20"), 0, "20 examinations; there are more", what="answers without end")
    if node.answers > 5000:
        problems.append(f"the endless node was not told to stop: {node.answers} answers")
    node.stop()


def check_failing(base, chest, belly, scan, other):
    node = Node(chest, failing=True)
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "e"), 1, r"0 of 7", "status 0xC001", what="a node that fails")
    node.stop()
    node = Node(chest, slow=6)
    expect(ask(node, "--list"), 1, "said nothing for 4 seconds", what="a slow node")
    node.stop()


def check_limits(base, chest, belly, scan, other):
    node = Node(scan)
    expect(ask(node, "--study", f"{ROOT}.4", "--store", base / "none"), 0, "0 of 0", "1 of kinds that are not kept", what="only CT")
    node.stop()
    node = Node(chest)
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "room", "--keep-free-mb", 1 << 29), 1, "0 of 7", "no room here", what="no room")
    large = made(8, 1, 1, side=800, frames=4)
    many = Node([made(8, 1, 0), large])
    expect(ask(many, "--study", f"{ROOT}.8", "--store", base / "large", "--most-mb", 1), 1, "1 of 2 objects there", "1 of 2 objects came and were refused here", what="an object that is too large")
    compare(base / "large", many.objects[:1], "an object that is too large")
    expect(ask(many, "--study", f"{ROOT}.8", "--store", base / "large"), 0, "2 of 2 objects there, 1 of them before", what="with more allowed")
    many.stop()
    expect(ask(node, "--study", f"{ROOT}.1", "--store", "/proc/none"), 1, "could not be made", what="a store that cannot be")
    expect(ask(f"WRONG@127.0.0.1:{node.port}", "--echo"), 1, "does not go by the title", what="a wrong title")
    expect(ask(node, "--study", f"{ROOT}.1", "--store", base / "cap", "--most-objects", 3), 1, "more than 3 objects", what="too many objects")
    node.stop()
    expect(ask(node, "--echo"), 1, "is not reached", what="nobody there")


def check_names(base, *_):
    """Character sets (PS3.3 C.12.1.1.2) as pydicom writes them; the names are the standard's examples (PS3.5 H, I, J) or invented."""
    named = {"ISO_IR 100": "Müller^Jörg", "ISO_IR 144": "Люкceмбypг^Петр", "ISO_IR 192": "Ωmega^Ærø=例^漢字", "GB18030": "Zhang^XiaoDong=张^小东",
             "ISO 2022 IR 87": "Yamada^Tarou=山田^太郎=やまだ^たろう", "ISO 2022 IR 13": "ﾔﾏﾀﾞ^ﾀﾛｳ", "ISO 2022 IR 149": "Hong^Gildong=洪^吉洞=홍^길동",
             "ISO 2022 IR 58": "Zhang^XiaoDong=张^小东", "ISO_IR 126": "Διονυσιος"}
    objects = []
    for i, (sets, name) in enumerate(named.items()):
        coded = ["", sets] if sets.startswith("ISO 2022") and sets != "ISO 2022 IR 13" else sets
        objects.append(made(20 + i, 1, 0, SpecificCharacterSet=coded, PatientName=name))
    node = Node(objects)
    said = {one["study"]: one["name"] for one in json.loads(ask(node, "--list", "--json").stdout)["studies"]}
    for i, (sets, name) in enumerate(named.items()):
        if said.get(f"{ROOT}.{20 + i}") != name:
            problems.append(f"{sets}: {said.get(f'{ROOT}.{20 + i}')} instead of {name}")
    node.stop()


def hostile():
    """What no standard allows: what is said, and how long the connection stays open."""
    nested = b"".join(b"\x08\x00\x40\x11\xff\xff\xff\xff\xfe\xff\x00\xe0\xff\xff\xff\xff" for _ in range(4000))

    def flood():
        yield accepts() + find_answer()
        while True:
            yield pdata(b"\0" * 16000, False, False)

    def command_flood():
        yield accepts()
        while True:
            yield pdata(b"\0" * 16000, True, False)

    def drip():
        while True:
            yield b"\2"
            yield 1
    cases = {
        "silence": [[], 8], "hung up": [[], 0], "HTTP": [[b"HTTP/1.1 400 Bad Request\r\n\r\n"], 0],
        "a length beyond reason": [[b"\2\0\x7f\xff\xff\xff\0\1"], 8], "garbage": [[bytes(range(256)) * 40], 0],
        "half an acceptance": [[accepts()[:60]], 0], "another context": [[accepts(context=77)], 2],
        "a syntax that was not offered": [[accepts(syntax=b"1.2.840.10008.1.2.4.50"), find_answer()], 1],
        "a data set without its command": [[accepts(), pdata(element(8, 0x52, b"STUDY "), False)], 1],
        "an answer to another question": [[accepts(), find_answer(to=9), pdata(element(8, 0x52, b"STUDY "), False)], 1],
        "a length beyond the data set": [[accepts(), find_answer(), pdata(b"\x10\0\x20\0\xff\xff\xff\x7fAB", False)], 1],
        "deeply nested": [[accepts(), find_answer(), *[pdata(nested[i:i + 16000], False, False) for i in range(0, len(nested), 16000)],
                           pdata(b"", False)], 1],
        "an answer without end": [flood, 0], "a command without end": [command_flood, 0],
        "a pending answer without data": [[accepts(), find_answer(data=False)], 1],
    }
    cases["a byte a second"] = [drip, 0]
    return cases


def check_killed(base, *_):
    """Killed at random moments: what was acknowledged is in the store, once, and nothing of it is fetched again."""
    objects = [made(7, 1, i, side=120) for i in range(40)]
    node, store, chance, cut = Node(objects), base / "killed", random.Random(3), 0
    for _ in range(8):
        process = subprocess.Popen([strandline, "fetch", "--from", node.name, "--title", "STRAND", "--study", f"{ROOT}.7", "--store", store],
                                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        goal = len(node.acknowledged) + chance.randrange(1, 5)
        end = time.monotonic() + 20
        while len(node.acknowledged) < goal and process.poll() is None and time.monotonic() < end:
            time.sleep(0.002)
        process.kill()
        cut += process.wait() < 0
        time.sleep(0.1)
        safe = set(node.acknowledged)
        there = [uid for uid, _ in in_store(store)]
        if not safe <= set(there) or len(there) != len(set(there)):
            problems.append(f"killed: {len(safe - set(there))} of {len(safe)} acknowledged objects are lost, {len(there) - len(set(there))} twice")
    if cut < 4:
        problems.append(f"killed: only {cut} of 8 were cut off")
    before = len(node.sent)
    missing = len(objects) - len({uid for uid, _ in in_store(store)})
    expect(ask(node, "--study", f"{ROOT}.7", "--store", store), 0, "40 of 40", what="after the kills")
    if len(node.sent) - before != missing:
        problems.append(f"after the kills {len(node.sent) - before} objects were fetched instead of {missing}")
    compare(store, objects, "after the kills")
    node.stop()


def check_tls(base, chest, *_):
    """Over TLS: who is not trusted is not asked."""
    folder = base / "certificates"
    folder.mkdir(parents=True)
    house, stranger = issue(folder, "house"), issue(folder, "stranger")
    own, theirs = issue(folder, "own", house), issue(folder, "theirs", house)
    secure = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    secure.load_cert_chain(theirs[1], theirs[0])
    secure.load_verify_locations(house[1])
    secure.verify_mode = ssl.CERT_REQUIRED
    archive = Node(chest, tls=secure)
    good = ["--certificate", own[1], "--key", own[0], "--trust", house[1]]
    expect(ask(archive, "--study", f"{ROOT}.1", "--store", base / "got", *good), 0, "7 of 7", what="C-GET over TLS")
    compare(base / "got", chest, "C-GET over TLS")
    for what, words in {"nobody trusted": good[:4] + ["--trust", stranger[1]], "a stranger": ["--certificate", stranger[1], "--key", stranger[0], "--trust", house[1]],
                        "no TLS": [], "no such file": ["--trust", folder / "none.pem"]}.items():
        done = ask(archive, "--list", *words)
        if done.returncode == 0 or not done.stderr.startswith("strandline fetch: "):
            problems.append(f"over TLS, {what}: {done.returncode} {done.stdout}{done.stderr}")
    archive.stop()


def check_change(base, *_):
    """The whole way: the last examination from an archive, read, and the present one compared with it."""
    archive_clip, present = base / "made/R1.dcm", base / "present/R1.dcm"
    for to, name in ((archive_clip, "a-lines"), (present, "b-three")):
        to.parent.mkdir(parents=True)
        subprocess.run([strandline, "simulate", scenarios / f"{name}.json", "--out", to, "--set", "controls.duration_s=1"], check=True, capture_output=True)
    clip = pydicom.dcmread(archive_clip)
    clip.PatientID, clip.StudyDate, clip.StudyTime, clip.SeriesDescription = "DEMO-1", "20260101", "0900", "right upper anterior, lung"
    clip.StudyInstanceUID, clip.SeriesInstanceUID, clip.SOPInstanceUID = f"{ROOT}.6", f"{ROOT}.6.1", f"{ROOT}.6.1.1"
    clip.file_meta.MediaStorageSOPInstanceUID = clip.SOPInstanceUID
    node = Node([clip])
    done = ask(node, "--last", "--patient", "DEMO-1", "--before", "20260201", "--store", base / "store", "--take", base / "earlier")
    expect(done, 0, "Last examination: 2026-01-01", "1 of 1 object there", "1 clip in", what="the last examination for the change")
    if "Doubtful" in done.stdout:
        problems.append("a series that says lung is called doubtful")
    node.stop()
    (base / "earlier/exam.csv").write_text(f"file,zone\n{clip.SOPInstanceUID}.dcm,R1\n")
    for words in ((base / "earlier", "--out", base / "earlier-report"), (base / "present", "--out", base / "report", "--before", base / "earlier-report/exam.json")):
        done = subprocess.run([strandline, "read", *map(str, words)], capture_output=True, text=True, stdin=subprocess.DEVNULL)
        if done.returncode:
            problems.append(f"reading {words[0].name}: {done.stderr}")
    change = json.loads((base / "report/exam.json").read_text()).get("change")
    if not change or not re.search("Since .* over 1 of ", done.stdout):
        problems.append(f"the change since the fetched examination is not told: {done.stdout}")


def check_hostile(what, says, hold):
    """A sentence, no crash, no hang."""
    node = Bare(says, hold)
    expect(ask(node, "--list", "--timeout", 1, seconds=40), 1, "strandline fetch: .*BARE (at|is not reached)", what=what)
    node.stop()


def check_named(base, chest, *_):
    """A node by the name of a destination, with its title."""
    node, store = Node(chest), base / "named"
    subprocess.run([strandline, "send", "--add", "cellar", node.name, "--title", "STRAND", "--store", store], check=True, capture_output=True)
    done = subprocess.run([strandline, "fetch", "--from", "cellar", "--store", store, "--study", f"{ROOT}.1"], capture_output=True, text=True, timeout=60)
    expect(done, 0, "7 of 7", what="from a destination by its name")
    done = subprocess.run([strandline, "fetch", "--from", "attic", "--store", store, "--echo"], capture_output=True, text=True, timeout=60)
    expect(done, 2, "no destination attic", what="a destination that is not known")
    node.stop()


def check_words(base):
    for words in (["--list", "--last", "--patient", "X"], ["--last"], ["--study", "abc"], ["--list", "--dates", "2026"], ["--list", "--most", "0"],
                  ["--study", "1.2", "--move"], ["--study", "1.2", "--out", base, "--take", base], ["--last", "--patient", "A*"], []):
        expect(ask("A@127.0.0.1:1", *words), 2, what=f"wrong words {words}")
    for name in ("A", "A@b", "A@:1", "@h:1", "A@h:0", "A@h:99999", "ABCDEFGHIJKLMNOPQ@h:1"):
        expect(ask(name, "--echo"), 2, what=f"wrong node {name}")


UNLIKE = [check_names, check_named, check_killed, check_tls, check_change, check_refusing, check_foreign, check_broken, check_missing, check_untold, check_endless, check_failing, check_limits]

with tempfile.TemporaryDirectory() as folder:
    base = pathlib.Path(folder)
    chest, belly, open_one, scan, other = invented()
    with concurrent.futures.ThreadPoolExecutor(24) as crowd:  # most of the time somebody waits for somebody
        running = [crowd.submit(check_words, base), crowd.submit(check_dcmtk, base / "dcmtk", chest, belly, open_one, scan, other),
                   crowd.submit(check_last, base / "last", chest, belly, open_one, scan, other),
                   *[crowd.submit(one, base / one.__name__, chest, belly, scan, other) for one in UNLIKE],
                   *[crowd.submit(check_hostile, what, *case) for what, case in hostile().items()]]
    for one in running:
        one.result()

for problem in problems:
    print("wrong:", problem)
print(f"fetch: {'all as it should be' if not problems else str(len(problems)) + ' wrong'}")
sys.exit(1 if problems else 0)
