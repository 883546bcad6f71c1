"""A function of very many nodes, as several that LLVM compiles apart.

LLVM takes more than twice as long for a function that is twice as long, and cannot be stopped within
one. So a long function is written as pieces, each a module of its own. What one of them works out and a
later one needs is kept in room behind the block, ``%w``; inputs and registers are loaded again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from busbox.engines.netlist.layout import Layout, Place, size_of
from busbox.engines.netlist.llvm_values import Values
from busbox.engines.netlist.nodes import ATOMS, Node
from busbox.engines.netlist.program import Output, Program

#: Nodes of a function up to which it is one, and nodes of a piece.
WHOLE, PIECE = 1200, 400
#: Registers, and memories, that one piece changes at the edge.
REGISTERS, MEMORIES = 100, 10
#: The line between modules of one text.
APART = "; what follows is a module of its own\n"


class Pieces:
    """The pieces of one function.

    Parameters
    ----------
    nodes : all that it works out, each after its operands
    last : those that are needed once all pieces are done

    Attributes
    ----------
    room : bytes of ``%w`` that it needs
    """

    def __init__(
        self, program: Program, layout: Layout, nodes: Sequence[Node], last: Sequence[Node] = ()
    ) -> None:
        self._program, self._layout = program, layout
        self._rows = [nodes[at : at + PIECE] for at in range(0, len(nodes), PIECE)]
        self._row_of = {node: at for at, row in enumerate(self._rows) for node in row}
        self._kept: dict[Node, Place] = {}
        self.room = 0
        for node in nodes:
            for one in node.args:
                if one.kind not in ATOMS and self._row_of[one] < self._row_of[node]:
                    self._keep(one)
        for one in last:
            if one.kind != "const":
                self._keep(one)

    def _keep(self, node: Node) -> None:
        """Have a node's number kept for later pieces."""
        if node not in self._kept:
            size = size_of(node.width)
            step = min(size, 8)
            at = -(-self.room // step) * step
            self._kept[node] = Place("", at, node.width, size)
            self.room = at + size

    def rows(self, outputs: Sequence[Output] = ()) -> Iterator[list[str]]:
        """Yield the lines of each piece that works out nodes, and stores the outputs among them."""
        for number, row in enumerate(self._rows):
            values = self.later(number)
            for node in row:
                values.value(node)
                if node in self._kept:
                    place = self._kept[node]
                    values.store(_pointer(values, place), place, values.value(node))
            for one in outputs:
                if one.width and self._row_of[one.value] == number:
                    place = self._layout.outputs[one.name]
                    values.store(values.pointer(place), place, values.value(one.value))
            yield values.lines

    def later(self, number: int | None = None) -> Values:
        """Return what writes a piece: the one of that number, or one after all of them."""
        earlier = {
            node: place
            for node, place in self._kept.items()
            if number is None or self._row_of[node] < number
        }
        return _Later(self._program, self._layout, earlier)


class _Later(Values):
    """Writes nodes of which some have been worked out by earlier pieces."""

    def __init__(self, program: Program, layout: Layout, earlier: dict[Node, Place]) -> None:
        super().__init__(program, layout)
        self._earlier = earlier

    def value(self, node: Node) -> str:
        """Return the text that stands for a node."""
        if node in self._earlier and node not in self._known:
            place = self._earlier[node]
            self._known[node] = self.load(_pointer(self, place), place)
        return super().value(node)


def _pointer(values: Values, place: Place) -> str:
    return values.add(f"getelementptr inbounds i8, ptr %w, i64 {place.offset}")
