"""The declarations of a waveform file (VCD, IEEE 1364-2005, clause 18.2)."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import IO

from busbox.basics.errors import InputError, format_value
from busbox.basics.limits import DECLARATIONS, NAME, NESTING, VARIABLES

_WORD = re.compile(rb"\S+")
_RANGE = re.compile(r"\[-?\d+:-?\d+\]$")
_SCALE = re.compile(r"(1|10|100) ?(s|ms|us|ns|ps|fs)")
_SECONDS = {"s": 0, "ms": 3, "us": 6, "ns": 9, "ps": 12, "fs": 15}
#: Types of variables that have no level.
_NO_LEVEL = ("event", "real", "realtime", "string")
_MARK_BYTES = b"\xef\xbb\xbf"
#: Bytes that are read at first in search of the declarations' end.
FIRST_READ = 1 << 16
#: Words of a declaration that are looked at; only a comment has more.
_WORDS = 64


@dataclass(frozen=True, slots=True)
class Variable:
    """One variable of a waveform.

    Attributes
    ----------
    name : with its scopes and, if it was declared with one, its range: ``cabin.bus.adr[31:0]``
    code : what changes call it
    width : bits; 0 for a variable that has no level, such as a real number
    """

    name: str
    code: bytes
    width: int

    @property
    def short(self) -> str:
        """The name without a range."""
        return _RANGE.sub("", self.name)


@dataclass(frozen=True)
class Header:
    """What a waveform declares.

    Attributes
    ----------
    unit : seconds of one step of time
    variables : in the file's order; several may share a code
    rest : the bytes that were read beyond the declarations
    line : the line on which they begin
    """

    unit: Fraction
    variables: tuple[Variable, ...]
    rest: bytes
    line: int


class _More(Exception):
    """The declarations go on beyond what was read."""


def read_header(file: IO[bytes], where: str) -> Header:
    """Read the declarations of a file.

    Parameters
    ----------
    where : the file, for messages

    Raises
    ------
    InputError : it is not such a file; with the line
    """
    data, size = b"", FIRST_READ
    while True:
        read = file.read(size)
        data = (data + read) if data else read.removeprefix(_MARK_BYTES)
        try:
            return _Declarations(data, where, whole=len(read) < size).header()
        except _More:
            size = max(size, len(data))
        DECLARATIONS.check(data, "the declarations", where)


class _Declarations:
    """Reads declarations from the beginning of a file; ``whole``: there is no more of it."""

    def __init__(self, data: bytes, where: str, whole: bool) -> None:
        self._data, self._where, self._whole = data, where, whole
        self._at = 0
        self._unit: Fraction | None = None
        self._scopes: list[str] = []
        self._codes: dict[str, bytes] = {}
        self._widths: dict[bytes, int] = {}
        self._variables: list[Variable] = []
        self._longest, self._most, self._deepest = NAME.most, VARIABLES.most, NESTING.most

    def header(self) -> Header:
        acts: Mapping[str, Callable[[list[str]], None]] = {
            "$timescale": self._timescale,
            "$scope": self._scope,
            "$upscope": self._upscope,
            "$var": self._variable,
        }
        for word in self._words():
            if word.startswith("#"):
                raise self._wrong(f"$enddefinitions must come before {word}")
            if not word.startswith("$") or word == "$end":
                raise self._wrong(f"is not a valid VCD file: unexpected {format_value(word)}")
            section = self._section()
            if word == "$enddefinitions":
                if self._unit is None:
                    raise self._wrong("$timescale must come before $enddefinitions")
                rest, line = self._data[self._at :], self._line()
                return Header(self._unit, tuple(self._variables), rest, line)
            act = acts.get(word)
            if act is not None:
                act(section)
        raise self._wrong("$enddefinitions is missing")

    def _words(self) -> Iterator[str]:
        """Yield one word after the other; one that may be cut off is not in what was read."""
        while True:
            found = _WORD.search(self._data, self._at)
            if found is None or found.end() == len(self._data):
                if not self._whole:
                    raise _More
                if found is None:
                    return
            self._at = found.end()
            yield found[0].decode("utf-8", "replace")

    def _section(self) -> list[str]:
        """Return the words up to ``$end``."""
        begun = self._at
        words: list[str] = []
        for word in self._words():
            if word == "$end":
                return words
            if len(words) < _WORDS:
                words.append(word)
        self._at = begun
        raise self._wrong("ends in the middle of a token")

    def _line(self) -> int:
        return self._data.count(b"\n", 0, self._at) + 1

    def _wrong(self, text: str) -> InputError:
        return InputError.of(text, self._where, self._line())

    def _invalid(self, what: str, words: list[str]) -> InputError:
        return self._wrong(f"is not a valid VCD file: {what} {format_value(' '.join(words))}")

    def _timescale(self, words: list[str]) -> None:
        found = _SCALE.fullmatch(" ".join(words))
        if found is None:
            raise self._invalid("$timescale", words)
        self._unit = Fraction(int(found[1]), 10 ** _SECONDS[found[2]])

    def _scope(self, words: list[str]) -> None:
        if len(words) != 2:
            raise self._invalid("$scope", words)
        self._scopes.append(words[1])
        if len(self._scopes) > self._deepest:
            raise self._wrong(NESTING.exceeded("scopes inside each other"))

    def _upscope(self, words: list[str]) -> None:
        if not self._scopes:
            raise self._wrong("$upscope without an open scope")
        self._scopes.pop()

    def _variable(self, words: list[str]) -> None:
        if len(words) < 4 or not re.fullmatch("[0-9]{1,9}", words[1]):
            raise self._invalid("$var", words)
        kind, size, code = words[0], int(words[1]), words[2].encode()
        width = 0 if kind in _NO_LEVEL else size
        name = ".".join((*self._scopes, "".join(words[3:])))
        if max(len(name), len(code)) > self._longest:
            raise self._wrong(NAME.exceeded("the name of a signal"))
        if self._widths.setdefault(code, width) != width:
            raise self._wrong(
                f"{name} must be as wide as the other variable with the code {words[2]}"
            )
        if self._codes.setdefault(name, code) != code:
            raise self._wrong(f"{name} is declared twice")
        self._variables.append(Variable(name, code, width))
        if len(self._variables) > self._most:
            raise self._wrong(VARIABLES.exceeded("it"))
