"""Who runs the variants: this process, processes of its own, or any executor."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from concurrent.futures.process import BrokenProcessPool
from functools import cache
from typing import Any

from busbox.basics.errors import InputError, format_error
from busbox.bench.kept_traffic import KeptTraffic
from busbox.engines import Engine, EngineFactory, engine_class, for_many_runs
from busbox.variants.keeping import MESSAGE, Row

Task = Callable[[], Row]
#: ``done(number, row)``, called in this process as soon as a variant is finished.
Done = Callable[[int, Row], None]
#: How often a variant is tried whose worker ends.
TRIES = 2
#: Variants at once for each worker: the next one is there before the last is finished.
AHEAD = 4
#: Seconds of work that are not worth a second process.
SHORT = 3.0


def cores() -> int:
    """Return the number of cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


@cache
def kept_engine(name: str) -> EngineFactory:
    """Return what makes engines of a name in this process; they use a design that is there again.

    Threads make them one after another: they share designs, and Python 3.11 does not make syntax trees
    in two threads at once.
    """
    factory, lock = for_many_runs(engine_class(name)), threading.Lock()

    def made(*parts: Any) -> Engine:
        with lock:
            return factory(*parts)

    return made


@cache
def kept_traffic() -> KeptTraffic:
    """Return the traffic files that were parsed in this process."""
    return KeptTraffic()


def forget_designs() -> None:
    """Build designs anew: a file that a device's settings name may have been changed meanwhile."""
    kept_engine.cache_clear()
    kept_traffic.cache_clear()


def in_process(tasks: Mapping[int, Task], done: Done) -> None:
    """Run the variants one after another."""
    for number, task in tasks.items():
        done(number, task())


def on_processes(tasks: Mapping[int, Task], done: Done, jobs: int | None) -> None:
    """Run the variants in processes; a process that is killed is replaced, its variants tried again.

    Parameters
    ----------
    jobs : how many; None for one a core, and none at all if the first variants show that the rest
        takes no longer than a process needs to start, or if they cannot be sent to a process

    Raises
    ------
    InputError : processes are asked for, and the variants cannot be sent to them
    """
    left = dict(tasks)
    if jobs is not None:
        _check_sendable(left)
    else:
        jobs = cores()
        begun, number = time.monotonic(), 0
        for number, task in tasks.items():
            done(number, task())
            del left[number]
            spent = time.monotonic() - begun
            share = spent / (len(tasks) - len(left)) * len(left)
            if jobs > 1 and share > SHORT and spent > 0.2 and not _unsendable(task):
                break
    while left:
        workers = _pool(min(jobs, len(left)))
        try:
            for number, future in _completed(workers, left, jobs * AHEAD):
                row = future.result()
                del left[number]
                done(number, row)
        except BrokenProcessPool:
            _one_by_one(list(left)[: jobs * AHEAD], left, done)
        except BaseException:
            _kill(workers)
            raise
        finally:
            workers.shutdown(cancel_futures=True)


def _check_sendable(tasks: Mapping[int, Task]) -> None:
    for task in list(tasks.values())[:1]:
        problem = _unsendable(task)
        if problem:
            text = f"the bench cannot be sent to another process ({problem}); jobs must be 1"
            raise InputError.of(text, "jobs")


def _unsendable(task: Task) -> str:
    """Return why a variant cannot be sent to another process, "" if it can."""
    try:
        pickle.dumps(task)
    except Exception as error:  # whatever the objects of the bench raise
        return format_error(error)
    return ""


def _pool(jobs: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn"), _begin)


def _one_by_one(numbers: list[int], left: dict[int, Task], done: Done) -> None:
    """After a worker has ended: run what was under way alone, so that it is known which ends it."""
    tries = dict.fromkeys(numbers, 0)
    while numbers:
        worker = _pool(1)
        try:
            while numbers:
                row = worker.submit(_call, left[numbers[0]]).result()
                del left[numbers[0]]
                done(numbers.pop(0), row)
        except BrokenProcessPool:
            tries[numbers[0]] += 1
            if tries[numbers[0]] == TRIES:
                del left[numbers[0]]
                message = f"the process that ran it ended, {TRIES} times"
                done(numbers.pop(0), {MESSAGE: message})
        except BaseException:
            _kill(worker)
            raise
        finally:
            worker.shutdown(cancel_futures=True)


def on_executor(executor: Executor, tasks: Mapping[int, Task], done: Done) -> None:
    """Run the variants on any executor; one that fails there is tried again.

    Raises
    ------
    InputError : the executor breaks down, or cancels variants: what is finished is kept
    """
    try:
        _on_executor(executor, tasks, done)
    except (CancelledError, BrokenExecutor) as error:
        text = f"the executor ended before all variants were run: {format_error(error)}"
        raise InputError.of(text, "executor") from None


def _on_executor(executor: Executor, tasks: Mapping[int, Task], done: Done) -> None:
    left, tries = dict(tasks), dict.fromkeys(tasks, 0)
    while left:
        for number, future in _completed(executor, left, max(cores(), 8) * AHEAD):
            error = future.exception()
            if isinstance(error, BrokenExecutor):
                raise error
            if error is None:
                row = future.result()
            else:
                tries[number] += 1
                if tries[number] < TRIES:
                    continue
                row = {MESSAGE: f"the worker that ran it failed: {format_error(error)}"}
            del left[number]
            done(number, row)


def _completed(
    executor: Executor, tasks: Mapping[int, Task], most: int
) -> Iterator[tuple[int, Future[Row]]]:
    """Yield the tasks as they are finished, with no more than ``most`` under way."""
    waiting = iter(list(tasks.items()))
    under_way: dict[Future[Row], int] = {}
    try:
        while True:
            for number, task in waiting:
                under_way[executor.submit(_call, task)] = number
                if len(under_way) >= most:
                    break
            if not under_way:
                return
            finished, _ = wait(under_way, return_when=FIRST_COMPLETED)
            for future in sorted(finished, key=under_way.__getitem__):
                yield under_way.pop(future), future
    finally:
        for future in under_way:
            future.cancel()


def _call(task: Task) -> Row:
    return task()


def _begin() -> None:
    """Leave Ctrl-C to the process that started this one, and end when that is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _kill(workers: Any) -> None:
    """End the processes at once: what they were running is run again next time."""
    for process in list((workers._processes or {}).values()):
        process.kill()
