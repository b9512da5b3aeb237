#!/bin/sh
# docs/commands.md is what the commands say of themselves.
# $1: the program, $2: the page
if "$1" help --reference | diff -u "$2" -; then
    echo "the page and the commands agree"
else
    echo "docs/commands.md differs from the commands' own help: run 'build/strandline help --reference > docs/commands.md'"
    exit 1
fi
