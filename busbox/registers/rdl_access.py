"""Access types as properties of SystemRDL, for writing and for reading."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from busbox.map.registers import ACCESS_TYPES

#: The properties of a field of each access type.
RDL_ACCESS: Mapping[str, Sequence[tuple[str, str]]] = {
    "rw": (("sw", "rw"), ("hw", "r")),
    "ro": (("sw", "r"), ("hw", "w")),
    "wo": (("sw", "w"), ("hw", "r")),
    "ones_clear": (("sw", "rw"), ("hw", "w"), ("hwset", "true"), ("onwrite", "woclr")),
    "ones_act": (("sw", "w"), ("hw", "r"), ("singlepulse", "true")),
}
#: Those of ``ones_act`` where ``singlepulse`` is not allowed. Source: SystemRDL 2.0, 9.8.1.
WIDE_PULSE = (("sw", "w"), ("hw", "rw"), ("hwclr", "true"), ("onwrite", "woset"))


def default_access(fields: Iterable[str]) -> str:
    """Return the access type that a register has if nothing names it: that of most of its fields.

    Of several, the first in the order of the access types.
    """
    found = list(fields)
    return max(ACCESS_TYPES, key=found.count)
