"""The contract of an export: a function ``write(result, target)``.

Contract
========
1. An export is a function of two arguments. It is called once, when a run is over and judged, and
   writes all it has to say. The first paragraph of its docstring says in lists what it writes.
2. ``result`` is the run (:class:`Result`): the recording with its findings, and what was run.
3. ``target`` takes text or bytes (:class:`Target`): a file, which is written beside its place and moved
   there when ``write`` returns, or standard output. An export does not close it.
4. The same result gives the same output; nothing in it is taken from the machine or the day.
5. What cannot be written is an InputError; then no file is left.

An export of five lines::

    def write(result: Result, target: Target) -> None:
        '''The name of every pin that moved, one per line.'''
        for pin, line in result.recording.lines.items():
            if len(line.cycles) > 1:
                target.text.write(f"{pin}\\n")
"""

from __future__ import annotations

import inspect
import io
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, BinaryIO, cast

from busbox.basics.errors import InputError, format_value
from busbox.basics.files import replacing
from busbox.basics.paper import Paper, paper_for, shows_colours, width_of
from busbox.recording import Recording
from busbox.system.system import System

#: The name of standard output.
STANDARD_OUTPUT = "-"


@dataclass(frozen=True)
class Result:
    """What a run came to.

    Attributes
    ----------
    recording : what happened, with findings and expectations
    extras : what the options of the run add, by the key of the JSON object: ``coverage``,
        ``stopped_on``, ``engines``
    """

    recording: Recording
    make_system: Callable[[], System]
    extras: Mapping[str, Any] = field(default_factory=dict)

    @cached_property
    def system(self) -> System:
        """What was run: devices in their slots, clock, fabric, what is attached."""
        return self.make_system()


@dataclass(frozen=True)
class Target:
    """Where an export writes.

    Attributes
    ----------
    text : takes text; in UTF-8 with ``\\n`` as line end, or as standard output has it
    colours : whether it shows colours
    """

    text: io.TextIOWrapper
    colours: bool = False

    @property
    def binary(self) -> BinaryIO:
        """The same target for bytes; text written earlier precedes them."""
        self.text.flush()
        return cast(BinaryIO, self.text.buffer)

    def paper(self) -> Paper:
        """Return paper to write lines on, for :meth:`put`, as wide as the place."""
        return paper_for(self.text) if self.colours else Paper(width=width_of(self.text))

    def put(self, paper: Paper) -> None:
        """Write what is on the paper."""
        paper.print(self.text)


@contextmanager
def target_of(name: str) -> Iterator[Target]:
    """Give the target of that name: a file, or ``-`` for standard output.

    Raises
    ------
    InputError : the file cannot be written
    """
    if name == STANDARD_OUTPUT:
        yield Target(cast(io.TextIOWrapper, sys.stdout), shows_colours(sys.stdout))
        return
    with replacing(Path(name)) as file:
        text = io.TextIOWrapper(file, "utf-8", newline="\n")
        try:
            yield Target(text)
        finally:
            text.detach()


def text_of(write: Callable[[Result, Target], None], result: Result) -> str:
    """Return what an export writes, as text."""
    held = io.BytesIO()
    text = io.TextIOWrapper(held, "utf-8", newline="\n")
    write(result, Target(text))
    text.flush()
    return held.getvalue().decode("utf-8")


def check_export(name: str, found: Any) -> None:
    """Refuse what is no export.

    Raises
    ------
    InputError : it cannot be called as ``write(result, target)``
    """
    problem = "" if callable(found) else f", not {format_value(found)}"
    if not problem:
        try:
            inspect.signature(found).bind(None, None)
        except TypeError:
            problem = "; it takes other arguments"
        except ValueError:  # a builtin without a signature
            return
    if problem:
        raise InputError.of(f"{name!r} must be a function write(result, target){problem}")
