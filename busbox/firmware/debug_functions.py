"""The functions of a firmware and what is inlined in them, by address.

Source of all rules: DWARF 5 standard, sections 2.17 (addresses), 3.3 (functions) and 7.7.3 (forms);
the earlier versions are the same but for the section that holds address ranges.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

from busbox.basics.errors import format_value
from busbox.basics.ranges import Ranges
from busbox.firmware.debug_lines import Unusable, plain, read_lines

#: What the debug information of a unit is called if it is kept in another file.
_ELSEWHERE = ("DW_AT_dwo_name", "DW_AT_GNU_dwo_name")
#: Attributes that lead to the rest of an entry without a name.
_ORIGINS = ("DW_AT_abstract_origin", "DW_AT_specification")
_NAMES = ("DW_AT_name", "DW_AT_linkage_name", "DW_AT_MIPS_linkage_name")


@dataclass(eq=False)
class Function:
    """One function in memory.

    Attributes
    ----------
    names : the name in the source, then the linker's, if that differs; empty if unknown
    ranges : (first address, address after the last) of each of its pieces
    inlined : (first address, address after the last, (depth, name)): what is inlined, outer first
    lines : (file, line) of the addresses of its unit
    """

    names: tuple[str, ...]
    ranges: list[tuple[int, int]]
    inlined: list[tuple[int, int, tuple[int, str]]] = field(default_factory=list)
    lines: Ranges[tuple[str, int]] = field(default_factory=lambda: Ranges([]))

    def chain(self, address: int) -> tuple[str, ...] | None:
        """Return the functions inlined at an address, innermost first; None if ambiguous.

        It is ambiguous where two are inlined side by side, or one has no name.
        """
        inlined = [entry for low, high, entry in self.inlined if low <= address < high]
        nested = [depth for depth, _ in inlined] == list(range(len(inlined)))
        names = tuple(name for _, name in reversed(inlined))
        return names if nested and all(names) else None


def read_functions(dwarf: Any, at_zero: Collection[str]) -> Ranges[Function]:
    """Return every function that has a name and an address.

    Parameters
    ----------
    dwarf : pyelftools' object of the debug information
    at_zero : the linker's names of the functions at address 0. Linkers also write 0 for the address
        of a function they left out, so any other name there is not part of the program.

    Raises
    ------
    Unusable : it is inconsistent, or kept in another file
    """
    spans = []
    for unit in dwarf.iter_CUs():
        functions = [function for function in _unit(dwarf, unit) if function.names]
        for function in functions:
            if not set(function.names) & set(at_zero):
                function.ranges = [span for span in function.ranges if span[0] != 0]
        kept = [(low, high, function) for function in functions for low, high in function.ranges]
        if kept:
            from_zero = max(high if low == 0 else 0 for low, high, _ in kept)
            lines = read_lines(dwarf, unit, from_zero)
        for _, _, function in kept:
            function.lines = lines
        spans += kept
    return Ranges(spans)


def _unit(dwarf: Any, unit: Any) -> list[Function]:
    """Return the functions of a unit that have an address, without their lines."""
    top = unit.get_top_DIE()
    for key in _ELSEWHERE:
        if key in top.attributes:
            raise Unusable(
                "the debug information must be in this file, not in "
                f"{format_value(plain(top.attributes[key].value))}; compile without -gsplit-dwarf"
            )
    base = top.attributes["DW_AT_low_pc"].value if "DW_AT_low_pc" in top.attributes else 0
    functions: list[Function] = []
    outer: list[tuple[Function | None, int]] = []
    for entry in list(unit.iter_DIEs()):  # a list: to look up names reads other entries
        if entry.is_null():
            del outer[-1:]  # a unit may be filled up with such entries after its end
            continue
        function, depth = outer[-1] if outer else (None, 0)
        if entry.tag == "DW_TAG_subprogram":
            ranges = list(_ranges(dwarf, entry, base))
            function, depth = Function(_names(entry) if ranges else (), ranges), 0
            functions.append(function)
        elif entry.tag == "DW_TAG_inlined_subroutine" and function is not None:
            inlined = (depth, next(iter(_names(entry)), ""))
            function.inlined += [(*span, inlined) for span in _ranges(dwarf, entry, base)]
            depth += 1
        if entry.has_children:
            outer.append((function, depth))
    return [function for function in functions if function.ranges]


def _ranges(dwarf: Any, entry: Any, base: int) -> Iterator[tuple[int, int]]:
    """Yield (first address, address after the last) of each piece of an entry's code."""
    attributes = entry.attributes
    if "DW_AT_ranges" in attributes:
        pieces = dwarf.range_lists().get_range_list_at_offset(
            attributes["DW_AT_ranges"].value, entry.cu
        )
        for piece in pieces:
            if hasattr(piece, "base_address"):
                base = piece.base_address
            else:
                offset = 0 if piece.is_absolute else base
                yield piece.begin_offset + offset, piece.end_offset + offset
    elif "DW_AT_low_pc" in attributes and "DW_AT_high_pc" in attributes:
        low, high = attributes["DW_AT_low_pc"].value, attributes["DW_AT_high_pc"]
        is_address = high.form.startswith("DW_FORM_addr")  # addr, addrx, addrx1 to addrx4
        yield low, high.value if is_address else low + high.value


def _names(entry: Any) -> tuple[str, ...]:
    """Return the names of a function: its own, or those of its origin.

    Raises
    ------
    Unusable : its origin is the function itself
    """
    names: dict[str, str] = {}
    seen = set()
    while True:
        seen.add(entry.offset)
        for key in _NAMES:
            if key in entry.attributes:
                names.setdefault(key, plain(entry.attributes[key].value))
        origin = next((key for key in _ORIGINS if key in entry.attributes), None)
        if origin is None:
            return tuple(dict.fromkeys(names[key] for key in _NAMES if key in names))
        entry = entry.get_DIE_from_attribute(origin)
        if entry.offset in seen:
            raise Unusable("a function's origin must be another function, not itself")
