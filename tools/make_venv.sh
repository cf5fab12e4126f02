#!/bin/sh
# Make the virtual environment; Debian ships python3 without the venv module, so fetch that when it is missing.
set -eu
python=$1 venv=$2
if ! "$python" -m venv "$venv" >/dev/null 2>&1; then
    rm -rf "$venv"
    if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null 2>&1; then
        echo "$python -m venv does not work here: install the package python3-venv, then run make again." >&2
        exit 1
    fi
    apt-get update -qq && apt-get install -y -qq python3-venv >/dev/null
    "$python" -m venv "$venv"
fi
"$venv/bin/pip" install --quiet --upgrade pip
