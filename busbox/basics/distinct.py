"""The different numbers of a column, found by sorting: NumPy's own table of hashes is slower."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def distinct(numbers: NDArray[Any]) -> NDArray[Any]:
    """Return the different ones of whole numbers, the least first, as :func:`numpy.unique` does."""
    ordered = np.sort(numbers)
    return ordered[changed(ordered)]


def changed(numbers: NDArray[Any]) -> NDArray[np.bool_]:
    """Return, for each of some numbers, whether it differs from the one before; the first does."""
    different = np.ones(len(numbers), dtype=np.bool_)
    np.not_equal(numbers[1:], numbers[:-1], out=different[1:])
    return different
