"""What code that engines make follows from beside the design: versions, and the sources of it all."""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Iterator
from functools import cache
from importlib.util import find_spec

import busbox

#: The packages that a design, and code of it, are made by.
PACKAGES = ("busbox", "busbox.models", "amaranth")


@cache
def sources() -> bytes:
    """Return a digest of the versions and sources that code follows from.

    Every Python file of the packages counts, by its name and contents: to read them all takes less
    time than to import the fewest that a design needs, and no list of them can be out of date.
    """
    known = busbox.__version__, sys.implementation.name, sys.version, PACKAGES
    digest = hashlib.sha256(repr(known).encode())
    for package in PACKAGES:
        found = find_spec(package)
        for folder in (found and found.submodule_search_locations) or ():
            for file in sorted(_files(folder)):
                with open(file, "rb") as opened:
                    text = opened.read()
                digest.update(f"{package} {file[len(folder) :]} {len(text)}\n".encode() + text)
    return digest.digest()


def _files(folder: str) -> Iterator[str]:
    """Yield the Python files in a folder and those below."""
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir():
                yield from _files(entry.path)
            elif entry.name.endswith(".py"):
                yield entry.path
