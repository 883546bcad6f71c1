"""Who runs the variants: processes, threads, any executor; what a worker that ends leaves."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

import busbox
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.variants import working
from busbox.variants.keeping import Row
from busbox.variants.working import TRIES, in_process, on_executor, on_processes

posix = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")


class Number:
    """A task that gives its number and who ran it."""

    def __init__(self, number: int) -> None:
        self.number = number

    def __call__(self) -> Row:
        return {"message": None, "n": self.number, "pid": os.getpid()}


class Ends(Number):
    """A task that ends its process as long as a file is missing."""

    def __init__(self, number: int, flag: str) -> None:
        super().__init__(number)
        self.flag = flag

    def __call__(self) -> Row:
        if not os.path.exists(self.flag):
            Path(self.flag).touch()
            os.kill(os.getpid(), signal.SIGKILL)
        return super().__call__()


class Raises(Number):
    """A task that raises until it has been tried so often."""

    def __init__(self, number: int, fine: int) -> None:
        super().__init__(number)
        self.tried, self.fine = 0, fine

    def __call__(self) -> Row:
        self.tried += 1
        if self.tried < self.fine:
            raise OSError("no room")
        return super().__call__()


class AtOnce(Executor):
    """An executor that runs a task when it is submitted, and counts how many are under way."""

    def __init__(self) -> None:
        self.submitted = 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Run it now."""
        self.submitted += 1
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def numbers(found: dict[int, Row]) -> dict[int, Any]:
    """Return the number of each row, or its message."""
    return {number: row.get("n", row["message"]) for number, row in found.items()}


def in_two(tasks: Any, done: Any) -> None:
    """Run in two processes."""
    on_processes(tasks, done, 2)


def as_many_as_worth(tasks: Any, done: Any) -> None:
    """Run in as many processes as are worth it."""
    on_processes(tasks, done, None)


def in_threads(tasks: Any, done: Any) -> None:
    """Run in threads."""
    with ThreadPoolExecutor(3) as threads:
        on_executor(threads, tasks, done)


def at_once(tasks: Any, done: Any) -> None:
    """Run on an executor of one's own."""
    on_executor(AtOnce(), tasks, done)


@pytest.mark.parametrize("way", [in_process, as_many_as_worth, in_two, in_threads, at_once])
def test_every_task_is_done_once(way: Any) -> None:
    """Each way calls back once for each task, in the thread of the caller."""
    calls: list[int] = []
    threads: set[int] = set()

    def done(number: int, row: Row) -> None:
        calls.append(number)
        threads.add(threading.get_ident())
        assert row["n"] == number

    way({number: Number(number) for number in range(40)}, done)
    assert sorted(calls) == list(range(40))
    assert threads == {threading.get_ident()}
    way({}, done)
    assert len(calls) == 40


def test_processes_are_others_and_a_short_sweep_needs_none() -> None:
    """With a number they run elsewhere; without one a few quick tasks stay here."""
    found: dict[int, Row] = {}
    in_two({0: Number(0)}, found.__setitem__)
    assert found[0]["pid"] != os.getpid()
    as_many_as_worth({number: Number(number) for number in range(3)}, found.__setitem__)
    assert {row["pid"] for row in found.values()} == {os.getpid()}


def test_a_long_sweep_goes_to_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    """If the first tasks show that the rest takes long, it is run elsewhere."""
    monkeypatch.setattr(working, "SHORT", 0.0)
    monkeypatch.setattr(working, "cores", lambda: 2)
    clock = iter(range(1000))
    monkeypatch.setattr(working.time, "monotonic", lambda: float(next(clock)))
    found: dict[int, Row] = {}
    on_processes({number: Number(number) for number in range(4)}, found.__setitem__, None)
    monkeypatch.undo()
    assert numbers(found) == {number: number for number in range(4)}
    assert [found[number]["pid"] == os.getpid() for number in range(4)] == [True, *[False] * 3]


@posix
def test_after_an_end_all_else_goes_on(tmp_path: Path) -> None:
    """A process that is killed once: every row is there, and no process is left."""
    tasks: dict[int, Number] = {number: Number(number) for number in range(12)}
    tasks[5] = Ends(5, str(tmp_path / "flag"))
    found: dict[int, Row] = {}
    in_two(tasks, found.__setitem__)
    assert numbers(found) == {number: number for number in range(12)}
    assert (tmp_path / "flag").exists()
    assert not multiprocessing.active_children()


def test_a_stop_in_the_middle_leaves_no_process() -> None:
    """Ctrl-C while rows come in: it goes on to the caller, and the workers are ended."""

    def stop(number: int, row: Row) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        in_two({number: Number(number) for number in range(12)}, stop)
    assert not multiprocessing.active_children()


@pytest.mark.parametrize("fine", [1, TRIES, TRIES + 1])
def test_a_worker_that_fails_is_asked_again(fine: int) -> None:
    """Up to ``TRIES`` times; then the row says what the worker said, and all others are there."""
    tasks: dict[int, Number] = {number: Number(number) for number in range(4)}
    failing = Raises(2, fine)
    found: dict[int, Row] = {}
    on_executor(AtOnce(), {**tasks, 2: failing}, found.__setitem__)
    told = "the worker that ran it failed: OSError: no room"
    assert numbers(found) == {0: 0, 1: 1, 2: 2 if fine <= TRIES else told, 3: 3}
    assert failing.tried == min(fine, TRIES)


def test_an_executor_that_cancels_is_told() -> None:
    """As where a cluster goes away: no row says that the variant failed."""

    class Cancels(AtOnce):
        """An executor that cancels its third task."""

        def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
            """Run it now, or cancel it."""
            future = super().submit(fn, *args, **kwargs)
            if self.submitted == 3:
                future = Future()
                future.cancel()
                future.set_running_or_notify_cancel()
            return future

    found: dict[int, Row] = {}
    with pytest.raises(InputError, match="ended before all variants were run: CancelledError"):
        on_executor(Cancels(), {n: Number(n) for n in range(4)}, found.__setitem__)
    assert all("n" in row for row in found.values())


def test_few_tasks_are_under_way_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stop loses no more than those: the next is submitted when one is finished."""
    monkeypatch.setattr(working, "cores", lambda: 1)
    executor = AtOnce()
    seen: list[int] = []
    tasks = {number: Number(number) for number in range(100)}
    on_executor(executor, tasks, lambda number, row: seen.append(executor.submitted))
    assert seen[0] == 8 * working.AHEAD
    assert executor.submitted == 100


# The rows of a sweep.


def _drive(bus: Any) -> None:
    bus.write("levers.OUT", bus.read("levers.OUT") + 1)


def small(traffic: Any) -> Bench:
    """Return a bench with one slot that a function drives."""
    slots = {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}}
    return Bench({"clock": "1 MHz", "slot": slots, "traffic": traffic})


VARY = {"slot.levers.wait": [0, 1, 2, 3], "clock": ["1 MHz", "2 MHz"]}


def test_a_bench_of_python_objects_is_swept_by_all() -> None:
    """Functions of a module are sent to processes; rows are the same everywhere."""
    alone = busbox.sweep(small(_drive), VARY, engine="python", jobs=1).rows
    assert all(row["message"] is None for row in alone)
    assert busbox.sweep(small(_drive), VARY, engine="python", jobs=2).rows == alone
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, context) as processes:
        found = busbox.sweep(small(_drive), VARY, engine="python", executor=processes)
    assert found.rows == alone


@pytest.mark.parametrize("engine", ["python", "llvm", "reference"])
def test_threads_share_what_is_built(engine: str) -> None:
    """More threads than designs: rows are those of one process."""
    if engine == "llvm":
        pytest.importorskip("llvmlite")
    alone = busbox.sweep(small(_drive), VARY, ["cycles"], engine=engine, jobs=1).rows
    working.kept_engine.cache_clear()
    with ThreadPoolExecutor(6) as threads:
        found = busbox.sweep(small(_drive), VARY, ["cycles"], engine=engine, executor=threads)
    assert found.rows == alone
    assert [row["cycles"] for row in alone[::2]] == [4, 6, 8, 10]


def test_what_cannot_be_sent_is_told_or_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """A function without a name: refused where processes are asked for, else run here."""
    bench = small(lambda bus: bus.write("levers.OUT", 1))
    with pytest.raises(InputError, match=r"^jobs: the bench cannot be sent to another process"):
        busbox.sweep(bench, VARY, ["cycles"], engine="python", jobs=2)
    monkeypatch.setattr(working, "SHORT", 0.0)
    monkeypatch.setattr(working, "cores", lambda: 2)
    clock = iter(range(1_000_000))
    monkeypatch.setattr(working.time, "monotonic", lambda: float(next(clock)))
    found = busbox.sweep(bench, VARY, ["cycles"], engine="python")
    assert [row["cycles"] for row in found.rows[::2]] == [3, 4, 5, 6]
