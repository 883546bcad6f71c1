"""All combinations of some values: each is a run, each run a row."""

from __future__ import annotations

import hashlib
import inspect
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import InputError
from busbox.basics.hooks import told
from busbox.bench.bench import Bench
from busbox.findings.judging import as_far_as_judged
from busbox.plugins import as_html, as_svg
from busbox.recording import Recording
from busbox.system.system import System
from busbox.variants.axes import Axis, axes_of, axis_of, check_key, combinations
from busbox.variants.keeping import MESSAGE, Keeping, Row, check_name
from busbox.variants.measures import (
    Base,
    Cell,
    Measure,
    Measured,
    NotMeasured,
    default_measures,
    measure_of,
    measures_of,
)
from busbox.variants.working import (
    Done,
    forget_designs,
    in_process,
    kept_engine,
    kept_traffic,
    on_executor,
    on_processes,
)

#: ``progress(done, all)``, called after each variant.
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Task:
    """What a worker needs to run one variant; it can be sent to another process.

    Attributes
    ----------
    bench : the bench as it stands
    values : key to value
    measures : names
    base : what texts and colours are compared with
    engine, until : as for :meth:`Bench.run`
    """

    bench: Bench
    values: Mapping[str, Any]
    measures: tuple[str, ...]
    base: Base
    engine: str
    until: int | str | None

    def __call__(self) -> Row:
        """Run the variant and return its row; what is wrong with it is its message."""
        try:
            changed = self.bench.with_values(self.values, "--vary")
            system = changed.system(kept=kept_traffic())
            engine = kept_engine(self.engine)
            recording = changed.run(engine, self.until, system=system, carried=False)
            one = Measured(recording, self.base)
            found = [measure_of(name, system, self.bench.folder) for name in self.measures]
        except InputError as error:
            return {MESSAGE: str(error)}
        except Exception as error:
            return {MESSAGE: f"raised {told(error)}"}
        return _row(found, one)


def _columns(measures: Iterable[Measure]) -> list[str]:
    return [one.name for one in measures]


def _row(measures: Iterable[Measure], one: Measured) -> Row:
    """Return what is measured of a run, beside the message of the measures that failed."""
    cells: dict[str, Cell] = {}
    failures: list[str] = []
    for measure in measures:
        try:
            cells[measure.name] = _cell_of(measure, one)
        except InputError as error:
            failures.append(str(error))
    return {**cells, MESSAGE: "\n".join(failures) or None}


def _cell_of(measure: Measure, one: Measured) -> Cell:
    """Return what is measured of a variant; nothing where the variant has no such thing."""
    try:
        return measure.of(one)
    except NotMeasured:
        return None


@dataclass(frozen=True)
class Sweep:
    """A table: one row a variant, in the order of the values.

    Attributes
    ----------
    axes : what was varied
    measures : the columns beside the keys
    rows : each a table of key or measure to value; ``message`` says why a variant has no values
    base : what the bench as it stands gave
    """

    axes: tuple[Axis, ...]
    measures: tuple[Measure, ...]
    rows: tuple[Row, ...]
    base: Row = field(default_factory=dict)

    def _repr_html_(self) -> str:
        return as_html(self)

    def _repr_svg_(self) -> str | None:
        return as_svg(self)

    @property
    def columns(self) -> tuple[str, ...]:
        """The names of the columns: keys, measures, ``message``."""
        keys = [axis.key for axis in self.axes]
        return (*keys, *(measure.name for measure in self.measures), MESSAGE)

    @property
    def failed(self) -> int:
        """The number of variants that could not be run."""
        return sum(row[MESSAGE] is not None for row in self.rows)

    def column(self, name: str) -> NDArray[Any]:
        """Return a column as a NumPy array; a missing number is NaN, other missing values are None.

        Raises
        ------
        KeyError : there is no such column
        """
        if name not in self.columns:
            raise KeyError(
                f"there is no column {name!r}; the columns are {', '.join(self.columns)}"
            )
        values = [row.get(name) for row in self.rows]
        kinds = {type(value) for value in values}
        if kinds <= {int} or kinds <= {bool} or kinds <= {float}:
            return np.array(values)
        if kinds <= {int, float, type(None)} and kinds != {type(None)}:
            return np.array([np.nan if value is None else value for value in values], dtype="f8")
        return np.array(values, dtype=object)

    def __repr__(self) -> str:
        return (
            f"<Sweep of {', '.join(axis.key for axis in self.axes)}: {len(self.rows):,} variants>"
        )


def sweep(
    bench: Bench | str | Path,
    vary: Mapping[str, Any] | Iterable[str] | None = None,
    measure: Sequence[str] | None = None,
    *,
    jobs: int | None = None,
    executor: Executor | None = None,
    file: str | Path | None = None,
    engine: str = "auto",
    until: int | str | None = None,
    progress: Progress | None = None,
) -> Sweep:
    """Run every combination of values and return the table of what was measured.

    Parameters
    ----------
    bench : a bench, or its name
    vary : key to values, or texts such as ``"clock=8MHz..48MHz/8MHz"``; default: the bench's [sweep]
    measure : names of measures (``busbox guide what-if``); default: the bench's, else all of them
    jobs : the number of processes; default: one if the sweep is short, else one a core
    executor : runs the variants instead: threads, or the workers of a cluster, which must see the
        files of the bench
    file : where the table goes, ``.csv``, ``.json`` or ``.parquet``; an interrupted sweep goes on
        from the file beside it
    progress : ``progress(done, all)``, called after each variant

    Raises
    ------
    InputError : there is a mistake in the bench, a key, a range or a measure; nothing was run then
    """
    bench = bench if isinstance(bench, Bench) else Bench.load(bench)
    table = _asked_for(bench)
    axes = axes_from(vary, table)
    values = combinations(axes)
    if file is not None:
        check_name(Path(file))
    for axis in axes:
        check_key(bench, axis.key, axis.values)
    system = bench.system()
    forget_designs()
    base = as_far_as_judged(partial(bench.run, engine, until, system=system))
    measures = _measures(table.get("measure") if measure is None else measure, system, base, bench)
    asked = tuple(one.asked for one in measures)
    _check_columns(axes, measures)
    compared = Base.of(base)
    tasks = {
        number: Task(bench, _changes(axes, one), asked, compared, engine, until)
        for number, one in enumerate(values)
    }
    kept = None
    if file is not None:
        kept = Keeping(Path(file), _identity(bench, base, axes, asked, until), _columns(measures))
    rows = _rows(tasks, kept, jobs, executor, progress)
    whole = tuple({**_shown(axes, one), **rows[number]} for number, one in enumerate(values))
    as_it_stands = _row(measures, Measured(base, compared))
    cells = {name: cell for name, cell in as_it_stands.items() if name != MESSAGE}
    found = Sweep(axes, measures, whole, cells)
    if kept is not None:
        kept.finish(found.columns, whole)
    return found


def _measures(
    names: Sequence[str] | None, system: System, base: Recording, bench: Bench
) -> tuple[Measure, ...]:
    if names is None:
        return default_measures(system, base)
    return measures_of(names, system, base, bench.folder)


def _check_columns(axes: Sequence[Axis], measures: Sequence[Measure]) -> None:
    """Refuse a measure of one's own that is called like another column."""
    taken = {*(axis.key for axis in axes), MESSAGE}
    for one in measures:
        if one.name in taken:
            text = f"{one.asked} must have another name: the table has a column {one.name!r}"
            raise InputError.of(text, "--measure")


def _rows(
    tasks: Mapping[int, Task],
    kept: Keeping | None,
    jobs: int | None,
    executor: Executor | None,
    progress: Progress | None,
) -> dict[int, Row]:
    """Return the row of each variant: those that are kept already, and those that are run now."""
    rows: dict[int, Row] = {} if kept is None else dict(kept.rows)

    def done(number: int, row: Row) -> None:
        rows[number] = row
        if kept is not None:
            kept.add(number, row)
        if progress is not None:
            progress(len(rows), len(tasks))

    left = {number: task for number, task in tasks.items() if number not in rows}
    if progress is not None and rows:
        progress(len(rows), len(tasks))
    try:
        _work(left, done, jobs, executor)
    except BaseException:
        if kept is not None:
            kept.close()
        raise
    return rows


def _asked_for(bench: Bench) -> Mapping[str, Any]:
    """Return the table ``[sweep]`` of a bench; one of the wrong form is among the bench's mistakes.

    Raises
    ------
    InputError : with every mistake of the bench
    """
    table = bench.keys.get("sweep", {})
    if not isinstance(table, Mapping) or not isinstance(table.get("vary", {}), Mapping):
        bench.devices()
    return cast(Mapping[str, Any], table)


def axes_from(vary: object, table: Mapping[str, Any]) -> tuple[Axis, ...]:
    """Return the axes that were asked for, or those of the bench's ``[sweep]``.

    Raises
    ------
    InputError : there are none
    """
    if isinstance(vary, Mapping):
        axes = axes_of(vary)
    elif vary is not None:
        axes = tuple(axis_of(one) for one in vary)  # type: ignore[attr-defined]
    else:
        axes = axes_of(table.get("vary", {}), "sweep.vary")
    if not axes:
        text = (
            "must be given: KEY=VALUES such as slot.lamps.wait=0,1,2, or [sweep] vary in the bench"
        )
        raise InputError.of(text, "--vary")
    return axes


def _changes(axes: Sequence[Axis], values: Sequence[Any]) -> dict[str, Any]:
    return {axis.key: value for axis, value in zip(axes, values, strict=True)}


def _shown(axes: Sequence[Axis], values: Sequence[Any]) -> dict[str, Cell]:
    """Return the values of a variant as cells: a list or a table as JSON."""
    return {axis.key: _as_cell(value) for axis, value in zip(axes, values, strict=True)}


def _as_cell(value: Any) -> Cell:
    if isinstance(value, bool | int | float | str):
        return value
    return json.dumps(value, default=_label) if isinstance(value, list | dict) else _label(value)


def _label(value: Any) -> str:
    return str(getattr(value, "__qualname__", value))


def _identity(
    bench: Bench, base: Recording, axes: Sequence[Axis], names: Sequence[str], until: object
) -> str:
    """Return which sweep it is: a digest of the bench with its files, values and measures."""
    carried = base.carried
    varied = [[axis.key, list(axis.values)] for axis in axes]
    facts = [version("busbox"), varied, list(names), repr(until), bench.keys]
    digest = hashlib.sha256(json.dumps(facts, sort_keys=True, default=_source).encode())
    for name in sorted({name.rpartition(":")[0] for name in names if ".py:" in name}):
        digest.update((bench.folder / name).read_bytes())
    if carried is not None:
        digest.update(json.dumps(carried.facts(), sort_keys=True, default=repr).encode())
        for name, contents in sorted(carried.files.items()):
            digest.update(name.encode() + bytes(contents))
    return digest.hexdigest()


def _source(value: Any) -> str:
    """Return what stands for an object of Python: the text of a function or class, if there is one."""
    try:
        return inspect.getsource(value)
    except (OSError, TypeError):
        return _label(value) if callable(value) else repr(value)


def _work(
    tasks: Mapping[int, Task], done: Done, jobs: int | None, executor: Executor | None
) -> None:
    if executor is not None:
        on_executor(executor, tasks, done)
    elif jobs == 1:
        in_process(tasks, done)
    else:
        on_processes(tasks, done, jobs)
