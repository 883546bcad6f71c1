"""What the signals of a waveform could be, by their names; and maps that are guessed from that.

A guess is a proposal: it is printed, and a person who knows the design puts it into a file.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from busbox.formats.waveform.header import Variable
from busbox.formats.waveform.kinds import (
    BUS_KINDS,
    CLOCK,
    CYCLE,
    DATA,
    LANES,
    LOW,
    RESET,
    WIDTHS,
    BusKind,
    Role,
)

#: The end of a name that says the direction of a port.
_DIRECTION = re.compile(r"_(?:i|o|in|out)$")
#: Beginnings and ends of a name that say that a signal is active at 0.
_LOW = re.compile(r"^n(?=rd$|wr$|we$|oe$|cs$|ce$)|_n$|_b$|_l$|(?<=rst)n$|(?<=reset)n$|n$")
#: In place of what names begin with: the signals of a scope, whatever their names begin with.
ANY = "*"


@dataclass(frozen=True)
class Guess:
    """A map that is complete but for what no name can tell.

    Attributes
    ----------
    kind : the kind of bus
    scope : where its signals are, with what their names begin with
    keys : key to the name of the signal
    lacks : names of required signals that were not found
    """

    kind: BusKind
    scope: str
    keys: dict[str, str] = field(default_factory=dict)
    lacks: tuple[str, ...] = ()

    def lines(self) -> Iterator[str]:
        """Yield the lines of the map, TOML."""
        yield f'kind = "{self.kind.name}"'
        width = max(map(len, self.keys), default=0)
        for key, name in self.keys.items():
            yield f"{key:{width}} = {_quoted(name)}"


def _quoted(name: str) -> str:
    return f"'{name}'" if "\\" in name else f'"{name}"'


@dataclass(frozen=True)
class _Name:
    """A signal's name, taken apart: ``cabin.cpu.dbus_wb_stb_o``."""

    variable: Variable
    scope: str
    leaf: str
    low: bool

    @classmethod
    def forms(cls, variable: Variable) -> Iterator[_Name]:
        """Yield the name as it is, and as the name of a signal that is active at 0."""
        scope, _, last = variable.short.rpartition(".")
        leaf = _DIRECTION.sub("", last.lower())
        yield cls(variable, scope, leaf, False)
        high = _LOW.sub("", leaf)
        if high != leaf:
            yield cls(variable, scope, _DIRECTION.sub("", high), True)


def roles_of(variable: Variable) -> list[str]:
    """Return what a signal could be, and on which kinds of bus: ``adr (wishbone)``."""
    found: dict[str, list[str]] = {}
    for kind in BUS_KINDS.values():
        for role in kind.all_roles():
            key = next((key for key, _ in _matches(role, [variable])), None)
            if key is not None:
                found.setdefault(key, []).append(kind.name)
    return [
        key if len(kinds) >= len(BUS_KINDS) - 1 else f"{key} ({', '.join(kinds)})"
        for key, kinds in found.items()
    ]


def _matches(role: Role, variables: Sequence[Variable]) -> Iterator[tuple[str, _Name]]:
    """Yield (key, name) for each signal that could be a role; the best names first."""
    for known in (role.name, *role.known_as):
        for variable in variables:
            if variable.width not in WIDTHS[role.holds]:
                continue
            for name in _Name.forms(variable):
                fits = name.leaf == known or name.leaf.endswith(f"_{known}")
                if fits and (role.can_be_low or not name.low):
                    yield role.name + LOW * name.low, name


def guesses(variables: Sequence[Variable]) -> list[Guess]:
    """Return the maps that could be meant, the most likely first; incomplete ones last."""
    found = []
    for kind in BUS_KINDS.values():
        places: dict[tuple[str, str], dict[str, tuple[str, _Name]]] = {}
        for role in kind.roles:
            for key, name in _matches(role, variables):
                known = next(
                    one for one in (role.name, *role.known_as)
                    if name.leaf == one or name.leaf.endswith(f"_{one}")
                )  # fmt: skip
                for place in ((name.scope, name.leaf.removesuffix(known)), (name.scope, ANY)):
                    places.setdefault(place, {}).setdefault(role.name, (key, name))
        made = {place: _guess(kind, place, roles, variables) for place, roles in places.items()}
        whole = {scope for (scope, begin), one in made.items() if begin != ANY and not one.lacks}
        found += [one for (scope, begin), one in made.items() if begin != ANY or scope not in whole]
    found.sort(key=lambda guess: (len(guess.lacks), -len(guess.keys)))
    return found


def _guess(
    kind: BusKind,
    place: tuple[str, str],
    found: dict[str, tuple[str, _Name]],
    variables: Sequence[Variable],
) -> Guess:
    lacks = [role.name for role in kind.roles if role.required and role.name not in found]
    if not kind.clocked and "data" not in found and "write_data" not in found:
        lacks.append("data")
    if "data" in found:
        found = {name: one for name, one in found.items() if not name.endswith("_data")}
    keys: dict[str, str] = {}
    if kind.clocked:
        clock = _nearest(CLOCK, place[0], variables) or _nearest(CYCLE, place[0], variables)
        if clock is None:
            lacks.append(CLOCK.name)
        else:
            keys[clock[0]] = clock[1].variable.short
    reset = _nearest(RESET, place[0], variables)
    if reset is not None:
        keys[reset[0]] = reset[1].variable.short
    size = next(
        (found[role.name][1].variable.width for role in kind.data_roles() if role.name in found), 32
    )
    for role in kind.roles:
        if role.name in found:
            key, name = found[role.name]
            wanted = {DATA: size, LANES: size // 8}.get(role.holds, name.variable.width)
            if name.variable.width == wanted:
                keys[key] = name.variable.short
            elif role.required:
                lacks.append(role.name)
    scope = ".".join(part for part in place if part and part != ANY)
    return Guess(kind, scope, keys, tuple(lacks))


def _nearest(role: Role, scope: str, variables: Sequence[Variable]) -> tuple[str, _Name] | None:
    """Return the clock or reset of a scope: there, or in the nearest scope around it."""
    found = [
        (key, name)
        for key, name in _matches(role, variables)
        if not name.scope or scope == name.scope or scope.startswith(f"{name.scope}.")
    ]
    return max(found, key=lambda one: len(one[1].scope), default=None)
