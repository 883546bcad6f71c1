"""Runs whose pictures are drawn."""

from __future__ import annotations

import pytest

import busbox.engines
from busbox import Recording, load_bench


@pytest.fixture(scope="session")
def light() -> Recording:
    """Return the run of the smallest bench, judged."""
    return load_bench("first_light").run(engine="python")


@pytest.fixture(autouse=True)
def _quick_engine(_watch_ports: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whole benches are run here: on the engine that is quick for those."""
    monkeypatch.setattr(busbox.engines, "preferred", lambda *_: "python")
