"""Packs the page and the invented chests into a C file. Where Node.js and web/node_modules are, web/build.mjs bundles the
page first; otherwise a page that says what is missing takes its place. Standard library only.
Usage: pack_page.py ROOT OUT.c"""
import gzip
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile

root, target = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
web = root / "web"
TYPES = {".html": "text/html; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8",
         ".woff2": "font/woff2", ".svg": "image/svg+xml"}
WITHOUT = """<!doctype html><html lang="en"><meta charset="utf-8"><title>strandline</title>
<h1>The page is not in this build</h1>
<p>strandline was built without its page, because Node.js or the page's packages were not there. Install them
(Debian: nodejs and npm), then run ./try again. Everything on the command line works without it.</p>
<p>Supports and does not replace a clinician's judgement. Not a medical device. Local protocols and licensed practice
come first.</p></html>
"""


def bundle(out):
    node = shutil.which("node")
    if not node or not (web / "node_modules" / "esbuild").is_dir():
        return "Node.js or web/node_modules is not there (npm ci in web/ brings it)"
    done = subprocess.run([node, "build.mjs", str(out)], cwd=web, capture_output=True, text=True)
    return done.stderr.strip() or "bundling failed" if done.returncode else None


def c_bytes(data):
    return ",".join(str(byte) for byte in data)


def packed(data):
    return gzip.compress(data, 9, mtime=0)


with tempfile.TemporaryDirectory() as folder:
    out = pathlib.Path(folder)
    trouble = bundle(out)
    if trouble:
        if "not there" not in trouble:
            sys.exit(f"web: {trouble}")
        print(f"pack_page: built without the page: {trouble}", file=sys.stderr)
        (out / "index.html").write_text(WITHOUT, encoding="utf-8")
    pieces, rows = [], []
    for number, path in enumerate(sorted(out.iterdir())):
        data = path.read_bytes()
        plain = path.suffix == ".woff2"
        held = data if plain else packed(data)
        pieces.append(f"static const unsigned char file_{number}[] = {{{c_bytes(held)}}};\n")
        rows.append(f'    {{"{path.name}", "{TYPES[path.suffix]}", file_{number}, {len(held)}, {len(data)}, {int(plain)}}},\n')
scenarios = [json.loads(path.read_text(encoding="utf-8")) for path in sorted((root / "scenarios").glob("*.json"))]
data = json.dumps(scenarios, separators=(",", ":")).encode()
held = packed(data)
text = ('/* Made by scripts/pack_page.py. */\n#include "serve/assets.h"\n' + "".join(pieces) +
        f"static const unsigned char scenarios[] = {{{c_bytes(held)}}};\n"
        "const sl_asset sl_assets[] = {\n" + "".join(rows) + "    {0},\n};\n"
        f'const sl_asset sl_scenarios_asset = {{"scenarios", "application/json", scenarios, {len(held)}, {len(data)}, 0}};\n')
if not target.exists() or target.read_text(encoding="utf-8") != text:
    target.write_text(text, encoding="utf-8")
