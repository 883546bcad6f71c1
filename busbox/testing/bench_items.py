"""A bench file as tests: its run, each expectation, and its findings if it says ``strict``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.basics.paper import Paper
from busbox.bench.bench import Bench
from busbox.exports.summary import expectation_line, write_end, write_findings
from busbox.recording import Recording


class BenchFailure(Exception):
    """What a test of a bench says when it fails."""


class BenchFile(pytest.File):
    """A bench, which runs once for all its tests."""

    _result: Recording | InputError | None = None

    def collect(self) -> Iterable[pytest.Item]:
        """Yield the tests; the bench is read but neither checked nor run."""
        try:
            keys: Mapping[str, Any] = Bench.load(self.path).keys
        except InputError as error:
            self._result, keys = error, {}
        yield BenchItem.from_parent(self, name="run")
        expected = keys.get("expect")
        for number, given in enumerate(expected if isinstance(expected, list) else ()):
            yield ExpectItem.from_parent(self, name=_name(number, given), number=number)
        if keys.get("strict") is True:
            yield StrictItem.from_parent(self, name="findings")

    def recording(self) -> Recording:
        """Return the recording of the bench; the first call runs it.

        Raises
        ------
        InputError : something is wrong with the bench
        """
        if self._result is None:
            try:
                self._result = Bench.load(self.path).run()
            except InputError as error:
                self._result = error
        if isinstance(self._result, InputError):
            raise self._result
        return self._result


class BenchItem(pytest.Item):
    """The run of a bench: it fails where the bus hangs."""

    parent: BenchFile

    def runtest(self) -> None:
        """Run the bench, if no other test has."""
        recording = self.parent.recording()
        if recording.ended == "hang":
            page = Paper()
            write_end(recording, page)
            write_findings(recording, page)
            raise BenchFailure(page.text)

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """Return what ``busbox run`` says, without a traceback."""
        if isinstance(excinfo.value, BenchFailure | InputError):
            return str(excinfo.value).rstrip("\n")
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, None, str]:
        """Return the bench and the name of the test."""
        return self.path, None, f"{self.path.parent.name}: {self.name}"


class ExpectItem(BenchItem):
    """One ``[[expect]]`` of a bench."""

    def __init__(self, *, number: int, **others: Any) -> None:
        super().__init__(**others)
        self._number = number

    def runtest(self) -> None:
        """Fail where the expectation is not met."""
        verdict = self.parent.recording().verdicts[self._number]
        if not verdict.met:
            raise BenchFailure(expectation_line(verdict))


class StrictItem(BenchItem):
    """The findings of a bench with ``strict = true``."""

    def runtest(self) -> None:
        """Fail where anything is found."""
        recording = self.parent.recording()
        if recording.counts:
            page = Paper()
            write_findings(recording, page)
            raise BenchFailure(page.text)


def _name(number: int, given: object) -> str:
    """Return the name of an expectation: ``expect.0 text of telegraph``."""
    return " ".join((f"expect.{number}", *(_about(given) if isinstance(given, dict) else ())))


def _about(given: Mapping[str, Any]) -> Iterator[str]:
    for kind, table in given.items():
        yield str(kind)
        about = (
            [table[key] for key in ("of", "pin", "rule") if key in table]
            if isinstance(table, dict)
            else []
        )
        yield from (f"of {name}" for name in about if isinstance(name, str))
