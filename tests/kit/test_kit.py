"""The kit for computers without a network: its wheel, its scripts, and a start without an index."""

from __future__ import annotations

import os
import platform
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from busbox.basics.errors import InputError
from busbox.cli import main
from busbox.kit import making
from busbox.kit.making import make_kit
from busbox.kit.own_wheel import write_wheel
from busbox.kit.platforms import PLATFORMS
from tests.on_wheel import expected_files

VERSION = f"{sys.version_info.major}.{sys.version_info.minor}"
#: Environment without anything that could reach an index or another Busbox.
ALONE = {name: os.environ[name] for name in ("PATH", "SYSTEMROOT", "TEMP") if name in os.environ}


@pytest.mark.quick
def test_the_wheel_of_what_is_installed_is_that_of_the_tree(tmp_path: Path) -> None:
    """It has every file that the built wheel has, metadata, and a RECORD that fits."""
    with zipfile.ZipFile(write_wheel(tmp_path)) as wheel:
        names = wheel.namelist()
        info = {name.partition("/")[2] for name in names if ".dist-info/" in name}
        assert info == {"METADATA", "RECORD", "WHEEL", "entry_points.txt", "licenses/LICENSE"}
        record = wheel.read(next(name for name in names if name.endswith("/RECORD"))).decode()
        assert [row.split(",")[0] for row in record.splitlines()] == names
        assert b"busbox = busbox.__main__:start" in wheel.read(
            next(name for name in names if name.endswith("entry_points.txt"))
        )
    if "BUSBOX_EXPECTED_HOME" not in os.environ:  # there, the tree is only in the wheel
        assert {name for name in names if ".dist-info/" not in name} == expected_files()


@pytest.fixture
def without_index(monkeypatch: pytest.MonkeyPatch) -> None:
    """Put one file in the place of everything that pip would download."""

    def collect(wheels: Path, *_: object) -> None:
        (wheels / "pip-1-py3-none-any.whl").write_bytes(b"")

    monkeypatch.setattr(making, "collect", collect)


@pytest.mark.parametrize("name", PLATFORMS)
@pytest.mark.usefixtures("without_index")
def test_the_texts_of_a_kit_are_complete(tmp_path: Path, name: str) -> None:
    """No placeholder is left; batch files have the line ends of Windows and labels for every goto."""
    kit = make_kit(tmp_path / "kit", name, "3.12")
    assert kit.script == ("start.bat" if name.startswith("windows") else "start.sh")
    for file in (kit.script, "README.txt"):
        data = (tmp_path / "kit" / file).read_bytes()
        text = data.decode("ascii")
        assert not re.findall(r"@\w+@", text)
        assert "3.12" in text
        assert data.count(b"\r\n") == (data.count(b"\n") if name.startswith("windows") else 0)
    script = (tmp_path / "kit" / kit.script).read_text(encoding="ascii")
    assert set(re.findall(r"goto (\w+)", script)) <= set(
        re.findall(r"^:(\w+)", script, re.MULTILINE)
    )
    assert "pip-1-py3-none-any.whl" in script
    assert sorted(os.listdir(tmp_path)) == ["kit"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("kit",), "--kit: needs --for, which is windows-x64, linux-x64, macos-arm64 or macos-x64"),
        (("kit", "--for", "windows-x86"),
         "--for: must be windows-x64, linux-x64, macos-arm64 or macos-x64, not 'windows-x86'; did you "
         "mean 'windows-x64'?"),
        (("kit", "--for", "linux-x64", "--python", "2.7"),
         "--python: must be a version of Python such as 3.11, not '2.7'"),
        (("full", "--for", "linux-x64"), "full: must be an empty folder; it contains files"),
        (("full/file", "--for", "linux-x64"), "full/file: must be a folder, not a file"),
        (("no/kit", "--for", "linux-x64"), "to put it in"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("without_index")
def test_what_cannot_be_made_is_refused(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    words: tuple[str, ...],
    message: str,
) -> None:
    """One message, exit code 2, nothing left behind."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "file").write_text("x", encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["lesson", "--kit", *words])
    assert ended.value.code == 2
    assert message in capsys.readouterr().err
    assert sorted(os.listdir(tmp_path)) == ["full"]


def test_a_wheel_that_is_missing_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """pip's own reason is given, and no folder remains."""
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", str(tmp_path))
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)
    with pytest.raises(InputError, match="--kit: pip cannot collect the wheels: No matching"):
        make_kit(tmp_path / "kit", "windows-x64", None)
    assert os.listdir(tmp_path) == []


def _here() -> str:
    """Return the name of this computer among those that a kit can be made for."""
    machine = {"x86_64": "x64", "AMD64": "x64", "arm64": "arm64"}.get(platform.machine(), "")
    system = {"Linux": "linux", "Windows": "windows", "Darwin": "macos"}.get(platform.system(), "")
    return f"{system}-{machine}"


def _run(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        words, cwd=folder, env=ALONE, capture_output=True, text=True, encoding="utf-8", timeout=240
    )


@pytest.mark.timeout(400)
@pytest.mark.long
def test_a_kit_starts_without_an_index(tmp_path: Path) -> None:
    """Built from the index that pip has; started in a new environment from its wheels alone.

    The wheel that the installed Busbox makes of itself is the one that it was installed from.
    """
    here = _here()
    if here not in PLATFORMS:
        pytest.skip(f"no kit is made for {platform.machine()} with {platform.system()}")
    probe = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--dest",
             str(tmp_path / "probe"), "click>=8.5"]  # fmt: skip
    try:
        found = subprocess.run(probe, capture_output=True, text=True, encoding="utf-8", timeout=90)
    except subprocess.TimeoutExpired:
        pytest.skip("the package index did not answer within 90 s")
    if found.returncode:
        pytest.skip(f"the package index does not answer: {found.stderr.strip()[-200:]}")
    kit = make_kit(tmp_path / "a kit", here, VERSION)
    assert not any(name.startswith("llvmlite") for name in kit.wheels)
    assert kit.size < 40e6
    start = [*["sh"] * kit.script.endswith(".sh"), str(kit.folder / kit.script)]
    first = _run(*start, "run", "first_light", "--brief", folder=tmp_path)
    assert first.returncode == 0, first.stderr
    assert "Findings: none" in first.stdout
    again = _run(*start, "where", "first_light", "0x44000008", folder=tmp_path)
    assert "lamps.COUNT" in again.stdout
    assert again.stderr == ""
    wrong = _run(*start, "where", "first_light", "44000008", folder=tmp_path)
    assert wrong.returncode == 2
    python = next((kit.folder / "venv").glob("[bS]*/python*"))
    code = "import pathlib, busbox.kit.own_wheel as own; own.write_wheel(pathlib.Path('.'))"
    assert _run(str(python), "-c", code, folder=tmp_path).returncode == 0
    (wheel,) = tmp_path.glob("busbox-*.whl")
    assert wheel.read_bytes() == (kit.folder / "wheels" / wheel.name).read_bytes()


@pytest.mark.parametrize("words", [("--version",), ("where", "first_light", "0x44000008")])
def test_python_m_busbox_is_the_command(tmp_path: Path, words: tuple[str, ...]) -> None:
    """``python -m busbox`` works from any folder, and calls itself busbox."""
    done = _run(sys.executable, "-m", "busbox", *words, folder=tmp_path)
    assert done.returncode == 0, done.stderr
    wrong = _run(sys.executable, "-m", "busbox", "rum", folder=tmp_path)
    assert (wrong.returncode, wrong.stderr[:8]) == (2, "busbox: ")
