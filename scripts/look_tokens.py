"""Makes the C header (or, with --css, the style sheet's variables) from the file of look tokens. Standard library
only. Usage: look_tokens.py [--css] TOKENS OUT"""
import re
import sys

arguments = sys.argv[1:]
css = "--css" in arguments
source, target = [a for a in arguments if a != "--css"]
lines = []
for number, line in enumerate(open(source, encoding="utf-8"), 1):
    if not line.strip() or line.startswith("#"):
        continue
    match = re.match(r"(colour|size|stroke)\s+([a-z0-9-]+)\s+(#[0-9A-Fa-f]{6}|[0-9.]+)(?:\s+(.*))?$", line.rstrip())
    if not match or (match.group(1) == "colour") != match.group(3).startswith("#"):
        sys.exit(f"{source}:{number}: not 'kind name value for': {line.strip()}")
    kind, name, value, purpose = match.groups()
    if css:
        lines.append(f"  --{kind}-{name}: {value}{'' if kind == 'colour' else 'pt'};")
    else:
        constant = f"LOOK_{kind.upper()}_{name.upper().replace('-', '_')}"
        value = "0x" + value[1:].upper() if kind == "colour" else value
        lines.append(f"#define {constant} {value}" + (f" /* {purpose} */" if purpose else ""))
with open(target, "w", encoding="utf-8") as out:
    if css:
        out.write(":root {\n" + "\n".join(lines) + "\n}\n")
    else:
        out.write("/* Made from look.tokens by scripts/look_tokens.py. */\n#ifndef SL_REPORT_LOOK_TOKENS_H\n"
                  "#define SL_REPORT_LOOK_TOKENS_H\n" + "\n".join(lines) + "\n#endif\n")
