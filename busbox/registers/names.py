"""Names for other languages: identifiers that never collide.

The names of slots, registers and fields become *stems* of capitals, digits and single underscores:
``LAMPS``, ``LAMPS_HIGH``, ``LAMPS_HIGH_ZERO``. Where two would be equal, the later one gets a number at
its end that no other name has.
"""

from __future__ import annotations

import re
from collections.abc import Iterable


def identifier(text: str) -> str:
    """Return a name as ASCII letters, digits and single underscores; ``X`` if nothing is left."""
    return re.sub(r"[^A-Za-z0-9]+", "_", text).strip("_") or "X"


def stem(*parts: str) -> str:
    """Return the stem of some names, the outermost first."""
    return "_".join(identifier(part).upper() for part in parts)


class Names:
    """Gives out names, each only once.

    Parameters
    ----------
    wanted : every name that will be asked for, so that a numbered one is none of them
    """

    def __init__(self, wanted: Iterable[str] = ()) -> None:
        self._wanted = set(wanted)
        self._given: set[str] = set()

    def give(self, name: str) -> str:
        """Return ``name``, or the name with a number if it has been given already."""
        found, number = name, 1
        while found in self._given or (number > 1 and found in self._wanted):
            number += 1
            found = f"{name}_{number}"
        self._given.add(found)
        return found
