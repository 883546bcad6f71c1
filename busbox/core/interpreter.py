"""The text of the core as one Python function."""

from __future__ import annotations

import ast
from collections.abc import Callable
from functools import cache
from typing import Any

from busbox.core.machine import CHANGING, CONSTANTS, STATE, cases, halved, text

#: ``run(state, x, m8, m16, m32, code, journal)``.
Run = Callable[[Any, Any, Any, Any, Any, Any, Any], None]


class _Python(ast.NodeTransformer):
    """Puts numbers in the place of constants, and stores the state before each return."""

    def visit_Name(self, node: ast.Name) -> ast.expr:
        """Replace a constant by its number."""
        known = node.id in CONSTANTS
        return ast.Constant(CONSTANTS[node.id]) if known else node

    def visit_Return(self, node: ast.Return) -> list[ast.stmt]:
        """Store what a run changes, then leave."""
        count = len(CHANGING)
        return [*ast.parse(f"state[:{count}] = ({', '.join(CHANGING)})").body, node]


@cache
def interpreter() -> Run:
    """Return the function; it is made on first use."""
    body = _Python().visit(ast.parse(text(halved(cases()))))
    lines = ast.unparse(ast.fix_missing_locations(body)).splitlines()
    source = "\n".join(
        [
            "def run(state, x, m8, m16, m32, code, journal):",
            f"    ({', '.join(STATE)}) = state",
            "    while True:",
            *(f"        {line}" for line in lines),
        ]
    )
    scope: dict[str, Any] = {}
    exec(compile(source, "<core>", "exec"), scope)
    run: Run = scope["run"]
    return run
