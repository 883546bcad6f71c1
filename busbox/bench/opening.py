"""Opens the bench that a recording carries, to judge, explain or replay it without the original.

Files are unpacked to a temporary folder while they are needed. To open a bench runs the Python of its
models, as a run of it does.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from busbox.basics.errors import InputError, format_error, format_value
from busbox.basics.strangers import refuse_code
from busbox.bench.bench import Bench
from busbox.bench.carrying import named, plain, put
from busbox.findings import judging
from busbox.recording import CarriedBench, Recording
from busbox.system.system import System


def judge(recording: Recording, system: System | None = None) -> Recording:
    """Return a recording with all that follows from its facts: lines decoded, findings, verdicts.

    Parameters
    ----------
    system : what was run; None: it is built from the bench that the recording carries

    Raises
    ------
    InputError : the recording carries no bench that can be opened
    PartlyJudged : a rule or an attachment failed; it holds what was judged without it
    """
    if system is not None:
        return judging.judge(recording, system)
    with opened(recording) as carried:
        return judging.judge(recording, carried)


@contextmanager
def opened(recording: Recording, *, to_replay: bool = False) -> Iterator[System]:
    """Give the system of the bench that a recording carries, while its files are unpacked.

    Parameters
    ----------
    to_replay : its traffic is needed too

    Raises
    ------
    InputError : it carries no bench that can be opened here, or none that can be replayed
    """
    with opened_bench(recording, to_replay=to_replay) as (bench, carried):
        yield _labelled(bench.system(), carried.labels)


@contextmanager
def opened_bench(
    recording: Recording, *, to_replay: bool = False
) -> Iterator[tuple[Bench, CarriedBench]]:
    """Give the bench that a recording carries, while its files are unpacked (see :func:`opened`)."""
    carried = recording.carried
    lacks = "none was put into it" if carried is None else carried.lacks
    if carried is None or lacks:
        raise InputError.of(f"the recording does not carry its bench: {lacks}", recording.bench)
    if to_replay and carried.replay_lacks:
        text = f"the recording cannot be replayed: {carried.replay_lacks}"
        raise InputError.of(text, recording.bench)
    with tempfile.TemporaryDirectory(prefix="busbox-", ignore_cleanup_errors=True) as root:
        folder = unpacked(carried, root)
        keys = plain(carried.tables)
        for path, name in carried.objects.items():
            _restore(keys, path, name)
        before = set(sys.modules)
        try:
            bench = Bench(keys, folder=folder, name=recording.bench)
            bench.root = Path(root)
            yield bench, carried
        finally:
            _forget(set(sys.modules) - before, root)


def unpacked(carried: CarriedBench, root: str) -> Path:
    """Write the files of a carried bench below ``root``; return the folder of the bench.

    Raises
    ------
    InputError : they cannot be written
    """
    folder = Path(root, carried.folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, contents in carried.files.items():
            file = Path(root, name)
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(contents)
    except OSError as error:
        text = f"the files of the recording cannot be unpacked: {error.strerror}"
        raise InputError.of(text, root) from None
    return folder


def _restore(keys: Any, path: str, name: str) -> None:
    """Put the Python object that a name stands for at the path of a key."""
    refuse_code(name)
    module, _, attribute = name.partition(":")
    try:
        put(keys, path, named(module, attribute))
    except Exception as error:
        shown = f"{format_value(name)}, which the recording names,"
        text = f"{shown} cannot be imported: {format_error(error)}"
        raise InputError.of(text, key=path) from error


def _labelled(system: System, labels: Mapping[str, str]) -> System:
    """Return the system with the names of models and kinds that its bench gave them."""
    devices = tuple(
        replace(one, kind=labels.get(f"slot.{one.slot.name}.model", one.kind))
        for one in system.devices
    )
    attached = tuple(
        replace(one, kind=labels.get(f"attach.{one.name}.kind", one.kind))
        for one in system.attached
    )
    return replace(system, devices=devices, attached=attached)


def _forget(names: set[str], root: str) -> None:
    """Forget the modules of files that are unpacked no more."""
    for name in names:
        file = getattr(sys.modules[name], "__file__", None) or ""
        if os.path.realpath(file).startswith(os.path.realpath(root) + os.sep):
            del sys.modules[name]
