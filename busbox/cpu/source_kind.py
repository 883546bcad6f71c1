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

from collections.abc import Mapping
from typing import Any, ClassVar

from busbox.basics.errors import InputError, format_value
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
