"""The contract of what is attached to pins: a string of lamps, a terminal, a switch.

Contract
========
1. An attachment sees one pin, never a register: a :class:`Decoder` gets the edges of its line and the
   clock, a :class:`Driver` gives the levels of an input pin.
2. It is a class with ``settings`` (the keys of ``[attach.NAME]`` besides ``kind`` and ``pin``) and one
   method: ``listen`` or ``drive``. It is built as ``Kind(board, **settings)``; a :class:`ValueError`
   from there is a mistake in the bench.
3. A listener is asked when the run is over, and again whenever the recording is judged again: nothing
   that it finds changes the run, and it answers the same each time. The same class reads captures of
   real lines (``busbox capture``); of those, ``wave.sampling`` says how much each length may be wrong.
4. What a listener finds wrong is a :class:`LineFinding` with the id of a rule (``busbox explain``). Who
   caused it is not its business: that is looked up from the edge it names.

A listener of ten lines::

    class Bell(Decoder):
        settings = (Setting("shortest", "10 ms", kind="time", text="A shorter pulse is not heard."),)

        def decode(self, wave: Wave) -> LineReport:
            least = parse_span(self.options["shortest"]).in_cycles(self.board.clock_hz)
            rises, falls = wave.times[1::2], wave.times[2::2]
            count = int((falls - rises[: len(falls)] >= least).sum())
            return LineReport(rows=[("strokes", str(count))], facts={"strokes": count})
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any, ClassVar

from busbox.device import Setting

if TYPE_CHECKING:
    from busbox.lines.profiles import Profile
    from busbox.lines.wave import Wave


@dataclass(frozen=True)
class Board:
    """What an attachment may know of its surroundings.

    Attributes
    ----------
    clock_hz : ticks of a wave a second: the bench's clock, or the samples of a capture, rounded
    profiles : profiles of lamp lines by name, those of the bench among them
    """

    clock_hz: int
    profiles: Mapping[str, Profile]


@dataclass(frozen=True)
class LineFinding:
    """Something that a listener finds wrong.

    Attributes
    ----------
    rule : id of the rule
    tick : when it is known
    tell : returns (what happened and what was expected, one thing to try); called only if it is shown
    edge : tick of the edge that is to blame; None for ``tick``
    part : what it is counted under, besides the attachment's name
    """

    rule: str
    tick: int
    tell: Callable[[], tuple[str, str]]
    edge: int | None = None
    part: str = ""


@dataclass(frozen=True)
class LineReport:
    """What a listener understood.

    Attributes
    ----------
    rows : (what, how it was), for people
    facts : the same for programs, as JSON holds it
    text : what it read as text, or None
    characters : (tick of the first edge, value) of each character
    frames : (tick of the first edge, tick from which the lamps show it, colours 0xRRGGBB or
        0xWWRRGGBB) of each frame that they show, or None
    current : (tick, amperes that it draws from then on), or None if it is not known
    troubles : what is wrong, in order of tick
    """

    rows: Sequence[tuple[str, str]] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    text: str | None = None
    characters: Sequence[tuple[int, int]] = ()
    frames: Sequence[tuple[int, int, tuple[int, ...]]] | None = None
    current: Sequence[tuple[int, Fraction]] | None = None
    troubles: Iterable[LineFinding] = ()


class Attachment:
    """Base of all kinds; a kind derives from :class:`Decoder` or :class:`Driver`.

    Attributes
    ----------
    board : its surroundings
    options : every setting, checked on its own
    """

    settings: ClassVar[tuple[Setting, ...]] = ()
    #: What a listener gives for ``[[expect]]``: ``text``, ``frames``.
    sends: ClassVar[tuple[str, ...]] = ()

    def __init__(self, board: Board, **settings: Any) -> None:
        self.board = board
        self.options = settings

    @classmethod
    def check(cls, settings: Mapping[str, Any]) -> str | None:
        """Return what is wrong with settings that are each fine on their own, or None."""
        return None


class Decoder(Attachment):
    """Understands a line."""

    def decode(self, wave: Wave) -> LineReport:
        """Return what a line says.

        Raises
        ------
        ValueError : a setting does not fit the line
        """
        raise NotImplementedError

    def describe(self, wave: Wave, tick: int) -> str:
        """Return what the line says in a tick, such as ``frame 3, lamp 2``; "" if that is not told."""
        return ""


class Driver(Attachment):
    """Gives an input pin its levels."""

    def drive(self) -> Iterator[tuple[int, int]]:
        """Yield (cycle, level): the pin has the level from that cycle on; cycles increase."""
        raise NotImplementedError
