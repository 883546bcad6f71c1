"""The smallest or largest value of a key for which conditions hold."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from busbox.basics.errors import InputError
from busbox.basics.hooks import told
from busbox.bench.bench import Bench
from busbox.recording import Recording
from busbox.variants.axes import MOST, Axis, Range, check_key, combinations
from busbox.variants.conditions import Condition, condition_of, first_broken
from busbox.variants.measures import Base
from busbox.variants.working import forget_designs, kept_engine, kept_traffic

#: Values of the range that are tried first, evenly spread: do the answers change once only?
SAMPLES = 9


@dataclass(frozen=True)
class Tried:
    """A value that was tried.

    Attributes
    ----------
    value : of the key
    broken : the first condition that does not hold, "" if all hold
    seen : what was seen instead
    """

    value: Any
    broken: str = ""
    seen: str = ""

    @property
    def holds(self) -> bool:
        """Whether all conditions hold."""
        return not self.broken


@dataclass(frozen=True)
class SearchResult:
    """The result of a search.

    Attributes
    ----------
    key, largest : what was looked for
    values : all values of the range
    best : the value that was found; None if no value holds
    neighbour : the next value beyond it, which does not hold; None at the end of the range
    walked : whether every value was tried
    tried : what was tried, in the order of the values
    others : values of other keys in this search
    """

    key: str
    largest: bool
    values: tuple[Any, ...]
    best: Tried | None
    neighbour: Tried | None
    walked: bool
    tried: tuple[Tried, ...]
    others: Mapping[str, Any]

    @property
    def how(self) -> str:
        """How it was found, as a sentence."""
        count = len(self.tried)
        if self.walked:
            return f"All {count:,} values were tried."
        tried = f"{count:,} of {len(self.values):,} values were tried: along these the answer "
        if len({one.holds for one in self.tried}) == 1:
            return f"{tried}never changes; values that were not tried are taken to follow."
        return (
            f"{tried}changes once, so the range was halved; values that were not tried are taken to "
            "follow."
        )


def search(
    bench: Bench,
    key: str,
    within: Range,
    such_that: Sequence[str],
    *,
    largest: bool = False,
    walk: bool = False,
    others: Sequence[Axis] = (),
    engine: str = "auto",
    until: int | str | None = None,
    progress: Callable[[int], None] | None = None,
) -> list[SearchResult]:
    """Return the smallest or largest value of a key for which all conditions hold.

    Nine values over the whole range are tried first. If the answer changes once along them, and from
    "does not hold" to "holds" in the direction that is looked for, the rest is halved; if not, every
    value is tried; also if none of the nine holds.

    Parameters
    ----------
    within : the values of the key
    such_that : conditions; see :data:`busbox.variants.conditions.FORMS`
    largest : looks for the largest value instead of the smallest
    walk : tries every value
    others : values of other keys: a search for each combination
    progress : ``progress(number)`` after each run

    Raises
    ------
    InputError : a mistake in the bench or a condition, before anything runs
    """
    if within.step is not None and (within.last.size - within.first.size) / within.step >= MOST:
        raise InputError.of(f"must have at most {MOST:,} values; give a step", "--range")
    values = within.values()
    system = bench.system()
    conditions = tuple(condition_of(text, system, bench.folder) for text in such_that)
    if not conditions:
        raise InputError.of("must be given at least once, such as 'no finding'", "--such-that")
    check_key(bench, key, (values[0], values[-1]), "--range")
    searched = combinations(others)
    for axis in others:
        if axis.key == key:
            raise InputError.of(f"{key} is what is searched for; vary another key", "--vary")
        check_key(bench, axis.key, axis.values, "--vary")
    forget_designs()
    as_it_stands = bench.run(kept_engine(engine), until, system=system, carried=False)
    base = Base.of(as_it_stands)
    try:
        first_broken(conditions, as_it_stands, base)
    except InputError as error:
        raise InputError.of(str(error), "--such-that") from None
    found = []
    for combination in searched:
        changes = {axis.key: value for axis, value in zip(others, combination, strict=True)}
        trial = _Trial(bench, key, changes, conditions, base, engine, until, progress)
        found.append(_search(trial, values, largest, walk))
    return found


class _Trial:
    """Tries values, each once."""

    def __init__(
        self,
        bench: Bench,
        key: str,
        others: Mapping[str, Any],
        conditions: tuple[Condition, ...],
        base: Base,
        engine: str,
        until: int | str | None,
        progress: Callable[[int], None] | None,
    ) -> None:
        self._bench, self.key, self.others = bench, key, others
        self._conditions, self._base = conditions, base
        self._engine, self._until, self._progress = engine, until, progress
        self.tried: dict[int, Tried] = {}

    def at(self, place: int, value: Any) -> bool:
        """Return whether all conditions hold for the value at a place of the range."""
        if place not in self.tried:
            self.tried[place] = self._try(value)
            if self._progress is not None:
                self._progress(len(self.tried))
        return self.tried[place].holds

    def _try(self, value: Any) -> Tried:
        try:
            recording = self._run(value)
            broken = first_broken(self._conditions, recording, self._base)
        except InputError as error:
            return Tried(value, "it can be run", str(error).splitlines()[0])
        except Exception as error:  # a model or a function of the bench, with this value
            return Tried(value, "it can be run", f"raised {told(error)}")
        return Tried(value) if broken is None else Tried(value, *broken)

    def _run(self, value: Any) -> Recording:
        changed = self._bench.with_values({**self.others, self.key: value}, "--range")
        system = changed.system(kept=kept_traffic())
        return changed.run(kept_engine(self._engine), self._until, system=system, carried=False)


def _search(trial: _Trial, values: tuple[Any, ...], largest: bool, walk: bool) -> SearchResult:
    places = list(range(len(values)))
    order = places[::-1] if largest else places
    samples = sorted({round(i * (len(places) - 1) / (SAMPLES - 1)) for i in range(SAMPLES)})
    answers = [trial.at(order[place], values[order[place]]) for place in samples]
    once = answers == sorted(answers)  # it does not hold, then it holds
    walk = walk or not once or not any(answers) or len(places) <= SAMPLES
    if walk:
        for place in places:
            trial.at(place, values[place])
    elif not answers[0]:
        low = samples[answers.index(True) - 1]
        high = samples[answers.index(True)]
        while high - low > 1:
            middle = (low + high) // 2
            if trial.at(order[middle], values[order[middle]]):
                high = middle
            else:
                low = middle
    holding = [place for place in order if place in trial.tried and trial.tried[place].holds]
    best = trial.tried[holding[0]] if holding else None
    neighbour = None
    if holding:
        beyond = holding[0] + (1 if largest else -1)
        neighbour = trial.tried.get(beyond)
    tried = tuple(trial.tried[place] for place in sorted(trial.tried))
    return SearchResult(trial.key, largest, values, best, neighbour, walk, tried, trial.others)
