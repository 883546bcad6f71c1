"""Much traffic costs no more than its length: handlers of many steps, and files with many mistakes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count

import pytest

from busbox.basics.errors import READ_MISTAKES, SHOWN_MISTAKES, InputError
from busbox.cpu.steps import Handler
from busbox.formats import text
from busbox.formats.csv import CSV
from busbox.formats.text import read_text

pytestmark = pytest.mark.quick


def test_a_handler_is_made_once_not_at_each_of_its_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its steps are collected: no tuple of all those before is made at every line."""
    made = []
    monkeypatch.setattr(text, "replace", lambda one, **keys: made.append(one) or Handler(
        one.name, one.pin, **keys
    ))  # fmt: skip
    lines = ["handler h on g.in.0", *(f"write {4 * n:#x} {n}" for n in range(100)), "end"]
    (handler,) = read_text(lines, "t.steps")
    assert isinstance(handler, Handler)
    assert [step.data for step in handler.steps] == list(range(100))
    assert len(made) == 1


def endless(line: str, first: str, read: list[int]) -> Iterator[str]:
    """Yield a file without an end, and note how many of its lines were taken."""
    yield first
    for number in count(1):
        read[:] = [number]
        yield line


def test_an_endless_file_of_mistakes_is_refused() -> None:
    """Reading ends after so many mistakes, of which the first are told."""
    read = [0]
    with pytest.raises(InputError) as told:
        list(read_text(endless("wrong", "# no step", read), "t.steps"))
    assert read == [READ_MISTAKES]
    assert len(told.value.mistakes) == SHOWN_MISTAKES + 1
    rest = READ_MISTAKES - SHOWN_MISTAKES
    assert str(told.value.mistakes[-1]) == f"t.steps: and at least {rest} more mistakes"


class Rows:
    """A file of CSV without an end; each row is wrong."""

    def __init__(self) -> None:
        self._rest = endless("1,wrong,0,0,\n", "wait,op,address,data,lanes\n", [])

    def readline(self, most: int = -1) -> bytes:
        """Return the next row."""
        return next(self._rest).encode()

    def read(self, most: int = -1) -> bytes:
        """Return rows of about so many bytes."""
        return b"".join(self.readline() for _ in range(1 + max(most, 0) // 16))


def test_an_endless_table_of_mistakes_is_refused() -> None:
    """The same holds for CSV, whose rows are read many at once."""
    assert CSV.read is not None
    with pytest.raises(InputError) as told:
        list(CSV.read(Rows(), "t.csv"))  # type: ignore[arg-type]
    assert len(told.value.mistakes) == SHOWN_MISTAKES + 1
