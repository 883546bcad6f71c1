"""What a line can be read as, by name, with its settings."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from busbox.board.baud import parse_rate
from busbox.board.serial import Format
from busbox.board.terminal import Terminal
from busbox.board.wave import Wave
from busbox.errors import InputError, Mistake, nearest, one_of, shown


class Seen(Protocol):
    """What was seen on a line."""

    def as_object(self) -> dict[str, Any]:
        """Return it for JSON."""

    def rows(self) -> list[tuple[str, str]]:
        """Return it for a reader: what, and how it was."""


@dataclass(frozen=True)
class Setting:
    """A setting of a kind.

    Attributes
    ----------
    default : its text
    text : what it is
    parse : its text to its value; ValueError says what is wrong
    """

    default: str
    text: str
    parse: Callable[[str], object]


@dataclass(frozen=True)
class Kind:
    """A kind of line.

    Attributes
    ----------
    text : what it is
    settings : by name
    look : called as ``look(wave, **settings)``; ValueError says which setting does not fit the wave
    """

    text: str
    settings: Mapping[str, Setting]
    look: Callable[..., Seen]

    def values(self, given: Iterable[str]) -> dict[str, object]:
        """Return the value of every setting.

        Parameters
        ----------
        given : such as ``baud=19200``; the last counts

        Raises
        ------
        InputError : with all that is no setting, or no value of one
        """
        texts = {name: setting.default for name, setting in self.settings.items()}
        mistakes = []
        for one in given:
            name, equals, text = (part.strip() for part in one.partition("="))
            if not equals:
                mistakes.append(
                    Mistake(f"must be KEY=VALUE such as baud=19200, not {shown(one)}", "--set")
                )
            elif name not in texts:
                known = list(texts)
                text = f"there is no setting {shown(name)}{nearest(name, known)}"
                mistakes.append(Mistake(f"{text} (known: {one_of(known)})", "--set"))
            else:
                texts[name] = text
        values = {}
        for name, text in texts.items():
            try:
                values[name] = self.settings[name].parse(text)
            except ValueError as error:
                mistakes.append(Mistake(str(error), "--set", key=name))
        if mistakes:
            raise InputError(mistakes)
        return values


KINDS: Mapping[str, Kind] = {
    "terminal": Kind(
        "a serial line",
        {
            "baud": Setting("115200", "bits a second", parse_rate),
            "format": Setting("8N1", "data bits, parity, stop bits", Format.parse),
        },
        Terminal.look,
    ),
}


def kind_of(name: str) -> Kind:
    """Return the kind with a name.

    Raises
    ------
    InputError : there is none
    """
    if name not in KINDS:
        known = list(KINDS)
        raise InputError.of(
            f"must be {one_of(known)}, not {shown(name)}{nearest(name, known)}", "--as"
        )
    return KINDS[name]


def look(name: str, wave: Wave, kind: Kind, values: Mapping[str, object]) -> Seen:
    """Return what a line shows as a kind.

    Parameters
    ----------
    name : the line's, for messages

    Raises
    ------
    InputError : a setting does not fit the line
    """
    try:
        return kind.look(wave, **values)
    except ValueError as error:
        raise InputError.of(str(error), name) from None
