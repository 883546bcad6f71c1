"""What the netlist part says no with."""

from __future__ import annotations

from busbox.basics.errors import EngineError


class NetlistError(EngineError):
    """A design, or the text of one, that is not turned into fast code.

    Attributes
    ----------
    where : hierarchical name of what it is about
    line : line of the netlist text, counted from 1, or None
    """

    def __init__(self, text: str, where: str, line: int | None = None) -> None:
        place = where if line is None else f"{where} (line {line} of the netlist)"
        super().__init__(f"{place}: {text}")
        self.where = where
        self.line = line
