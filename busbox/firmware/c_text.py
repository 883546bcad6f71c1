"""The text of a C header or C file: its tokens, its definitions, and the macros in an expression.

No compiler runs: macros are expanded as text. All ``#if`` branches are read; of a name defined twice,
the last definition counts.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

#: More tokens than this are too long for an expression, and more names in names too deep.
LONGEST, DEEPEST = 4000, 40
#: Words of a type, at most.
LONGEST_TYPE = 40

_LEX = re.compile(
    r"""(?P<comment>//[^\n]*|/\*.*?\*/)|(?P<open>/\*.*)|"(?:\\.|[^"\\\n])*"?|\.?[0-9](?:'?\w|\.)*
    |'(?:\\.|[^'\\\n])*'?|[^\W\d][\w$]*|<<=|>>=|\.\.\.|<<|>>|->|\#\#|[-+*/%&|^=!<>]=|&&|\|\|
    |\+\+|--|\n|\S""",
    re.DOTALL | re.VERBOSE,
)
#: A name, at the start of a token.
IDENTIFIER = re.compile(r"[^\W\d][\w$]*")
#: Names that are not values.
KEYWORDS = frozenset(
    ("do", "while", "if", "else", "for", "return", "switch", "case", "break", "goto", "asm")
)


class NoValue(Exception):
    """The expression has no value; the text says why."""


class Token(NamedTuple):
    """A piece of the text.

    Attributes
    ----------
    text : as in the file
    place : its first character, as an index into the text; below 0 if it is not in the text
    line : counted from 1
    via : names of the macros that it came through, the outermost first
    """

    text: str
    place: int
    line: int
    via: tuple[str, ...] = ()

    @property
    def is_hex(self) -> bool:
        """Whether it is a hexadecimal number."""
        return self.text[:2] in ("0x", "0X")


@dataclass(frozen=True)
class Definition:
    """A name and what it stands for.

    Attributes
    ----------
    name, line : as in the file, lines counted from 1
    params : names of the arguments, None for a name without any
    body : the tokens that it stands for
    kind : ``define``, ``const`` or ``enum``
    """

    name: str
    line: int
    params: tuple[str, ...] | None
    body: tuple[Token, ...]
    kind: str = "define"

    @property
    def title(self) -> str:
        """The name with its arguments: ``LAMP(n)``."""
        return self.name if self.params is None else f"{self.name}({', '.join(self.params)})"


def _lex(text: str) -> Iterator[Token]:
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
            yield Token(match[0], match.start(), bisect_right(starts, match.start()))


def show_tokens(tokens: Sequence[Token]) -> str:
    """Return tokens as a text, with a space where there was a gap."""
    text, end = "", None
    for token in tokens:
        text += (" " if end is not None and token.place > end else "") + token.text
        end = token.place + len(token.text)
    return text


def closing(tokens: Sequence[Token], first: int, limit: int = LONGEST) -> int:
    """Return the index behind the parenthesis or bracket that opens at ``first``.

    Raises
    ------
    NoValue : it is not closed within ``limit`` tokens
    """
    depth = 0
    for index in range(first, min(len(tokens), first + limit)):
        depth += (tokens[index].text in "([{") - (tokens[index].text in ")]}")
        if not depth:
            return index + 1
    raise NoValue("unclosed parenthesis")


def closings(tokens: Sequence[Token]) -> dict[int, int]:
    """Return, for each parenthesis or bracket that opens, the index behind the one that closes it."""
    found: dict[int, int] = {}
    open_at: list[int] = []
    for index, token in enumerate(tokens):
        if token.text in ("(", "[", "{"):
            open_at.append(index)
        elif token.text in (")", "]", "}") and open_at:
            found[open_at.pop()] = index + 1
    return found


def split_at_commas(tokens: Sequence[Token]) -> list[list[Token]]:
    """Return the parts between the commas that stand in no parenthesis."""
    parts: list[list[Token]] = [[]]
    depth = 0
    for token in tokens:
        depth += (token.text in "([{") - (token.text in ")]}")
        if token.text == "," and not depth:
            parts.append([])
        else:
            parts[-1].append(token)
    return parts


def begins_word(text: str) -> bool:
    """Return whether a token is a name or a number."""
    return text[:1].isalnum() or text[:1] == "_"


def ends_value(text: str) -> bool:
    """Return whether a value may end with a token, so that ``*`` behind it multiplies."""
    return text in (")", "]") or (begins_word(text) and text not in KEYWORDS)


class Source:
    """The definitions of the file, and the code that is left.

    Attributes
    ----------
    known : every name's last definition
    earlier : (definition, line of the later one) of names defined again
    types : the words that a ``typedef`` stands for
    code : tokens of statements that define nothing
    hexes : every hexadecimal number
    open : the comment that is never closed, or None
    """

    def __init__(self, text: str) -> None:
        self.known: dict[str, Definition] = {}
        self.earlier: list[tuple[Definition, int]] = []
        self.types: dict[str, list[str]] = {}
        self.code: list[Token] = []
        self.hexes: list[Token] = []
        self.open: Token | None = None
        plain: list[Token] = []
        line: list[Token] = []
        for token in [*_lex(text), Token("\n", len(text), 0)]:
            if token.text.startswith("/*"):
                self.open = token
            elif token.text != "\n":
                line.append(token)
            elif line:
                self._directive(line) if line[0].text == "#" else plain.extend(line)
                line = []
        self.hexes += [token for token in plain if token.is_hex]
        self._statements(plain)

    def _directive(self, line: list[Token]) -> None:
        word = line[1].text if len(line) > 1 else ""
        if word in ("include", "error", "warning", "line"):
            return
        self.hexes += [token for token in line if token.is_hex]
        if word != "define" or len(line) < 3:
            return
        name, params, rest = line[2], None, 3
        if line[3:4] and line[3].text == "(" and line[3].place == name.place + len(name.text):
            end = next((at for at, token in enumerate(line) if token.text == ")"), len(line))
            params = tuple(dict.fromkeys(one.text for one in line[4:end] if one.text != ","))
            rest = end + 1
        self._define(Definition(name.text, name.line, params, tuple(line[rest:])))

    def _define(self, new: Definition) -> None:
        old = self.known.get(new.name)
        if old is not None:
            self.earlier.append((old, new.line))
        self.known[new.name] = new

    def _statements(self, tokens: list[Token]) -> None:
        start = index = 0
        while index < len(tokens):
            index += 1
            mark = tokens[index - 1].text
            if mark not in (";", "{", "}"):
                continue
            statement = tokens[start : index - 1]
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
            and all(text == "*" or IDENTIFIER.fullmatch(text) for text in texts)
        ):
            flat = [text for word in texts[1:-1] for text in self.types.get(word, [word])]
            if len(flat) <= LONGEST_TYPE:
                self.types[texts[-1]] = flat
        return texts[:1] == ["typedef"]

    def _const(self, statement: list[Token], texts: list[str]) -> bool:
        at = texts.index("=") if "=" in texts else 0
        ahead = texts[:at]
        if (
            at < 2
            or not {"const", "constexpr"} & set(ahead)
            or ahead[-1] == "*"
            or not all(text == "*" or IDENTIFIER.fullmatch(text) for text in ahead)
        ):
            return False
        for part in split_at_commas(statement):
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
        self, name: Token, ahead: list[Token], body: list[Token], kind: str, ends: str = ")"
    ) -> None:
        around = [name._replace(text=text) for text in ("(", *ends.split())]
        whole = (*ahead, around[0], *body, *around[1:])
        self._define(Definition(name.text, name.line, None, whole, kind))

    def _enum(self, tokens: list[Token], first: int) -> int:
        end = next((at for at in range(first, len(tokens)) if tokens[at].text == "}"), len(tokens))
        body = [tokens[first - 1]._replace(text="0")]
        count = 0
        for part in filter(None, split_at_commas(tokens[first:end])):
            if len(part) > 2 and part[1].text == "=":
                self._value(part[0], [], part[2:], "enum")
                body, count = [token._replace(place=-2) for token in part[2:]], 0
            else:
                self._value(part[0], [body[0]._replace(text="(")], body, "enum", f") + {count} )")
            count += 1
        return min(end + 1, len(tokens))


def expand(
    tokens: Sequence[Token], known: Mapping[str, Definition], spend: Callable[[int], None]
) -> list[Token]:
    """Return the tokens with every macro replaced by what it stands for.

    Parameters
    ----------
    spend : called with how many tokens were looked at

    Raises
    ------
    NoValue : that is too long or too deep, or a macro is given another number of arguments
    """
    todo, done = list(reversed(tokens)), list[Token]()
    for count in range(LONGEST):
        if not todo:
            spend(count)
            return done
        token = todo.pop()
        macro = known.get(token.text)
        called = bool(todo) and todo[-1].text == "("
        if not macro or macro.name in token.via or (macro.params is not None and not called):
            done.append(token)
            continue
        given = {}
        if macro.params is not None:
            spend(min(len(todo), LONGEST) // 32)
            given = _arguments(todo, macro)
        spend(len(macro.body))
        if len(token.via) > DEEPEST:
            raise NoValue("is nested too deeply")
        for part in reversed(macro.body):
            if part.text in given:
                todo += reversed(given[part.text])
            else:
                todo.append(part._replace(via=(*token.via, macro.name)))
    spend(LONGEST)
    raise NoValue("is too long when expanded")


def _arguments(todo: list[Token], macro: Definition) -> dict[str, list[Token]]:
    params = macro.params or ()
    ahead = todo[: -LONGEST - 1 : -1]
    end = closing(ahead, 0)
    del todo[-end:]
    given = split_at_commas(ahead[1 : end - 1])
    if len(given) != max(1, len(params)) or (not params and given[0]):
        raise NoValue(f"passes {len(given)} arguments to {macro.name}(), not {len(params)}")
    return dict(zip(params, given, strict=False))
