"""Tests marked ``alone`` end processes of a pool: each is run in a process of pytest of its own."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

#: What says that several processes of pytest share the tests.
SHARED = "PYTEST_XDIST_WORKER"


@pytest.hookimpl(tryfirst=True)
def pytest_pyfunc_call(pyfuncitem: pytest.Function) -> bool | None:
    """Run a test that is marked ``alone`` in a process of its own, where processes share the tests."""
    if pyfuncitem.get_closest_marker("alone") is None or SHARED not in os.environ:
        return None
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")
    }
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n0", "-p", "no:cacheprovider", pyfuncitem.nodeid],
        cwd=pyfuncitem.config.rootpath, env=environment, capture_output=True, text=True,
        encoding="utf-8", timeout=110, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
    return True
