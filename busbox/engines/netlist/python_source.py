"""A program as lines of Python for the body of one function.

::

    source = PythonSource(program)
    source.setup()                  once: registers and memories at their initial values
    source.settle()                 outputs, from inputs, registers and memories
    source.settle({"reply"})        the same, where only these inputs changed since the last settle
    source.edge()                   the rising edge; sets ``changed``

An engine sets the variables of the inputs, and puts these lines, indented as it needs, into a loop of
its own. All names begin with the prefix. ``edge`` may use what the last ``settle`` worked out, so it
comes after one, with no input touched in between; outputs hold until then.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from busbox.engines.netlist.nodes import ATOMS, Node
from busbox.engines.netlist.program import PortBits, Program, WritePort, in_order
from busbox.engines.netlist.python_text import Texts

INDENT = "    "


class PythonSource:
    """Writes a program as Python.

    Parameters
    ----------
    program : what is written
    outputs : names of the outputs that are wanted; all, if left out
    prefix : begins the name of every variable

    Attributes
    ----------
    inputs : name of an input: its variable, which the engine sets
    outputs : name of an output: the text of its value after a settle (a variable or a number)
    registers : the variable and the initial value of each register
    memories : the variable of each memory (a list of numbers) and its initial words
    changed : the variable that says whether the last edge changed a register or a word
    """

    def __init__(
        self, program: Program, outputs: Iterable[str] | None = None, prefix: str = "n_"
    ) -> None:
        self._program, self._prefix = program, prefix
        shown = list(program.outputs if outputs is None else map(program.output, outputs))
        self._shown = [one.value for one in shown]
        edge = program.roots()[len(program.outputs) :]
        self._nodes = in_order([*self._shown, *edge])
        # A shown output counts twice: its value stands in a variable.
        roots = [*self._shown, *self._shown, *edge]
        depths = [memory.depth for memory in program.memories]
        self._texts = Texts(prefix, self._nodes, roots, depths)
        self._settled = frozenset(in_order(self._shown))
        self._reach = program.reach(self._shown)
        self.changed = f"{prefix}changed"
        self.inputs = {one.name: f"{prefix}i{place}" for place, one in enumerate(program.inputs)}
        self.outputs = {one.name: self._texts.use(one.value) for one in shown}
        self.registers = [
            (f"{prefix}r{place}", one.init) for place, one in enumerate(program.registers)
        ]
        self.memories = [
            (f"{prefix}m{place}", list(one.init)) for place, one in enumerate(program.memories)
        ]

    def setup(self) -> list[str]:
        """Return the lines that give inputs, registers and memories their initial values."""
        lines = [f"{self.inputs[one.name]} = {one.init}" for one in self._program.inputs]
        lines += [f"{name} = {init}" for name, init in self.registers]
        return lines + [f"{name} = {init}" for name, init in self.memories]

    def settle(self, from_inputs: Iterable[PortBits] | None = None) -> list[str]:
        """Return the lines that work out the outputs.

        Parameters
        ----------
        from_inputs : only what these inputs (or bits of inputs) reach is worked out anew; everything,
            if left out
        """
        touched = None
        if from_inputs is not None:
            touched = 0
            for one in from_inputs:
                touched |= self._program.input_bits(one)
        return [
            self._define(node)
            for node in self._nodes
            if node in self._texts.named
            and node in self._settled
            and (touched is None or any(bits & touched for bits in self._reach[node]))
        ]

    def _define(self, node: Node) -> str:
        return f"{self._texts.variable(node)} = {self._texts.definition(node)}"

    def edge(self) -> list[str]:
        """Return the lines of the rising edge."""
        return _Edge(self._program, self._texts, self._settled, self._prefix).lines()


class _Block:
    """Lines of a branch; ``inner`` are branches of it, which stand where they were made."""

    def __init__(self, outer: _Block | None) -> None:
        self.outer = outer
        self.depth: int = 0 if outer is None else outer.depth + 1
        self.lines: list[str | tuple[str, _Block]] = []
        self.defined: list[str] = []

    def branch(self, head: str) -> _Block:
        """Open a branch below this one."""
        inner = _Block(self)
        self.lines.append((head, inner))
        return inner

    def text(self) -> list[str]:
        """Return all lines, with what is defined first."""
        found = list(self.defined)
        for line in self.lines:
            if isinstance(line, str):
                found.append(line)
            else:
                found.append(line[0])
                found += [INDENT + one for one in line[1].text() or ["pass"]]
        return found


class _Edge:
    """The lines of one edge: all that is taken is worked out before anything is stored.

    Registers that choose by the same condition share its ``if``. A variable that only one branch needs
    is worked out in that branch.
    """

    def __init__(
        self, program: Program, texts: Texts, settled: frozenset[Node], prefix: str
    ) -> None:
        self._program, self._texts, self._settled = program, texts, settled
        self._prefix = prefix
        self._root = _Block(None)
        self._home: dict[Node, _Block] = {}

    def lines(self) -> list[str]:
        """Return the lines."""
        moving = [
            (place, register.next)
            for place, register in enumerate(self._program.registers)
            if not (register.next.kind == "reg" and register.next.extra == place)
        ]
        self._take(self._root, [(place, node) for place, node in moving if node.width])
        writes = self._writes()
        self._place_definitions()
        return self._root.text() + self._store(
            [place for place, node in moving if node.width], writes
        )

    # What is taken.

    def _take(self, block: _Block, targets: Sequence[tuple[int, Node]]) -> None:
        """Write what registers take, those with one condition together."""
        groups: dict[Node | int, list[tuple[int, Node]]] = {}
        for place, node in targets:
            plain = node.kind != "mux" or node in self._texts.named
            groups.setdefault(place if plain else node.args[0], []).append((place, node))
        for key, group in groups.items():
            if isinstance(key, Node) and (len(group) > 1 or _is_deep(group[0][1])):
                self._use(key, block)
                yes = block.branch(f"if {self._texts.condition(key)}:")
                no = block.branch("else:")
                self._take(yes, [(place, node.args[1]) for place, node in group])
                self._take(no, [(place, node.args[2]) for place, node in group])
                continue
            for place, node in group:
                self._use(node, block)
                block.lines.append(f"{self._prefix}x{place} = {self._texts.use(node)}")

    def _use(self, node: Node, block: _Block) -> None:
        """Note that a block needs a node, and so whatever its text names."""
        home = self._home.get(node)
        self._home[node] = block if home is None else _common(home, block)

    def _place_definitions(self) -> None:
        """Put each variable into the innermost branch that holds all its uses."""
        waiting = in_order(list(self._home))
        for node in reversed(waiting):
            home = self._home.get(node)
            if home is None or (node in self._settled and node in self._texts.named):
                continue
            for one in node.args:
                if one.kind not in ATOMS:
                    self._use(one, home)
        for node in waiting:
            if node in self._texts.named and node not in self._settled and node in self._home:
                text = f"{self._texts.variable(node)} = {self._texts.definition(node)}"
                self._home[node].defined.append(text)

    # Writes to memories.

    def _writes(self) -> list[tuple[int, WritePort, str]]:
        """Write the operands of every write port; return (memory, port, beginning of the names)."""
        found = []
        for number, memory in enumerate(self._program.memories):
            for place, port in enumerate(memory.writes):
                name = f"{self._prefix}w{number}_{place}_"
                enable = self._gate(port.enable)
                self._use(enable, self._root)
                text = self._texts.condition if enable.width == 1 else self._texts.use
                self._root.lines.append(f"{name}e = {text(enable)}")
                inner = self._root.branch(f"if {name}e:")
                for one, what in ((port.address, "a"), (port.data, "d")):
                    self._use(one, inner)
                    inner.lines.append(f"{name}{what} = {self._texts.use(one)}")
                found.append((number, port, name))
        return found

    def _gate(self, enable: Node) -> Node:
        """Return the one bit that enables a whole word, or else all enables."""
        whole = enable.kind == "sext" and enable.args[0].width == 1
        return enable.args[0] if whole and enable not in self._texts.named else enable

    # What is stored.

    def _store(self, places: list[int], writes: list[tuple[int, WritePort, str]]) -> list[str]:
        p = self._prefix
        compare = " or ".join(f"{p}x{place} != {p}r{place}" for place in places) or "False"
        lines = [f"{p}changed = {compare}"]
        lines += [f"{p}r{place} = {p}x{place}" for place in places]
        for number in dict.fromkeys(number for number, _, _ in writes):
            mine = [(port, name) for memory, port, name in writes if memory == number]
            lines += self._store_words(number, mine)
        return lines

    def _store_words(self, number: int, writes: list[tuple[WritePort, str]]) -> list[str]:
        """Store through all ports of a memory, in port order; then see what has changed."""
        depth, p = self._program.memories[number].depth, self._prefix
        several = len(writes) > 1
        lines = [f"{p}old = {{}}"] if several else []
        for port, name in writes:
            bounded = 1 << port.address.width > depth
            word = f"{p}m{number}[{name}a]"
            lines += [
                f"if {name}e and {name}a < {depth}:" if bounded else f"if {name}e:",
                f"{INDENT}{p}word = {word}",
                f"{INDENT}{word} = {_written(port, name, f'{p}word')}",
            ]
            if several:
                lines.append(f"{INDENT}{p}old.setdefault({name}a, {p}word)")
            else:
                lines.append(f"{INDENT}{p}changed = {p}changed or {word} != {p}word")
        if several:
            lines += [
                f"for {p}at, {p}word in {p}old.items():",
                f"{INDENT}{p}changed = {p}changed or {p}m{number}[{p}at] != {p}word",
            ]
        return lines


def _written(port: WritePort, name: str, word: str) -> str:
    """Return the text of the word that a write port leaves behind."""
    every = (1 << port.data.width) - 1
    if _is_whole(port.enable):
        return f"{name}d"
    if port.enable.kind == "const":
        return f"{word} & {every ^ port.enable.extra:#x} | {name}d & {port.enable.extra:#x}"
    return f"{word} & ({name}e ^ {every:#x}) | {name}d & {name}e"


def _is_whole(enable: Node) -> bool:
    """Return whether the word is written whole where it is written at all."""
    if enable.kind == "const":
        return enable.extra == (1 << enable.width) - 1
    return enable.width == 1 or (enable.kind == "sext" and enable.args[0].width == 1)


def _is_deep(node: Node) -> bool:
    """Return whether a branch of a mux is a mux again."""
    return any(one.kind == "mux" for one in node.args[1:])


def _common(one: _Block, other: _Block) -> _Block:
    while one is not other:
        if one.depth >= other.depth:
            assert one.outer is not None
            one = one.outer
        else:
            assert other.outer is not None
            other = other.outer
    return one
