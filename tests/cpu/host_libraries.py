"""Compiles drivers in C for this machine, with the header that `busbox new host_driver` writes."""

from __future__ import annotations

import shutil
import subprocess
from importlib.resources import files
from pathlib import Path

import pytest

COMPILER = shutil.which("cc") or shutil.which("gcc")
#: Tests that run a driver need a compiler.
needs_compiler = pytest.mark.skipif(COMPILER is None, reason="there is no C compiler, cc or gcc")
#: As the Makefile that Busbox writes has them.
FLAGS = ("-std=c11", "-Wall", "-Wextra", "-Werror", "-g", "-O1", "-fno-optimize-sibling-calls")
TEMPLATES = files("busbox").joinpath("cli", "templates", "host_driver")


def compiled(
    folder: Path,
    source: str,
    *more: str,
    flags: tuple[str, ...] = FLAGS,
    link: tuple[str, ...] = ("-fPIC", "-shared"),
    bus: bool = True,
    name: str = "driver.so",
) -> Path:
    """Write ``driver.c`` with this source, compile it, and return the library."""
    assert COMPILER is not None
    (folder / "driver.c").write_text(source, encoding="utf-8")
    for one in ("busbox.h", "busbox.c"):
        (folder / one).write_bytes(TEMPLATES.joinpath(one).read_bytes())
    units = ["driver.c", *(["busbox.c"] if bus else [])]
    words = [COMPILER, *flags, *link, *units, "-o", name, *more]
    subprocess.run(words, cwd=folder, check=True, stdin=subprocess.DEVNULL)
    return folder / name
