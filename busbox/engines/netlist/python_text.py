"""Expressions as Python source.

Every number is kept at 0 <= value < 2**width; one of a single bit may be a bool. A node becomes a local
variable where it is used more than once, or where its text would be read twice; otherwise its text
is written in the one place that uses it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from busbox.engines.netlist.nodes import ATOMS, Node

#: Text of an expression that is longer, or nested deeper, gets its own variable: Python reads
#: brackets and branches to a limited depth.
LONGEST = 400
DEEPEST = 12


class Texts:
    """Writes expressions, with the names of variables.

    Parameters
    ----------
    prefix : begins every name
    nodes : all nodes, each after its operands
    roots : nodes that are used from outside, once for each use
    depths : depth of each memory
    """

    def __init__(
        self, prefix: str, nodes: Iterable[Node], roots: Iterable[Node], depths: list[int]
    ) -> None:
        self._prefix, self._depths = prefix, depths
        nodes = list(nodes)
        uses: dict[Node, int] = dict.fromkeys(nodes, 0)
        for root in roots:
            uses[root] += 1
        for node in reversed(nodes):
            for one in node.args:
                uses[one] += uses[node] if _is_other(node) else 1
            for one in self._read_twice(node):
                uses[one] += 2
        self.named = {
            node
            for node in nodes
            if node.kind not in ATOMS and uses[node] > 1 and not _is_other(node)
        }
        self._known: dict[Node, str] = {}
        self._depth: dict[Node, int] = {}
        for node in nodes:
            self._prepare(node)

    def _prepare(self, node: Node) -> None:
        """Write a node's text; give it a name if the text is too long to stand inside another."""
        if node.kind in ATOMS:
            self._known[node] = self._atom(node)
            self._depth[node] = 0
            return
        if _is_other(node):
            self._known[node] = self.use(node.args[0])
            self._depth[node] = self._depth[node.args[0]]
            return
        depth = 1 + max((self._depth[one] for one in node.args), default=0)
        text = self._write(node)
        if len(text) > LONGEST or depth > DEEPEST:
            self.named.add(node)
        self._known[node] = text
        self._depth[node] = 0 if node in self.named else depth

    def _atom(self, node: Node) -> str:
        if node.kind == "const":
            return hex(node.extra) if node.extra > 9 else str(node.extra)
        return f"{self._prefix}{node.kind[0]}{node.extra}"

    def variable(self, node: Node) -> str:
        """Return the name of the variable of a node that has one."""
        return f"{self._prefix}v{node.number}"

    def use(self, node: Node) -> str:
        """Return the text that stands for a node where it is used: a name, a number or ``(...)``."""
        return self.variable(node) if node in self.named else self._known[node]

    def definition(self, node: Node) -> str:
        """Return the text of a node that has a variable: what is assigned to it."""
        text = self._known[node]
        return text[1:-1] if text[0] == "(" and _closes_last(text) else text

    def condition(self, node: Node) -> str:
        """Return a text that is true if the node (of one bit) is 1."""
        if node in self.named or node.kind in ATOMS:
            return self.use(node)
        a = node.args[0]
        if node.kind == "any":
            return self.use(a)
        if node.kind == "not":
            return f"(not {self.condition(a)})"
        if node.kind in ("and", "or"):
            return f"({self.condition(a)} {node.kind} {self.condition(node.args[1])})"
        if node.kind == "slice":
            return f"({self.use(a)} & {1 << node.extra:#x})"
        return self.use(node)

    def _read_twice(self, node: Node) -> tuple[Node, ...]:
        """Return the operands that the text of a node names twice."""
        if node.kind in ("udiv", "umod", "sdiv", "smod"):
            return (node.args[1],)
        if node.kind == "shl" and _may_exceed(node):
            return (node.args[1],)
        if node.kind == "mem" and 1 << node.args[0].width > self._depths[node.extra]:
            return node.args
        return ()

    def _write(self, node: Node) -> str:
        if node.width == 1 and node.kind in _BIT:
            return _BIT[node.kind](self, node)
        return _WORD[node.kind](self, node)

    def memory(self, node: Node) -> str:
        """Return the text of a read of a memory."""
        (address,) = node.args
        word = f"{self._prefix}m{node.extra}[{self.use(address)}]"
        depth = self._depths[node.extra]
        if 1 << address.width <= depth:
            return word
        return f"({word} if {self.use(address)} < {depth} else 0)"

    def parts(self, node: Node) -> str:
        """Return the text of parts side by side."""
        found, at = [], 0
        for part in node.args:
            if part.kind == "const":
                if part.extra:
                    found.append(hex(part.extra << at))
            elif part.kind == "sext" and part.args[0].width == 1 and part not in self.named:
                ones = (1 << part.width) - 1 << at
                found.append(f"({ones:#x} if {self.condition(part.args[0])} else 0)")
            elif at:
                found.append(f"{self.use(part)} << {at}")
            else:
                found.append(self.use(part))
            at += part.width
        return f"({' | '.join(found) or '0'})"


def _is_other(node: Node) -> bool:
    """Return whether a node is the same number as its first operand: that with zeros above it."""
    if node.kind != "cat" or len(node.args) != 2:
        return False
    return node.args[1].kind == "const" and not node.args[1].extra


def _closes_last(text: str) -> bool:
    """Return whether the bracket that opens a text is closed by its last character."""
    depth = 0
    for place, character in enumerate(text):
        depth += (character == "(") - (character == ")")
        if depth == 0:
            return place == len(text) - 1
    return False


def _may_exceed(node: Node) -> bool:
    """Return whether a shift may go by more places than twice the width."""
    return 1 << node.args[1].width > 2 * node.width


def _mask(node: Node) -> str:
    return hex((1 << node.width) - 1)


def _operands(texts: Texts, node: Node) -> tuple[str, ...]:
    return tuple(texts.use(one) for one in node.args)


def _infix(sign: str) -> Callable[[Texts, Node], str]:
    def write(texts: Texts, node: Node) -> str:
        a, b = _operands(texts, node)
        return f"({a} {sign} {b})"

    return write


def _masked(sign: str) -> Callable[[Texts, Node], str]:
    def write(texts: Texts, node: Node) -> str:
        a, b = _operands(texts, node)
        if sign == "+" and _has_room(node):
            return f"({a} + {b})"
        return f"({a} {sign} {b} & {_mask(node)})"

    return write


def _has_room(node: Node) -> bool:
    """Return whether a sum needs no cut: both operands end below its highest bit."""
    return all(
        (one.kind == "const" and one.extra >> node.width - 1 == 0)
        or (one.kind == "cat" and one.args[-1].kind == "const" and one.args[-1].extra == 0)
        for one in node.args
    )


def _with_sign(node: Node, text: str) -> str:
    """Return the text of the signed number that a node's bits show."""
    half = hex(1 << node.width - 1)
    return f"(({text} ^ {half}) - {half})"


def _signed_pair(sign: str) -> Callable[[Texts, Node], str]:
    def write(texts: Texts, node: Node) -> str:
        a, b = (_with_sign(one, texts.use(one)) for one in node.args)
        return f"({a} {sign} {b})"

    return write


def _division(sign: str, signed: bool) -> Callable[[Texts, Node], str]:
    def write(texts: Texts, node: Node) -> str:
        a, b = _operands(texts, node)
        if not signed:
            return f"({a} {sign} {b} if {b} else 0)"
        first, second = (_with_sign(one, texts.use(one)) for one in node.args)
        return f"({first} {sign} {second} & {_mask(node)} if {b} else 0)"

    return write


def _shift_left(texts: Texts, node: Node) -> str:
    a, b = _operands(texts, node)
    if _may_exceed(node):
        return f"(({a} << {b}) & {_mask(node)} if {b} < {node.width} else 0)"
    return f"(({a} << {b}) & {_mask(node)})"


def _shift_signed(texts: Texts, node: Node) -> str:
    a, b = _operands(texts, node)
    return f"({_with_sign(node.args[0], a)} >> {b} & {_mask(node)})"


def _slice(texts: Texts, node: Node) -> str:
    (a,) = _operands(texts, node)
    if node.extra == 0:
        return f"({a} & {_mask(node)})"
    if node.extra + node.width == node.args[0].width:
        return f"({a} >> {node.extra})"
    return f"({a} >> {node.extra} & {_mask(node)})"


def _repeated_sign(texts: Texts, node: Node) -> str:
    (one,) = node.args
    if one.width == 1:
        return f"({_mask(node)} if {texts.condition(one)} else 0)"
    return f"({_with_sign(one, texts.use(one))} & {_mask(node)})"


def _mux(texts: Texts, node: Node) -> str:
    s, a, b = node.args
    return f"({texts.use(a)} if {texts.condition(s)} else {texts.use(b)})"


def _any(texts: Texts, node: Node) -> str:
    return f"({texts.use(node.args[0])} != 0)"


def _not_bit(texts: Texts, node: Node) -> str:
    (a,) = node.args
    if a.kind == "any" and a not in texts.named:
        return f"({texts.use(a.args[0])} == 0)"
    if a.kind == "eq" and a not in texts.named:
        return f"({texts.use(a.args[0])} != {texts.use(a.args[1])})"
    return f"(not {texts.condition(a)})"


_WORD: Mapping[str, Callable[[Texts, Node], str]] = {
    "not": lambda texts, node: f"({texts.use(node.args[0])} ^ {_mask(node)})",
    "and": _infix("&"),
    "or": _infix("|"),
    "xor": _infix("^"),
    "add": _masked("+"),
    "sub": _masked("-"),
    "mul": _masked("*"),
    "neg": lambda texts, node: f"(-{texts.use(node.args[0])} & {_mask(node)})",
    "udiv": _division("//", False),
    "umod": _division("%", False),
    "sdiv": _division("//", True),
    "smod": _division("%", True),
    "shl": _shift_left,
    "shr": _infix(">>"),
    "sar": _shift_signed,
    "eq": _infix("=="),
    "ult": _infix("<"),
    "slt": _signed_pair("<"),
    "any": _any,
    "parity": lambda texts, node: f"({texts.use(node.args[0])}.bit_count() & 1)",
    "mux": _mux,
    "slice": _slice,
    "cat": Texts.parts,
    "sext": _repeated_sign,
    "mem": Texts.memory,
}

#: Kinds that are written another way where the result is one bit.
_BIT: Mapping[str, Callable[[Texts, Node], str]] = {
    "not": _not_bit,
    "and": _infix("and"),
    "or": _infix("or"),
    "xor": _infix("!="),
}
