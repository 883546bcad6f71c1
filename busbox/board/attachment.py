"""The contract of what is attached to pins: a string of lamps, a terminal, a switch.

Contract
========
1. An attachment sees one pin, never a register: a :class:`Decoder` gets the edges of its line and the
   clock, a :class:`Driver` gives the levels of an input pin.
2. It is a class with ``settings`` (the keys of ``[attach.NAME]`` except ``kind`` and ``pin``) and one
   method: ``decode`` or ``drive``. It is built as ``Kind(board, **settings)``; a :class:`ValueError`
   from there is a mistake in the bench.
3. A decoder is asked when the run is over, and again whenever the recording is judged again: nothing
   that it finds changes the run, and it gives the same report each time. The same class reads
   captures of real lines (``busbox capture``); ``wave.sampling`` says how much each length may be
   wrong there.
4. What a decoder finds wrong is a :class:`LineFinding` with the id of a rule: one of Busbox's, or one
   that the class declares in ``rules``, id to page (``busbox explain``). The decoder does
   not say who caused it: that is looked up from the edge it names. DEVELOPERS.md shows a decoder with
   its own rule.

A decoder of ten lines::

    class Bell(Decoder):
        settings = (Setting("shortest", "10 ms", kind="time", text="A shorter pulse is silent."),)

        def decode(self, wave: Wave) -> LineReport:
            least = parse_span(self.options["shortest"]).in_cycles(self.board.clock_hz)
            rises, falls = wave.times[1::2], wave.times[2::2]
            count = int((falls - rises[: len(falls)] >= least).sum())
            return LineReport(rows=[("strokes", str(count))], facts={"strokes": count})
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any, ClassVar

from numpy.typing import NDArray

from busbox.basics.errors import InputError, format_value
from busbox.basics.pages import mistake_in_rule, page_of
from busbox.basics.phrases import Phrases
from busbox.device import Setting
from busbox.plugins import RULES

if TYPE_CHECKING:
    from busbox.lines.profiles import Profile
    from busbox.lines.wave import Wave


@dataclass(frozen=True)
class Board:
    """What an attachment may know about its surroundings.

    Attributes
    ----------
    clock_hz : ticks of a wave a second: the bench's clock, or the samples of a capture, rounded
    profiles : profiles of lamp lines by name, including those of the bench
    """

    clock_hz: int
    profiles: Mapping[str, Profile]


@dataclass(frozen=True)
class LineFinding:
    """Something wrong that a decoder found.

    Attributes
    ----------
    rule : id of the rule
    tick : when it is known
    describe : returns (what happened and what was expected, one thing to try); called only if shown
    edge : tick of the edge that caused it; None for ``tick``
    part : what it is counted under, after the attachment's name
    advice : cycle counts that would be right; the hint then names the registers that set them
    """

    rule: str
    tick: int
    describe: Callable[[], tuple[str, str]]
    edge: int | None = None
    part: str = ""
    advice: Callable[[], Advice] | None = None


@dataclass(frozen=True)
class Advice:
    """Cycle counts of a line, by the names of :meth:`busbox.device.Declaration.words_for`.

    Attributes
    ----------
    clocks : the counts that would be right, empty if none are
    now : the present counts, empty if they are unknown
    """

    clocks: Mapping[str, int] = field(default_factory=dict)
    now: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Explanation:
    """Why a decoder shows something other than what was sent.

    Attributes
    ----------
    text : which bit it is, in numbers; "" if unknown
    hint : one thing to try; "" for the general advice
    advice : as in a :class:`LineFinding`
    """

    text: str = ""
    hint: str = ""
    advice: Advice = Advice()


@dataclass(frozen=True)
class LineReport:
    """What a decoder made of its line.

    Attributes
    ----------
    rows : (label, value), for people
    facts : the same for programs, as JSON holds it
    text : the line decoded as text, or None
    characters : (tick of the first edge, value) of each character
    frames : (tick of the first edge, tick from which the lamps show it, colours 0xRRGGBB or
        0xWWRRGGBB) of each frame that they show, or None
    current : (tick, amperes that it draws from then on), or None if unknown
    findings : what is wrong, in order of tick
    """

    rows: Sequence[tuple[str, str]] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    text: str | None = None
    characters: Sequence[tuple[int, int]] = ()
    frames: Sequence[tuple[int, int, tuple[int, ...]]] | None = None
    current: Sequence[tuple[int, Fraction]] | None = None
    findings: Iterable[LineFinding] = ()


class Attachment:
    """Base of all kinds; a kind derives from :class:`Decoder` or :class:`Driver`.

    Attributes
    ----------
    board : its surroundings
    options : every setting, each checked by itself
    """

    settings: ClassVar[tuple[Setting, ...]] = ()
    #: What a decoder gives for ``[[expect]]``: ``text``, ``frames``.
    sends: ClassVar[tuple[str, ...]] = ()

    def __init__(self, board: Board, **settings: Any) -> None:
        self.board = board
        self.options = settings

    @classmethod
    def check(cls, settings: Mapping[str, Any]) -> str | None:
        """Return what is wrong with a combination of valid settings, or None."""
        return None


class Decoder(Attachment):
    """Decodes a line."""

    #: Its own rules, which its findings may name: the id of each to its page (``busbox explain``).
    rules: ClassVar[Mapping[str, str]] = {}

    def decode(self, wave: Wave) -> LineReport:
        """Return what a line says.

        Raises
        ------
        ValueError : a setting does not fit the line
        """
        raise NotImplementedError

    def describe(self, wave: Wave, tick: int) -> str:
        """Return what a tick of the line belongs to, such as ``frame 3, lamp 2``; "" if unknown."""
        return ""

    def describe_all(self, wave: Wave, ticks: NDArray[Any]) -> Phrases:
        """Return what :meth:`describe` gives for many ticks in order.

        A decoder of lines with a million edges overrides this, and has :meth:`describe` follow from it.
        """
        return Phrases.of(self.describe(wave, tick) for tick in ticks.tolist())

    def explain(self, wave: Wave, tick: int, sent: Any) -> Explanation | None:
        """Return why the frame or character that begins in a tick is not shown as it was sent.

        None if one of the decoder's findings explains it: the difference is then not a finding.

        Parameters
        ----------
        wave : the line
        tick : of the first edge of a frame or character in the report; -1 if it shows none
        sent : the colours that the device sent to the lamps, or the byte
        """
        return Explanation()


class Driver(Attachment):
    """Gives an input pin its levels."""

    def drive(self) -> Iterator[tuple[int, int]]:
        """Yield (cycle, level): the pin has the level from that cycle on; cycles increase."""
        raise NotImplementedError


def check_attachment(name: str, found: Any) -> None:
    """Refuse what is not a kind of attachment.

    Raises
    ------
    InputError : it neither decodes nor drives, or declares a rule that is not valid
    """
    if not isinstance(found, type) or not issubclass(found, Decoder | Driver):
        raise InputError.of(
            f"{name!r} must be a subclass of Decoder or Driver (busbox.board.attachment), "
            f"not {format_value(found)}"
        )
    mistake = mistake_in_rules(found, RULES.built_in) if issubclass(found, Decoder) else None
    if mistake:
        raise InputError.of(f"{name!r}: {mistake}")


def mistake_in_rules(kind: type[Decoder], known: Container[str]) -> str | None:
    """Return what is wrong with the rules that a decoder's class declares, or None.

    Parameters
    ----------
    kind : the class
    known : ids of the rules that come with Busbox
    """
    if not isinstance(kind.rules, Mapping):
        return f"rules must be a mapping from id to page, not {format_value(kind.rules)}"
    for rule, page in kind.rules.items():
        if not isinstance(page, str):
            return f"the page of rule {rule} must be a string, not {format_value(page)}"
        mistake = mistake_in_rule(rule, page_of(page))
        if mistake:
            return mistake
        if rule in known:
            return f"there is a rule {rule} already; choose another id"
    return None
