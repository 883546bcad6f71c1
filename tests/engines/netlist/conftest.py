"""The other process in which machine code runs."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.engines.netlist.apart import Apart


@pytest.fixture(scope="session")
def apart() -> Iterator[Apart]:
    """Return what calls functions in another process."""
    found = Apart()
    yield found
    found.close()
