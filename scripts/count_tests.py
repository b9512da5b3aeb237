"""Adds up Meson's test logs and ends with the line that says how many passed, failed and were skipped.

Skipped tests are named with their last line of output, so that a skip is never silent.
"""
import json
import sys

passed = failed = skipped = 0
for path in sys.argv[1:]:
    try:
        lines = open(path, encoding="utf-8").read().splitlines()
    except OSError as error:
        print(f"{path}: {error.strerror}. The tests of that build did not run.")
        failed += 1
        continue
    for line in lines:
        test = json.loads(line)
        result = test["result"]
        if result in ("OK", "EXPECTEDFAIL"):
            passed += 1
        elif result == "SKIP":
            skipped += 1
            said = (test.get("stdout") or test.get("stderr") or "no reason given").strip().splitlines()
            print(f"skipped: {test['name']}: {said[-1] if said else 'no reason given'}")
        else:
            failed += 1
            print(f"failed: {test['name']} ({result}) in {path}")
print(f"{passed} passed, {failed} failed, {skipped} skipped")
sys.exit(1 if failed or not passed else 0)
