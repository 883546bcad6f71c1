"""Where a file is written that is there already, and no plain file."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest

from busbox.basics.errors import InputError
from busbox.basics.files import replace_file


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
