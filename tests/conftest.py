"""Tests run on the engine reference, and watch every port with the Wishbone rule checker.

That engine is the judge, and the quickest for a few hundred rows. Tests of the other engines name them
(tests/engines); where whole benches are run again and again (tests/cli, tests/board), it is python.

Properties draw other examples in every run, but not in CI, where a run says something of the change
alone; ``make test-long`` and everybody's own runs look for what is not known yet.
"""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

import busbox.engines
from busbox.engines.reference import ReferenceEngine

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")


@pytest.fixture(autouse=True)
def _watch_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ReferenceEngine, "watch_ports", True)
    monkeypatch.setattr(busbox.engines, "preferred", lambda: "reference")
