"""The steps of a play: lines of text to trees, and to accesses once the answer is known."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from busbox.cpu.steps import ALL_LANES, AccessStep
from busbox.lessons.expressions import Tree, evaluate, parse
from busbox.map.registers import WORD

_WORDS = re.compile(r"\{[^{}]*\}|\S+")
_FORM = "write ADDRESS DATA, or read ADDRESS, then lanes LANES, times N, as TAG"


@dataclass(frozen=True)
class PlayStep:
    """A step of a play.

    Attributes
    ----------
    write : True for a write
    address, data, lanes, times : trees; ``data`` of a read is 0
    tag : "" if it has none
    """

    write: bool
    address: Tree
    data: Tree = 0
    lanes: Tree = ALL_LANES
    times: Tree = 1
    tag: str = ""


@lru_cache(256)
def parse_steps(text: str) -> tuple[PlayStep, ...]:
    """Return the steps of a play.

    Raises
    ------
    ValueError : a line is no step
    """
    return tuple(_step(line.strip()) for line in text.splitlines() if line.strip())


def _step(line: str) -> PlayStep:
    kind, *words = _WORDS.findall(line)
    needed = {"write": 2, "read": 1}.get(kind, 0)
    options = words[needed:]
    if not needed or len(words) < needed or len(options) % 2:
        raise ValueError(f"a step must be {_FORM}, not {line!r}")
    named = dict(zip(options[::2], options[1::2], strict=True))
    if not named.keys() <= {"lanes", "times", "as"}:
        raise ValueError(f"a step must be {_FORM}, not {line!r}")
    lanes = named.get("lanes", "1111")
    return PlayStep(
        write=kind == "write",
        address=value(words[0]),
        data=value(words[1]) if kind == "write" else 0,
        lanes=value(lanes if lanes.startswith("{") else f"0b{lanes}"),
        times=value(named.get("times", "1")),
        tag=named.get("as", ""),
    )


def value(given: object) -> Tree:
    """Return the tree of a value: a number, or text that is a number or ``{EXPRESSION}``.

    Raises
    ------
    ValueError : it is neither
    """
    if isinstance(given, int):
        return given
    text = str(given)
    return parse(text[1:-1] if text.startswith("{") and text.endswith("}") else text)


def played(
    steps: tuple[PlayStep, ...], values: Mapping[str, int]
) -> Iterator[tuple[str, AccessStep]]:
    """Yield each access of a play with the tag of its step; its address may be none that exists."""
    for step in steps:
        address, data = evaluate(step.address, values), evaluate(step.data, values)
        access = AccessStep(
            write=step.write,
            target=address,
            data=data & WORD if step.write else None,
            lanes=evaluate(step.lanes, values) & ALL_LANES,
        )
        for _ in range(evaluate(step.times, values)):
            yield step.tag, access
