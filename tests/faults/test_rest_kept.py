"""Where one part of a result cannot be written, the others are."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox.cli import main

pytestmark = pytest.mark.quick

EXPORTS = """
def broken(result, target):
    target.text.write("begun")
    raise KeyError("lamp")
"""


def test_an_export_that_fails_leaves_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Waveform, JSON, recording and summary are there; both failures are told, and nothing of them."""
    monkeypatch.chdir(tmp_path)
    Path("faulty.py").write_text(EXPORTS, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main([
            "run", "first_light", "--engine", "python", "--until", "30 us", "--out", "kept",
            "--write", "faulty.py:broken=one.txt", "--write", "json=run.json",
            "--write", "faulty.py:broken=two.txt", "--vcd", "run.vcd", "--write", "summary=-",
        ])  # fmt: skip
    assert ended.value.code == 2
    told = capsys.readouterr()
    assert "Findings" in told.out
    lines = told.err.splitlines()
    assert len(lines) == 2
    for line in lines:
        assert line.startswith(
            "busbox: --write: export faulty.py:broken raised KeyError: 'lamp' (faulty"
        )
    there = sorted(one.name for one in tmp_path.iterdir() if one.is_file())
    assert there == ["faulty.py", "run.json", "run.vcd"]
    assert sorted(one.suffix for one in Path("kept").iterdir()) == [".json", ".npz"]
