"""One worker for all tests of this folder that a process runs."""

from __future__ import annotations

import sys
from collections.abc import Iterator

import pytest

from tests.fuzz.running import Runner


@pytest.fixture(scope="session")
def runner(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Runner]:
    """A worker."""
    if not sys.platform.startswith("linux"):
        pytest.skip("a worker limits its memory as Linux does")
    with Runner(tmp_path_factory.mktemp("fuzz")) as started:
        yield started
