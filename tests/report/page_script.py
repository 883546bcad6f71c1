"""The script of a page without a browser: its modules, run by Node.js."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from busbox.report.script import script

#: What reads the columns and tells causes; nothing of it needs a document.
MODULES = ("data.js", "words.js", "run.js", "causes.js")

NODE = shutil.which("node")
needs_node = pytest.mark.skipif(NODE is None, reason="Node.js is not installed")


def asked_of_page(code: str, given: Any, folder: Path) -> Any:
    """Return what JavaScript returns as ``result``, given what it finds as ``given``."""
    return asked(script(MODULES), code, given, folder)


def asked(modules: str, code: str, given: Any, folder: Path) -> Any:
    """Return what JavaScript returns as ``result`` with these modules: see :func:`asked_of_page`."""
    assert NODE is not None
    file = folder / "asked.mjs"
    (folder / "given.json").write_text(json.dumps(given), encoding="utf-8")
    file.write_text(
        f"""import {{ readFileSync }} from "node:fs";
const given = JSON.parse(readFileSync({json.dumps(str(folder / "given.json"))}, "utf8"));
{modules}
{code}
process.stdout.write(JSON.stringify(result));
""",
        encoding="utf-8",
    )
    done = subprocess.run(
        [NODE, str(file)], capture_output=True, text=True, encoding="utf-8", timeout=100
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)
