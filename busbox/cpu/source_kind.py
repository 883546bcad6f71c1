"""The contract of a kind of source: traffic that is neither a file nor a Python function.

Contract
========
1. A bench names it: ``[traffic] source = "NAME"``, or ``source = "file.py:Class"``; the other keys of
   the table are its settings.
2. It is a class with ``settings``, checked like those of a device: each on its own, then together by
   ``check``. A setting of kind ``path`` is a file beside the bench.
3. It is built as ``Kind(**settings)``; a :class:`ValueError` raised there is reported as a mistake in
   the bench.
4. The object is a source (:class:`busbox.cpu.source.Source`): ``next`` returns the next step,
   ``again()`` a source that starts over. ``again()`` is called first, once for every run, so that two
   runs never share a source.

A source of ten lines, derived from one that lists its steps::

    class Strokes(SourceKind, ListedSource):
        '''Strikes a bell several times.'''

        settings = (Setting("count", 3, low=1, high=99, text="number of strokes"),)

        def __init__(self, count: int) -> None:
            super().__init__(lambda: [AccessStep(True, Named("bell", "STRIKE"), 30)] * count)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from busbox.basics.errors import InputError, format_value
from busbox.basics.hooks import calling, is_added, refuse, wanted, whole
from busbox.cpu.listed import ListedSource
from busbox.cpu.source import Moment, Routine, Source
from busbox.cpu.steps import Step
from busbox.cpu.table import AccessTable
from busbox.device import Setting

_METHODS = ("check", "next", "again", "close")


class SourceKind:
    """A base class for kinds of source: no settings, nothing to check."""

    settings: ClassVar[tuple[Setting, ...]] = ()

    @classmethod
    def check(cls, settings: Mapping[str, Any]) -> str | None:
        """Return what is wrong with settings that are each fine on their own, or None."""
        return None


def check_source(name: str, found: Any) -> None:
    """Refuse an object that is not a kind of source.

    Raises
    ------
    InputError : it is not a class, or lacks a part of the contract
    """
    if not isinstance(found, type):
        raise InputError.of(f"{name!r} must be a class, not {format_value(found)}")
    missing = [method for method in _METHODS if not callable(getattr(found, method, None))]
    if not hasattr(found, "settings"):
        missing.append("settings")
    if missing:
        raise InputError.of(
            f"{name!r} must be a source of traffic (busbox.cpu.source_kind): it lacks "
            f"{', '.join(missing)}"
        )


def guarded_source(source: Any, name: str) -> Source:
    """Return a source whose hooks are checked whenever it is asked, if it does not come with Busbox.

    Parameters
    ----------
    name : what messages call it

    Raises
    ------
    HookError : it lists something that is no step
    """
    if isinstance(source, ListedSource):
        for piece in source.pieces():
            if not isinstance(piece, Step | AccessTable):
                refuse(f"{name} must hold steps only, not {format_value(piece)}", type(source))
        return source
    return _Guarded(source, name) if is_added(source) else source


class _Guarded:
    """A source of somebody else's."""

    def __init__(self, source: Any, name: str) -> None:
        self._source, self._name = source, name
        self.ahead = bool(getattr(source, "ahead", False))

    @property
    def count(self) -> int | None:
        """Number of steps, None if unknown."""
        with calling(f"{self._name}: its count", hook=type(self._source)):
            found = getattr(self._source, "count", None)
        number = None if found is None else whole(found)
        if found is not None and (number is None or number < 0):
            text = f"the count of {self._name} must be a number of steps or None"
            refuse(f"{text}, not {format_value(found)}", type(self._source))
        return number

    @property
    def handlers(self) -> Sequence[Routine]:
        """Routines that pins call."""
        with calling(f"{self._name}: its handlers", hook=type(self._source)):
            found = getattr(self._source, "handlers", ())
        fine = isinstance(found, list | tuple) and all(isinstance(one, Routine) for one in found)
        if not fine:
            text = f"the handlers of {self._name} must be Routine objects"
            refuse(f"{text}, not {format_value(found)}", type(self._source))
        return found

    def next(self, moment: Moment) -> Step | None:
        """Return the next step."""
        hook = self._source.next
        with calling(f"{self._name}: its next", hook=hook):
            found = hook(moment)
        if found is not None and not isinstance(found, Step):
            refuse(wanted(f"{self._name}: next", "a step or None", found), hook)
        return found

    def again(self) -> Source:
        """Return a source that begins at the first step."""
        hook = self._source.again
        with calling(f"{self._name}: its again", hook=hook):
            found = hook()
        if not callable(getattr(found, "next", None)):
            refuse(wanted(f"{self._name}: again", "a source", found), hook)
        return guarded_source(found, self._name)

    def close(self) -> None:
        """Release resources."""
        with calling(f"{self._name}: its close", hook=self._source.close):
            self._source.close()
