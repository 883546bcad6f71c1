"""What every verb says of an input that is no plain file: a device without end, a FIFO, a folder."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.cli.saying import say

pytestmark = pytest.mark.skipif(
    not os.path.exists("/dev/zero") or not hasattr(os, "mkfifo"), reason="there are none here"
)
#: Verbs with a file that they read; X stands for its name without its suffix.
READS = (
    "run first_light --traffic X.csv", "run first_light --traffic X.steps",
    "run first_light --traffic X.so:ring", "run first_light --traffic X.py:ring", "run X.toml",
    "run X.recording.npz", "report X.csv -o x.html", "report X.json -o x.html", "draw X.csv sweep",
    "where first_light X.h", "capture X.csv --as level", "capture X.vcd --as level",
    "convert X.csv x.steps", "convert X.steps x.csv", "convert X.vcd --list", "fit signal_cabin X.csv",
    "models X.py:Bell", "models X.v:bell", "check X.py:Bell", "check X.v:bell",
    "compare X.recording.npz first_light", "why X.recording.npz access.1", "state X.recording.npz",
    "lesson 1 --answer X.txt", "lesson --collect X.txt", "explain X.py:Bell", "attachments X.py:Bell",
    "export X.toml x --all", "map X.toml", "registers X.toml", "twin X.toml levers",
    "record X.toml -o x.csv",
    "find X.toml --smallest slot.levers.wait --range 1..2 --such-that duration<3",
    "sweep X.toml --vary slot.levers.wait=1,2", "X.py:verb",
)  # fmt: skip


@pytest.mark.parametrize("kind", ["device", "fifo", "folder"])
def test_it_is_refused_at_once(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each verb ends with exit code 2 and a message that names the input; nothing is written."""
    monkeypatch.chdir(tmp_path)
    for command in READS:
        words = command.replace("X.", f"{kind}.").split()
        name = next(word for word in words if word.startswith(f"{kind}.")).partition(":")[0]
        if kind == "device":
            Path(name).unlink(missing_ok=True)
            Path(name).symlink_to("/dev/zero")
        elif not Path(name).exists():
            os.mkfifo(name) if kind == "fifo" else Path(name).mkdir()
        assert name in say(capsys, *words, code=2), command
    left = {one for one in os.listdir() if not one.startswith(kind)}
    assert left <= {"lesson_progress.txt"}  # an answer that is not readable is noted as a try
