"""Tools from npm for tests of pages: axe-core, TypeScript; without npm, the test is skipped."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

#: Where package.json is.
HERE = Path(__file__).parent / "report"
#: WCAG 2.2 AA and what it includes.
RULES = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")


def installed(folder: Path) -> Path:
    """Install the tools of ``package.json`` in a folder; return where, or skip the test."""
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("npm is not installed")
    for name in ("package.json", "package-lock.json", ".npmrc"):
        shutil.copy(HERE / name, folder / name)
    command = [npm, "ci", "--no-audit", "--no-fund", "--prefer-offline"]
    try:
        done = subprocess.run(
            command, cwd=folder, capture_output=True, text=True, encoding="utf-8", timeout=90
        )
    except subprocess.TimeoutExpired:
        pytest.skip("npm has not installed the tools within 90 s")
    if done.returncode:
        pytest.skip(f"npm cannot install the tools: {done.stderr.strip()[-200:]}")
    return folder / "node_modules"


def violations(page: Any, tools: Path) -> list[Any]:
    """Return what axe-core finds on a page against WCAG 2.2 AA."""
    page.add_script_tag(content=(tools / "axe-core/axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate(f"axe.run({{runOnly: {json.dumps(RULES)}}})")
    assert found["passes"]
    return [(one["id"], [node["html"] for node in one["nodes"]]) for one in found["violations"]]


def type_mistakes(texts: dict[str, str], tools: Path, folder: Path) -> str:
    """Return what TypeScript finds wrong in modules, whose types are in comments; "" if nothing."""
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    options = json.loads((HERE / "tsconfig.json").read_text(encoding="utf-8"))
    options["include"] = ["*.js"]
    (folder / "tsconfig.json").write_text(json.dumps(options), encoding="utf-8")
    node = shutil.which("node")
    assert node is not None
    done = subprocess.run(
        [node, str(tools / "typescript/bin/tsc"), "-p", "."],
        cwd=folder, capture_output=True, text=True, encoding="utf-8", timeout=100,
    )  # fmt: skip
    assert bool(done.stdout) == bool(done.returncode)
    return done.stdout
