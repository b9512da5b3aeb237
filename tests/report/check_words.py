"""The report's words: every language complete, every finding named, no words in the drawing code, and the report of the
invented examination in each language on each paper, signed and with an addendum: right size, fonts embedded, text that can
be searched, nothing of the other language in it. Text is taken out by poppler's tools.
Usage: check_words.py DRAW_FAKE PROJECT_ROOT"""
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

draw, root = sys.argv[1], pathlib.Path(sys.argv[2])
folder = root / "src" / "report"
failures = []


def expect(holds, what):
    if not holds:
        failures.append(what)


def run(*command):
    return subprocess.run([str(word) for word in command], capture_output=True, text=True, check=True).stdout


def words_of(code):
    lines = [line for name in ("words", "words_audit") for line in (folder / f"{name}.{code}").read_text(encoding="utf-8").splitlines()]
    return dict(line.split(" = ", 1) for line in lines if line and not line.startswith("#"))


codes = sorted(path.suffix[1:] for path in folder.glob("words.*") if path.suffix not in (".c", ".h"))
expect(len(codes) >= 2, "there is one language only")
done = subprocess.run([sys.executable, root / "scripts" / "language_words.py", "-", "-", *(folder / f"{name}.{c}" for c in codes for name in ("words", "words_audit"))],
                      capture_output=True, text=True)
expect(done.returncode == 0, done.stderr)
english = words_of("en")
for key in re.findall(r'\{SL_[A-Z_]+, "([a-z_]+)"', (root / "src" / "reading" / "findings.c").read_text(encoding="utf-8")):
    for part in ("name", "source"):
        expect(f"finding.{key}.{part}" in english, f"words.* lack finding.{key}.{part}: a finding of src/reading/findings.c needs it")

rules = (root / "src" / "audit" / "rules_table.c").read_text(encoding="utf-8")
for key, reason in re.findall(r'\{SL_RULE_[A-Z_]+, "([a-z-]+)", "[^"]*", SL_GRADE_\w+, \w+,\s*((?:"[^"]*"\s*)+),', rules):
    for part in ("name", "reason", "remedy"):
        expect(f"audit.{key}.{part}" in english, f"words.* lack audit.{key}.{part}: a rule of src/audit/rules_table.c needs it")
    expect(english.get(f"audit.{key}.reason") == "".join(re.findall(r'"([^"]*)"', reason)), f"audit.{key}.reason is another text than in the table")
stated = {text for key, text in english.items() if key.startswith(("reason.", "note.", "unit."))}
for source in (*(root / "src" / "audit").glob("*.c"), root / "src" / "exam" / "rescan.c"):
    for call in re.findall(r'sl_complain\(\w+,\s*\w+,\s*((?:"(?:\\.|[^"\\])*"\s*)+)', source.read_text(encoding="utf-8")):
        text = "".join(re.findall(r'"((?:\\.|[^"\\])*)"', call)).replace('\\"', '"')
        places = iter(range(9))
        text = re.sub(r"%%|%[.0-9]*[a-z]", lambda found: "%" if found[0] == "%%" else "{%d}" % next(places), text)
        expect(text == "{0}" or text in stated, f"{source.name}: words.* lack what is found: {text}")

# ---- no words in the code that draws and writes for people
ALLOWED = ("DejaVu Sans", "audit.%s.name", "audit.%s.remedy", "audit.%s.reason", "value.%s", "scheme.%s.name", "rules.%s", "strandline ", "finding.%s.name", "finding.%s.source", "place.%s", "posture.%s", "profile.%s.pattern", "profile.%s.diagnosis",
           "profile.%s.needs", "2000-01-01")
DRAWING = ("annotate.c", "clip_row.c", "draw.c", "overlay.c", "pages.c", "pdf.c", "picture.c", "report_text.c", "strip.c", "tide.c", "words.c")
for name in (*DRAWING, *(path.name for path in sorted(folder.glob("page_*.c")))):
    text = re.sub(r"/\*.*?\*/", "", (folder / name).read_text(encoding="utf-8"), flags=re.S)
    text = re.sub(r"const char sl_words_(caution|limits)\[\] =[^;]*;", "", text)  # for files that have one language
    text = re.sub(r'return state == SL_CLIP_READ[^;]*;', "", text)  # a column of readings.csv
    literals = []
    text = re.sub(r"'.'", "0", text)
    text = re.sub(r'"((?:\\.|[^"\\])*)"', lambda found: literals.append(found[1]) or f"@{len(literals) - 1}@", text)
    for statement in re.split(r"[;{}]", text):
        if "#include" in statement or "sl_fail" in statement or "cmp(" in statement:
            continue
        for literal in (literals[int(which)] for which in re.findall(r"@(\d+)@", statement)):
            bare = re.sub(r"%[-+ 0#]*[\d.*]*(?:l|ll|z)?[a-zA-Z]|\\u[0-9a-f]{4}|\\.", " ", literal)
            if re.search(r"[A-Za-z]{2,}", bare) and literal not in ALLOWED and "/" not in literal:
                expect(False, f'src/report/{name} holds words: "{literal}"')

made = re.search(r'reading->method = ((?:"[^"]*"\s*)+)', (root / "src" / "reading" / "segments.c").read_text(encoding="utf-8"))
expect("".join(re.findall(r'"([^"]*)"', made[1])) in stated, "reason.method is not what src/reading/segments.c states")

# ---- the sheets
if not all(shutil.which(tool) for tool in ("pdftotext", "pdffonts", "pdfinfo")):
    print("\n".join(failures) or "skipped: poppler-utils is not here (./check installs it)")
    sys.exit(1 if failures else 77)
conclusion = "No sign of fluid overload. " + "Please look at the right base again tomorrow. " * 12 + "END OF THE CONCLUSION."
# sizes in points: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 inches (ANSI/ASME Y14.1); lying across
SIZES = {"a4": (297 / 25.4 * 72, 210 / 25.4 * 72), "letter": (11 * 72, 8.5 * 72)}
with tempfile.TemporaryDirectory() as temporary:
    for code in codes:
        own = words_of(code)
        for paper, (width, height) in SIZES.items():
            out = pathlib.Path(temporary) / f"{code}-{paper}"
            run(draw, out, "9", code, paper, conclusion, "The left base was not seen.")
            pdf, name = out / "report.pdf", f"{code} on {paper}"
            size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", run("pdfinfo", pdf))
            expect(abs(float(size[1]) - width) < 0.5 and abs(float(size[2]) - height) < 0.5, f"{name}: the page is {size[0]}")
            fonts = run("pdffonts", pdf).splitlines()[2:]
            expect(fonts and all(re.search(r" yes yes yes ", line) for line in fonts), f"{name}: a font is not embedded")
            pages = run("pdftotext", "-layout", pdf, "-").split("\f")[:-1]
            flat = [" ".join(page.split()) for page in pages]
            for number, page in enumerate(flat, 1):
                for key in ("caution", "limits", "invented.page"):
                    expect(own[key] in page, f"{name}: page {number} lacks {key}")
            raw = " ".join(run("pdftotext", pdf, "-").split())  # as one reads: column after column
            for key in ("out.heading", "rescan.heading", "sign.page", "sign.heading-conclusion", "notes.read-heading", "notes.limits",
                        "finding.b_lines.source", "sign.in-full", "sign.fingerprint"):
                expect(own[key] in raw, f"{name}: lacks {key}")
            for part in ("END OF THE CONCLUSION.", "The left base was not seen.", "Dr. Invented", "2031-02-28 10:31:00", "wet or dry?"):
                expect(part in raw, f"{name}: lacks {part!r}")
            expect(f"31{own['number.point']}8 mm" in raw, f"{name}: decimal point")
            for other in codes:  # of a phrase long enough to be no accident
                for key, text in words_of(other).items():
                    if other != code and "{" not in text and len(text) > 14 and text != own[key] and text not in own.values():
                        expect(text not in raw, f"{name}: words of {other}: {text}")
print("\n".join(failures) or f"{len(english)} phrases, complete in {', '.join(codes)}")
sys.exit(1 if failures else 0)
