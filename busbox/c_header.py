"""Reads the constants of a C header or C file and tells addresses from other numbers.

No compiler runs: macros are expanded as text, then read as 32-bit unsigned expressions. All ``#if``
branches are read; of a name defined twice, the last definition counts.

The first of these rules that fits judges a constant. An address is a constant that

1. is cast to a pointer or dereferenced, directly or through macros ("used through a pointer");
2. is the largest summand of such an expression ("base of other addresses"); where all summands are
   below 0x1000, the name, then equality with a slot's base, then the larger value decides. The
   other summands are offsets, and accounted for by the address.

What follows is for names with a hexadecimal value that nothing uses through a pointer:

3. beside a bit operator (``& | ^ ~ << >>``), or with a name that ends in _MASK, _BIT, _FLAG,
   _SHIFT, _OFFSET, _SIZE or _END, it is no address;
4. it is one if another name adds to it, and it is 0x1000 or more or equals a slot's base ("base of
   other addresses");
5. it is one if its value equals a slot's base other than 0, or, from 0x1000 up, lies in a slot
   whose base is not 0, between two slots with its top hexadecimal digit, or anywhere with the top
   digit of a slot if that is not 0 and the value is no run of eight ones or more ("looks like an
   address of the map"); so a slot at 0 makes no address of a small number;
6. it is one if its name ends in _BASE, _ADDR or _ADDRESS, and it is 0x1000 or more or lies in a
   slot ("named like an address");
7. it is one if it adds to a base that is an address ("added to a base").

A bare literal in code is an address by rule 1, or as an argument or list item that lies in a slot
whose base is not 0. A macro with an argument is resolved for argument 0; with step 1 and less than
0x1000 besides the argument, the argument is the base, and the macro itself no address.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from busbox.address_map import AddressMap
from busbox.registers import WORD

POINTER = "used through a pointer"
BASE = "base of other addresses"
LOOKS = "looks like an address of the map"
NAMED = "named like an address"
SUM = "added to a base"
NEAR = 0x1000
_LONGEST, _IN_CODE, _DEEPEST, _ARGUMENT = 4000, 400, 40, -1

_LEX = re.compile(
    r"""(?P<comment>//[^\n]*|/\*.*?\*/)|(?P<open>/\*.*)|"(?:\\.|[^"\\\n])*"?|\.?[0-9](?:'?\w|\.)*
    |'(?:\\.|[^'\\\n])*'?|[^\W\d][\w$]*|<<=|>>=|\.\.\.|<<|>>|->|\#\#|[-+*/%&|^=!<>]=|&&|\|\|
    |\+\+|--|\n|\S""",
    re.DOTALL | re.VERBOSE,
)
_WORD = re.compile(r"[^\W\d][\w$]*")
_NUMBER = re.compile(r"(?:0x([0-9a-f]+)|0b([01]+)|0([0-7]*)|([1-9][0-9]*))[ul]*", re.IGNORECASE)
_SIZED = re.compile(r"[a-z]*(8|16|32|64)(?:_t)?", re.IGNORECASE)
_ADDRESS_NAME = re.compile(r"(?:^|_)(?:BASE|ADDR|ADDRESS)$", re.IGNORECASE)
_OTHER_NAME = re.compile(r"(?:^|_)(?:MASK|BIT|FLAG|SHIFT|OFFSET|SIZE|END)$", re.IGNORECASE)
_RANKS = {"|": 1, "^": 2, "&": 3, "<<": 4, ">>": 4, "+": 5, "-": 5, "*": 6, "/": 6, "%": 6}
_BIT_SIGNS = frozenset(("&", "|", "^", "~", "<<", ">>", "&=", "|=", "^=", "<<=", ">>="))
_OPENERS, _CLOSERS = ("(", ",", "{"), (")", ",", "}", "+")
_QUALIFIERS = frozenset(("const", "volatile", "restrict", "__restrict"))
_SIZES = {
    "char": 1,
    "bool": 1,
    "_Bool": 1,
    "short": 2,
    "double": 8,
    "long": 4,
    "int": 4,
    "unsigned": 4,
    "signed": 4,
    "float": 4,
}  # the first one that is named counts
_KEYWORDS = frozenset(
    ("do", "while", "if", "else", "for", "return", "switch", "case", "break", "goto", "asm")
)


@dataclass(frozen=True)
class Constant:
    """A number of the file.

    Attributes
    ----------
    name : the name it has, ``LED_COLOUR(n)`` for a macro, else its text
    line : counted from 1
    value : the number; for a macro with an argument, that for argument 0
    width : bytes of the access if a pointer tells it
    step : bytes from one argument to the next, None without an argument
    how : how it was found to be an address, "" if it is none
    """

    name: str
    line: int
    value: int
    width: int | None = None
    step: int | None = None
    how: str = ""


@dataclass(frozen=True)
class Unresolved:
    """A text of the file that has no value here, and why."""

    name: str
    line: int
    text: str
    why: str


@dataclass(frozen=True)
class HeaderConstants:
    """All constants of a file, in order of line; every hexadecimal one is in exactly one list."""

    addresses: tuple[Constant, ...]
    others: tuple[Constant, ...]
    unresolved: tuple[Unresolved, ...]


def read_header(text: str, address_map: AddressMap) -> HeaderConstants:
    """Return the constants of a C text (decoded with ``errors="replace"``), judged by the map."""
    return _Reader(_Source(text), address_map).read()


class _Token(NamedTuple):
    text: str
    place: int
    line: int
    via: tuple[str, ...] = ()

    @property
    def is_hex(self) -> bool:
        return self.text[:2] in ("0x", "0X")


class _Leaf(NamedTuple):
    """A summand; ``via`` names the definitions it came through, ``bits`` that ``|`` added it."""

    number: int
    via: tuple[str, ...]
    places: frozenset[int]
    bits: bool = False


@dataclass(frozen=True)
class _Value:
    number: int
    leaves: tuple[_Leaf, ...] = ()
    kind: str = "integer"
    size: int | None = None

    @property
    def places(self) -> frozenset[int]:
        return frozenset().union(*(leaf.places for leaf in self.leaves))

    @property
    def fixed(self) -> tuple[_Leaf, ...]:
        return tuple(leaf for leaf in self.leaves if _ARGUMENT not in leaf.places)


@dataclass(frozen=True)
class _Definition:
    name: str
    line: int
    params: tuple[str, ...] | None
    body: tuple[_Token, ...]
    kind: str = "define"

    @property
    def title(self) -> str:
        return self.name if self.params is None else f"{self.name}({', '.join(self.params)})"


@dataclass
class _Found:
    """What an expression came to; ``uneven``: it has no constant step."""

    value: _Value
    step: int | None = None
    uneven: bool = False
    names: tuple[str, ...] = ()


class _NoValue(Exception):
    """The expression has no value; the text says why."""


class _Statement(_NoValue):
    """The text is no constant expression, so it is read as code."""


def _lex(text: str) -> Iterator[_Token]:
    starts: list[int] = []
    parts: list[str] = []
    size = 0
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    for line in text.split("\n"):
        starts.append(size)
        bare = line.rstrip()
        parts.append(bare[:-1] if bare.endswith("\\") else line + "\n")
        size += len(parts[-1])
    for match in _LEX.finditer("".join(parts)):
        if match.lastgroup != "comment":
            yield _Token(match[0], match.start(), bisect_right(starts, match.start()))


def _show(tokens: Sequence[_Token]) -> str:
    text, end = "", None
    for token in tokens:
        text += (" " if end is not None and token.place > end else "") + token.text
        end = token.place + len(token.text)
    return text


def _close(tokens: Sequence[_Token], first: int, limit: int = _LONGEST) -> int:
    """Return the index behind the parenthesis or bracket that opens at ``first``."""
    depth = 0
    for index in range(first, min(len(tokens), first + limit)):
        depth += (tokens[index].text in "([{") - (tokens[index].text in ")]}")
        if not depth:
            return index + 1
    raise _NoValue("never closes a parenthesis")


def _split(tokens: Sequence[_Token]) -> list[list[_Token]]:
    parts: list[list[_Token]] = [[]]
    depth = 0
    for token in tokens:
        depth += (token.text in "([{") - (token.text in ")]}")
        if token.text == "," and not depth:
            parts.append([])
        else:
            parts[-1].append(token)
    return parts


class _Source:
    """The definitions of the file, and the code that is left."""

    def __init__(self, text: str) -> None:
        self.known: dict[str, _Definition] = {}
        self.earlier: list[tuple[_Definition, int]] = []
        self.types: dict[str, list[str]] = {}
        self.code: list[_Token] = []
        self.hexes: list[_Token] = []
        self.open: _Token | None = None
        plain: list[_Token] = []
        line: list[_Token] = []
        for token in [*_lex(text), _Token("\n", len(text), 0)]:
            if token.text.startswith("/*"):
                self.open = token
            elif token.text != "\n":
                line.append(token)
            elif line:
                self._directive(line) if line[0].text == "#" else plain.extend(line)
                line = []
        self.hexes += [token for token in plain if token.is_hex]
        self._statements(plain)

    def _directive(self, line: list[_Token]) -> None:
        word = line[1].text if len(line) > 1 else ""
        if word in ("include", "error", "warning", "line"):
            return
        self.hexes += [token for token in line if token.is_hex]
        if word != "define" or len(line) < 3:
            return
        name, params, rest = line[2], None, 3
        if line[3:4] and line[3].text == "(" and line[3].place == name.place + len(name.text):
            end = next((at for at, token in enumerate(line) if token.text == ")"), len(line))
            params = tuple(token.text for token in line[4:end] if token.text != ",")
            rest = end + 1
        self._define(_Definition(name.text, name.line, params, tuple(line[rest:])))

    def _define(self, new: _Definition) -> None:
        old = self.known.get(new.name)
        if old is not None:
            self.earlier.append((old, new.line))
        self.known[new.name] = new

    def _statements(self, tokens: list[_Token]) -> None:
        start = index = 0
        while index < len(tokens):
            statement = tokens[start:index]
            index += 1
            mark = tokens[index - 1].text
            if mark not in (";", "{", "}"):
                continue
            texts = [token.text for token in statement]
            if mark == "{" and "enum" in texts and "(" not in texts:
                index = self._enum(tokens, index)
            elif mark != ";" or not (self._typedef(texts) or self._const(statement, texts)):
                self.code += tokens[start:index]
            start = index
        self.code += tokens[start:]

    def _typedef(self, texts: list[str]) -> bool:
        if (
            texts[:1] == ["typedef"]
            and len(texts) > 2
            and all(text == "*" or _WORD.fullmatch(text) for text in texts)
        ):
            flat = (self.types.get(text, [text]) for text in texts[1:-1])
            self.types[texts[-1]] = [text for texts in flat for text in texts]
        return texts[:1] == ["typedef"]

    def _const(self, statement: list[_Token], texts: list[str]) -> bool:
        at = texts.index("=") if "=" in texts else 0
        ahead = texts[:at]
        if (
            at < 2
            or not {"const", "constexpr"} & set(ahead)
            or ahead[-1] == "*"
            or not all(text == "*" or _WORD.fullmatch(text) for text in ahead)
        ):
            return False
        for part in _split(statement):
            at = next((at for at, token in enumerate(part) if token.text == "="), 0)
            if at:
                cast = ["(", *ahead[:-1], ")"] if "*" in ahead else []
                self._value(
                    part[at - 1],
                    [part[at]._replace(text=text) for text in cast],
                    part[at + 1 :],
                    "const",
                )
        return True

    def _value(
        self, name: _Token, ahead: list[_Token], body: list[_Token], kind: str, ends: str = ")"
    ) -> None:
        around = [name._replace(text=text) for text in ("(", *ends.split())]
        whole = (*ahead, around[0], *body, *around[1:])
        self._define(_Definition(name.text, name.line, None, whole, kind))

    def _enum(self, tokens: list[_Token], first: int) -> int:
        end = next((at for at in range(first, len(tokens)) if tokens[at].text == "}"), len(tokens))
        body = [tokens[first - 1]._replace(text="0")]
        count = 0
        for part in filter(None, _split(tokens[first:end])):
            if len(part) > 2 and part[1].text == "=":
                self._value(part[0], [], part[2:], "enum")
                body, count = [token._replace(place=-2) for token in part[2:]], 0
            else:
                self._value(part[0], [body[0]._replace(text="(")], body, "enum", f") + {count} )")
            count += 1
        return min(end + 1, len(tokens))


def _expand(tokens: Sequence[_Token], known: Mapping[str, _Definition]) -> list[_Token]:
    todo, done = list(reversed(tokens)), list[_Token]()
    for _ in range(_LONGEST):
        if not todo:
            return done
        token = todo.pop()
        macro = known.get(token.text)
        called = bool(todo) and todo[-1].text == "("
        if not macro or macro.name in token.via or (macro.params is not None and not called):
            done.append(token)
            continue
        given = {} if macro.params is None else _arguments(todo, macro)
        if len(token.via) > _DEEPEST:
            raise _NoValue("is nested too deeply")
        for part in reversed(macro.body):
            if part.text in given:
                todo += reversed(given[part.text])
            else:
                todo.append(part._replace(via=(*token.via, macro.name)))
    raise _NoValue("is too long when expanded")


def _arguments(todo: list[_Token], macro: _Definition) -> dict[str, list[_Token]]:
    params = macro.params or ()
    ahead = todo[: -_LONGEST - 1 : -1]
    end = _close(ahead, 0)
    del todo[-end:]
    given = _split(ahead[1 : end - 1])
    if len(given) != max(1, len(params)) or (not params and given[0]):
        raise _NoValue(f"gives {macro.name}() {len(given)} arguments, not {len(params)}")
    return dict(zip(params, given, strict=False))


def _cast(
    tokens: Sequence[_Token], first: int, types: Mapping[str, list[str]]
) -> tuple[list[str], int] | None:
    """Return the words of the cast that begins at ``first`` and the index behind it."""
    words: list[str] = []
    index = first + 1
    while index < len(tokens) and (tokens[index].text == "*" or _WORD.match(tokens[index].text)):
        words += types.get(tokens[index].text, [tokens[index].text])
        index += 1
    behind = tokens[index + 1].text if index + 1 < len(tokens) else ""
    if not behind or tokens[index].text != ")" or not words or words[0] == "*":
        return None
    if "*" in words:
        tail = set(words[words.index("*") :])
        ok = tail <= {"*"} | _QUALIFIERS and (behind in "(*&~-+@" or _begins_word(behind))
    else:
        ok = all(
            word in _SIZES or word in _QUALIFIERS or word.endswith("_t") or _SIZED.fullmatch(word)
            for word in words
        ) or _begins_word(behind)
    return (words, index + 1) if ok else None


def _size(words: Sequence[str]) -> int | None:
    """Return the bytes of a type, None if the words do not tell."""
    if {"struct", "union", "void"} & set(words):
        return None
    for word in words:
        sized = _SIZED.fullmatch(word)
        if sized:
            return int(sized[1]) // 8
    if words.count("long") == 2:
        return 8
    return next((size for word, size in _SIZES.items() if word in words), None)


def _literal(text: str) -> int:
    match = _NUMBER.fullmatch(text.replace("'", "") if text[0] != "'" else "")
    if not match and len(text) == 3 and text[0] == text[2] == "'":
        return ord(text[1])
    if not match:
        raise _NoValue(f"{text[:24]} is no integer")
    for digits, base in zip(match.groups(), (16, 2, 8, 10), strict=True):
        if digits is not None:
            number = int(digits or "0", base) if len(digits) < 99 else WORD + 1
    if number > WORD:
        raise _NoValue(f"{text[:24]} is wider than 32 bits")
    return number


def _merge(number: int, *values: _Value) -> _Value:
    leaves = [leaf for value in values for leaf in value.leaves]
    shared = [
        name
        for name in (leaves[0].via if leaves else ())
        if all(name in leaf.via for leaf in leaves)
    ]
    places = frozenset().union(*(value.places for value in values))
    return _Value(number, (_Leaf(number, tuple(shared), places),))


def _combine(sign: str, left: _Value, right: _Value) -> _Value:
    """Return ``left sign right``, with 32-bit wrap-around and pointer arithmetic."""
    if "register" in (left.kind, right.kind):
        raise _Statement("reads a register")
    if right.kind == "pointer":
        if sign != "+" or left.kind == "pointer":
            raise _NoValue("computes with a pointer")
        left, right = right, left
    if left.kind == "pointer":
        if sign not in ("+", "-"):
            raise _NoValue("computes with a pointer")
        if left.size is None:
            raise _NoValue("adds to a pointer to a type of unknown size")
        if left.size > 1:
            right = _merge(right.number * left.size & WORD, right)
    number = _number(sign, left.number, right.number) & WORD
    if sign not in ("+", "-", "|"):
        return _merge(number, left, right)
    more = [leaf._replace(number=-leaf.number) if sign == "-" else leaf for leaf in right.leaves]
    leaves = (*left.leaves, *more)
    if sign == "|":
        leaves = tuple(leaf._replace(bits=True) for leaf in leaves)
    return replace(left, number=number, leaves=leaves)


def _number(sign: str, left: int, right: int) -> int:
    if sign in ("/", "%") and not right:
        raise _NoValue("divides by 0")
    if sign in ("<<", ">>"):
        if right > 31:
            raise _NoValue(f"shifts by {right}")
        return left << right if sign == "<<" else left >> right
    return {
        "|": left | right,
        "^": left ^ right,
        "&": left & right,
        "+": left + right,
        "-": left - right,
        "*": left * right,
        "/": left // (right or 1),
        "%": left % (right or 1),
    }[sign]


@dataclass
class _Parser:
    """Reads expanded tokens; in a loose one, an unknown name stands for the argument."""

    tokens: Sequence[_Token]
    types: Mapping[str, list[str]]
    loose: bool
    argument: int = 0
    index: int = 0
    depth: int = 0
    pointers: bool = False
    names: list[str] = field(default_factory=list)

    def whole(self) -> _Value:
        value = self.binary(1)
        if self.index < len(self.tokens):
            raise _Statement(f"cannot read {self.peek()!r}")
        return value

    def peek(self) -> str:
        return self.tokens[self.index].text if self.index < len(self.tokens) else ""

    def take(self, wanted: str = "") -> _Token:
        if self.index == len(self.tokens):
            raise _NoValue("ends too early")
        if wanted and self.peek() != wanted:
            raise _Statement(f"cannot read {self.peek()!r}")
        self.index += 1
        return self.tokens[self.index - 1]

    def binary(self, level: int) -> _Value:
        left = self.unary()
        while (rank := _RANKS.get(self.peek(), 0)) >= level:
            sign = self.take().text
            left = _combine(sign, left, self.binary(rank + 1))
        return left

    def unary(self) -> _Value:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise _NoValue("is nested too deeply")
        cast = _cast(self.tokens, self.index, self.types) if self.peek() == "(" else None
        if cast:
            self.index = cast[1]
            self.pointers = self.pointers or "*" in cast[0]
            value = self._convert(cast[0], self.unary())
        elif self.peek() in ("+", "-", "~", "*", "&"):
            value = self._prefix(self.take().text, self.unary())
        else:
            value = self.primary()
            while self.peek() == "[":
                self.take()
                value = self._prefix("*", _combine("+", value, self.binary(1)))
                self.take("]")
        self.depth -= 1
        return value

    def _convert(self, words: list[str], value: _Value) -> _Value:
        if value.kind == "register":
            raise _Statement("reads a register")
        if "*" in words:
            star = words.index("*")
            size = 4 if words.count("*") > 1 else _size(words[:star])
            return replace(value, kind="pointer", size=size)
        size = _size(words)
        number = value.number & ((1 << 8 * size) - 1) if size else value.number
        return _merge(number, value) if number != value.number else replace(value, kind="integer")

    def _prefix(self, sign: str, value: _Value) -> _Value:
        kind = {"*": "pointer", "&": "register"}.get(sign, "integer")
        if value.kind != kind:
            raise _Statement("is no constant expression")
        if sign in ("*", "&"):
            return replace(value, kind="register" if sign == "*" else "pointer")
        if sign == "~":
            return _merge(~value.number & WORD, value)
        return _combine(sign, _Value(0), value)

    def primary(self) -> _Value:
        token = self.take()
        if token.text == "(":
            value = self.binary(1)
            self.take(")")
            return value
        if token.place == _ARGUMENT or (_WORD.match(token.text) and self._unknown(token)):
            return _Value(self.argument, (_Leaf(self.argument, (), frozenset([_ARGUMENT])),))
        if token.text[0] in ".'" or token.text[0].isdigit():
            number = _literal(token.text)
            return _Value(number, (_Leaf(number, token.via, frozenset([token.place])),))
        if token.text in ("#", "##"):
            raise _NoValue("joins names with ##")
        raise _Statement(f"cannot read {token.text!r}")

    def _unknown(self, token: _Token) -> bool:
        if token.text in _KEYWORDS:
            raise _Statement("is no constant expression")
        if self.peek() == "(":
            raise _NoValue(f"calls {token.text}()")
        if self.peek() == "##":
            raise _NoValue("joins names with ##")
        if token.text in token.via:
            raise _NoValue("refers to itself")
        if not self.loose:
            raise _NoValue(f"unknown name {token.text}")
        if token.text not in self.names:
            self.names.append(token.text)
        return True


class _Reader:
    def __init__(self, source: _Source, address_map: AddressMap) -> None:
        self.source = source
        self.slots = address_map.slots
        self.bases_of_slots = {slot.base for slot in self.slots}
        self.addresses: list[Constant] = []
        self.others: list[Constant] = []
        self.unresolved: list[Unresolved] = []
        self.refused: list[tuple[Unresolved, set[int]]] = []
        self.hex_places = {token.place for token in source.hexes}
        self.claimed: set[int] = set()
        self.pointers: dict[str, int | None] = {}
        self.bases: set[str] = set()
        self.added: set[str] = set()
        self.plain: dict[str, _Found] = {}
        self.bare: list[_Token] = []
        self.masked: set[str] = set()
        self.met_pointer = False

    def read(self) -> HeaderConstants:
        """Judge everything, pointers first."""
        source = self.source
        if source.open:
            self._refuse("/*", [source.open._replace(text="/*")], "comment without an end")
        for old, line in source.earlier:
            if [token.text for token in old.body] != [
                token.text for token in source.known[old.name].body
            ]:
                self._refuse(old.title, old.body, f"defined again in line {line}", old.line)
            else:
                self.claimed |= _own(old.body)
        self._masks(source.code)
        for definition in source.known.values():
            self._masks(definition.body)
            self._definition(definition)
        self._code(source.code)
        self._judge_all()
        self._rest()
        return HeaderConstants(
            tuple(sorted(self.addresses, key=lambda row: row.line)),
            tuple(sorted(self.others, key=lambda row: row.line)),
            tuple(sorted(self.unresolved, key=lambda row: row.line)),
        )

    def _definition(self, definition: _Definition) -> None:
        if not definition.body:
            return
        try:
            found = self._evaluate(definition.body, definition)
            if found.value.kind == "integer":
                self.plain[definition.name] = found
                return
            self._pointer(found, definition)
        except _Statement:
            self._code(definition.body)
        except _NoValue as why:
            listed = self.met_pointer or str(why) == "refers to itself"
            if _own(definition.body) or (listed and definition.kind == "define"):
                self._refuse(definition.title, definition.body, str(why), definition.line)

    def _evaluate(self, tokens: Sequence[_Token], definition: _Definition | None) -> _Found:
        """Return the value for argument 0, and the step from there to arguments 1 and 2."""
        self.met_pointer = False
        params = definition.params or () if definition else ()
        via = (definition.name,) if definition else ()
        expanded = _expand(
            [
                _Token("@", _ARGUMENT, token.line, via)
                if token.text in params
                else token._replace(via=via)
                for token in tokens
            ],
            self.source.known,
        )
        values: list[_Value] = []
        for argument in range(3):
            parser = _Parser(expanded, self.source.types, definition is None, argument)
            try:
                values.append(parser.whole())
            finally:
                self.met_pointer = parser.pointers
            if _ARGUMENT not in values[0].places:
                return _Found(values[0])
        step, again = (_signed(values[at + 1].number - values[at].number) for at in (0, 1))
        return _Found(values[0], step, not step or step != again, tuple(parser.names))

    def _pointer(self, found: _Found, definition: _Definition) -> None:
        several = len(definition.params or ()) > 1
        if self._accessor(found, several):
            return
        self._note(found.value, definition.name)
        if several:
            raise _NoValue(f"takes {len(definition.params or ())} arguments")
        if found.uneven:
            raise _NoValue("does not step evenly with its argument")
        self._add(definition.title, definition.line, found, POINTER)

    def _accessor(self, found: _Found, several: bool) -> bool:
        """Return whether the address comes from the argument alone (or is a null pointer)."""
        value = found.value
        if found.step is not None and (found.step == 1 or several) and value.number < NEAR:
            return True
        null = value.kind == "pointer" and not value.number
        return not value.fixed or (null and not value.places & self.hex_places)

    def _note(self, value: _Value, root: str) -> None:
        """Note the names that an address is made of."""
        base = self._base(value)
        for name in base.via if base else ():
            if name != root and self._is_plain(name):
                if all(name in leaf.via for leaf in value.leaves):
                    self.pointers[name] = value.size
                else:
                    self.bases.add(name)

    def _is_plain(self, name: str) -> bool:
        return name in self.source.known and self.source.known[name].params is None

    def _base(self, value: _Value) -> _Leaf | None:
        """Return the summand that is the base of the others."""

        def weight(leaf: _Leaf) -> tuple[int, bool, bool, int]:
            names = [name for name in leaf.via if self._is_plain(name)]
            hint = any(_ADDRESS_NAME.search(name) for name in names) - any(
                _OTHER_NAME.search(name) for name in names
            )
            return hint, leaf.number in self.bases_of_slots, bool(names), leaf.number

        if any(leaf.number >= NEAR for leaf in value.fixed):
            return max(value.fixed, key=lambda leaf: leaf.number)
        return max(value.fixed, key=weight, default=None)

    def _code(self, tokens: Sequence[_Token]) -> None:
        for before, token, behind in zip(tokens, tokens[1:], tokens[2:], strict=False):
            if token.is_hex and before.text in _OPENERS and behind.text in _CLOSERS:
                self.bare.append(token)
        index = 0
        while index < len(tokens):
            try:
                index = self._access(tokens, index)
            except _NoValue:
                index += 1

    def _access(self, tokens: Sequence[_Token], index: int) -> int:
        """List the access that begins at ``index``, if one does; return where to go on."""
        first = tokens[index].text
        before = tokens[index - 1].text if index else ""
        macro = first in self.source.known and self.source.known[first].params is not None
        if not macro and (first not in ("(", "*") or _ends_value(before)):
            return index + 1
        part = tokens[index : self._extent(tokens, index)]
        own = any(token.is_hex or self._is_plain(token.text) for token in part)
        if not own and not macro:
            return index + 1
        try:
            found = self._evaluate(part, None)
            if found.value.kind != "integer" and (own or not found.names):
                self._list(part, found)
            return index + (1 if found.value.kind == "integer" else len(part))
        except _Statement:
            return index + 1
        except _NoValue as why:
            if not self.met_pointer or not own or (first == "(" and not self._cast(tokens, index)):
                return index + 1
            self._refuse(_show(self._bare_text(part)), part, str(why))
            return index + len(part)

    def _cast(self, tokens: Sequence[_Token], index: int) -> tuple[list[str], int] | None:
        return _cast(tokens, index, self.source.types)

    def _extent(self, tokens: Sequence[_Token], index: int) -> int:
        """Return the end of the unary expression that begins at ``index``."""
        while index < len(tokens):
            cast = self._cast(tokens, index) if tokens[index].text == "(" else None
            if not cast and tokens[index].text not in ("*", "&", "-", "~", "+"):
                break
            index = cast[1] if cast else index + 1
        index += tokens[index : index + 1] != [] and tokens[index].text != "("
        if index < len(tokens) and tokens[index].text == "(":
            index = _close(tokens, index, _IN_CODE)
        while index < len(tokens) and tokens[index].text == "[":
            index = _close(tokens, index, _IN_CODE)
        return index

    def _list(self, part: Sequence[_Token], found: _Found) -> None:
        several = len(found.names) > 1
        if self._accessor(found, several):
            if not found.names:
                return
            raise _NoValue(f"unknown name {found.names[0]}")
        self._note(found.value, "")
        if several or found.uneven:
            raise _NoValue(f"unknown name {found.names[-1]}")
        self._add(_show(self._bare_text(part)), part[0].line, found, POINTER)

    def _bare_text(self, part: Sequence[_Token]) -> Sequence[_Token]:
        while part:
            cast = self._cast(part, 0)
            if cast or part[0].text == "*":
                part = part[cast[1] if cast else 1 :]
            elif part[0].text == "(" and _close(part, 0) == len(part):
                part = part[1:-1]
            else:
                break
        return part

    def _masks(self, tokens: Sequence[_Token]) -> None:
        """Note the names that stand beside a bit operator."""
        texts = ["", "", *(token.text for token in tokens), "", ""]
        for index in range(2, len(texts) - 2):
            if texts[index] not in self.source.known:
                continue
            left, right = index - 1, index + 1
            while texts[left] == "(" and texts[right] == ")" and not _ends_value(texts[left - 1]):
                left, right = left - 1, right + 1
            binary = texts[left] != "&" or _ends_value(texts[left - 1])
            if (texts[left] in _BIT_SIGNS and binary) or texts[right] in _BIT_SIGNS:
                self.masked.add(texts[index])

    def _judge_all(self) -> None:
        for name, found in self.plain.items():
            base = self._base(found.value)
            if base and len(found.value.leaves) > 1 and 2 * found.value.number >= base.number:
                self.added.update(set(base.via) - {name})
        listed: dict[str, str] = {}
        pointed = frozenset(self.claimed)
        for name, found in self.plain.items():
            listed[name] = self._judge(name, found, pointed)
        for name, found in self.plain.items():
            base = self._base(found.value)
            if (
                not listed[name]
                and base
                and self._may_be(name, found, pointed)
                and any(listed.get(other) for other in base.via if other != name)
                and 2 * found.value.number >= base.number
            ):
                listed[name] = SUM
        for name, how in listed.items():
            if how:
                definition = self.source.known[name]
                found = self.plain[name]
                self._add(definition.title, definition.line, found, how, self.pointers.get(name))

    def _may_be(self, name: str, found: _Found, pointed: frozenset[int]) -> bool:
        """Return whether nothing speaks against the name being an address."""
        own = _own(self.source.known[name].body)
        several = len(self.source.known[name].params or ()) > 1
        return not (
            several
            or found.uneven
            or name in self.masked
            or _OTHER_NAME.search(name)
            or any(leaf.bits for leaf in found.value.leaves)
            or (own and own <= pointed)
        )

    def _judge(self, name: str, found: _Found, pointed: frozenset[int]) -> str:
        """Return how the name was found to be an address, "" if it is none (rules 1 to 6)."""
        value = found.value.number
        if name in self.pointers:
            return POINTER
        if name in self.bases:
            return BASE
        if not _own(self.source.known[name].body) or not self._may_be(name, found, pointed):
            return ""
        if name in self.added and (value >= NEAR or value in self.bases_of_slots):
            return BASE
        if self._looks(value):
            return LOOKS
        inside = any(slot.base <= value < slot.base + slot.size for slot in self.slots)
        return NAMED if _ADDRESS_NAME.search(name) and (value >= NEAR or inside) else ""

    def _looks(self, value: int) -> bool:
        if value < NEAR:
            return value != 0 and value in self.bases_of_slots
        if self._in_slot(value):
            return True
        near = [slot for slot in self.slots if slot.base >> 28 == value >> 28 and slot.base >= NEAR]
        if not near or not value >> 28:
            first = min((slot.base for slot in near), default=0)
            return first <= value < max((slot.base + slot.size for slot in near), default=0)
        run = value // (value & -value)
        return bool(run & (run + 1)) or run.bit_count() < 8

    def _in_slot(self, value: int) -> bool:
        return any(slot.base and slot.base <= value < slot.base + slot.size for slot in self.slots)

    def _rest(self) -> None:
        """List what no address accounts for."""
        self.unresolved = [row for row, own in self.refused if not own or not own <= self.claimed]
        self.claimed.update(*(own for _, own in self.refused))
        for token in self.bare:
            if token.place not in self.claimed and self._in_slot(_hex(token.text)):
                value = _Value(_hex(token.text), (_Leaf(0, (), frozenset([token.place])),))
                self._add(token.text, token.line, _Found(value), LOOKS)
        for name, found in self.plain.items():
            definition = self.source.known[name]
            own = _own(definition.body) - self.claimed
            if own and definition.params is None:
                self.others.append(Constant(name, definition.line, found.value.number))
                self.claimed |= own
        for token in self.source.hexes:
            if token.place not in self.claimed:
                self.others.append(Constant(token.text, token.line, _hex(token.text)))

    def _add(self, name: str, line: int, found: _Found, how: str, width: int | None = None) -> None:
        value = found.value
        self.claimed |= value.places
        self.addresses.append(
            Constant(name, line, value.number, width or value.size, found.step, how)
        )

    def _refuse(self, name: str, body: Sequence[_Token], why: str, line: int = 0) -> None:
        row = Unresolved(name, line or body[0].line, _show(body), why)
        self.refused.append((row, _own(body)))


def _begins_word(text: str) -> bool:
    return text[:1].isalnum() or text[:1] == "_"


def _ends_value(text: str) -> bool:
    return text in (")", "]") or (_begins_word(text) and text not in _KEYWORDS)


def _own(body: Sequence[_Token]) -> set[int]:
    return {token.place for token in body if token.is_hex and token.place >= 0}


def _hex(text: str) -> int:
    match = re.match("[0-9a-f]+", text[2:].replace("'", ""), re.IGNORECASE)
    return int(match[0], 16) if match else 0


def _signed(number: int) -> int:
    return (number + 0x8000_0000 & WORD) - 0x8000_0000
