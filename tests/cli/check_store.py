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
    for words, part in (((), "say what"), (("frob",), "frob"), (("show",), "needs a word"), (("list", "x"), "what to do with x"),
                        (("forget", "Harbour 7"), "--yes"), (("export", "1234"), "--out")):
        if words[:1] != ("forget",) and words[:1] != ("export",):
            done = store(*words)
            expect(done.returncode == 2 and part in done.stderr, f"wrong use {words}: {done.returncode} {done.stderr!r}")
    done = store("list")
    expect(done.returncode == 1 and "no store" in done.stderr, f"no store yet: {done.returncode} {done.stderr!r}")
    done = call("read", clips, "--out", folder / "report", "--keep", "--store", kept)
    expect(done.returncode == 0 and "Kept in the store as" in done.stdout, f"read --keep: {done.stdout!r} {done.stderr!r}")
    uid = done.stdout.split()[-1]
    done = store("add", clips, "--report", folder / "report")
    expect(done.returncode == 0 and "Known already" in done.stdout and uid in done.stdout, f"the same again: {done.stdout!r}")
    done = store("show", uid[:8])
    for part in ("Harbour 7", "wet or dry?", "R1.mp4", "R-upper-anterior", "report.pdf", "strandline", "Not signed", "invented"):
        expect(part in done.stdout, f"show lacks {part}: {done.stdout!r}")
    expect(done.stdout.count("read by") == 1, "the same reading is there twice")
    done = store("check")
    expect(done.returncode == 0 and "all in order" in done.stdout, f"check: {done.stdout!r} {done.stderr!r}")
    done = store("export", uid, "--out", folder / "out")
    expect((folder / "out" / "R1.mp4").read_bytes() == (clips / "R1.mp4").read_bytes(), "an exported clip is another one")
    again = call("read", folder / "out", "--out", folder / "again")
    expect(again.returncode == 0 and "2 of 2 clips read" in again.stdout, f"what was exported cannot be read: {again.stderr!r}")
    done = store("backup", folder / "backup")
    expect(done.returncode == 0, f"backup: {done.stderr!r}")
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
    done = store("forget", "Harbour 7", "--yes")
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
