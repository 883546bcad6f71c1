"""A bench file as tests: its run, each expectation, and that nothing is found if it says ``strict``."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.basics.paper import Paper
from busbox.bench.bench import Bench
from busbox.exports.brief import write_verdict
from busbox.exports.summary import write_findings
from busbox.findings.expectations import NO_FINDING
from busbox.recording import Recording


class BenchFailure(Exception):
    """What a test of a bench says when it fails."""


class BenchFile(pytest.File):
    """A bench, which runs once for all its tests."""

    #: Whether an expectation counts findings of bus-hang; then that one judges a hang.
    may_hang = False
    _result: Recording | InputError | None = None

    def collect(self) -> Iterable[pytest.Item]:
        """Yield the tests; the bench is read but neither checked nor run."""
        try:
            keys: Mapping[str, Any] = Bench.load(self.path, outside=True).keys
        except InputError as error:
            self._result, keys = error, {}
        yield BenchItem.from_parent(self, name="run")
        tables = keys.get("expect")
        expected = tables if isinstance(tables, list) else []
        self.may_hang = any(_counts_hangs(given) for given in expected)
        for number, given in enumerate(expected):
            yield ExpectItem.from_parent(self, name=_name(number, given), number=number)
        if keys.get("strict") is True:
            yield ExpectItem.from_parent(self, name="no finding", number=-1)

    def recording(self) -> Recording:
        """Return the recording of the bench; the first call runs it.

        Raises
        ------
        InputError : something is wrong with the bench
        """
        if self._result is None:
            try:
                self._result = Bench.load(self.path, outside=True).run()
            except InputError as error:
                self._result = error
        if isinstance(self._result, InputError):
            raise self._result
        return self._result


class BenchItem(pytest.Item):
    """The run of a bench: it fails where the bus hangs, unless an expectation counts the hangs."""

    parent: BenchFile

    def runtest(self) -> None:
        """Run the bench, if no other test has.

        Raises
        ------
        BenchFailure : the bus hangs
        InputError : something is wrong with the bench
        """
        recording = self.parent.recording()
        if recording.ended == "hang" and not self.parent.may_hang:
            raise BenchFailure(_page(recording, write_verdict, write_findings))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """Return what ``busbox run`` says, without a traceback."""
        if isinstance(excinfo.value, BenchFailure | InputError):
            return str(excinfo.value).rstrip("\n")
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, None, str]:
        """Return the bench and the name of the test."""
        return self.path, None, f"{self.path.parent.name}: {self.name}"


class ExpectItem(BenchItem):
    """One expectation of a bench.

    Parameters
    ----------
    number : its place among the verdicts of the recording
    """

    def __init__(self, *, number: int, **others: Any) -> None:
        super().__init__(**others)
        self._number = number

    def runtest(self) -> None:
        """Fail where the expectation is not met; where it is that nothing is found, say what was.

        Raises
        ------
        BenchFailure : it is not met
        InputError : something is wrong with the bench
        """
        recording = self.parent.recording()
        verdict = recording.verdicts[self._number]
        if not verdict.met:
            line = f"not met  {verdict.what}; seen: {verdict.seen}\n"
            found = _page(recording, write_findings) if verdict.what == NO_FINDING.what else ""
            raise BenchFailure(line + found)


def _page(recording: Recording, *parts: Callable[[Recording, Paper], None]) -> str:
    """Return parts of the summary as text."""
    paper = Paper()
    for part in parts:
        part(recording, paper)
    return paper.text


def _counts_hangs(given: object) -> bool:
    found = given.get("findings") if isinstance(given, dict) else None
    return isinstance(found, dict) and found.get("rule") == "bus-hang"


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
