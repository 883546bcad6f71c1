"""Tests run on the engine reference, and watch every port with the Wishbone rule checker.

That engine is the judge, and the quickest for a few hundred cycles. Tests of the other engines name
them (tests/engines); where whole benches are run again and again (tests/cli, tests/board), it is
python.

What ``Bench.run`` and the verbs ask for is built once in a session and used again by every test that
runs the same hardware; ``tests/engines/test_built_again.py`` holds that this changes nothing. A test
that changes how a design or a kernel is built asks for ``built_afresh``.

Properties draw other examples in every run, but not in CI, where a run says something of the change
alone; ``make test-long`` and everybody's own runs look for what is not known yet.

Every test has a limit (``timeout`` in pyproject.toml; :data:`LONG` for those marked ``long``), and ends
the processes that it starts.
"""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

import busbox.engines
from busbox.basics.cache import VARIABLE
from busbox.basics.strangers import ALLOW_OUTSIDE, VARIABLES
from busbox.engines import EngineFactory, engine_class, for_many_runs
from busbox.engines.reference import ReferenceEngine
from busbox.testing.bench_items import BenchItem
from tests.browser import launched
from tests.npm import installed

#: Tests keep nothing on disk but in folders of their own, nor do the processes that they start.
os.environ[VARIABLE] = "off"

settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")


#: Seconds after which a test marked ``long`` has failed.
LONG = 7200


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give tests marked ``long`` their limit; benches, which nothing can mark, are ``quick``."""
    for item in items:
        if isinstance(item, BenchItem):
            item.add_marker(pytest.mark.quick)
        if item.get_closest_marker("long"):
            item.add_marker(pytest.mark.timeout(LONG))


@pytest.fixture(autouse=True)
def _usual_signals() -> None:
    """Have signals do what they do in a process that Python starts at a terminal.

    A library that reads waveforms lets SIGPIPE end us: a process of a pool that is killed while a
    task is written to it would take the tests along. And whoever starts the tests in the background
    may ignore SIGINT and SIGHUP, which our child processes would inherit.
    """
    if hasattr(signal, "SIGPIPE"):
        signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    for name, usual in (("SIGINT", signal.default_int_handler), ("SIGHUP", signal.SIG_DFL)):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, usual)


@pytest.fixture(autouse=True)
def _no_process_left(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fail a test that ends while a process which it has started still runs; end that, too."""
    started: list[subprocess.Popen[Any]] = []
    start = subprocess.Popen.__init__

    def noting(process: subprocess.Popen[Any], *args: Any, **options: Any) -> None:
        start(process, *args, **options)
        started.append(process)

    monkeypatch.setattr(subprocess.Popen, "__init__", noting)
    yield
    left = [process for process in started if process.poll() is None]
    for process in left:
        process.kill()
        process.wait()
    assert not left, [process.args for process in left]


@pytest.fixture
def files_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    """Benches of this test name files of other tests: ``busbox guide strangers`` has the rule."""
    monkeypatch.setenv(VARIABLES[ALLOW_OUTSIDE], "1")


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A headless browser, one for all tests that need one."""
    with launched() as found:
        yield found


@pytest.fixture(scope="session")
def npm_tools(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the tools of ``package.json``, installed for this session."""
    return installed(tmp_path_factory.mktemp("npm"))


@pytest.fixture(scope="session")
def _built() -> Callable[[str], EngineFactory]:
    """Return what stands for ``engine_class``: factories that keep what they have built."""
    factories: dict[EngineFactory, EngineFactory] = {}

    def keeping(name: str = busbox.engines.DEFAULT_ENGINE) -> EngineFactory:
        factory = engine_class(name)
        if factory not in factories:
            factories[factory] = for_many_runs(factory)
        return factories[factory]

    return keeping


@pytest.fixture(autouse=True)
def _watch_ports(monkeypatch: pytest.MonkeyPatch, _built: Callable[[str], EngineFactory]) -> None:
    monkeypatch.setattr(ReferenceEngine, "watch_ports", True)
    monkeypatch.setattr(busbox.engines, "preferred", lambda *_: "reference")
    monkeypatch.setattr(busbox.engines, "engine_class", _built)


@pytest.fixture
def built_afresh(_watch_ports: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have every run of this test build what it runs, and leave nothing built to other tests."""
    monkeypatch.setattr(busbox.engines, "engine_class", engine_class)
