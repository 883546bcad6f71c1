"""Reads a waveform file piece by piece (VCD, IEEE 1364-2005, clause 18), in bounded memory.

Only the variables that are asked for are decoded; of the others, no more is looked at than their codes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import InputError, format_value
from busbox.basics.limits import LINE, TOKEN
from busbox.formats.waveform.header import Header, Variable, read_header
from busbox.formats.waveform.tokens import (
    CODE,
    COMMAND,
    NONE,
    OTHER,
    SCALAR,
    TIME,
    VECTOR,
    Values,
    Words,
    values_of,
    words_of,
)  # fmt: skip

Array = NDArray[Any]

#: Bytes that are looked at together.
PIECE = 1 << 19
#: No time of a file is above it: sums of two stay below 2^63.
LONGEST = 1 << 60
#: The widest variable that is decoded, in bits.
WIDEST = 64
#: Commands among the changes that say nothing about values.
_COMMANDS = frozenset(
    ("$dumpvars", "$dumpall", "$dumpon", "$dumpoff", "$end", "$vcdclose")
)  # fmt: skip
_DECLARING = ("$var", "$scope", "$upscope", "$timescale", "$enddefinitions")
_COMMENT, _END = b"$comment", re.compile(rb"(?<!\S)\$end(?!\S)")
_BLANKS = b" \t\r\n\v\f\0"
#: What is known of a code: it is declared, but not asked for; it is not declared.
_UNWANTED, _UNDECLARED = -1, -2


@dataclass(frozen=True)
class Changes:
    """The changes of some variables in a piece of a file.

    Attributes
    ----------
    times : for each variable, the times of its changes, in steps of the file
    values : for each variable, what it is from each of these times on
    stamps : all times that stand in the piece
    last : the last time so far; None before the first
    """

    times: list[Array]
    values: list[Values]
    stamps: Array
    last: int | None


class VcdReader:
    """A waveform file: its declarations, then its changes.

    Parameters
    ----------
    file : open for reading bytes
    where : the file, for messages

    Attributes
    ----------
    header : the declarations
    line : the line of the last word that was read

    Raises
    ------
    InputError : it is not such a file; with the line
    """

    def __init__(self, file: IO[bytes], where: str) -> None:
        self._file, self._where = file, where
        self.header: Header = read_header(file, where)
        self._line = self.line = self.header.line
        self._now: int | None = None
        self._longest, self._longest_comment = TOKEN.most, LINE.most

    def changes(self, wanted: Sequence[Variable]) -> Iterator[Changes]:
        """Yield the changes of variables, piece by piece; those before the first time are at time 0.

        Raises
        ------
        InputError : something is no change of a declared variable; with the line
        """
        codes = _Codes(self.header.variables, wanted)
        rest = self.header.rest
        while True:
            read = self._file.read(max(PIECE, len(rest)))
            data = rest + read if rest else read
            if not data:
                return
            cut = len(data) if not read else _last_blank(data)
            whole, rest = data[:cut], data[cut:]
            whole, held = self._without_comments(whole, last=not read)
            words = words_of(whole)
            if read and len(words.kind) and words.kind[-1] in (VECTOR, OTHER):
                cut = int(words.first[-1])
                whole, held = whole[:cut], whole[cut:] + held
                words = words_of(whole)
            if len(rest) > self._longest:
                raise InputError.of(TOKEN.exceeded("a word"), self._where, self._line)
            if len(held) > self._longest_comment:
                raise InputError.of(LINE.exceeded("a comment"), self._where, self._line)
            rest = held + rest
            if len(words.kind):
                self.line = self._line + whole.rstrip(_BLANKS).count(b"\n")
                yield self._changes(words, codes, last=not read)
            self._line += whole.count(b"\n")
            if not read:
                return

    def _without_comments(self, data: bytes, last: bool) -> tuple[bytes, bytes]:
        """Return a piece with blanks for comments, and what follows from an open comment on."""
        at = data.find(_COMMENT)
        while at >= 0:
            after = at + len(_COMMENT)
            if (at and data[at - 1] not in _BLANKS) or data[after : after + 1].strip():
                at = data.find(_COMMENT, after)
                continue
            found = _END.search(data, after)
            if found is None:
                if last:
                    raise self._cut_off(data, at)
                return data[:at], data[at:]
            end = found.end()
            lines = data.count(b"\n", at, end)
            data = data[:at] + b"\n" * lines + b" " * (end - at - lines) + data[end:]
            at = data.find(_COMMENT, end)
        return data, b""

    def _cut_off(self, data: bytes, at: int) -> InputError:
        line = self._line + data.count(b"\n", 0, at)
        return InputError.of("ends in the middle of a token", self._where, line)

    def _wrong(self, words: Words, number: int, text: str) -> InputError:
        """Return the error about a word."""
        before = words.text[: words.first[number]]
        line = self._line + int(np.count_nonzero(before == ord("\n")))
        return InputError.of(text, self._where, line)

    def _check(self, words: Words) -> None:
        """Refuse words that are neither a time nor a change nor one of a few commands."""
        for number in words.of(NONE, COMMAND):
            word = words.word(number)
            if word in _DECLARING:
                raise self._wrong(words, number, f"{word} must come before $enddefinitions")
            if word not in _COMMANDS:
                text = f"is not a valid VCD file: unexpected {format_value(word)}"
                raise self._wrong(words, number, text)

    def _changes(self, words: Words, codes: _Codes, last: bool) -> Changes:
        self._check(words)
        if last and words.kind[-1] in (VECTOR, OTHER):
            raise self._wrong(words, len(words.kind) - 1, "ends in the middle of a token")
        before = self._now
        at, stamps = self._stamps(words)
        scalars, coded = words.of(SCALAR), words.of(CODE)
        first = np.concatenate((words.first[scalars] + 1, words.first[coded]))
        which = codes.find(words, first, np.concatenate((words.end[scalars], words.end[coded])))
        numbers = np.concatenate((scalars, coded - 1))
        if (which == _UNDECLARED).any():
            number = int(numbers[which == _UNDECLARED].min())
            word = words.word(number)[1:] if number in scalars else words.word(number + 1)
            raise self._wrong(
                words, number, f"a change must be of a declared variable, not {format_value(word)}"
            )
        asked = np.flatnonzero(which >= 0)
        asked = asked[np.argsort(numbers[asked], kind="stable")]
        which, numbers = which[asked], numbers[asked]
        values = self._values(words, numbers, codes, which)
        place = np.searchsorted(at, numbers)
        times = np.concatenate(([before or 0], stamps))[place]
        order = np.argsort(which, kind="stable")
        ends = np.searchsorted(which[order], np.arange(codes.count + 1))
        parts = [order[ends[one] : ends[one + 1]] for one in range(codes.count)]
        return Changes(
            [times[part] for part in parts],
            [values.take(part) for part in parts],
            stamps,
            self._now,
        )

    def _stamps(self, words: Words) -> tuple[Array, Array]:
        """Return which words are times, and the times."""
        at = words.of(TIME)
        stamps, good = words.numbers(words.first[at] + 1, words.end[at])
        for place in np.flatnonzero(~good)[:1]:
            word = words.word(at[place])
            digits = word[1:].lstrip("0")
            if digits.isascii() and digits.isdigit():  # more than 18 of them
                text = f"a time must be at most {LONGEST}, not {word[1:]}"
            else:
                text = f"is not a valid VCD file: unexpected {format_value(word)}"
            raise self._wrong(words, at[place], text)
        all_times = np.concatenate(([-1 if self._now is None else self._now], stamps))
        for place in np.flatnonzero(np.diff(all_times) < 0)[:1]:
            text = "a time must not be below the one before, "
            text += f"{all_times[place]}, not {all_times[place + 1]}"
            raise self._wrong(words, at[place], text)
        if len(stamps):
            self._now = int(stamps[-1])
        return at, stamps

    def _values(self, words: Words, numbers: Array, codes: _Codes, which: Array) -> Values:
        """Return the values of changes, given the number of each one's first word."""
        vector = words.kind[numbers] == VECTOR
        first = words.first[numbers] + vector
        end = np.where(vector, words.end[numbers], first + 1)
        width = codes.widths[which]
        values, good = values_of(words, first, end, width)
        for place in np.flatnonzero(~good)[:1]:
            name, bits = codes.names[which[place]], width[place]
            what = "bit" if bits == 1 else "bits"
            found = words.word(numbers[place]) if vector[place] else words.word(numbers[place])[:1]
            raise self._wrong(
                words,
                numbers[place],
                f"a value of {name} must be at most {bits} {what} of 0, 1, x or z, not "
                f"{format_value(found)}",
            )
        return values


def _last_blank(data: bytes) -> int:
    """Return the place behind the last blank."""
    return max(data.rfind(bytes((blank,))) for blank in _BLANKS) + 1


class _Codes:
    """Finds which of the wanted variables a code belongs to.

    Attributes
    ----------
    count, widths, names : of the wanted variables; none is wider than :data:`WIDEST`
    """

    def __init__(self, declared: Sequence[Variable], wanted: Sequence[Variable]) -> None:
        self.count = len(wanted)
        self.widths = np.array([one.width for one in wanted], dtype="i8")
        self.names = [one.name for one in wanted]
        assert not self.count or self.widths.max() <= WIDEST
        self._which = dict.fromkeys((one.code for one in declared), _UNWANTED)
        self._which |= {one.code: place for place, one in enumerate(wanted)}
        short = sorted(
            (int.from_bytes(code, "little"), which)
            for code, which in self._which.items()
            if len(code) <= 8
        )
        self._keys = np.array([key for key, _ in short] or [0], dtype="<u8")
        self._found = np.array([which for _, which in short] or [_UNDECLARED], dtype="i4")
        self._table = np.full(1 << 16, _UNDECLARED, dtype="i4")
        self._all_short = bool(self._keys[-1] < 1 << 16) and len(short) == len(self._which)
        small = self._keys < 1 << 16
        self._table[self._keys[small].astype("i8")] = self._found[small]

    def find(self, words: Words, first: Array, end: Array) -> Array:
        """Return the number of the wanted variable for each code, or that there is none."""
        length = end - first
        keys = words.keys(first, length)
        if self._all_short:
            which = self._table[np.minimum(keys, (1 << 16) - 1).astype("i8")]
            which[length > 2] = _UNDECLARED
        else:
            place = np.minimum(np.searchsorted(self._keys, keys), len(self._keys) - 1)
            which = np.where(self._keys[place] == keys, self._found[place], _UNDECLARED)
            for one in np.flatnonzero(length > 8):
                code = words.text[first[one] : end[one]].tobytes()
                which[one] = self._which.get(code, _UNDECLARED)
        which[length == 0] = _UNDECLARED
        found: Array = which
        return found
