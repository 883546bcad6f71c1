"""Edges of a waveform file (VCD, IEEE 1364-2005, clause 18)."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction

import numpy as np
from vcd.common import TimescaleUnit, VarType
from vcd.reader import Token, TokenKind, VarDecl, VCDParseError, tokenize

from busbox.basics.errors import InputError, format_value
from busbox.lines.tracks import LONGEST, waves_of
from busbox.lines.wave import Wave

_SECONDS = {
    TimescaleUnit.second: Fraction(1),
    TimescaleUnit.millisecond: Fraction(1, 10**3),
    TimescaleUnit.microsecond: Fraction(1, 10**6),
    TimescaleUnit.nanosecond: Fraction(1, 10**9),
    TimescaleUnit.picosecond: Fraction(1, 10**12),
    TimescaleUnit.femtosecond: Fraction(1, 10**15),
}
#: Types of variables that have no level.
_NO_LEVEL = (VarType.event, VarType.real, VarType.realtime, VarType.string)
_UNKNOWN = frozenset("xXzZ")

#: Appended to the file: one that is cut off within a token swallows it.
_END = "the end of the file"
_MARK_BYTES = b"\xef\xbb\xbf"


def read_vcd(data: bytes, where: str) -> dict[str, Wave]:
    """Return the waves of all variables of one bit, by their names with scopes, in the file's order.

    A level of x or z counts as the level before. Changes before the first time belong to time 0.

    Parameters
    ----------
    data : the file's contents
    where : the file, for messages

    Raises
    ------
    InputError : it is not such a file; with the line
    """
    reader = _Reader(where)
    for token in _tokens(data, where):
        reader.line = token.span.start.line
        act = _ACTS.get(token.kind)
        if act is not None:
            act(reader, token)
    return reader.waves()


def _tokens(data: bytes, where: str) -> Iterator[Token]:
    """Yield the tokens of a file.

    Raises
    ------
    InputError : it is not such a file, or is cut off within a token
    """
    stream = io.BytesIO(data.removeprefix(_MARK_BYTES) + f"\n$comment {_END} $end\n".encode())
    line, last = 1, None
    try:
        for token in tokenize(stream):
            line = token.span.end.line
            if last is not None:
                yield last
            last = token
    except VCDParseError as error:
        text = str(error).partition(": ")[2]
        raise InputError.of(f"is not a valid VCD file: {text}", where, error.loc.line) from None
    except ValueError:
        raise InputError.of("is not a valid VCD file: unexpected token", where, line) from None
    if last is None or last.kind is not TokenKind.COMMENT or last.comment.strip() != _END:
        line = 1 if last is None else last.span.start.line
        raise InputError.of("ends in the middle of a token", where, line)


class _Reader:
    """What has been read so far.

    Attributes
    ----------
    line : of the token that is being read
    """

    def __init__(self, where: str) -> None:
        self.line = 1
        self._where = where
        self._unit: Fraction | None = None
        self._scopes: list[str] = []
        self._names: dict[str, str] = {}
        self._bits: dict[str, int] = {}
        self._tracks: dict[str, tuple[list[int], list[int]]] = {}
        self._declared = False
        self._now: int | None = None
        self._step = 0

    def _wrong(self, text: str) -> InputError:
        return InputError.of(text, self._where, self.line)

    # Declarations.

    def timescale(self, token: Token) -> None:
        """Take the unit of time."""
        scale = token.timescale
        self._unit = scale.magnitude.value * _SECONDS[scale.unit]

    def scope(self, token: Token) -> None:
        """Go into a scope."""
        self._scopes.append(token.scope.ident)

    def upscope(self, token: Token) -> None:
        """Leave a scope."""
        if not self._scopes:
            raise self._wrong("$upscope without an open scope")
        self._scopes.pop()

    def variable(self, token: Token) -> None:
        """Take a variable; several may share a code, but not a name."""
        if self._declared:
            raise self._wrong("$var must come before $enddefinitions")
        declared: VarDecl = token.var
        code, bits = declared.id_code, 0 if declared.type_ in _NO_LEVEL else declared.size
        name = ".".join((*self._scopes, declared.ref_str))
        if self._bits.setdefault(code, bits) != bits:
            raise self._wrong(f"{name} must be as wide as the other variable with the code {code}")
        if self._names.setdefault(name, code) != code:
            raise self._wrong(f"{name} is declared twice")
        if bits == 1:
            self._tracks.setdefault(code, ([], []))

    def end_definitions(self, token: Token) -> None:
        """End the declarations."""
        if self._unit is None:
            raise self._wrong("$timescale must come before $enddefinitions")
        self._declared = True

    # Changes.

    def time(self, token: Token) -> None:
        """Go to a time."""
        time = token.time_change
        if not self._declared:
            raise self._wrong(f"$enddefinitions must come before #{time}")
        if self._now is not None and time < self._now:
            raise self._wrong(f"a time must not be below the one before, {self._now}, not {time}")
        if time > LONGEST:
            raise self._wrong(f"a time must be at most {LONGEST}, not {time}")
        self._now, self._step = time, math.gcd(self._step, time)

    def scalar(self, token: Token) -> None:
        """Take a level."""
        change = token.scalar_change
        self._change(change.id_code, change.value)

    def vector(self, token: Token) -> None:
        """Take a value of several bits; one bit may be written so too."""
        change = token.vector_change
        self._change(change.id_code, str(change.value))

    def other(self, token: Token) -> None:
        """Take a real number or a string, which no variable of one bit has."""
        self._change(token.data.id_code, "")  # type: ignore[union-attr]

    def _change(self, code: str, value: str) -> None:
        if code not in self._bits or not self._declared:
            raise self._wrong(f"a change must be of a declared variable, not {format_value(code)}")
        if self._bits[code] != 1 or value in _UNKNOWN:
            return
        if value not in ("0", "1"):
            raise self._wrong(f"the level of a variable of one bit must be 0, 1, x or z ({code})")
        times, levels = self._tracks[code]
        now = self._now or 0
        if times and times[-1] == now:
            levels[-1] = int(value)
        else:
            times.append(now)
            levels.append(int(value))

    def waves(self) -> dict[str, Wave]:
        """Return what was read."""
        if not self._declared or self._unit is None:
            raise self._wrong("$enddefinitions is missing")
        if not self._tracks:
            raise self._wrong("must declare a variable of one bit")
        if self._now is None:
            raise self._wrong("must have a time, such as #0")
        step = self._step or 1
        read = {
            code: (np.array(times, dtype="i8") // step, np.array(levels, dtype="u1"))
            for code, (times, levels) in self._tracks.items()
        }
        tracks = {name: read[code] for name, code in self._names.items() if code in read}
        return waves_of(tracks, self._now // step, self._unit * step)


_ACTS: Mapping[TokenKind, Callable[[_Reader, Token], None]] = {
    TokenKind.TIMESCALE: _Reader.timescale,
    TokenKind.SCOPE: _Reader.scope,
    TokenKind.UPSCOPE: _Reader.upscope,
    TokenKind.VAR: _Reader.variable,
    TokenKind.ENDDEFINITIONS: _Reader.end_definitions,
    TokenKind.CHANGE_TIME: _Reader.time,
    TokenKind.CHANGE_SCALAR: _Reader.scalar,
    TokenKind.CHANGE_VECTOR: _Reader.vector,
    TokenKind.CHANGE_REAL: _Reader.other,
    TokenKind.CHANGE_STRING: _Reader.other,
}
