"""What was read from an ELF file, as it is kept."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from busbox.bench.find import packaged_benches
from busbox.core import program as core_program
from busbox.core.program import read_program
from busbox.firmware import program
from busbox.firmware.program import Firmware

pytestmark = pytest.mark.quick

ELF = packaged_benches()["signal_cabin"].with_name("signal_cabin.elf")


@pytest.fixture(autouse=True)
def _kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BUSBOX_CACHE", str(tmp_path / "cache"))


def test_what_was_kept_is_what_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every address has the same source in the firmware that is read and in the one that was kept."""
    read = Firmware(ELF)

    def again(contents: bytes) -> None:
        raise AssertionError("it is read again")

    monkeypatch.setattr(program, "_functions", again)
    kept = Firmware(ELF)
    sources = [read.source(pc) for pc in range(0, 0x2000, 2)]
    assert len({source for source in sources if source}) > 30
    assert [kept.source(pc) for pc in range(0, 0x2000, 2)] == sources


def test_a_changed_file_is_read_anew(tmp_path: Path) -> None:
    """A firmware with another name of a function in it has that name, though the first was kept."""
    pc = next(pc for pc in range(0, 0x2000, 2) if "show_aspects" in str(Firmware(ELF).source(pc)))
    other = tmp_path / "other.elf"
    other.write_bytes(ELF.read_bytes().replace(b"show_aspects", b"send_aspects"))
    assert "send_aspects" in str(Firmware(other).source(pc))


def test_a_program_that_was_kept_is_the_one_that_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """The kept program equals the one that was read, but for what the file is called now."""
    read = read_program(ELF, "cabin.elf", None)
    monkeypatch.setattr(core_program, "_read_linked", None)
    kept = read_program(ELF, "other.elf", None)
    assert kept == replace(read, path="other.elf")
    assert sum(len(data) for _, data in kept.pieces) > 500
