"""Mistakes in the use of limits: each is never checked, or only at twice its value.

``marked`` writes a copy of the package in which every use of a limit, such as the one in
``LINE.check(row, ...)``, is ``USED(LINE, 'basics/toml_file.py LINE 1')``; so one process, ``python -m
tests.basics.limit_mutants``, tries the mistakes one after the other. It prints a line of JSON: a
mistake to the names of the cases that have found it.
"""

from __future__ import annotations

import ast
import json
import os
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

#: Behind the limits of the copy: the use that is spoiled, and how; None: all uses of a row.
_USED = """

SPOILED = ["", "", 1]


@dataclass(frozen=True)
class _Used(Limit):
    use: str = ""

    @property
    def most(self) -> int:
        most = super().most
        return min(most * SPOILED[2], HIGHEST) if self.use == SPOILED[0] else most


def USED(limit: Limit, use: str) -> Limit:
    return _Used(limit.name, limit.value, limit.unit, limit.text, use)
"""
#: Name to factor: a thousand is more than any case has, and leaves memory for a read. The message of a
#: limit is no use of it: tests compare what it says.
MISTAKES = {"never checked": 1000, "checked at twice its value": 2}
_LIMITS = "busbox.basics.limits"


def marked(package: Path, models: Path, folder: Path) -> list[str]:
    """Write a copy of the package with every use marked; return the uses."""
    skip = shutil.ignore_patterns("__pycache__")
    copy = shutil.copytree(package, folder / "busbox", ignore=skip)
    shutil.copytree(models, folder / "busbox" / "models", ignore=skip, dirs_exist_ok=True)
    uses: list[str] = []
    for file in sorted(copy.rglob("*.py")):
        name = file.relative_to(copy).as_posix()
        if name != "basics/limits.py":
            uses += _mark(file, name)
    limits = copy / "basics" / "limits.py"
    limits.write_text(limits.read_text(encoding="utf-8") + _USED, encoding="utf-8")
    return uses


def _mark(file: Path, name: str) -> Iterator[str]:
    text = file.read_text(encoding="utf-8")
    if _LIMITS not in text:
        return
    tree = ast.parse(text)
    names = {
        one.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module == _LIMITS
        for one in node.names
        if one.name.isupper() and one.name not in ("LIMITS", "HIGHEST", "MIB")
    }
    messages = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr == "exceeded"
    }
    lines, counts, changes = text.encode().split(b"\n"), Counter[str](), []
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and node.id in names and id(node) not in messages:
            changes.append((node.lineno - 1, node.col_offset, node.id))
    uses = []
    for line, at, limit in sorted(changes):
        counts[limit] += 1
        uses.append((line, at, limit, f"{name} {limit} {counts[limit]}"))
    for line, at, limit, use in reversed(uses):
        row = lines[line]
        call = f"__import__({_LIMITS!r}, fromlist=['x']).USED({limit}, {use!r})".encode()
        lines[line] = row[:at] + call + row[at + len(limit) :]
    file.write_bytes(b"\n".join(lines))
    yield from (use for *_, use in uses)


# In the process of its own.


def main(uses: list[str]) -> None:
    """Try each mistake in each use."""
    from busbox.basics import limits
    from tests.basics import test_limits

    loaded: Any = limits
    found: dict[str, str] = {}
    for use in uses:
        limit = use.split()[1]
        for mistake, factor in MISTAKES.items():
            loaded.SPOILED[0], loaded.SPOILED[2] = use, factor
            caught = [
                f"{one[0].name}-{number}"
                for number, one in enumerate(test_limits.CASES)
                if one[0].name == limit and _fails(test_limits, one)
            ]
            found[f"{use}: {mistake}"] = " ".join(caught)
    print(json.dumps(found))


def _fails(test_limits: Any, case: Any) -> bool:
    """Return whether an assertion of the test fails with a case."""
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as folder:
        case = SimpleNamespace(limit=case[0], value=case[1], read=case[2])
        try:
            test_limits.test_one_more_than_a_limit_is_refused(
                case.limit, case.value, case.read, patch, Path(folder)
            )
        except (AssertionError, pytest.fail.Exception):
            return True
    return False


if __name__ == "__main__":
    os.environ["BUSBOX_CACHE"] = "off"
    main(json.loads(sys.argv[1]))
