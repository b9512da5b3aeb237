"""The house rules that a machine can check: which folder may include which (docs/architecture.md), calls that have a
better replacement, file sizes, and no media that could be a real clip. Standard library only."""
import os
import pathlib
import re
import subprocess
import sys

root = pathlib.Path(sys.argv[1])

# The way of the data; a folder may include itself and the folders named beside it. The same table stands in
# docs/architecture.md.
MAY_USE = {
    "core": "",
    "acoustics": "core",
    "clip": "core",
    "dicom": "core clip",
    "view": "core clip",
    "reading": "core acoustics clip view",
    "audit": "core acoustics clip view reading",
    "exam": "core acoustics clip view reading audit",
    "agree": "core reading exam",
    "chest": "core acoustics clip view reading",
    "wave": "core acoustics clip",
    "store": "core clip reading exam",
    "report": "core acoustics clip view reading audit exam agree",
    "objects": "core clip dicom view reading exam report",
    "access": "core",
    "node": "core clip dicom store",
    "dicomweb": "core dicom node store",
    "serve": "*",
    "cli": "*",
}
BANNED = {  # pattern: what to use instead
    r"(?<!\w)atoi\s*\(": "strtol with a check",
    r"(?<!\w)atof\s*\(": "strtod with a check",
    r"(?<!\w)sprintf\s*\(": "snprintf",
    r"(?<!\w)strcat\s*\(": "sl_text",
    r"(?<!\w)gets\s*\(": "fgets",
    r"(?<!\w)abort\s*\(": "an sl_status",
    r"(?<!\w)exit\s*\(": "an sl_status",
    r"(?<!\w)printf\s*\(": "an sl_error (libraries do not print)",
}
problems = []


def check_source(path):
    folder = path.relative_to(root / "src").parts[0]
    name = path.relative_to(root)
    if folder not in MAY_USE:
        problems.append(f"{name}: the folder {folder} is not in the table of include directions")
        return
    if path.suffix in (".cc", ".cpp") and folder != "dicom":
        problems.append(f"{name}: C++ belongs to src/dicom alone")
    lines = path.read_text(encoding="utf-8").splitlines()
    if len(lines) > 600:
        problems.append(f"{name}: {len(lines)} lines; over 600 is two things in one")
    allowed = MAY_USE[folder].split() + [folder]
    for number, line in enumerate(lines, 1):
        match = re.match(r'\s*#\s*include\s+"([^"]+)"', line)
        if match and "/" not in match.group(1):
            if (path.parent / match.group(1)).exists():
                problems.append(f'{name}:{number}: include "{folder}/{match.group(1)}" by its folder')
        elif match:
            target = match.group(1).split("/")[0]
            if "*" not in allowed and target not in allowed:
                problems.append(f"{name}:{number}: {folder} must not use {target}")
        code = re.sub(r'"(\\.|[^"\\])*"', '""', line).split("/*")[0].split("//")[0]
        if code.lstrip().startswith("* ") or "__attribute__" in code:
            continue
        for pattern, instead in BANNED.items():
            if "printf" in pattern and "sprintf" not in pattern and folder in ("cli", "serve"):
                continue
            if re.search(pattern, code):
                problems.append(f"{name}:{number}: use {instead} instead")


def check_file(path):
    relative = path.relative_to(root)
    if path.suffix.lower() in (".mp4", ".mov", ".avi", ".mpg", ".mpeg", ".gif", ".dcm", ".webm"):
        if relative.parts[0] != "tests":
            problems.append(f"{relative}: media belongs outside the repository or is made by a test")
    if path.stat().st_size > 1_000_000:
        problems.append(f"{relative}: over 1 MB; can it be made by the program instead?")
    if path.suffix in (".c", ".h", ".cc", ".md", ".py", ".sh", ".json") and path.name != "check_house.py":
        text = path.read_text(encoding="utf-8", errors="replace")
        if re.search(r"/work/|/tmp/bash_jobs|/opt/sci", text):
            problems.append(f"{relative}: names a path of one machine")


def kept_files():
    """What the repository holds: git's list, or where git is not installed or this is no clone, all but what is made."""
    try:
        listed = subprocess.run(["git", "-C", str(root), "ls-files", "-z"], capture_output=True, text=True)
        if listed.returncode == 0:
            return [root / file for file in listed.stdout.split("\0") if file and (root / file).is_file()]
    except FileNotFoundError:
        pass
    made = re.compile(r"build.*|demo|node_modules|__pycache__|\.(?!ci$).*")
    found = []
    for folder, folders, files in os.walk(root):
        folders[:] = [name for name in folders if not made.fullmatch(name)]
        found += [pathlib.Path(folder) / name for name in files if not name.endswith(".pyc")]
    return sorted(found)


for source in sorted((root / "src").rglob("*")):
    if source.suffix in (".c", ".h", ".cc", ".cpp"):
        check_source(source)
for file in kept_files():
    check_file(file)
print("\n".join(problems) or "the house is in order")
sys.exit(1 if problems else 0)
