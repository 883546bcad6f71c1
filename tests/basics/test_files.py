"""Where a file is written that is there already, and no plain file."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest

from busbox.basics.errors import InputError
from busbox.basics.files import replace_file, replacing


def test_a_link_stays_and_its_file_is_replaced(tmp_path: Path) -> None:
    """What is written stands in the file that the link leads to."""
    (tmp_path / "real").write_bytes(b"before")
    link = tmp_path / "link"
    try:
        link.symlink_to("real")
    except OSError:
        pytest.skip("links cannot be made here")
    replace_file(link, b"after")
    assert link.is_symlink()
    assert (tmp_path / "real").read_bytes() == b"after"
    assert sorted(one.name for one in tmp_path.iterdir()) == ["link", "real"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no FIFOs here")
def test_a_fifo_stays_and_gets_the_bytes(tmp_path: Path) -> None:
    """Its reader gets them; no file takes its place."""
    fifo = tmp_path / "fifo"
    os.mkfifo(fifo)
    got: list[bytes] = []
    reader = threading.Thread(target=lambda: got.append(fifo.read_bytes()), daemon=True)
    reader.start()
    replace_file(fifo, b"levers")
    reader.join(20)
    assert got == [b"levers"]
    assert stat.S_ISFIFO(fifo.stat().st_mode)
    assert list(tmp_path.iterdir()) == [fifo]


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    """It is refused, and stays."""
    with pytest.raises(InputError, match="cannot be written"):
        replace_file(tmp_path, b"x")
    assert tmp_path.is_dir()
    assert not list(tmp_path.iterdir())


def test_threads_write_the_same_file_each_under_a_name_of_its_own(tmp_path: Path) -> None:
    """While both write, there are two temporary files; one of them is the file at the end, whole."""
    path = tmp_path / "levers.csv"
    both, written = threading.Barrier(2, timeout=20), []

    def write(contents: bytes) -> None:
        with replacing(path) as file:
            file.write(contents)
            both.wait()
            written.append(len([one for one in os.listdir(tmp_path) if one.endswith(".part")]))
            both.wait()

    threads = [threading.Thread(target=write, args=(one * 1000,)) for one in (b"a", b"b")]
    for one in threads:
        one.start()
    for one in threads:
        one.join(20)
    assert written == [2, 2]
    assert path.read_bytes() in (b"a" * 1000, b"b" * 1000)
    assert os.listdir(tmp_path) == ["levers.csv"]


def test_what_a_dead_process_has_left_is_removed(tmp_path: Path) -> None:
    """Both forms of its names go when the file is written next; those of a living process stay."""
    for name in (
        ".x.4194399.part",
        ".x.4194399.7.part",
        f".x.{os.getpid()}.999.part",
        ".x.7.7.7.part",
    ):
        (tmp_path / name).touch()
    replace_file(tmp_path / "x", b"")
    kept = sorted([".x.7.7.7.part", f".x.{os.getpid()}.999.part", "x"])
    assert sorted(os.listdir(tmp_path)) == kept
