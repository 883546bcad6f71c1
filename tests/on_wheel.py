"""Build wheel and sdist, check that they hold what the tree holds, and run the tests on the wheel.

The tests, the documents and the settings are copied from the sdist to an empty folder, so that
``busbox`` can only be the one in the wheel, and the sdist has all that the tests need. The benches in
the wheel are tests too. Arguments go to pytest: ``python tests/on_wheel.py -k uart``.
"""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
import tarfile
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


def build(folder: Path) -> tuple[Path, Path, Path]:
    """Build from a clean copy of the tree: a wheel, the sdist, and the wheel of the sdist."""
    copy = folder / "tree"
    left_out = shutil.ignore_patterns(
        ".git", ".venv", "build", "*.egg-info", "__pycache__", ".*_cache"
    )
    shutil.copytree(ROOT, copy, symlinks=True, ignore=left_out)
    for link in ("models", "firmware_traces"):
        # As a checkout without links leaves them; the wheel must not need them.
        (copy / "busbox" / link).unlink(missing_ok=True)
        (copy / "busbox" / link).write_text(f"../{link}", encoding="utf-8")
    # Without an option, the wheel is built from the sdist.
    _run("build", "--outdir", str(folder / "from_sdist"), str(copy))
    _run("build", "--wheel", "--outdir", str(folder / "from_tree"), str(copy))
    wheels = [next((folder / where).glob("*.whl")) for where in ("from_tree", "from_sdist")]
    return wheels[0], next((folder / "from_sdist").glob("*.tar.gz")), wheels[1]


def _run(module: str, *words: str) -> None:
    """Run a module of Python; end with what it says if it fails."""
    command = [sys.executable, "-m", module, *words]
    done = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)
    if done.returncode:
        sys.exit(done.stdout + done.stderr)


def _contents(wheel: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(wheel) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _problem(wheel: Path, sdist: Path, again: Path) -> str:
    """Return what is wrong with the packages, "" if nothing is."""
    held = {file for file in _contents(wheel) if ".dist-info/" not in file}
    if held != expected_files():
        return f"the wheel and the tree differ: {sorted(held ^ expected_files())}"
    if _contents(wheel) != _contents(again):
        return "the wheel of the sdist differs from the wheel of the tree"
    _run("twine", "check", "--strict", str(wheel), str(sdist))
    return ""


def main() -> int:
    """Build, compare, install beside, test."""
    # On a new machine this takes about a minute, and the build as long.
    ready = subprocess.Popen(
        [sys.executable, "-c", "from busbox.verilog.front_end import prepare; prepare()"], cwd=ROOT
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wheel, sdist, again = build(folder)
        problem = _problem(wheel, sdist, again)
        if problem:
            print(problem)
            return 1
        with tarfile.open(sdist) as archive:
            archive.extractall(folder / "sdist", filter="data")
        (source,) = (folder / "sdist").iterdir()
        installed, tests = folder / "installed", folder / "tests_alone"
        pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target"]
        subprocess.run([*pip, str(installed), str(wheel)], check=True)
        shutil.copytree(source / "tests", tests / "tests")
        for file in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(source / file, tests)
        environment = os.environ | {
            "PYTHONPATH": str(installed),
            "PYTHONWARNDEFAULTENCODING": "1",
            "BUSBOX_EXPECTED_HOME": str(installed),
        }
        pytest = [sys.executable, "-m", "pytest", "-n", "2", "-m", "not long"]
        # Each process takes a stretch of files, and so runs what a file's tests share once.
        # The benches are those of the wheel.
        benches = (installed / "busbox" / "firmware_traces").as_posix()
        pytest += ["-o", f"testpaths=tests {shlex.quote(benches)}"]
        pytest += ["--dist", "worksteal", *sys.argv[1:]]
        if ready.wait():
            return ready.returncode
        return subprocess.run(pytest, cwd=tests, env=environment, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
