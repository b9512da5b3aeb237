"""Archives and DICOM directories as input of `strandline read`; an archive whose entries point out of it. Python's zipfile and tarfile
make them. Simulated clips."""
import pathlib
import subprocess
import sys
import tarfile
import tempfile
import zipfile

strandline, scenario = sys.argv[1:3]
problems = []


def run(*words):
    return subprocess.run([strandline, *map(str, words)], capture_output=True, text=True, timeout=120)


def names_read(out):
    rows = (out / "readings.csv").read_text().splitlines()[1:] if (out / "readings.csv").exists() else []
    return sorted(row.split(",")[0] for row in rows if ",read," in row)


def expect(what, got, wanted):
    if got != wanted:
        problems.append(f"{what}: {got} instead of {wanted}")


with tempfile.TemporaryDirectory() as place:
    folder = pathlib.Path(place)
    clips = folder / "clips"
    clips.mkdir()
    run("simulate", scenario, "--out", clips / "R1.dcm", "--set", "controls.duration_s=0.5")
    (clips / "IM0001").write_bytes((clips / "R1.dcm").read_bytes())
    with zipfile.ZipFile(folder / "exam.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.write(clips / "R1.dcm", "day one/R1.dcm")
        archive.writestr("../outside.txt", "x")
        archive.writestr("/outside.txt", "x")
        archive.writestr("day one/../../outside.txt", "x")
    with tarfile.open(folder / "exam.tar.gz", "w:gz") as archive:
        archive.add(clips / "R1.dcm", "R1.dcm")
        link = tarfile.TarInfo("link")
        link.type, link.linkname = tarfile.SYMTYPE, "/etc/passwd"
        archive.addfile(link)
    for kind in ("zip", "tar.gz"):
        done = run("read", folder / f"exam.{kind}", "--out", folder / kind)
        expect(kind, (done.returncode, names_read(folder / kind)), (0, ["R1.dcm"]))
    if [path for path in folder.rglob("outside.txt")] or list(folder.rglob("link")):
        problems.append("an entry was written outside the archive's folder, or a link was followed")
    (folder / "broken.zip").write_bytes((folder / "exam.zip").read_bytes()[:4000])
    done = run("read", folder / "broken.zip", "--out", folder / "broken")
    if done.returncode != 1 or "broken.zip is damaged" not in done.stderr:
        problems.append(f"a broken archive: {done.returncode} {done.stderr}")
    (clips / "DICOMDIR").write_bytes(b"\0" * 128 + b"DICM")
    (clips / "R1.dcm").unlink()
    done = run("read", clips / "DICOMDIR", "--out", folder / "directory")
    expect("DICOMDIR", (done.returncode, names_read(folder / "directory")), (0, ["IM0001"]))
print("\n".join(problems + [f"{len(problems)} problems"]))
sys.exit(1 if problems else 0)
