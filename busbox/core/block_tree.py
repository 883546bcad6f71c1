"""A block: the instructions that may follow an address, as a tree that branches where they do.

Every path from the root down is a run of instructions whose addresses are known: it goes on behind a
jump whose target is known, and both ways behind a branch. It ends

* at the root, if it comes back there: the block is a loop;
* before an instruction that the interpreter executes: one that changes the machine, or traps;
* in a load or store that is not in the core's own memories;
* behind a jump to a register, at an address that is on the path already, or where the tree is large
  enough: another block goes on there.

What registers hold is followed along a path where it is known, so that an address whose upper and
lower part come from two instructions is a number.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache

from busbox.core.block_memory import Memories
from busbox.core.decoding import NOWHERE, Decoded
from busbox.core.instructions import INSTRUCTIONS, Instruction
from busbox.core.machine import CONSTANTS
from busbox.core.setup import CoreSetup

#: Instructions of a block at most, and branches taken on a path.
LONGEST, DEEPEST = 64, 24
_M = 0xFFFFFFFF
_NAME = re.compile(r"\b[a-zA-Z]\w*")
#: A word plus nothing is that word.
_ZERO = re.compile(r"^(?:0 \+ (x\d+)|(x\d+) \+ 0) & M$")

Known = dict[int, int]


@dataclass
class Exit:
    """Where a path ends.

    Attributes
    ----------
    how : ``again``: at the root; ``on``: another block goes on; ``one``: the interpreter executes one
        instruction; ``due``: an access may be due, at ``at`` with ``value``; ``known``: it is
    pc : the address of the next instruction, as text; of the load or store
    count, cost : instructions that are complete, and their cycles
    known, written : what is in registers, and which have changed
    """

    how: str
    pc: str
    count: int
    cost: int
    known: Known
    written: set[int]
    at: str = ""
    value: str = "0"
    access: tuple[int, ...] = ()


Line = tuple[int, str | Exit]


@dataclass
class Node:
    """A part of a path without a branch: lines of Python with their depth, and what follows them."""

    pc: int
    count: int = 0
    cost: int = 0
    longest: int = 0
    stores: int = 0
    depth: int = 0
    known: Known = field(default_factory=lambda: {0: 0})
    written: set[int] = field(default_factory=set)
    path: frozenset[int] = frozenset()
    lines: list[Line] = field(default_factory=list)
    test: str = ""
    taken: Node | None = None
    past: Node | None = None

    def child(self, pc: int, cost: int, deeper: int) -> Node:
        """Return what follows a branch."""
        return Node(
            pc, self.count + 1, self.cost + cost, self.longest + cost, self.stores,
            self.depth + deeper, dict(self.known), set(self.written), self.path,
        )  # fmt: skip

    def say(self, text: str, depth: int = 0) -> None:
        """Add a line."""
        self.lines.append((depth, text))

    def retire(self, pc: int, cost: int) -> None:
        """Go on at an address behind an instruction."""
        self.count, self.pc = self.count + 1, pc
        self.cost, self.longest = self.cost + cost, self.longest + cost

    def end(self, how: str, pc: str | None = None) -> Exit:
        """Return the end of a path here."""
        known = {register: word for register, word in self.known.items() if register}
        written = set(self.written)
        return Exit(how, pc or str(self.pc), self.count, self.cost, known, written)

    def leave(self, how: str, pc: str | None = None, depth: int = 0) -> None:
        """End the path."""
        self.lines.append((depth, self.end(how, pc)))


@cache
def _meaning(text: str) -> tuple[frozenset[str], Callable[..., int]]:
    """Return which source registers an expression names, and the expression as a function."""
    made = eval(f"lambda a, b, imm, pc, size: {text}", dict(CONSTANTS))
    return frozenset({"a", "b"} & set(_NAME.findall(text))), made


@cache
def _parts(text: str) -> dict[str, str]:
    """Return what a text of one or two assignments says of each name."""
    found = (line.split(" = ", 1) for line in text.splitlines())
    return dict(found)


def _behind(node: Node, found: Decoded) -> int:
    return node.pc + found.size & _M


def _lands(align: int, node: Node, found: Decoded, target: int) -> bool:
    return not (target & align or (target == node.pc and found.rd == NOWHERE))


class Tree:
    """Grows the tree of a block.

    Parameters
    ----------
    fetch : the instruction at an address
    hint : what registers hold now, by which the memory is guessed that an access is to
    root : address of the first instruction
    written : a register that what comes before the root has written

    Attributes
    ----------
    root : the first part
    loops : a path comes back to the root
    needs, changes : registers whose words are read, and those that are written
    longest, stores : cycles, and stores, of a path at most
    covers : address and bytes of every instruction in it
    """

    def __init__(
        self,
        setup: CoreSetup,
        fetch: Callable[[int], Decoded],
        hint: Sequence[int],
        root: int,
        written: int = NOWHERE,
    ) -> None:
        self._setup, self._fetch, self._hint, self._pc = setup, fetch, hint, root
        self._align = 0 if "c" in setup.isa[5:] else 2
        self._taken = setup.clocks["branch_taken"]
        self._memories = Memories(setup)
        self.loops = False
        self.needs: set[int] = set()
        self.changes: set[int] = set() if written == NOWHERE else {written}
        self.longest = self.stores = 0
        self.covers: set[tuple[int, int]] = set()
        self._count = 0
        self.root = Node(root, written=set(self.changes))
        self._open = deque([self.root])
        while self._open:
            node = self._open.popleft()
            self._grow(node)
            self.longest = max(self.longest, node.longest)
            self.stores = max(self.stores, node.stores)

    def _grow(self, node: Node) -> None:
        while self._goes_on(node):
            node.path |= {node.pc}
            found = self._fetch(node.pc)
            one = INSTRUCTIONS[found.op] if found.op < len(INSTRUCTIONS) else None
            if one is None or not (one.text or one.kind in ("load", "store")):
                return node.leave("one")
            self._count += 1
            self.covers.add((node.pc, found.size))
            if one.kind in ("load", "store"):
                ends = self._access(node, found, one.kind == "store")
            elif one.form == "B":
                ends = self._branch(node, found, one)
            elif one.kind == "jump":
                ends = self._jump(node, found, one)
            else:
                ends = self._compute(node, found, one)
            if ends:
                return None
        return None

    def _goes_on(self, node: Node) -> bool:
        if node.pc == self._pc and node.count:
            self.loops = True
            node.leave("again")
        elif node.pc in node.path or self._count >= LONGEST or node.depth > DEEPEST:
            node.leave("on")
        else:
            return True
        return False

    # What instructions say, with words in the place of names.

    def _word(self, node: Node, register: int) -> str:
        if register in node.known:
            return str(node.known[register])
        if register not in node.written:
            self.needs.add(register)
        return f"x{register}"

    def _said(self, node: Node, found: Decoded, text: str) -> str:
        """Return a text with the words of an instruction."""

        def word(match: re.Match[str]) -> str:
            name = match[0]
            if name in ("a", "b"):
                return self._word(node, found.rs1 if name == "a" else found.rs2)
            if name in CONSTANTS:
                return str(CONSTANTS[name])
            numbers = {"imm": found.imm, "pc": node.pc, "size": found.size}
            return str(numbers[name]) if name in numbers else name

        return _NAME.sub(word, text)

    def _value(self, node: Node, found: Decoded, text: str) -> str | int:
        """Return a value: a number if it is known."""
        names, meaning = _meaning(text)
        a, b = node.known.get(found.rs1), node.known.get(found.rs2)
        if (a is not None or "a" not in names) and (b is not None or "b" not in names):
            return meaning(a, b, found.imm, node.pc, found.size)
        said = self._said(node, found, text)
        plain = _ZERO.match(said.replace(f"& {_M}", "& M"))
        return (plain[1] or plain[2]) if plain else said

    def _put(self, node: Node, register: int, value: str | int, depth: int = 0) -> None:
        """Give a register its word; one that is known is put there where the path ends."""
        if register == NOWHERE:
            return
        self.changes.add(register)
        node.written.add(register)
        if isinstance(value, int):
            node.known[register] = value
        else:
            node.known.pop(register, None)
            node.say(f"x{register} = {value}", depth)

    def _compute(self, node: Node, found: Decoded, one: Instruction) -> bool:
        if found.rd != NOWHERE:
            if "\n" not in one.text:
                self._put(node, found.rd, self._value(node, found, _parts(one.text)["d"]))
            else:
                for line in self._said(node, found, one.text).splitlines():
                    node.say(line)
                self._put(node, found.rd, "d")
        node.retire(_behind(node, found), self._setup.cost(found.op))
        return False

    def _branch(self, node: Node, found: Decoded, one: Instruction) -> bool:
        head, body, _ = one.text.splitlines()
        test = self._value(node, found, head[3:-1])
        target = self._value(node, found, body.split(" = ")[1])
        assert isinstance(target, int)
        costs = self._setup.cost(found.op), self._taken
        if isinstance(test, int):
            taken = bool(test)
            if taken and not _lands(self._align, node, found, target):
                node.leave("one")
                return True
            node.retire(target if taken else _behind(node, found), costs[taken])
            return False
        node.test = test
        if _lands(self._align, node, found, target):
            node.taken = node.child(target, costs[1], 1)
            self._open.append(node.taken)
        else:
            node.taken = Node(node.pc, lines=[(0, node.end("one"))])
        node.past = node.child(_behind(node, found), costs[0], 0)
        self._open.append(node.past)
        return True

    def _jump(self, node: Node, found: Decoded, one: Instruction) -> bool:
        parts = _parts(one.text)
        target = self._value(node, found, parts["next"])
        if isinstance(target, int) and not _lands(self._align, node, found, target):
            node.leave("one")
            return True
        if isinstance(target, str):
            node.say(f"next = {target}")
            refused = [f"next & {self._align}"] if self._align else []
            refused += [f"next == {node.pc}"] if found.rd == NOWHERE else []
            if refused:
                node.say(f"if {' or '.join(refused)}:")
                node.leave("one", depth=1)
        self._put(node, found.rd, self._value(node, found, parts["d"]))
        node.retire(target if isinstance(target, int) else 0, self._setup.cost(found.op))
        if isinstance(target, str):
            node.leave("on", "next")
            return True
        return False

    # Loads and stores.

    def _access(self, node: Node, found: Decoded, store: bool) -> bool:
        """Say what a load or store does; return whether the path ends with it."""
        at = self._value(node, found, "a + imm & M")
        one = _Access(found, store, self._word(node, found.rs2) if store else "0")
        if isinstance(at, int):
            ends = self._at_known(node, one, at)
        else:
            unwritten = found.rs1 not in node.written
            guess = self._hint[found.rs1] + found.imm & _M if unwritten else -1
            if " " in at:
                node.say(f"at = {at}")
                at = "at"
            ends = self._at_any(node, one, at, guess)
        if not ends:
            node.stores += store
            node.retire(_behind(node, found), self._setup.cost(found.op))
        return ends

    def _due(self, node: Node, one: _Access, how: str, at: str) -> Exit:
        """Return the end of a path in an access of the bus."""
        found = one.found
        end = node.end(how)
        end.at, end.value = at, one.value
        rest = self._setup.cost(found.op) - self._setup.access_at
        end.access = (
            int(one.store), found.rd, one.width, found.more, _behind(node, found), rest, node.pc,
        )  # fmt: skip
        return end

    def _at_known(self, node: Node, one: _Access, at: int) -> bool:
        memories = self._memories
        own = memories.holding(at)
        if at & one.width - 1 or (own is not None and one.store and not memories.writable(own)):
            node.leave("one")
            return True
        if own is None:
            node.lines.append((0, self._due(node, one, "known", str(at))))
            return True
        if one.store:
            node.say(f"if marked[{memories.place(own, str(at), 4)}]:")
            node.leave("one", depth=1)
        self._say_access(node, one, own, str(at), 0)
        node.cost += memories.clocks_of(own)
        node.longest += memories.clocks_of(own)
        return False

    def _at_any(self, node: Node, one: _Access, at: str, guess: int) -> bool:
        memories = self._memories
        due = self._due(node, one, "due", at)
        places = memories.order(guess, one.store)
        for number in places:
            test = memories.test(number, at, one.width)
            if one.store:
                test = f"{test} and not marked[{memories.place(number, at, 4)}]"
            node.say(f"{'if' if number == places[0] else 'elif'} {test}:")
            self._say_access(node, one, number, at, 1)
            if memories.clocks is None:
                node.say(f"cycle += {memories.clocks_of(number)}", 1)
        if places:
            node.say("else:")
        node.lines.append((1 if places else 0, due))
        node.cost += memories.clocks or 0
        node.longest += memories.most
        return not places

    def _say_access(self, node: Node, one: _Access, number: int, at: str, depth: int) -> None:
        """Say what happens in one of the core's memories."""
        memories, rd = self._memories, one.found.rd
        if one.store:
            journal = bool(self._setup.lines)
            for line in memories.store(number, at, one.width, one.value, journal):
                node.say(line, depth)
        elif rd == NOWHERE:
            node.say("pass", depth)
        else:
            self._put(node, rd, memories.load(number, at, one.found.more), depth)


@dataclass(frozen=True)
class _Access:
    """A load or store: ``value`` is the word that it stores."""

    found: Decoded
    store: bool
    value: str

    @property
    def width(self) -> int:
        """Bytes."""
        return 1 << (self.found.more & 3)
