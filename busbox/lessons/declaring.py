"""What a lesson is made of: text, drawn numbers, and the plays that check an answer.

Contract
========
1. A lesson is one file with an object ``LESSON``. Text is a template; every value that depends on drawn
   numbers or on the answer is an expression (:mod:`busbox.lessons.expressions`). Names in it are
   the drawn numbers and ``answer.FIELD``; in what is said of a play also ``seen``, what was seen
   on the bus.
2. ``draw(random)`` gives the numbers of one variant. A variant is kept if its right answer passes
   and every wrong answer fails, found by playing them; else the next one is drawn.
3. An answer is judged in this order: ``before``, then the plays, each with what must happen in
   order. The first thing that does not hold is what the student is told.
4. A play is a run of a bench that the student does not edit. The answer is in its slots, its fabric or
   its steps; nothing else depends on it. So every right answer passes.
5. What is said is what happened, never the value that would be right.
6. A wrong answer that is one of ``wrong`` gets that misconception's words as well.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from random import Random
from typing import Any

from busbox.basics.declaring import check_choice, with_known_keywords

#: How a field of an answer is written.
KINDS = ("number", "bits", "choice")
#: What can be asked of a play; ``of`` is a tag, except for text, outputs and findings.
MUSTS = (
    "ends", "reads", "answers", "cycles at most", "cycles at least", "text", "outputs", "no finding",
)  # fmt: skip
#: How an access can end.
ENDS = ("ACK", "ERR", "nobody")
#: What a task's picture shows.
PICTURES = ("map", "decode", "access")


@with_known_keywords
@dataclass(frozen=True)
class Field:
    """One part of an answer.

    Attributes
    ----------
    name : for expressions, and for ``NAME=VALUE`` in an answer
    label : what is asked, in a few words
    kind : ``number``; ``bits``: byte lanes as four binary digits, SEL(3) first; ``choice``: its
        value is the index of the choice, from 0
    hexadecimal : a number without 0x is asked about, not taken as decimal: an address, data
    choices : the words of a choice
    given : an expression for what counts if the student does not say it; "" if it must be said
    """

    name: str
    label: str
    kind: str = "number"
    hexadecimal: bool = False
    choices: tuple[str, ...] = ()
    given: str = ""

    def __post_init__(self) -> None:
        check_choice("kind", self.kind, KINDS)


@with_known_keywords
@dataclass(frozen=True)
class Before:
    """A rule that is judged before any run.

    Attributes
    ----------
    holds : an expression; 0 means that it does not hold
    says : what is wrong with the answer
    """

    holds: str
    says: str


@with_known_keywords
@dataclass(frozen=True)
class Wrong:
    """A typical wrong answer.

    Attributes
    ----------
    name : of the misconception, a few words
    answer : field to an expression; fields that are left out are as in the right answer, and any
        value of them is recognised
    says : what the misconception is, without the right value
    """

    name: str
    answer: Mapping[str, str]
    says: str


@with_known_keywords
@dataclass(frozen=True)
class Must:
    """What must happen in a play.

    Attributes
    ----------
    what : one of :data:`MUSTS`
    of : the tag of the steps; the slot for ``text`` and ``outputs``
    value : ``ends``: ACK, ERR or nobody; ``answers``: a slot; ``text``: a template; ``reads``,
        ``cycles`` and ``outputs``: an expression; ``no finding``: ids of rules, separated by spaces
    says : what happened, if it did not: may use ``seen``
    when : an expression; only asked if it is not 0
    """

    what: str
    of: str = ""
    value: str = ""
    says: str = ""
    when: str = "1"

    def __post_init__(self) -> None:
        check_choice("what", self.what, MUSTS)
        if self.what == "ends":
            check_choice("value", self.value, ENDS)


@with_known_keywords
@dataclass(frozen=True)
class Play:
    """A run of a bench.

    Attributes
    ----------
    slots : tables of slots as in a bench, each with its ``name``. ``compare`` is an expression for
        the mask of the compared bits; ``yields_to`` maps the name of a slot to a condition
    steps : one a line: ``write ADDRESS DATA``, ``read ADDRESS``, then ``lanes LANES``, ``times N`` and
        ``as TAG``, each of them optional; values are numbers or ``{EXPRESSION}``
    must : what must happen
    fabric : keys of the fabric; a number may be an expression
    starts : False: the bench must be refused
    says : if ``starts`` is False, what is said of a bench that starts
    when : an expression; only played if it is not 0
    """

    slots: tuple[Mapping[str, Any], ...]
    steps: str = ""
    must: tuple[Must, ...] = ()
    fabric: Mapping[str, Any] = field(default_factory=dict)
    starts: bool = True
    says: str = ""
    when: str = "1"


@with_known_keywords
@dataclass(frozen=True)
class Picture:
    """The picture of a task: what is asked about, not the answer.

    Attributes
    ----------
    kind : ``map``; ``decode``, of an address; ``access``, of a step
    slots : as in a play
    address : an expression, for ``decode``
    step : as in a play, for ``access``
    """

    kind: str
    slots: tuple[Mapping[str, Any], ...]
    address: str = "0"
    step: str = ""

    def __post_init__(self) -> None:
        check_choice("kind", self.kind, PICTURES)


@with_known_keywords
@dataclass(frozen=True)
class Lesson:
    """A lesson.

    Attributes
    ----------
    number : from 1; in the name of the command
    title, learns : one line each
    minutes : how long it takes in a class
    task : what is asked
    fields : the parts of an answer, in order
    draw : gives the numbers of a variant
    answer : gives one right answer of a variant, by field
    wrong : typical wrong answers
    plays : what is run
    hints : one after each try that did not pass
    solution : the worked solution; may use the right answer
    passes : what is said of an answer that passes
    picture : of the task
    before : rules that are judged before any run
    board : what to draw on the board, for the teacher
    questions : what to ask the class
    teaches : ids of rules whose findings the lesson explains
    """

    number: int
    title: str
    minutes: int
    learns: str
    task: str
    fields: tuple[Field, ...]
    draw: Callable[[Random], dict[str, int]]
    answer: Callable[[Mapping[str, int]], dict[str, int]]
    wrong: tuple[Wrong, ...]
    plays: tuple[Play, ...]
    hints: tuple[str, ...]
    solution: str
    passes: str
    picture: Picture
    before: tuple[Before, ...] = ()
    board: str = ""
    questions: tuple[str, ...] = ()
    teaches: tuple[str, ...] = ()
