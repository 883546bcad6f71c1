"""Work in a process of its own: machine code that crashes fails one test, and does not end them all."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any


class Apart:
    """Calls functions in one other process, which is started anew after a crash."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None

    def __call__(self, function: Callable[..., Any], *arguments: Any) -> Any:
        if self._pool is None:
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(1, mp_context=context)
        try:
            return self._pool.submit(function, *arguments).result()
        except BrokenProcessPool:
            self.close()
            raise

    def close(self) -> None:
        """End the other process."""
        if self._pool is not None:
            self._pool.shutdown()
            self._pool = None
