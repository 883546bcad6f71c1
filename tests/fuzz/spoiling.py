"""How a text or a file is spoiled: by its bytes, its words, its lines, or as a whole."""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable, Sequence
from random import Random

Words = Sequence[bytes]

#: Numbers at the edges of what programs hold, and what is nearly a number.
NUMBERS: Words = (
    b"0", b"-1", b"1", b"00", b"0x", b"0x0", b"0x3", b"4294967295", b"4294967296", b"0xffffffff",
    b"0x100000000", b"9223372036854775807", b"9223372036854775808", b"-9223372036854775808",
    b"1e999", b"1e-999", b"nan", b"inf", b"0.0000000000000000000000001", b"1" * 40, b"9" * 5000,
    b"0x" + b"f" * 5000, b"1_0", b"1__0", b"+1", b"0b1", b"0o7", b"1.5", b"1 s", b"0 s",
    b"1000000 s", b"1 ps", b"0 Hz", b"1 THz", b"1/0", b"\xd9\xa3", b"\xc2\xb2",
)  # fmt: skip
#: Bytes and texts that readers stumble over.
ODD: Words = (
    b"\0", b"\xef\xbb\xbf", b"\r", b"\r\n", b"\n", b"\x1b[31m", b"\xff", b"\xc3", b"\x85", b"\x0c",
    b"\xe2\x80\xae", b"\xe2\x80\xa8", b"\xed\xa0\x80", b"\xf0\x9f\x9a\x82", b'"', b"'", b"\\", b"#",
    b"=", b",", b";", b"\t", b"[", b"]", b"{", b"}", b"(", b")", b"*", b"$end", b"//", b"/*", b"*/",
    b"..", b"/dev/zero", b"%s", b"__proto__", b"\x7fELF", b"PK\x03\x04", b"\x1f\x8b",
)  # fmt: skip
_WORD = re.compile(rb"[A-Za-z0-9_.]+|[^\sA-Za-z0-9_.]")
_NUMBER = re.compile(rb"(?:0[xX])?[0-9][0-9a-fA-F_.]*")
#: How often something is repeated.
_TIMES = (2, 3, 40, 300, 5000)
#: No spoiled file is larger.
LARGEST = 1 << 21


def _place(data: bytes, random: Random) -> int:
    return random.randint(0, len(data))


def _one_of(pattern: re.Pattern[bytes], data: bytes, random: Random) -> tuple[int, int]:
    """Return where a word stands, drawn without looking at all of them."""
    found = pattern.search(data, _place(data, random)) or pattern.search(data)
    return found.span() if found else (0, 0)


def cut(data: bytes, random: Random, words: Words) -> bytes:
    return data[: _place(data, random)]


def without(data: bytes, random: Random, words: Words) -> bytes:
    first = _place(data, random)
    return data[:first] + data[first + random.choice((1, 2, 8, 100)) :]


def doubled(data: bytes, random: Random, words: Words) -> bytes:
    first = _place(data, random)
    part = data[first : first + random.choice((1, 3, 20, 200))]
    return data[:first] + part * random.choice(_TIMES) + data[first:]


def flipped(data: bytes, random: Random, words: Words) -> bytes:
    spoiled = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 10))):
        if spoiled:
            spoiled[random.randrange(len(spoiled))] = random.choice((0, 1, 0x7F, 0x80, 0xFF, 0x20))
    return bytes(spoiled)


def another_word(data: bytes, random: Random, words: Words) -> bytes:
    first, end = _one_of(_WORD, data, random)
    return data[:first] + random.choice(words or ODD) + data[end:]


def another_number(data: bytes, random: Random, words: Words) -> bytes:
    first, end = _one_of(_NUMBER, data, random)
    return data[:first] + random.choice(NUMBERS) + data[end:]


def odd(data: bytes, random: Random, words: Words) -> bytes:
    first = _place(data, random)
    return data[:first] + random.choice(ODD) * random.choice((1, 1, 1, 2, 300)) + data[first:]


def nested(data: bytes, random: Random, words: Words) -> bytes:
    """Put brackets inside each other around a word."""
    first, end = _one_of(_WORD, data, random)
    opens, closes = random.choice(
        ((b"[", b"]"), (b"(", b")"), (b"{", b"}"), (b"a.", b""), (b"-", b""))
    )
    times = random.choice(_TIMES)
    return data[:first] + opens * times + data[first:end] + closes * times + data[end:]


def lines_moved(data: bytes, random: Random, words: Words) -> bytes:
    lines = data.splitlines(keepends=True)
    if len(lines) > 1:
        one, other = random.randrange(len(lines)), random.randrange(len(lines))
        lines[one], lines[other] = lines[other], lines[one]
        if random.random() < 0.5:
            lines.insert(one, lines[other])
    return b"".join(lines)


def line_without_end(data: bytes, random: Random, words: Words) -> bytes:
    first, end = _one_of(_WORD, data, random)
    word = (data[first:end] or b"x")[:LARGEST]
    times = min(random.choice((100, 30_000)), LARGEST // len(word) + 1)
    return data[:first] + word * times + data[end:]


def encoded(data: bytes, random: Random, words: Words) -> bytes:
    how = random.choice(("utf-16", "utf-16-le", "utf-32", "utf-8-sig", "cp037"))
    return data.decode("latin-1").encode(how, "replace")


def other_ends(data: bytes, random: Random, words: Words) -> bytes:
    return data.replace(b"\n", random.choice((b"\r\n", b"\r", b"", b"\n\n", b"\n\r", b" ")))


def joined(data: bytes, random: Random, words: Words) -> bytes:
    first, second = _place(data, random), _place(data, random)
    return data[:first] + data[second:]


def emptied(data: bytes, random: Random, words: Words) -> bytes:
    return random.choice((b"", b"\n", b" ", b"\0" * 100, data[:1]))


WAYS: Sequence[Callable[[bytes, Random, Words], bytes]] = (
    cut, without, doubled, flipped, another_word, another_word, another_word, another_number,
    another_number, another_number, odd, odd, nested, lines_moved, line_without_end, encoded,
    other_ends, joined, emptied,
)  # fmt: skip


def spoiled(data: bytes, random: Random, words: Words = ()) -> bytes:
    """Return a file spoiled in one to four ways; one that is packed, inside or outside."""
    if data[:2] == b"\x1f\x8b" and random.random() < 0.6:
        return gzip.compress(spoiled(gzip.decompress(data), random, words), 1, mtime=0)
    for _ in range(random.choice((1, 1, 1, 2, 2, 3, 4))):
        data = random.choice(WAYS)(data, random, words)[:LARGEST]
    return data
