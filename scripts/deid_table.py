"""Makes src/dicom/deid_rows.inc: the attributes of DICOM PS3.15 Table E.1-1 and what is done with each.

    pip install dicom-anonymizer==2.1.0; pip download --no-deps idiscore==1.2.0 (and unpack it)
    python scripts/deid_table.py FOLDER_OF_IDISCORE > src/dicom/deid_rows.inc

The basic profile's column is that of edition 2026c as the package dicom-anonymizer carries it; the columns of the options
are those of the edition current on 2024-09-19 (2024d) as idiscore carries them. Only the facts of the standard's table are taken over. Standard library and dicom-anonymizer's one data file; both
sources are read as text."""
import importlib.util
import pathlib
import re
import sys

LISTS = {"D": "D", "Z": "Z", "X": "X", "U": "U", "Z_D": "ZD", "X_Z": "XZ", "X_D": "XD", "X_Z_D": "XZD",
         "X_Z_U_STAR": "XZU"}
OPTIONS = {"retain_device_id": "device", "retain_modified_dates": "dates", "clean_descriptors": "descriptors"}


def basic():
    found = importlib.util.find_spec("dicomanonymizer")
    path = pathlib.Path(found.submodule_search_locations[0]) / "dicom_anonymization_databases/dicomfields_2026c.py"
    rows = {}
    for key, body in re.findall(r"^(\w+)_TAGS = \[\n(.*?)^\]", path.read_text(encoding="utf-8"), re.M | re.S):
        for row in re.finditer(r"\(\s*(0x\w+),\s*(0x\w+)(?:,\s*(0x\w+),\s*(0x\w+))?,?\s*\),?[ ]*(?:#\s*(.*))?", body):
            group, element, group_mask, element_mask = (int(x, 16) if x else 0xFFFF for x in row.groups()[:4])
            rows[group << 16 | element] = (group_mask << 16 | element_mask, LISTS[key], (row[5] or "").strip())
        if body.count("0x") // 2 < sum(1 for _ in re.finditer(r"\(", re.sub(r"#.*", "", body))):
            sys.exit(f"{key}: not all rows are understood")
    return rows


def options(folder):
    text = (pathlib.Path(folder) / "_public_dicom.py").read_text(encoding="utf-8")
    said = {}
    for block in re.split(r"\n(?=\w+ = RawNemaRuleSet)", text)[1:]:
        name = OPTIONS.get(block.split(" =")[0])
        for tag, action in re.findall(r'SingleTag\("(\w+)"\),\s*ActionCodes\.(\w+)', block) if name else ():
            said.setdefault(int(tag, 16), {})[name] = {"KEEP": "K", "CLEAN": "C"}[action]
    return said


rows, said = basic(), options(sys.argv[1])
print("/* Made by scripts/deid_table.py, which says from where; do not edit.")
print(" * DICOM PS3.15 Table E.1-1: basic profile of edition 2026c; options of edition 2024d (2024-09-19). Columns: tag, mask")
print(" * of the bits that count, basic action, retain device identity, retain longitudinal modified dates, clean descriptors;")
print(" * '-' where an option says nothing. Included by deid_table.c. */")
for tag, (mask, action, name) in sorted(rows.items()):
    option = [said.get(tag, {}).get(key, "-") for key in OPTIONS.values()]
    name = name.replace('"', "'")
    print(f'ROW(0x{tag:08x}, 0x{mask:08x}, {action}, \'{option[0]}\', \'{option[1]}\', \'{option[2]}\', "{name}")')
