"""The Python source of a block: one function, in which registers are local names.

``block()`` executes one path of the tree, or rounds of it if it is a loop, as long as no instruction
could begin in ``until`` or later. It returns the address at which execution goes on, or that with one
of the marks below.
"""

from __future__ import annotations

from busbox.core.block_tree import Exit, Node, Tree
from busbox.core.decoding import NOWHERE, Decoded
from busbox.core.instructions import INSTRUCTIONS
from busbox.core.layout import AT
from busbox.core.machine import ROOM
from busbox.core.setup import CoreSetup

#: Marks of an address: the interpreter executes one instruction; it executes up to ``until``; the
#: load or store there is complete when its access has ended.
ONE, END, AFTER = 1 << 32, 1 << 33, 1 << 34
#: In the place of an address: ``run`` is over.
LEFT = -1
#: What a block works on, by name.
WORKS_ON = ("state", "x", "m8", "m16", "m32", "journal", "marked", "due", "known")

_M = 0xFFFFFFFF
_PENDING = f"state[{AT['pending']}:{AT['p_cost'] + 1}]"


def _state(name: str) -> str:
    return f"state[{AT[name]}]"


_SPENT = f"state[{AT['cycle']}:{AT['instret'] + 1}] = (cycle, instret)"


class Source:
    """Writes the source of a block.

    Parameters
    ----------
    tree : its instructions
    root : the address of the first one
    after : the load or store whose access has ended, if the block begins behind it
    """

    def __init__(
        self, setup: CoreSetup, tree: Tree, root: int, after: Decoded | None = None
    ) -> None:
        self._setup, self._tree, self._root, self._after = setup, tree, root, after
        self._journal = bool(setup.lines) and tree.stores > 0
        self._lines = [f"def make({', '.join(WORKS_ON)}):", "    def block():"]

    def whole(self) -> str:
        """Return the source: a function that makes the block."""
        tree = self._tree
        loaded = tree.needs | (tree.changes if tree.loops else set())
        first = NOWHERE if self._after is None else self._after.rd
        for register in sorted(loaded - {first}):
            self._say(2, f"x{register} = x[{register}]")
        if self._after is None:
            self._say(2, f"cycle = {_state('cycle')}", f"instret = {_state('instret')}")
        else:
            self._complete(self._after)
        self._say(2, f"limit = {_state('until')} - {tree.longest}")
        tests = ["cycle < limit"]
        if self._journal:
            self._say(2, f"noted = {_state('noted')}")
            # A store that leaves no room ends the run: the interpreter does it.
            tests.append(f"noted < {ROOM - 1 - tree.stores}")
        if tree.loops:
            self._say(2, f"while {' and '.join(tests)}:")
            self._node(tree.root, 3)
            self._say(2, "else:", f"    pc = {self._root | END}")
            self._tail()
        else:
            self._say(2, f"if not ({' and '.join(tests)}):")
            written = set() if first == NOWHERE else {first}
            self._exit(Exit("end", str(self._root), 0, 0, {}, written), 3)
            self._node(tree.root, 2)
        return "\n".join([*self._lines, "    return block"])

    def _say(self, depth: int, *lines: str) -> None:
        self._lines += ["    " * depth + line for line in lines]

    def _complete(self, found: Decoded) -> None:
        """Say how a load or store ends whose access has ended."""
        width, rest = 1 << (found.more & 3), self._setup.cost(found.op) - self._setup.access_at
        store = INSTRUCTIONS[found.op].kind == "store"
        self._say(2, f"at = {_state('p_at')}")
        word = _state("p_value")
        if not store:
            bits = "" if width == 4 else " >> (at & 3) * 8"
            self._say(2, f"word = {_state('result')}{bits} & {(1 << 8 * width) - 1}")
            if found.more < 2:
                sign = 1 << 8 * width - 1
                self._say(2, f"word = (word ^ {sign}) - {sign} & {_M}")
            word = "word"
        if found.rd != NOWHERE:
            self._say(2, f"x{found.rd} = word")
        numbers = (
            0, int(store), found.rd, f"at + {width} & {_M}", width, found.more, self._root, 0, word,
            8 * width, rest,
        )  # fmt: skip
        self._say(2, f"{_PENDING} = ({', '.join(map(str, numbers))})", f"{_state('fresh')} = 0")
        self._say(2, f"cycle = {_state('now')} + {rest}", f"instret = {_state('instret')} + 1")

    def _node(self, node: Node, depth: int) -> None:
        for deeper, line in node.lines:
            if isinstance(line, Exit):
                self._exit(line, depth + deeper)
            else:
                self._say(depth + deeper, line)
        if node.taken and node.past:
            self._say(depth, f"if {node.test}:")
            self._node(node.taken, depth + 1)
            self._node(node.past, depth)

    def _exit(self, one: Exit, depth: int) -> None:
        if self._tree.loops:
            self._out_of_loop(one, depth)
            return
        for register in sorted(one.written):
            word = one.known.get(register, f"x{register}")
            self._say(depth, f"x[{register}] = {word}")
        cycle, instret = _more("cycle", one.cost), _more("instret", one.count)
        self._say(depth, _SPENT.replace("(cycle, instret)", f"({cycle}, {instret})"))
        if self._journal:
            self._say(depth, f"{_state('noted')} = noted")
        if one.how in ("due", "known"):
            self._say(depth, f"return {one.how}({one.at}, {one.value}, {one.access})")
        else:
            self._say(depth, f"return {_goes_on(one)}")

    def _out_of_loop(self, one: Exit, depth: int) -> None:
        for register, word in one.known.items():
            self._say(depth, f"x{register} = {word}")
        if one.count:
            self._say(depth, f"cycle += {one.cost}", f"instret += {one.count}")
        if one.how == "again":
            self._say(depth, "continue")
            return
        if one.how in ("due", "known"):
            due = f"{one.at}, {one.value}, {one.access}, {one.how}"
            self._say(depth, f"at, value, access, reach = {due}", f"pc = {LEFT}")
        else:
            self._say(depth, f"pc = {_goes_on(one)}")
        self._say(depth, "break")

    def _tail(self) -> None:
        """Say what every way out of a loop does."""
        for register in sorted(self._tree.changes):
            self._say(2, f"x[{register}] = x{register}")
        self._say(2, _SPENT)
        if self._journal:
            self._say(2, f"{_state('noted')} = noted")
        self._say(2, f"return reach(at, value, access) if pc == {LEFT} else pc")


def _more(name: str, number: int) -> str:
    return f"{name} + {number}" if number else name


def _goes_on(one: Exit) -> str:
    marks = {"one": ONE, "end": END}
    return str(int(one.pc) | marks[one.how]) if one.how in marks else one.pc
