"""Which cells there are, what each must have, and which are refused.

Source: the cells that ``amaranth/back/rtlil.py`` of Amaranth 0.5 can print, with all the ports and
parameters that it prints for each. A cell that has one more or one less is an error.
"""

from __future__ import annotations

from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.text import Bits, Cell, Piece, width_of

#: What stands before a name that a user gave.
BACKSLASH = "\\"

_Shape = tuple[dict[str, str | int | None], tuple[str, ...]]
_ONE: _Shape = ({"A": "A_WIDTH", "Y": "Y_WIDTH"}, ("A_SIGNED",))
_TWO: _Shape = ({"A": "A_WIDTH", "B": "B_WIDTH", "Y": "Y_WIDTH"}, ("A_SIGNED", "B_SIGNED"))

#: Cells of one operand and of two.
UNARY = ("$not", "$neg", "$reduce_bool", "$reduce_or", "$reduce_and", "$reduce_xor")
BINARY = (
    "$add", "$sub", "$mul", "$divfloor", "$modfloor", "$shl", "$shr", "$sshr", "$shift", "$and",
    "$or", "$xor", "$eq", "$ne", "$lt", "$gt", "$le", "$ge",
)  # fmt: skip
#: Binary cells whose second operand is a number of places: it is never signed.
SHIFTS = ("$shl", "$shr", "$sshr", "$shift")

#: Ports of a kind with the parameter that gives the width (or the width itself), and the parameters
#: beside those.
SHAPES: dict[str, _Shape] = {
    **dict.fromkeys(UNARY, _ONE),
    **dict.fromkeys(BINARY, _TWO),
    "$mux": ({"S": 1, "A": "WIDTH", "B": "WIDTH", "Y": "WIDTH"}, ()),
    "$dff": ({"D": "WIDTH", "CLK": 1, "Q": "WIDTH"}, ("CLK_POLARITY",)),
    "$adff": (
        {"D": "WIDTH", "CLK": 1, "Q": "WIDTH", "ARST": 1},
        ("CLK_POLARITY", "ARST_POLARITY", "ARST_VALUE"),
    ),
    "$meminit_v2": (
        {"ADDR": "ABITS", "DATA": None, "EN": "WIDTH"},
        ("MEMID", "WORDS", "PRIORITY"),
    ),
    "$memwr_v2": (
        {"ADDR": "ABITS", "DATA": "WIDTH", "EN": "WIDTH", "CLK": 1},
        ("MEMID", "CLK_ENABLE", "CLK_POLARITY", "PORTID", "PRIORITY_MASK"),
    ),
    "$memrd_v2": (
        {"ADDR": "ABITS", "DATA": "WIDTH", "ARST": 1, "SRST": 1, "EN": 1, "CLK": 1},
        (
            "MEMID", "TRANSPARENCY_MASK", "COLLISION_X_MASK", "ARST_VALUE", "SRST_VALUE",
            "INIT_VALUE", "CE_OVER_SRST", "CLK_ENABLE", "CLK_POLARITY",
        ),
    ),
    "$print": (
        {"EN": 1, "ARGS": "ARGS_WIDTH", "TRG": "TRG_WIDTH"},
        ("FORMAT", "PRIORITY", "TRG_ENABLE", "TRG_POLARITY"),
    ),
    "$check": (
        {"EN": 1, "ARGS": "ARGS_WIDTH", "TRG": "TRG_WIDTH", "A": 1},
        ("FORMAT", "PRIORITY", "TRG_ENABLE", "TRG_POLARITY", "FLAVOR"),
    ),
}  # fmt: skip

#: Parameters that Amaranth always prints with one value; another one would mean something else.
FIXED: dict[str, dict[str, int]] = {
    "$memwr_v2": {"CLK_ENABLE": 1, "PRIORITY_MASK": 0},
    "$memrd_v2": {"CE_OVER_SRST": 0, "COLLISION_X_MASK": 0},
    "$meminit_v2": {"ABITS": 0, "PRIORITY": 0},
}

#: Cells that say something of a run but change nothing in it.
REPORTING = ("$print", "$check")

REFUSED = {
    "$adff": "an asynchronous reset is not run; the domain must have a synchronous one or none",
    "$tribuf": "a tristate buffer is not run; a pin must be an input or an output",
    "$anyconst": "a value that a prover chooses (AnyConst) is not run",
    "$anyseq": "a value that a prover chooses (AnySeq) is not run",
    "$initstate": "the first step of a proof (Initial) is not run",
}


def title(cell: Cell, module: str) -> str:
    """Return the hierarchical name by which a message speaks of a cell: what it drives, if named."""
    for port in ("Q", "DATA", "Y"):
        sig = cell.ports.get(port, ())
        if len(sig) == 1 and isinstance(sig[0], Piece) and cell.kind[0] == "$":
            return f"{module}.{sig[0].wire.removeprefix(BACKSLASH)}"
    return f"{module}.{cell.name.removeprefix(BACKSLASH)}"


def check(cell: Cell, module: str, modules: frozenset[str]) -> None:
    """Refuse a cell that is not run, or that has not exactly what its kind has.

    Raises
    ------
    NetlistError : with the hierarchical name of the cell
    """
    where = title(cell, module)
    if cell.kind in REFUSED:
        raise NetlistError(REFUSED[cell.kind], where)
    if cell.kind.startswith(BACKSLASH):
        if cell.kind[1:] not in modules:
            raise NetlistError(f"a black box (Instance of {cell.kind[1:]!r}) is not run", where)
        return
    if cell.kind not in SHAPES:
        raise NetlistError(f"there is no cell of the kind {cell.kind}", where, cell.line)
    _check_shape(cell, where)
    _check_meaning(cell, where)


def _check_shape(cell: Cell, where: str) -> None:
    ports, others = SHAPES[cell.kind]
    parameters = {width for width in ports.values() if isinstance(width, str)} | set(others)
    _same_names("parameter", set(cell.parameters), parameters, cell, where)
    _same_names("port", set(cell.ports), set(ports), cell, where)
    for port, width in ports.items():
        if width is None:
            continue
        expected = number(cell, width, where) if isinstance(width, str) else width
        if width_of(cell.ports[port]) != expected:
            raise NetlistError(
                f"port {port} must have {expected} bits, not {width_of(cell.ports[port])}",
                where,
                cell.line,
            )


def _same_names(what: str, found: set[str], must: set[str], cell: Cell, where: str) -> None:
    for name in sorted(must - found):
        raise NetlistError(f"{cell.kind} must have the {what} {name}", where, cell.line)
    for name in sorted(found - must):
        raise NetlistError(f"{cell.kind} has no {what} {name}", where, cell.line)


def _check_meaning(cell: Cell, where: str) -> None:
    """Refuse values of parameters that Amaranth does not print, and falling edges."""
    for name, must in FIXED.get(cell.kind, {}).items():
        if number(cell, name, where) != must:
            raise NetlistError(
                f"{name} must be {must}, not {number(cell, name, where)}", where, cell.line
            )
    if cell.kind in BINARY:
        a, b = (number(cell, name, where) for name in ("A_SIGNED", "B_SIGNED"))
        unsigned = ("$shr", "$and", "$or", "$xor")
        if (b if cell.kind in SHIFTS else a != b) or (cell.kind in unsigned and a):
            raise NetlistError(
                f"A_SIGNED {a} and B_SIGNED {b} are not known here", where, cell.line
            )
    if cell.kind == "$not" and number(cell, "A_SIGNED", where):
        raise NetlistError("A_SIGNED must be 0, not 1", where, cell.line)
    clocked = cell.kind in ("$dff", "$memwr_v2") or (
        cell.kind == "$memrd_v2" and number(cell, "CLK_ENABLE", where)
    )
    if clocked and number(cell, "CLK_POLARITY", where) != 1:
        raise NetlistError("a register on the falling edge of the clock is not run", where)


def number(cell: Cell, name: str, where: str) -> int:
    """Return a parameter that is a whole number or known bits."""
    value = cell.parameters[name]
    if isinstance(value, int):
        return value
    if isinstance(value, Bits) and value.known:
        return value.value
    raise NetlistError(f"{name} must be a whole number, not {value!r}", where, cell.line)


def name_of(cell: Cell, name: str, where: str) -> str:
    """Return a parameter that is a string."""
    value = cell.parameters[name]
    if isinstance(value, str):
        return value
    raise NetlistError(f"{name} must be a string, not {value!r}", where, cell.line)
