"""Every test watches every port with the Wishbone rule checker."""

from __future__ import annotations

import pytest

from busbox.engines.reference import ReferenceEngine


@pytest.fixture(autouse=True)
def _watch_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ReferenceEngine, "watch_ports", True)
