#!/usr/bin/env python3
"""Kills a program that works in a store at random moments, again and again, and looks each time whether the store keeps
what it promised: it opens, its check finds nothing, every signature that was reported as done is there, an examination is
there whole or not at all, and no clip lies in it without its record. Standard library only.

    scripts/store_crash.py [--worker build/tests/store/store_worker] [--kills 500] [--seed 1]

A few dozen kills run in the test suite (tests/store)."""
import argparse
import os
import pathlib
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time


def look(worker, store):
    done = subprocess.run([worker, store, "check"], capture_output=True, text=True, timeout=120)
    lines = done.stdout.splitlines()
    return done.returncode, {tuple(line.split()[1:3]) for line in lines if line.startswith("has ")}, lines[-1] if lines else done.stderr


def main():
    root = pathlib.Path(__file__).resolve().parent.parent
    parser = argparse.ArgumentParser()
    parser.add_argument("--worker", default=str(root / "build" / "tests" / "store" / "store_worker"))
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    words = parser.parse_args()
    chance = random.Random(words.seed)
    folder = pathlib.Path(tempfile.mkdtemp(prefix="store_crash_"))
    store = folder / "kept"
    problems, promised, going, gone, tidied, whole_steps = [], set(), set(), set(), 0, 0
    for kill in range(words.kills):
        if kill % 60 == 0 and kill:  # a store of its own now and then: the first moments are worth killing in, too
            shutil.rmtree(folder)
            folder.mkdir()
            promised, going, gone = set(), set(), set()
        with tempfile.TemporaryFile() as said:
            child = subprocess.Popen([words.worker, store, "100000", str(1000 * kill + 1)], stdout=said, stderr=subprocess.PIPE)
            time.sleep(chance.expovariate(1 / 0.07) if kill % 3 else chance.uniform(0, 0.01))
            child.send_signal(signal.SIGKILL)
            stderr = child.communicate()[1].decode()
            if child.returncode != -signal.SIGKILL:
                problems.append(f"kill {kill}: ended by itself: {child.returncode} {stderr}")
            said.seek(0)
            for line in said.read().decode().splitlines():
                parts = line.split()
                if parts[0] == "added":
                    promised.add((parts[1], "added"))
                elif parts[0] == "signed":
                    promised.add((parts[1], parts[2]))
                    whole_steps += 1
                elif parts[0] == "forgetting":
                    going.add(parts[1])
                elif parts[0] == "forgotten":
                    gone.add(parts[1])
        status, has, last = look(words.worker, store)
        if status or not last.startswith("whole"):
            problems.append(f"kill {kill}: the store is not whole: {last}")
        uids = {uid for uid, _ in has}
        for uid, what in promised:
            if (uid, what) not in has and uid not in going:
                problems.append(f"kill {kill}: promised and lost: {uid} {what}")
        for uid in going & uids:  # half forgotten is not forgotten
            problems += [f"kill {kill}: half forgotten: {uid} {what}" for u, what in promised if u == uid and (u, what) not in has]
        problems += [f"kill {kill}: forgotten and still there: {uid}" for uid in gone & uids]
        if "," in last:
            tidied += int(last.split(",")[1].split()[0])
        if len(problems) > 20:
            break
    left = [p for p in store.rglob("*") if p.parent.name == "pending"] if store.exists() else []
    problems += [f"left behind: {p.name}" for p in left]
    shutil.rmtree(folder)
    print("\n".join(problems) or f"{words.kills} kills: nothing promised was lost ({whole_steps} signatures), every store whole, "
          f"{tidied} files without a record found by the check after what opening it had cleared away")
    return 1 if problems else 0


if __name__ == "__main__":
    os.environ["LC_ALL"] = "C"
    sys.exit(main())
