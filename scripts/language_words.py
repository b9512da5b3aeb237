"""Makes the C header and table of the report's words from its language files (src/report/words*.CODE), English first. Every file must
have the same keys with the same places to fill in; else it says which is missing. Standard library only.
Usage: language_words.py HEADER TABLE words.en words.de ...   (HEADER "-": only checks)"""
import pathlib
import re
import sys


def read(path):
    words = {}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        match = re.match(r"([a-z0-9_.-]+) = (.*\S)$", line)
        if not match:
            sys.exit(f"{path.name}:{number}: not 'key = text': {line}")
        if match.group(1) in words:
            sys.exit(f"{path.name}:{number}: {match.group(1)} stands there twice")
        words[match.group(1)] = match.group(2)
    return words


def quoted(text):
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


out, table, *paths = sys.argv[1:]
paths = [pathlib.Path(path) for path in paths]
files = {}
for path in paths:
    words = files.setdefault(path.suffix[1:], {})
    more = read(path)
    if words.keys() & more.keys():
        sys.exit(f"{path.name} repeats {', '.join(words.keys() & more.keys())}")
    words.update(more)
first = next(iter(files.values()))
problems = []
for code, words in files.items():
    problems += [f"words.{code} lacks {key}" for key in first if key not in words]
    problems += [f"words.{code} has {key}, which words.{next(iter(files))} lacks" for key in words if key not in first]
    problems += [f"words.{code}: {key} fills in other places than in words.{next(iter(files))}" for key in first if key in words and
                 sorted(re.findall(r"\{\d\}", words[key])) != sorted(re.findall(r"\{\d\}", first[key]))]
if problems:
    sys.exit("\n".join(problems))
if out != "-":
    keys = sorted(first)
    made = "/* Made from words.* by scripts/language_words.py. */"
    lines = [made, "#ifndef SL_REPORT_LANGUAGE_WORDS_H", "#define SL_REPORT_LANGUAGE_WORDS_H", "typedef enum sl_phrase {"]
    lines += [f"    SL_P_{re.sub('[^A-Z0-9]', '_', key.upper())}," for key in keys]
    lines += ["    SL_PHRASES", "} sl_phrase;", f"#define SL_LANGUAGE_CODES {quoted(', '.join(files))}", "#endif"]
    pathlib.Path(out).write_text("\n".join(lines) + "\n", encoding="utf-8")
    lines = [made, "static const char *const phrase_keys[SL_PHRASES] = {"]
    lines += [f"    {quoted(key)}," for key in keys] + ["};", "static const sl_language languages[] = {"]
    for code, words in files.items():
        lines += [f"    {{{quoted(code)}, {{"] + [f"        {quoted(words[key])}," for key in keys] + ["    }},"]
    lines += ["};"]
    pathlib.Path(table).write_text("\n".join(lines) + "\n", encoding="utf-8")
else:
    print(f"{len(first)} phrases in each of {', '.join(files)}")
