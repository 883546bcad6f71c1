"""Whole benches are run here, thousands of rows each: on the engine that is quick for those."""

from __future__ import annotations

import pytest

import busbox.engines


@pytest.fixture(autouse=True)
def _quick_engine(_watch_ports: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(busbox.engines, "preferred", lambda *_: "python")
