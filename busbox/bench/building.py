"""From the keys of a bench to the system that runs, collecting every mistake on the way.

Broken parts are left out and the rest is still checked: a mistake is reported only if it is one
whatever the broken parts were supposed to be.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from busbox.basics.errors import join_or, nearest
from busbox.basics.limits import ATTACHMENTS, PINS, SLOTS, WIRES
from busbox.bench.attachments import build_attached, check_drivers, driven
from busbox.bench.context import Context
from busbox.bench.core import build_core, check_core
from busbox.bench.inputs import build_inputs
from busbox.bench.kept_traffic import KeptTraffic
from busbox.bench.mistakes import Mistakes
from busbox.bench.moving import Moves, moves
from busbox.bench.pins import Pins
from busbox.bench.resets import build_resets
from busbox.bench.rules import build_rules
from busbox.bench.schema import check_keys
from busbox.bench.slots import build_devices, check_broken
from busbox.bench.traffic import Traffic, bench_traffic, check_targets, other_traffic
from busbox.bench.trust import check_covered, harmless_of, moves_along
from busbox.core.setup import CoreSetup
from busbox.findings.expectations import NO_FINDING
from busbox.findings.rule_set import rule_ids
from busbox.map.slots import AddressMap
from busbox.system.hardware import Device
from busbox.system.scenario import Reply, Wire
from busbox.system.system import System


def _check_counts(keys: Mapping[str, Any], mistakes: Mistakes) -> None:
    """Refuse more tables of a kind than a bench may have, before any of them is looked at.

    Raises
    ------
    InputError : names the limit
    """
    for key, limit in (("slot", SLOTS), ("attach", ATTACHMENTS), ("wire", WIRES)):
        given = keys.get(key)
        if isinstance(given, Mapping | list) and len(given) > limit.most:
            mistakes.note((key,), limit.exceeded("a bench"))
            mistakes.raise_any()


class Building:
    """The devices of a bench and what comes to their pins; :meth:`system` adds the rest.

    Parameters
    ----------
    keys : those of the bench
    folder : where files that the keys name are looked up
    mistakes : where what is wrong is noted
    first : the keys before any of them was changed
    kept : traffic files that were read before, if any
    """

    def __init__(
        self,
        keys: Mapping[str, Any],
        folder: Path,
        mistakes: Mistakes,
        first: Mapping[str, Any] | None = None,
        kept: KeptTraffic | None = None,
    ) -> None:
        self._mistakes, self._keys = mistakes, keys
        self._first = keys if first is None else first
        _check_counts(keys, mistakes)
        keys = _without_strays(keys, mistakes)
        self._checked = checked = check_keys(keys)
        self._tables = tables = checked.tables
        for path, text in checked.mistakes:
            mistakes.note(path, text)
        self._context = context = Context(
            folder, mistakes, tables.clock, ("clock",) not in checked.broken,
            _names(keys.get("slot")), _names(keys.get("attach")), kept,
        )  # fmt: skip
        for name in context.slots:
            if ("slot", name) in checked.broken:
                check_broken(name, keys["slot"][name], context)
        self._devices = build_devices(tables.slot, context)
        if sum(len(device.pins) for device in self._devices) > PINS.most:
            mistakes.note(("slot",), PINS.exceeded("the devices of a bench"))
            mistakes.raise_any()
        self._pins = Pins(self._devices, context)
        tables.check_times(context)
        self._inputs = build_inputs(checked.numbered("input", tables.input), self._pins, context)
        self._resets = build_resets(checked.numbered("reset", tables.reset), context)
        self._attached = build_attached(tables.attach, tables.profile, self._pins, context)

    def devices(self) -> tuple[Device, ...]:
        """Return the devices.

        Raises
        ------
        InputError : with every mistake
        """
        self._mistakes.raise_any()
        return self._devices

    def system(self, name: str, in_file: bool, other: object) -> System:
        """Return the system.

        Parameters
        ----------
        name : how messages call the bench
        in_file : whether the bench is a file
        other : traffic to play instead of the bench's, or None

        Raises
        ------
        InputError : with every mistake
        """
        tables, context, clock = self._tables, self._context, self._context.clock_hz
        check_drivers(self._attached, self._devices, self._pins)
        wires, replies = self._wires(), self._replies()
        inputs = (*self._inputs, *driven(self._attached, context))
        rules = build_rules(tables.rules, self._attached, context)
        known = None if rules is None else rule_ids(rules, self._attached)
        expectations = [
            table.build(number, self._devices, self._attached, known, context)
            for number, table in self._checked.numbered("expect", tables.expect)
        ]
        traffic = self._moved(self._traffic(in_file, other), other is None)
        words = _words(tables.traffic if other is None else None)
        core = self._core(traffic, other is None)
        system = System(
            name=name,
            clock_hz=clock,
            fabric=tables.fabric.build(),
            devices=self._devices,
            new_source=traffic.new_source,
            core=core,
            traffic=traffic.label,
            traffic_notes=traffic.notes,
            harmless=harmless_of(words.get("harmless"), self._devices, context),
            inputs=tuple(sorted(inputs, key=lambda level: level.cycle)),
            resets=self._resets,
            after_reset=tables.after_reset,
            settle=tables.settle_cycles(clock),
            hang_after=tables.hang_after.in_cycles(clock),
            poll_storm=tables.poll_storm,
            stuck_after=tables.stuck_after.in_cycles(clock) if tables.stuck_after else None,
            spin_after=max(1, tables.spin_after.in_cycles(clock)),
            wires=wires,
            replies=replies,
            rules=rules or {},
            attached=self._attached,
            supply=tables.supply,
            firmware=self._firmware(traffic),
            expectations=(
                *(one for one in expectations if one is not None),
                *([NO_FINDING] if tables.strict else []),
            ),
        )
        check_targets(system, context)
        check_covered(words.get("covers"), self._attached, system, context)
        self._mistakes.raise_any()
        return system

    def _moved(self, traffic: Traffic, own: bool) -> Traffic:
        """Return the traffic, moved along with slots whose base was changed, if the bench says so."""
        words = _words(self._tables.traffic if own else None)
        move = moves_along(words.get("move"), self._context)
        if not moves(self._first, self._keys):
            return traffic
        quiet = Mistakes("", lambda path: ("", None))
        before = Building(self._first, self._context.folder, quiet)
        slots = [[one.slot for one in side] for side in (before._devices, self._devices)]
        return Moves(slots[0], slots[1]).applied(traffic, move, self._context)

    def _core(self, traffic: Traffic, own: bool) -> CoreSetup | None:
        """Return what executes the traffic, if it is a program; ``own``: it is the bench's own."""
        note, given, context = self._context.mistakes.note, self._tables.core, self._context
        table = check_core(given, context)
        if traffic.program is None:
            if given is not None and own and traffic.label:
                text = "is for traffic that is a program: an ELF, Intel HEX or binary file"
                note(("core",), text)
            return None
        slots = AddressMap([device.slot for device in self._devices])
        core = build_core(table, traffic.program, slots, self._pins, context)
        if self._tables.after_reset != "restart":
            note(("after_reset",), "must be 'restart' for a core: a reset restarts it")
        return core

    def _firmware(self, traffic: Traffic) -> str:
        """Return the file with debug information: the program, if the bench names no other.

        That of a driver in C is its library: no other file has the addresses of its accesses.
        """
        if traffic.driver:
            return traffic.driver
        if self._tables.firmware:
            return self._context.file(("firmware",), self._tables.firmware)
        program = traffic.program
        return program.path if program is not None and program.debug else ""

    def _wires(self) -> tuple[Wire, ...]:
        tables = self._checked.numbered("wire", self._tables.wire)
        wires = [table.build(number, self._pins) for number, table in tables]
        return tuple(wire for wire in wires if wire is not None)

    def _replies(self) -> tuple[Reply, ...]:
        tables = self._checked.numbered("reply", self._tables.reply)
        replies = [table.build(number, self._pins, self._context) for number, table in tables]
        return tuple(reply for reply in replies if reply is not None)

    def _traffic(self, in_file: bool, other: object) -> Traffic:
        if other is not None:
            return other_traffic(other, self._context, self._devices)
        return bench_traffic(self._tables.traffic, in_file, self._context, self._devices)


#: The tables with names: what they are called, and the key without which there is none.
_NAMED = {"slot": ("slot", "model"), "attach": ("attachment", "kind")}


def _without_strays(keys: Mapping[str, Any], mistakes: Mistakes) -> Mapping[str, Any]:
    """Return the keys without tables that ``--set`` made, but only to change something in them."""
    for kind, (what, first) in _NAMED.items():
        tables = keys.get(kind)
        if not isinstance(tables, dict):
            continue
        strays = [
            name
            for name, table in tables.items()
            if mistakes.is_set((kind, name)) and isinstance(table, dict) and first not in table
        ]
        known = [name for name in tables if name not in strays]
        for name in strays:
            listed = f" (known: {join_or(known)})" if known else ""
            text = f"there is no {what} {name!r}{nearest(name, known)}{listed}"
            mistakes.note((kind, name), f"{text}; a new one must be given its {first}")
        keys = {**keys, kind: {name: tables[name] for name in known}}
    return keys


def _words(traffic: object) -> Mapping[str, Any]:
    """Return what ``[traffic]`` says of a file; the keys beside ``source`` are settings of that."""
    return traffic if isinstance(traffic, Mapping) and "source" not in traffic else {}


def _names(tables: object) -> tuple[str, ...]:
    """Return the names of named tables, whatever else is wrong with them."""
    return tuple(tables) if isinstance(tables, dict) else ()
