"""Every test watches every port with the Wishbone rule checker."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from busbox.engines.reference import ReferenceEngine


@pytest.fixture(autouse=True)
def _watch_ports(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(ReferenceEngine, "watch_ports", True)
    yield
