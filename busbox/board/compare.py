"""Compares two decoded lines: a capture of the board and a run of the bench."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from busbox.basics.errors import format_value
from busbox.board.attachment import LineReport
from busbox.lines.profiles import WINDOWS


@dataclass(frozen=True)
class Difference:
    """One property of two lines.

    Attributes
    ----------
    what : such as ``text`` or ``mean high of a zero``
    here, there : of the capture, of the run
    same : whether they are equal; measured times always count as the same
    text : both, for people
    """

    what: str
    here: Any
    there: Any
    same: bool
    text: str

    def as_object(self) -> dict[str, Any]:
        """Return it for programs."""
        return {"capture": self.here, "run": self.there, "same": self.same}

    def __str__(self) -> str:
        return self.text


def differences(here: LineReport, there: LineReport) -> list[Difference]:
    """Return the properties of two decoded lines, each with whether it is the same."""
    return list(_compared(here, there))


def _compared(here: LineReport, there: LineReport) -> Iterator[Difference]:
    if here.text is not None or there.text is not None:
        yield _equal("text", here.text, there.text, "characters")
    if here.frames is not None or there.frames is not None:
        frames = [[list(colours) for _, _, colours in one.frames or ()] for one in (here, there)]
        yield _frames(*frames)
    if here.text is None and here.frames is None:
        known = sorted(set(here.facts) & set(there.facts))
        for key in known:
            if not isinstance(here.facts[key], Mapping | list):
                yield _equal(key, here.facts[key], there.facts[key], "")
    yield from _times(here.facts, there.facts)


def _equal(what: str, here: Any, there: Any, unit: str) -> Difference:
    if here == there:
        size = f", {len(here)} {unit}" if unit else f", {format_value(here)}"
        return Difference(what, here, there, True, f"the same{size}")
    return Difference(what, here, there, False, f"{_read(here)}; the run: {_read(there)}")


def _read(value: Any) -> str:
    return "nothing was decoded" if value is None else format_value(value)


def _frames(here: Sequence[list[int]], there: Sequence[list[int]]) -> Difference:
    if here == there:
        return Difference("frames", here, there, True, f"the same, {len(here)}")
    for number, (one, other) in enumerate(zip(here, there, strict=False)):
        if one != other:
            words = [
                " ".join(f"{colour:06x}" for colour in colours[:8]) for colours in (one, other)
            ]
            text = f"frame {number} is {words[0]}; the run: {words[1]}"
            break
    else:
        text = f"{len(here)} frames; the run: {len(there)}"
    return Difference("frames", here, there, False, text)


def _times(here: Mapping[str, Any], there: Mapping[str, Any]) -> Iterator[Difference]:
    """Yield how measured times differ."""
    rate, other = here.get("measured_baud"), there.get("measured_baud")
    if rate is not None and other is not None:
        text = f"{rate:.6g}; the run: {other:.6g} ({100 * (rate / other - 1):+.2f} %)"
        yield Difference("measured baud", rate, other, True, text)
    windows = here.get("windows"), there.get("windows")
    if not isinstance(windows[0], Mapping) or not isinstance(windows[1], Mapping):
        return
    for key in windows[0]:
        if key in windows[1]:
            means = windows[0][key]["mean_ns"], windows[1][key]["mean_ns"]
            text = f"{means[0]:.1f} ns; the run: {means[1]:.1f} ns ({means[0] - means[1]:+.1f} ns)"
            yield Difference(f"mean {WINDOWS.get(key, key)}", *means, True, text)
