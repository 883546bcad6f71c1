"""Build the wheel, see that it holds what the tree holds, and run the tests against it.

The tests, the documents and the settings are copied to an empty folder, so that ``busbox`` can only
be the one in the wheel. Arguments go to pytest: ``python tests/on_wheel.py -k uart``.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

#: Folders of the tree and where the wheel has them.
HOMES = {"busbox": "busbox", "models": "busbox/models", "firmware_traces": "busbox/firmware_traces"}


def expected_files() -> set[str]:
    """Return the names that the wheel must have, from the tree."""
    found = set()
    for folder, home in HOMES.items():
        for file in (ROOT / folder).rglob("*"):
            inside = file.relative_to(ROOT / folder)
            linked = folder == "busbox" and inside.parts[0] in ("models", "firmware_traces")
            if file.is_file() and not linked and "__pycache__" not in inside.parts:
                found.add(f"{home}/{inside.as_posix()}")
    return found


def build(folder: Path) -> Path:
    """Build the wheel of a clean copy of the tree; return its path."""
    copy = folder / "tree"
    left_out = shutil.ignore_patterns(
        ".git", ".venv", "build", "*.egg-info", "__pycache__", ".*_cache"
    )
    shutil.copytree(ROOT, copy, symlinks=True, ignore=left_out)
    for link in ("models", "firmware_traces"):
        # As a checkout without links leaves them; the wheel must not need them.
        (copy / "busbox" / link).unlink(missing_ok=True)
        (copy / "busbox" / link).write_text(f"../{link}", encoding="utf-8")
    command = [sys.executable, "-m", "build", "--wheel", "--outdir", str(folder), str(copy)]
    built = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)
    if built.returncode:
        sys.exit(built.stdout + built.stderr)
    return next(folder.glob("*.whl"))


def main() -> int:
    """Build, compare, install beside, test."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wheel = build(folder)
        with zipfile.ZipFile(wheel) as archive:
            held = {file for file in archive.namelist() if ".dist-info/" not in file}
        if held != expected_files():
            print("the wheel and the tree differ:", sorted(held ^ expected_files()))
            return 1
        installed, tests = folder / "installed", folder / "tests_alone"
        pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target"]
        subprocess.run([*pip, str(installed), str(wheel)], check=True)
        shutil.copytree(ROOT / "tests", tests / "tests")
        for file in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / file, tests)
        environment = os.environ | {
            "PYTHONPATH": str(installed),
            "PYTHONWARNDEFAULTENCODING": "1",
            "BUSBOX_EXPECTED_HOME": str(installed),
        }
        pytest = [sys.executable, "-m", "pytest", "-n", "2", "-m", "not long"]
        # Each process takes a stretch of files, and so runs what a file's tests share once.
        pytest += ["--dist", "worksteal", *sys.argv[1:]]
        return subprocess.run(pytest, cwd=tests, env=environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
