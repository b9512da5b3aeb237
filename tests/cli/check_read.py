"""strandline read from the command line: good clips and each kind of bad one end in a row and a sentence, exit statuses,
the same bytes with one worker or two, resuming, also after being killed, disks that are full. Standard library only.
Usage: check_read.py STRANDLINE MAKE_ODD SCENARIO"""
import csv
import hashlib
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

strandline, make_odd, scenario = sys.argv[1:4]
failures = []


def expect(holds, what):
    if not holds:
        failures.append(what)


def read(*words, **more):
    return subprocess.run([strandline, "read", *map(str, words)], capture_output=True, text=True, timeout=300, **more)


def make_good(clips):
    """Invented chests, a second each, and one single picture."""
    for seed, name in enumerate(("R1.mp4", "L1.mp4", "déjà vu, \"L2\".mp4")):
        subprocess.run([strandline, "simulate", scenario, "--out", clips / name, "--set", "controls.duration_s=1",
                        "--set", f"seed={seed + 5}"], check=True, capture_output=True)
    with tempfile.TemporaryDirectory() as frames:
        subprocess.run([strandline, "simulate", scenario, "--out", frames, "--set", "controls.duration_s=0.2"], check=True,
                       capture_output=True)
        shutil.copy(sorted(pathlib.Path(frames).glob("*.png"))[0], clips / "one.png")


def rows(out):
    with open(out / "readings.csv", newline="", encoding="utf-8") as file:
        read = {row["clip"]: row for row in csv.DictReader(file)}
    for row in read.values(): # a field too many moves all that follow under other names
        assert None not in row and None not in row.values(), "readings.csv has rows that are longer or shorter than its heading"
        for key, text in row.items():
            if key.endswith("_index"):
                assert text == "" or 0 <= float(text) <= 1, (key, text)
                word = row.get(key.removesuffix("_index"), row.get(key.removesuffix("_index") + "s"))
                assert word in ("", "present", "absent", "uncertain"), (key, word)
            if key.endswith(("_mm", "_per_min", "_cm2")):
                assert text == "" or float(text) >= 0, (key, text)
    return read


def digest(out):
    """All files but the times to read, which differ between runs."""
    result = {}
    for path in sorted(out.rglob("*")):
        if path.is_file() and ".records" not in path.parts:
            data = path.read_bytes()
            if path.name == "exam.json":
                exam = json.loads(data)
                for clip in exam["clips"]:
                    clip["seconds"] = None
                data = json.dumps(exam).encode()
            if path.name == "readings.csv":
                table = [dict(row, seconds="") for row in rows(out).values()]
                data = json.dumps(table).encode()
            result[str(path.relative_to(out))] = hashlib.sha256(data).hexdigest()
    return result


def wrong_use(folder):
    for words, part in (((), "name the folder"), ((folder,), "--out"), ((folder, "--out"), "--out needs"),
                        ((folder, "--out", folder / "x", "--depth-cm", "deep"), "--depth-cm"),
                        ((folder, "--out", folder / "x", "--depth-cm", "0"), "--depth-cm"),
                        ((folder, "--out", folder / "x", "--workers", "0"), "--workers"),
                        ((folder, "--out", folder / "x", "--rules", "mine"), "--rules"),
                        ((folder, "--out", folder / "x", "--before"), "--before"),
                        ((folder, "--out", folder / "x", "--frob"), "--frob")):
        done = read(*words)
        expect(done.returncode == 2 and part in done.stderr, f"wrong use {words}: {done.returncode} {done.stderr!r}")


def nothing_to_read(folder):
    empty = folder / "empty"
    empty.mkdir()
    done = read(empty, "--out", folder / "o1")
    expect(done.returncode == 1 and "No clip was found" in done.stderr, f"empty folder: {done.returncode} {done.stderr!r}")
    done = read(folder / "nowhere", "--out", folder / "o2")
    expect(done.returncode == 1 and "nowhere" in done.stderr, f"absent path: {done.returncode} {done.stderr!r}")
    (empty / "text.mp4").write_text("this is no video\n" * 40)
    done = read(empty, "--out", folder / "o3")
    expect(done.returncode == 1 and "text.mp4" in done.stderr, f"only a text: {done.returncode} {done.stderr!r}")
    expect(rows(folder / "o3")["text.mp4"]["status"] == "failed", "a text named .mp4 is no failed row")
    expect((folder / "o3" / "report.pdf").exists(), "no report of an examination in which nothing was read")


def all_kinds(clips, folder):
    whole = (clips / "R1.mp4").read_bytes()
    (clips / "cut.mp4").write_bytes(whole[:len(whole) // 2])
    (clips / "text.mp4").write_text("this is no video\n" * 40)
    (clips / "nothing.avi").write_bytes(b"")
    (clips / "letter.pdf").write_bytes(b"%PDF-1.4")
    (clips / ".hidden.mp4").write_bytes(whole)
    os.symlink("gone.png", clips / "dangling.mp4")
    (clips / "exam.csv").write_text("file,zone,depth_cm,notes\nL1,left upper anterior,12.5,calm\none,R3,,\nabsent.mp4,R2,,\n")
    (clips / "exam-info.json").write_text(json.dumps({"title": "All kinds", "date": "2031-04-01", "invented": True}))
    out = folder / "all"
    done = read(clips, "--out", out)
    expect(done.returncode == 0, f"all kinds: {done.returncode} {done.stderr!r}")
    lines = done.stdout.splitlines()
    expect(lines[0] == "Scan again first:" and str(out / "report.pdf") in lines[-1], f"end line: {done.stdout!r}")
    expect(any("right basal lateral: zone not scanned" in line for line in lines), f"missing zones: {done.stdout!r}")
    table = rows(out)
    wanted = {"R1.mp4": "read", "L1.mp4": "read", "déjà vu, \"L2\".mp4": "read", "text.mp4": "failed",
              "nothing.avi": "failed", "dangling.mp4": "failed"}
    for name, status in wanted.items():
        expect(table[name]["status"] == status, f"{name} is {table[name]['status']}: {table[name]['reason']}")
    for name in ("black.mp4", "photo.png", "nine.png"):
        expect(table[name]["status"] in ("unreadable", "failed"), f"{name} is {table[name]['status']}")
    expect(table["one.png"]["frames"] == "1", "the clip of one frame has not one frame")
    expect(".hidden.mp4" not in table and "letter.pdf" not in table, "hidden files or documents were tried")
    for name, row in table.items():
        if row["status"] == "read":
            expect(row["score"] in ("", "0", "1", "2", "3") and row["pleura_found"] in ("0", "1"), f"{name}: odd row")
            stem = name.rsplit(".", 1)[0]
            expect((out / "evidence" / f"{stem}.png").exists(), f"{name}: no evidence picture")
        else:
            expect(len(row["reason"]) > 20 and row["reason"].rstrip().endswith("."), f"{name}: no sentence: {row['reason']!r}")
            expect(name in done.stderr, f"{name}: nothing said: {done.stderr!r}")
            expect(row["score"] == "" and row["pleura_depth_rel"] == "", f"{name}: numbers without a reading")
    expect(table["L1.mp4"]["zone"] == "L-upper-anterior" and table["R1.mp4"]["zone"] == "R-upper-anterior", "zones")
    expect(table["L1.mp4"]["pleura_depth_mm"] != "" or table["L1.mp4"]["pleura_found"] == "0", "a stated depth gives no mm")
    expect("absent.mp4" in done.stderr and "letter.pdf" in done.stderr, "remarks are not said")
    expect("\r" not in done.stderr, "progress where no terminal is")
    return out


def protocols_and_comparison(clips, folder, out):
    """The user's own scheme, whole and with an unknown zone; an earlier examination, good, of another scheme, and no such file."""
    own, bad = folder / "own.json", folder / "bad.json"
    own.write_text(json.dumps({"key": "our-2", "zones": ["R-upper-anterior", "L-upper-anterior"]}))
    bad.write_text(json.dumps({"key": "our-2", "zones": ["R-upper-anterior", "R-kneecap"]}))
    done = read(clips / "R1.mp4", "--out", folder / "p1", "--protocol", bad)
    expect(done.returncode == 2 and "R-kneecap" in done.stderr and "bad.json" in done.stderr, f"unknown zone: {done.stderr!r}")
    done = read(clips / "R1.mp4", "--out", folder / "p1", "--protocol", own, "--before", out / "exam.json", "--rescan-status")
    exam = json.loads((folder / "p1" / "exam.json").read_text())
    expect(exam["examination"]["protocol"] == "our-2" and len(exam["zones"]) == 2, "the own scheme is not counted")
    expect(done.returncode == 3 and "left upper anterior: zone not scanned" in done.stdout, f"rescan status: {done.returncode}")
    expect("another scheme of zones" in done.stderr and exam["change"]["zones_compared"] <= 1, f"other scheme: {done.stderr!r}")
    done = read(clips / "R1.mp4", "--out", folder / "p1", "--before", folder / "gone.json")
    expect(done.returncode == 0 and "No comparison" in done.stderr and "gone.json" in done.stderr, f"no old file: {done.stderr!r}")
    with open(folder / "p1" / "audit.csv", newline="", encoding="utf-8") as file:
        rows_of = list(csv.DictReader(file))
    expect(any(row["rule"] == "length" and row["remedy"] and row["source"] for row in rows_of), "audit.csv lacks the short clip")


def resuming(clips, folder, out):
    before, times = digest(out), rows(out)
    records = {p.name: p.stat().st_mtime_ns for p in (out / ".records").iterdir()}
    done = read(clips, "--out", out)
    expect("by an earlier run" in done.stdout, f"second run reads again: {done.stdout!r}")
    changed = [name for name, value in digest(out).items() if before.get(name) != value]
    expect(not changed, f"a second run changes the output: {changed}")
    expect({p.name: p.stat().st_mtime_ns for p in (out / ".records").iterdir()} == records, "records were made again")
    kept = [name for name, row in rows(out).items() if row["status"] == "read" and row["seconds"] != times[name]["seconds"]]
    expect(not kept, f"read again: {kept}")
    two, one = folder / "two", folder / "one"
    read(clips, "--out", two, "--workers", "2")
    read(clips, "--out", one, "--workers", "1")
    differing = [name for name, value in digest(one).items() if digest(two).get(name) != value]
    expect(not differing and len(digest(one)) == len(digest(two)), f"workers change the output: {differing}")
    cut = folder / "cut"  # killed as soon as the first clip is read
    begun = subprocess.Popen([strandline, "read", clips, "--out", cut, "--workers", "1"], stdout=subprocess.DEVNULL,
                             stderr=subprocess.DEVNULL)
    while begun.poll() is None and not list(cut.glob(".records/*.record")):
        time.sleep(0.002)
    begun.kill()
    if begun.wait() != 0:  # else the machine was faster than the hand
        done = read(clips, "--out", cut)
        expect("by an earlier run" in done.stdout, f"after an interruption all is read again: {done.stdout!r}")
        differing = [name for name, value in digest(cut).items() if digest(one).get(name) != value]
        expect(not differing and len(digest(one)) == len(digest(cut)), f"an interruption changes the output: {differing}")
    (out / ".records" / "R1.record").write_bytes(b"broken")
    done = read(clips, "--out", out)
    changed = [name for name, value in digest(out).items() if before.get(name) != value]
    expect(done.returncode == 0 and not changed, f"a broken record does harm: {changed}")
    (clips / "L1.mp4").unlink()
    read(clips, "--out", out)
    expect("L1.mp4" not in rows(out) and not (out / "evidence" / "L1.png").exists(), "a clip that went leaves pictures")
    done = read(clips, "--out", clips)  # the report beside the clips
    again = read(clips, "--out", clips)
    expect(done.returncode == 0 and again.returncode == 0 and len(rows(clips)) == len(rows(out)), "report beside the clips")


def places_that_cannot_be_written(clips, folder):
    blocked = folder / "blocked"
    blocked.write_text("a file\n")
    done = read(clips / "R1.mp4", "--out", blocked)
    expect(done.returncode == 1 and "blocked" in done.stderr, f"out is a file: {done.returncode} {done.stderr!r}")
    if os.getuid() != 0:
        locked = folder / "locked"
        locked.mkdir(mode=0o000)
        done = read(locked, clips / "R1.mp4", "--out", folder / "o5")
        expect(done.returncode == 0 and "could not be listed" in done.stderr, f"locked folder: {done.stderr!r}")
        locked.chmod(0o700)
    limited = folder / "limited"  # no file may grow beyond 8 kB
    done = subprocess.run(["sh", "-c", f'ulimit -f 16; exec "$0" read "$1" --out "$2"', strandline, clips / "R1.mp4", limited],
                          capture_output=True, text=True)
    expect(done.returncode == 1 and "could not be written" in done.stderr, f"file limit: {done.returncode} {done.stderr!r}")
    expect(not list(limited.rglob("*.part")) and not (limited / "report.pdf").exists(), "half a file is left")
    small = folder / "small"
    small.mkdir()
    script = f'mount -t tmpfs -o size=64k none "$2" && "$0" read "$1" --out "$2/out"; echo "status $?"; find "$2" -name "*.part"'
    if not shutil.which("unshare"):
        return "no unshare"
    done = subprocess.run(["unshare", "-rm", "sh", "-c", script, strandline, clips / "R1.mp4", small], capture_output=True, text=True)
    if "mount" in done.stderr or "unshare" in done.stderr:
        return "no small disk could be made"
    expect("status 1" in done.stdout and "No space left" in done.stderr and "Free some space" in done.stderr,
           f"full disk: {done.stdout!r} {done.stderr!r}")
    expect(".part" not in done.stdout, "a full disk leaves half a file")
    return ""


with tempfile.TemporaryDirectory() as temporary:
    folder = pathlib.Path(temporary)
    clips = folder / "clips with é"
    clips.mkdir()
    subprocess.run([make_odd, clips], check=True)
    make_good(clips)
    wrong_use(folder)
    nothing_to_read(folder)
    note = places_that_cannot_be_written(clips, folder)
    out = all_kinds(clips, folder)
    protocols_and_comparison(clips, folder, out)
    resuming(clips, folder, out)
    annotated = folder / "annotated"
    done = read(clips / "R1.mp4", "--out", annotated, "--annotated-clips")
    expect(done.returncode == 0 and (annotated / "annotated" / "R1.mp4").stat().st_size > 5000, "no annotated clip")
print("\n".join(failures) or "read does what it says" + (f" ({note})" if note else ""))
sys.exit(1 if failures else 0)
