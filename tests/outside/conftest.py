"""The package signal-bell, installed for the tests of this folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent / "package"

#: Runs ``python -m busbox WORDS`` where signal-bell is installed.
Busbox = Callable[..., str]


@pytest.fixture(scope="session")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the package into a folder of its own, without a network; return the folder."""
    copy = tmp_path_factory.mktemp("source") / "package"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    target = tmp_path_factory.mktemp("installed")
    alone = ["--quiet", "--no-deps", "--no-index", "--no-build-isolation", "--no-compile"]
    command = [sys.executable, "-m", "pip", "install", *alone, "--target", str(target), str(copy)]
    done = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stderr
    return target


@pytest.fixture
def busbox(installed: Path, tmp_path: Path) -> Busbox:
    """Return what runs a command line in an empty folder, and gives what it printed."""

    def run(*words: str, code: int = 0, besides: Path | None = None) -> str:
        folders = [installed, besides, os.environ.get("PYTHONPATH")]
        paths = os.pathsep.join(str(one) for one in folders if one)
        done = subprocess.run(
            [sys.executable, "-m", "busbox", *words],
            cwd=tmp_path,
            # Other libraries may open text files without an encoding.
            env=os.environ | {"PYTHONPATH": paths, "PYTHONWARNDEFAULTENCODING": ""},
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=False,
        )
        assert done.returncode == code, done.stderr
        assert done.stderr == "" if code < 2 else done.stdout == ""
        return done.stdout or done.stderr

    return run
