#!/bin/sh
# Starts Busbox from the wheels beside this file: no network, no administrator rights.
kit=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd) || exit 1
python=$kit/venv/bin/python
if [ ! -e "$kit/venv/installed.txt" ]; then
  found=
  for name in python@PYTHON@ python3 python; do
    if "$name" -c 'import sys; sys.exit(sys.version_info[:2] != (3, @MINOR@))' 2>/dev/null; then
      found=$name
      break
    fi
  done
  if [ -z "$found" ]; then
    echo "This kit needs Python @PYTHON@, and did not find it as python@PYTHON@ or python3." >&2
    exit 1
  fi
  echo "Installing Busbox into $kit/venv. This happens once." >&2
  if "$found" -m venv --without-pip "$kit/venv" &&
    "$python" "$kit/wheels/@PIP@/pip" --isolated install --quiet --no-index \
      --find-links "$kit/wheels" busbox; then
    echo "Busbox @VERSION@" >"$kit/venv/installed.txt"
  else
    echo "Busbox could not be installed. Delete the folder $kit/venv and start again." >&2
    exit 1
  fi
fi
[ $# -gt 0 ] || set -- lesson
exec "$python" -m busbox "$@"
