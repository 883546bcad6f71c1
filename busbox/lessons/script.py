"""The script of the page of lessons: modules of its own, and those of reports that know no report."""

from __future__ import annotations

from importlib.resources import files

from busbox.report import script as reports

#: Of reports: how data is unpacked, numbers as text, elements.
SHARED = ("data.js", "words.js", "elements.js")
#: The modules in an order in which each comes after those that it imports from.
MODULES = (
    *SHARED, "bits.js", "decoder.js", "board.js", "cells.js", "result.js", "typed.js", "mapstrip.js",
    "editor.js", "trees.js", "devices.js", "play.js", "judge.js", "code.js",
    "answer.js", "accesspicture.js", "tasks.js", "lessonpage.js",
)  # fmt: skip


def asset(name: str) -> str:
    """Return a file of the folder ``assets``, of this room or of reports."""
    if name in SHARED:
        return reports.asset(name)
    return files("busbox.lessons").joinpath("assets", name).read_text(encoding="utf-8")


def script(names: tuple[str, ...] = MODULES) -> str:
    """Return modules as one script."""
    return reports.script(names, asset)
