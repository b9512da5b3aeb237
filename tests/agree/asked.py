"""Asks one command of the program and checks what it says. Shared by the check_*.py of this folder."""
import pathlib
import subprocess
import tempfile

_room = tempfile.TemporaryDirectory()
folder = pathlib.Path(_room.name)
passed = 0


def ask(program, command, *words, status=0, says=(), silent=(), typed=""):
    """Standard output of `program command words`; ends the test when the exit status or the text is another."""
    global passed
    done = subprocess.run([program, command, *map(str, words)], text=True, capture_output=True, input=typed)
    text = done.stdout + done.stderr
    if done.returncode != status:
        raise SystemExit(f"exit {done.returncode}, not {status}, of {words}:\n{text}")
    for piece in says:
        if piece not in text:
            raise SystemExit(f"not said: {piece}\n{text}")
    for piece in silent:
        if piece in text:
            raise SystemExit(f"said, but should not: {piece}\n{text}")
    passed += 1
    return done.stdout
