"""The text of the core as one Python function, which executes whatever is in no block.

Beside what the text says, it counts where it arrives by a jump, a trap or a return, and leaves there
once that has happened often (see :mod:`busbox.core.blocks`), and notes which words of blocks its stores
have changed.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Sequence
from functools import cache
from textwrap import indent
from typing import Any

from busbox.core.dispatch import halved
from busbox.core.machine import CHANGING, CONSTANTS, FETCH, GIVEN, TAIL, TOP, cases

#: ``run()``: execute; return whether it was left at an address that is arrived at often.
Run = Callable[[], bool]
#: What an interpreter works on. ``heat``: address to arrivals, below 0 if they do not count yet;
#: ``marked``: word of the contents to whether it is in a block; ``stale``: those that were changed;
#: ``often``: it leaves after so many arrivals.
WORKS_ON = ("state", "x", "m8", "m16", "m32", "code", "journal", "heat", "marked", "stale", "often")

_COUNT = """
if pc != follow and fresh == 0:
    p = heat.get(pc, 0) + 1
    heat[pc] = p
    if p > often:
        return True
"""
#: The first instruction of a handler does not count: after it, ``fresh`` is 0.
_FOLLOW = "follow = -1 if fresh else next"
_STALE = "if marked[place >> 2]:\n    stale.append(place >> 2)"


class _Python(ast.NodeTransformer):
    """Puts numbers in the place of constants, and stores the state before each return."""

    def visit_Name(self, node: ast.Name) -> ast.expr:
        """Replace a constant by its number."""
        known = node.id in CONSTANTS
        return ast.Constant(CONSTANTS[node.id]) if known else node

    def visit_Return(self, node: ast.Return) -> list[ast.stmt]:
        """Store what a run changes, then leave."""
        count = len(CHANGING)
        node.value = node.value or ast.Constant(False)
        return [*ast.parse(f"state[:{count}] = ({', '.join(CHANGING)})").body, node]

    def visit_Assign(self, node: ast.Assign) -> list[ast.stmt]:
        """Note a store into a word of a block."""
        self.generic_visit(node)
        to = node.targets[0]
        stored = isinstance(to, ast.Subscript) and ast.unparse(to.value) in ("m8", "m16", "m32")
        return [node, *(ast.parse(_STALE).body if stored else [])]


@cache
def _make() -> Callable[..., Run]:
    parts = (TOP, _COUNT, FETCH, _FOLLOW, halved(cases()), TAIL)
    body = _Python().visit(ast.parse("\n".join(part.strip() for part in parts)))
    lines = ast.unparse(ast.fix_missing_locations(body))
    source = f"""
def make({", ".join((*WORKS_ON, *GIVEN))}):
    def run():
        ({", ".join(CHANGING)}) = state[:{len(CHANGING)}]
        follow = p_next if pending else pc
        while True:
{indent(lines, " " * 12)}
    return run
"""
    scope: dict[str, Any] = {}
    exec(compile(source, "<core>", "exec"), scope)
    made: Callable[..., Run] = scope["make"]
    return made


def interpreter(works_on: Sequence[Any], given: dict[str, int]) -> Run:
    """Return the function for one core; its source is made on first use.

    Parameters
    ----------
    works_on : as in :data:`WORKS_ON`
    given : the numbers of the state that stay as they are
    """
    return _make()(*works_on, *(given.get(name, 0) for name in GIVEN))
