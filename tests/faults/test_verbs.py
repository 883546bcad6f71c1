"""Arguments of verbs that had cost a traceback or all of the time there is."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox.cli import main


@pytest.mark.parametrize("slot", ["5", "'aaa'"])
def test_slots_that_are_no_table_are_told_with_all_hardware(
    slot: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """``slot = 5`` and ``slot = "aaa"`` give the bench's own sentence, and exit code 2."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(f"clock = '1 MHz'\nslot = {slot}\n", encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["run", ".", "--all-hardware"])
    assert ended.value.code == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) < 4
    assert told[0].startswith("busbox: bench.toml:2: slot: must be tables, [slot.NAME], not ")


def test_a_billion_random_accesses_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """``busbox twin --random`` names the most that it takes."""
    with pytest.raises(SystemExit) as ended:
        main(["twin", "first_light", "lamps", "--random", "1000000000"])
    assert ended.value.code == 2
    assert capsys.readouterr().err == (
        "busbox: --random: must be at most 1,000,000, not 1,000,000,000\n"
    )
