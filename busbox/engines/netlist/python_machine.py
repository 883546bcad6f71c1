"""A program that runs as Python, one cycle at a time: for tests, and where no engine is needed."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from typing import Any

from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.program import PortBits, Program
from busbox.engines.netlist.python_source import INDENT, PythonSource

SETTLE, SETTLE_REPLY, EDGE = range(3)


class PythonMachine:
    """Runs a program: the lines of :class:`PythonSource` in one generator function.

    Parameters
    ----------
    program : what is run
    reply : inputs (or bits of inputs) that :meth:`settle_reply` takes up
    """

    def __init__(self, program: Program, reply: Iterable[PortBits] = ()) -> None:
        self._widths = {one.name: one.width for one in program.inputs}
        self._values = {one.name: one.init for one in program.inputs}
        self._source = PythonSource(program)
        self._memories: dict[str, list[int]] = {
            one.name: list(one.init) for one in program.memories
        }
        self.text = _text(self._source, list(reply))
        scope: dict[str, Any] = {}
        exec(compile(self.text, "<program>", "exec"), scope)
        self._run: Generator[Any, Any, None] = scope["run"](list(self._memories.values()))
        next(self._run)
        self._outputs: dict[str, int] = {}
        self.settle()

    def set(self, name: str, value: int) -> None:
        """Give an input a value; it is taken up by the next settle."""
        self._values[name] = checked(name, value, self._widths)

    def get(self, name: str) -> int:
        """Return what an output (as of the last settle) or an input shows."""
        found = self._outputs.get(name, self._values.get(name))
        if found is None:
            known = ", ".join([*self._values, *self._outputs])
            raise NetlistError(f"the port must be one of {known}, not {name}", name)
        return found

    def settle(self) -> None:
        """Work out all outputs."""
        self._settle(SETTLE)

    def settle_reply(self) -> None:
        """Work out the outputs anew, where only the inputs of the reply have changed."""
        self._settle(SETTLE_REPLY)

    def _settle(self, what: int) -> None:
        values = self._run.send((what, tuple(self._values.values())))
        self._outputs = dict(zip(self._source.outputs, map(int, values), strict=True))

    def edge(self) -> bool:
        """Do the rising edge, after a settle; return whether a register or a word changed."""
        return bool(self._run.send((EDGE, ())))

    def peek_memory(self, name: str, index: int) -> int:
        """Return a word of a memory, by the memory's hierarchical name."""
        return self._memories[name][index]


def checked(name: str, value: int, widths: dict[str, int]) -> int:
    """Return a value that fits its input.

    Raises
    ------
    NetlistError : no such input, or too large a value
    """
    if name not in widths:
        raise NetlistError(f"the input must be one of {', '.join(widths)}, not {name}", name)
    if not 0 <= value < 1 << widths[name]:
        raise NetlistError(f"a value must have at most {widths[name]} bits, not {value}", name)
    return value


def _text(source: PythonSource, reply: list[PortBits]) -> str:
    inputs = [f"({', '.join(source.inputs.values())},) = values"] if source.inputs else []
    outputs = [f"result = ({''.join(f'{one}, ' for one in source.outputs.values())})"]
    memories = [name for name, _ in source.memories]
    return "\n".join(
        [
            "def run(memories):",
            *_indented(1, source.setup()),
            *_indented(1, [f"({', '.join(memories)},) = memories"] if memories else []),
            "    result = ()",
            "    while True:",
            "        what, values = yield result",
            f"        if what == {SETTLE}:",
            *_indented(3, inputs + source.settle() + outputs),
            f"        elif what == {SETTLE_REPLY}:",
            *_indented(3, inputs + source.settle(reply) + outputs),
            "        else:",
            *_indented(3, [*source.edge(), f"result = {source.changed}"]),
            "",
        ]
    )


def _indented(depth: int, lines: list[str]) -> list[str]:
    return [INDENT * depth + line for line in lines]
