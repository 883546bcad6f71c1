"""What is kept on disk between two processes: found again, never trusted blindly."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from busbox.basics import cache
from busbox.basics.cache import VARIABLE, cached

POSIX = pytest.mark.skipif(os.name != "posix", reason="owners and rights of POSIX")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder of its own for what is kept."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "kept"))
    return tmp_path / "kept"


def made(key: bytes, contents: bytes = b"code") -> tuple[bytes, bool]:
    """Return what is kept under a key, and whether it had to be made."""
    asked: list[int] = []

    def make() -> bytes:
        asked.append(1)
        return contents

    return cached(key, make), bool(asked)


def test_it_is_made_once(folder: Path) -> None:
    """The second time it is found; under another key it is not."""
    assert made(b"a") == (b"code", True)
    assert made(b"a", b"other") == (b"code", False)
    assert made(b"b", b"other") == (b"other", True)


def test_off_keeps_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With the word off nothing is read and nothing is written."""
    made(b"a")
    monkeypatch.setenv(VARIABLE, "off")
    before = sorted(folder.iterdir())
    assert made(b"a") == (b"code", True)
    assert made(b"c") == (b"code", True)
    assert sorted(folder.iterdir()) == before


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: b"",
        lambda text: text[:-1],
        lambda text: text + b"x",
        lambda text: text[:-1] + bytes([text[-1] ^ 1]),
        lambda text: b"busbox 0\n" + text[9:],
        lambda text: text[:12] + bytes([text[12] ^ 1]) + text[13:],
        lambda text: b"\x00" * 200,
    ],
)
def test_a_spoiled_file_is_as_good_as_none(folder: Path, spoil: object) -> None:
    """Cut short, longer, of another form or with one bit changed: it is made again, and replaced."""
    made(b"a")
    (file,) = folder.iterdir()
    file.write_bytes(spoil(file.read_bytes()))  # type: ignore[operator]
    assert made(b"a", b"again") == (b"again", True)
    assert made(b"a") == (b"again", False)


@POSIX
def test_only_a_private_folder_is_used(folder: Path) -> None:
    """A new folder is the user's alone; one that others may write to is not used."""
    made(b"a")
    assert folder.stat().st_mode & 0o777 == 0o700
    (file,) = folder.iterdir()
    assert file.stat().st_mode & 0o077 == 0
    for mode in (0o720, 0o702, 0o777):
        folder.chmod(mode)
        assert made(b"a", b"other") == (b"other", True)
        assert made(b"new") == (b"code", True)
    folder.chmod(0o755)
    assert made(b"a") == (b"code", False)
    assert len(list(folder.iterdir())) == 1


@POSIX
def test_a_link_is_not_followed(folder: Path, tmp_path: Path) -> None:
    """A file that is a link to somewhere else is as good as none."""
    made(b"a")
    (file,) = folder.iterdir()
    moved = tmp_path / "elsewhere"
    file.rename(moved)
    file.symlink_to(moved)
    assert made(b"a", b"again") == (b"again", True)
    assert not file.is_symlink()


def test_a_folder_that_cannot_be_is_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If there is a file in its place, everything is made each time."""
    (tmp_path / "file").write_text("x", encoding="utf-8")
    monkeypatch.setenv(VARIABLE, str(tmp_path / "file"))
    assert made(b"a") == (b"code", True)
    assert made(b"a") == (b"code", True)
    monkeypatch.setenv(VARIABLE, str(tmp_path / "file" / "below"))
    assert made(b"a") == (b"code", True)


def test_what_was_used_least_lately_goes_first(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is never more than the limit; a file that was read lately stays."""
    monkeypatch.setattr(cache, "MOST_BYTES", 500)
    for number in range(4):
        made(bytes([number]), b"x" * 100)
        for age, file in enumerate(
            sorted(folder.iterdir(), key=lambda one: one.stat().st_mtime_ns)
        ):
            os.utime(file, (age, age))
        made(b"\x00")
    assert sum(file.stat().st_size for file in folder.iterdir()) <= 500
    assert made(b"\x00")[1] is False
    assert made(b"\x01")[1] is True


def test_two_processes_at_once_are_safe(folder: Path) -> None:
    """Processes that keep the same things at once all get them whole, and leave no other file."""
    code = (
        "from busbox.basics.cache import cached\n"
        "for number in range(60):\n"
        "    body = bytes([number % 5]) * 200_000\n"
        "    assert cached(bytes([number % 5]), lambda: body) == body\n"
    )
    running = [subprocess.Popen([sys.executable, "-c", code]) for _ in range(3)]
    assert [process.wait(60) for process in running] == [0, 0, 0]
    assert len(list(folder.iterdir())) == 5
