"""strandline store from the command line, on one small simulated clip: in, out, refused, broken. Standard library only.
Usage: check_store.py STRANDLINE SCENARIO"""
import json
import os
import pathlib
import shutil
import sqlite3
import subprocess
import sys
import tempfile

strandline, scenario = sys.argv[1:3]
failures = []


def expect(holds, what):
    if not holds:
        failures.append(what)


def call(*words, **more):
    return subprocess.run([strandline, *map(str, words)], capture_output=True, text=True, timeout=240, **more)


def signing(store, uid, folder):
    name = ("--by", "Dr. Invented")
    for words, part in (((uid, *name), "without a conclusion"), ((uid, "--text", "Dry."), "--by"), ((uid, *name, "--text", " \n"), "conclusion"),
                        (("ffff0000", *name, "--text", "Dry."), "no examination"), ((uid, *name, "--text", "x" * 2001), "addendum"),
                        ((uid, *name, "--text", "Dry.", "--paper", "a3"), "--paper"), ((uid, *name, "--text", "Dry.", "--language", "xx"), "en, de")):
        done = store("sign", *words)
        expect(done.returncode == 2 and part in done.stderr, f"sign {words}: {done.returncode} {done.stderr!r}")
    done = store("addendum", uid, *name, "--text", "Late.")
    expect(done.returncode == 2 and "not signed yet" in done.stderr, f"an addendum to nothing: {done.stderr!r}")
    done = store("sign", uid, *name, "--text", "Dry on both sides.")
    expect(done.returncode == 0 and "cannot change any more" in done.stdout, f"sign: {done.stdout!r} {done.stderr!r}")
    done = store("sign", uid, *name, "--text", "Wet after all.")
    expect(done.returncode == 2 and "addendum" in done.stderr, f"signed twice: {done.stderr!r}")
    done = store("addendum", uid, *name, "--text", "Die linke Basis fehlt.", "--language", "de", "--paper", "letter")
    expect(done.returncode == 0, f"addendum: {done.stderr!r}")
    done = store("show", uid)
    expect("Dry on both sides." in done.stdout and "Addendum, signed by Dr. Invented" in done.stdout, f"show: {done.stdout!r}")
    out = folder / "signed"
    store("export", uid, "--out", out)
    first, second = out / "signed-1-report", out / "signed-2-addendum"
    expect(json.loads((first / "fhir.json").read_text())["entry"][0]["resource"]["status"] == "final", "the signed bundle is not final")
    expect(json.loads((second / "fhir.json").read_text())["entry"][0]["resource"]["status"] == "appended", "the addendum's is not appended")
    expect("Dry on both sides." in (second / "report.txt").read_text() and "Die linke Basis" in (second / "report.txt").read_text(), "text")
    if shutil.which("pdftotext"):
        texts = [" ".join(subprocess.run(["pdftotext", place / "report.pdf", "-"], capture_output=True, text=True).stdout.split())
                 for place in (first, second)]
        expect("Dry on both sides." in texts[0] and "signed: Dr. Invented" in texts[0] and "B-line coverage" in texts[0], "the signed PDF")
        expect("Nachtrag 1" in texts[1] and "Dry on both sides." in texts[1] and "Abdeckung durch B-Linien" in texts[1], "the addendum's PDF")
    expect(store("check").returncode == 0 and not list((folder / "kept").glob("desk-*")), "signing leaves something behind")


def main(folder):
    kept = folder / "kept"

    def store(*words):
        return call("store", *words, "--store", kept)

    clips = folder / "clips"
    clips.mkdir()
    for name in ("R1", "L1"):
        call("simulate", scenario, "--out", clips / f"{name}.mp4", "--set", "controls.duration_s=0.6")
    (clips / "exam-info.json").write_text(json.dumps({"title": "Harbour", "date": "2031-04-01", "person": "Harbour 7",
                                                       "question": "wet or dry?", "invented": True}))
    done = store("list")
    expect(done.returncode == 1 and "no store" in done.stderr, f"no store yet: {done.returncode} {done.stderr!r}")
    done = call("read", clips, "--out", folder / "report", "--keep", "--store", kept)
    expect(done.returncode == 0 and "Kept in the store as" in done.stdout, f"read --keep: {done.stdout!r} {done.stderr!r}")
    uid = done.stdout.split()[-1]
    for words, part in (((), "say what"), (("frob",), "say what to do"), (("show",), "needs a word"), (("list", "x"), "what to do with x"),
                        (("forget", "Harbour 7"), "--yes"), (("export", uid), "--out"), (("export", "1234", "--out", folder / "x"), "1234")):
        done = store(*words)
        expect(done.returncode == 2 and part in done.stderr, f"wrong use {words}: {done.returncode} {done.stderr!r}")
    done = store("add", clips, "--report", folder / "report")
    expect(done.returncode == 0 and "Known already" in done.stdout and uid in done.stdout, f"the same again: {done.stdout!r}")
    done = store("show", uid[:8])
    for part in ("Harbour 7", "wet or dry?", "R1.mp4", "R-upper-anterior", "report.pdf", "strandline", "Not signed", "invented"):
        expect(part in done.stdout, f"show lacks {part}: {done.stdout!r}")
    expect(done.stdout.count("read by") == 1, "the same reading is there twice")
    done = store("check")
    expect(done.returncode == 0 and "all in order" in done.stdout, f"check: {done.stdout!r} {done.stderr!r}")
    done = call("read", clips, "--out", folder / "later", "--before", folder / "report" / "exam.json", "--language", "de")
    if shutil.which("pdftotext"):
        text = " ".join(subprocess.run(["pdftotext", folder / "later" / "report.pdf", "-"], capture_output=True, text=True).stdout.split())
        expect("Veränderung seit 2031-04-01" in text and "keine nachweisbare Veränderung" in text, "no page of the change")
        expect("Wie die Clips aufgenommen wurden" in text and "Clip zu kurz" in text, "no page of how the clips were acquired")
    expect("Seit 2031-04-01: keine nachweisbare" in (folder / "later" / "report.txt").read_text(encoding="utf-8"), "report.txt lacks the change")
    done = store("export", uid, "--out", folder / "out")
    expect((folder / "out" / "R1.mp4").read_bytes() == (clips / "R1.mp4").read_bytes(), "an exported clip is another one")
    again = call("read", folder / "out", "--out", folder / "again")
    expect(again.returncode == 0 and "2 of 2 clips read" in again.stdout, f"what was exported cannot be read: {again.stderr!r}")
    done = store("backup", folder / "backup")
    expect(done.returncode == 0, f"backup: {done.stderr!r}")
    signing(store, uid, folder)
    # no name of the house in the clips' places, nobody else may look in
    expect(oct(kept.stat().st_mode & 0o777) == "0o700", "others may look into the store")
    # a vanished clip is said, by name
    file = max(kept.glob("files/*/*"), key=lambda path: path.stat().st_size)
    aside = file.read_bytes()
    file.unlink()
    done = store("check")
    expect(done.returncode == 1 and "is gone" in done.stdout, f"a vanished file: {done.stdout!r}")
    file.write_bytes(aside)
    # a newer version's store is left alone
    with sqlite3.connect(kept / "store.db") as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    done = store("list")
    expect(done.returncode == 1 and "newer version" in done.stderr, f"a newer store: {done.stderr!r}")
    done = store("restore", folder / "backup")
    expect(done.returncode == 0 and "what was there is now" in done.stdout, f"restore: {done.stdout!r} {done.stderr!r}")
    done = store("list", "--person", "Harbour 7")
    expect(uid[:8] in done.stdout and "not signed" in done.stdout, f"list after restore: {done.stdout!r} {done.stderr!r}")
    store("sign", uid, "--by", "Dr. Invented", "--text", "Dry.")
    done = store("forget", "Harbour 7", "--yes")
    expect(done.returncode == 2 and "--signed-too" in done.stderr, f"a signed person goes: {done.stderr!r}")
    done = store("forget", "Harbour 7", "--yes", "--signed-too")
    expect(done.returncode == 0 and "Backups made before" in done.stdout, f"forget: {done.stdout!r} {done.stderr!r}")
    expect("No examination" in store("list").stdout and not list(kept.glob("files/*/*")), "forgotten and still there")
    # the data folder of the user
    done = call("store", "add", clips / "R1.mp4", env={**os.environ, "XDG_DATA_HOME": str(folder / "data")})
    expect(done.returncode == 0 and (folder / "data" / "strandline" / "store.db").exists(), f"data folder: {done.stderr!r}")
    done = call("store", "list", env={key: value for key, value in os.environ.items() if key not in ("HOME", "XDG_DATA_HOME")})
    expect(done.returncode == 2 and "--store" in done.stderr, f"no home: {done.returncode} {done.stderr!r}")
    # a name that is not a folder
    (folder / "text").write_text("x")
    done = call("store", "add", clips, "--store", folder / "text")
    expect(done.returncode == 1 and "text" in done.stderr, f"a file for a folder: {done.stderr!r}")


base = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
temporary = pathlib.Path(tempfile.mkdtemp(dir=base))
try:
    main(temporary)
finally:
    shutil.rmtree(temporary)
print("\n".join(failures) or "the store does what it says")
sys.exit(1 if failures else 0)
