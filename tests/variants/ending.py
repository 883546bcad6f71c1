"""Variants that end their process, run in a process of its own, which prints what was found."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import sys
from concurrent.futures import ProcessPoolExecutor
from typing import Any

from busbox.basics.errors import InputError
from busbox.variants.working import on_executor, on_processes


class Task:
    """A task that gives its number; number 1 ends its process."""

    def __init__(self, number: int) -> None:
        self.number = number

    def __call__(self) -> dict[str, Any]:
        """Return a row."""
        if self.number == 1:
            os.kill(os.getpid(), signal.SIGKILL)
        return {"message": None, "n": self.number}


def main(name: str) -> None:
    """Run three tasks in our own processes, or in a pool that breaks down; print rows and message."""
    tasks, found, told = {number: Task(number) for number in range(3)}, {}, ""
    if name == "own":
        on_processes(tasks, found.__setitem__, 1)
    else:
        with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
            try:
                on_executor(pool, tasks, found.__setitem__)
            except InputError as error:
                told = str(error)
    print(json.dumps([sorted(found.items()), told]))


if __name__ == "__main__":
    main(sys.argv[1])
