"""Files of answers and of progress that cannot be used."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox.basics.errors import InputError
from busbox.lessons.drawing import variant
from busbox.lessons.finding import lesson
from busbox.lessons.progress import read_progress
from busbox.lessons.reply import read_file

pytestmark = pytest.mark.quick

ROW = "2026-05-04T10:15:00Z\t4\t{seed}\t1\tnot yet\tno\n"


def answer(path: Path) -> None:
    drawn = variant(lesson(4), 1)
    read_file(drawn.lesson, drawn.numbers, path)


@pytest.mark.parametrize("read", [answer, read_progress])
@pytest.mark.parametrize("name", ["/dev/zero", "/dev/full", "/dev/null", "."])
def test_what_is_no_file_is_refused(read: object, name: str) -> None:
    """A device that never ends, and a folder, are not read."""
    if not Path(name).exists():
        pytest.skip("no such device here")
    with pytest.raises(InputError, match="must be a file, not the"):
        read(Path(name))  # type: ignore[operator]


def test_a_file_of_nothing_but_mistakes_is_told_by_its_first(tmp_path: Path) -> None:
    """The first lines are told, and how many more there are, each at a bounded length."""
    (tmp_path / "answer").write_text(f"{'x' * 500}\n" * 5000, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        answer(tmp_path / "answer")
    assert len(refused.value.mistakes) < 60
    assert "more mistakes" in str(refused.value)
    assert max(map(len, str(refused.value).splitlines())) < 400


@pytest.mark.parametrize("seed", ["9" * 5000, "\u0663", "-1", ""])
def test_a_row_of_progress_has_a_seed(seed: str, tmp_path: Path) -> None:
    """More digits than a number has, and digits of another script, are refused by their line."""
    (tmp_path / "progress.txt").write_text(ROW.format(seed=1) + ROW.format(seed=seed), "utf-8")
    with pytest.raises(InputError, match=r"progress\.txt:2: must be time, lesson, seed"):
        read_progress(tmp_path / "progress.txt")
