"""The script of the page of lessons without a browser: its modules, run by Node.js."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from busbox.lessons.script import script
from tests.report.page_script import asked

#: What decodes, plays and judges; nothing of it needs a document.
MODULES = (
    "words.js", "elements.js", "bits.js", "decoder.js", "board.js", "result.js", "trees.js",
    "devices.js", "play.js", "judge.js", "code.js",
)  # fmt: skip


def asked_of_lessons(code: str, given: Any, folder: Path) -> Any:
    """Return what JavaScript returns as ``result``, given what it finds as ``given``."""
    return asked(script(MODULES), code, given, folder)
