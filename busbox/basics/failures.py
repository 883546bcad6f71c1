"""Hooks that fail once the facts are there: what does not depend on them is made all the same."""

from __future__ import annotations

import os
from collections.abc import Callable

from busbox.basics.errors import Mistake
from busbox.basics.hooks import HookError, HookTooLong, forked


class Failures:
    """What failed while a result was made, inside of :func:`busbox.basics.hook_limit.limited_hooks`.

    Parameters
    ----------
    ended : what that gives: it returns the error of a hook that was ended

    Attributes
    ----------
    mistakes : one for each failure, in order
    """

    def __init__(self, ended: Callable[[], HookError]) -> None:
        self.mistakes: list[Mistake] = []
        self._ended, self._process = ended, os.getpid()

    def attempt(self, work: Callable[[], None]) -> bool:
        """Do a part of the work; return whether no hook failed in it. What is told twice is kept once.

        Raises
        ------
        InputError : something else is wrong than a hook
        """
        try:
            work()
        except (HookError, HookTooLong) as error:
            forked(self._process, error)
            told = self._ended() if isinstance(error, HookTooLong) else error
            self.mistakes += [one for one in told.mistakes if one not in self.mistakes]
            return False
        forked(self._process)
        return True
