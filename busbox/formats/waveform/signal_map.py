"""The map of a waveform: which of its signals is what (``--signals``, ``[traffic.signals]``)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from busbox.basics.errors import InputError, Mistake, format_value, join_or, nearest
from busbox.formats.waveform.header import Variable
from busbox.formats.waveform.kinds import (
    ADDRESS,
    BUS_KINDS,
    DATA,
    LANES,
    LOW,
    RESPONSE,
    WIDTHS,
    BusKind,
    Role,
)

#: Bytes from one address to the next; a bus may count words.
ADDRESS_STEPS = (1, 2, 4)
#: Makes a mistake at a key of the map, "" for the map itself.
Placed = Callable[[str, str], Mistake]
#: Names beyond this number are not searched for one that is meant.
SEARCHED = 4096


@dataclass(frozen=True)
class Signal:
    """What a map says of one role.

    Attributes
    ----------
    key : as in the map, such as ``reset_n``
    role : what it is
    names : its variables, the most significant first
    low : whether it is active at 0
    """

    key: str
    role: Role
    names: tuple[str, ...]
    low: bool


@dataclass(frozen=True)
class SignalMap:
    """Which signal is what.

    Attributes
    ----------
    kind : the kind of bus
    signals : by the names of the roles
    address_step : bytes from one address to the next
    data_width : bits of data, where a file of samples does not say it
    placed : makes a mistake at a key
    """

    kind: BusKind
    signals: Mapping[str, Signal]
    address_step: int
    data_width: int
    placed: Placed

    def wrong(self, key: str, text: str) -> InputError:
        """Return the error of a mistake at a key."""
        return InputError(self.placed(key, text))


def signal_map(table: Mapping[str, object], placed: Placed) -> SignalMap:
    """Return the map that a table of TOML holds.

    Raises
    ------
    InputError : with every mistake in it
    """
    kind = _kind(table, placed)
    mistakes: list[Mistake] = []
    signals: dict[str, Signal] = {}
    for key, given in table.items():
        if key in ("kind", "address_step", "data_width"):
            continue
        try:
            signal = _signal(kind, key, given)
        except ValueError as error:
            mistakes.append(placed(key, str(error)))
            continue
        if signal.role.name in signals:
            other = signals[signal.role.name].key
            mistakes.append(placed(key, f"cannot be combined with {other}"))
        signals[signal.role.name] = signal
    unknown = bool(mistakes)
    for missing in _missing(kind, signals):
        if not unknown:
            mistakes.append(placed("", missing))
    step, width = table.get("address_step", 1), table.get("data_width", 32)
    for name, number, known in (
        ("address_step", step, ADDRESS_STEPS), ("data_width", width, WIDTHS[DATA])
    ):  # fmt: skip
        if type(number) is not int or number not in known:
            choices = join_or(map(str, known))
            mistakes.append(placed(name, f"must be {choices}, not {format_value(number)}"))
    if mistakes:
        raise InputError(mistakes)
    assert isinstance(step, int)
    assert isinstance(width, int)
    return SignalMap(kind, signals, step, width, placed)


def _kind(table: Mapping[str, object], placed: Placed) -> BusKind:
    name, known = table.get("kind"), list(BUS_KINDS)
    if not isinstance(name, str) or name not in known:
        if "kind" not in table:
            text = f"must have a key kind, the kind of bus: {join_or(known)}"
            raise InputError(placed("", text))
        close = nearest(name, known) if isinstance(name, str) else ""
        text = f"must be {join_or(known)}, not {format_value(name)}{close}"
        raise InputError(placed("kind", text))
    return BUS_KINDS[name]


def _signal(kind: BusKind, key: str, given: object) -> Signal:
    """Return what a key of the map says.

    Raises
    ------
    ValueError : what is wrong with it
    """
    role, low = kind.role(key), False
    if role is None and key.endswith(LOW):
        role, low = kind.role(key.removesuffix(LOW)), True
        role = role if role is not None and role.can_be_low else None
    if role is None:
        known = kind.keys()
        raise ValueError(
            f"unknown key {key!r}{nearest(key, known)} (known for {kind.name}: {join_or(known)})"
        )
    names = [given] if isinstance(given, str) else given
    if not isinstance(names, list) or not names or not all(isinstance(one, str) for one in names):
        raise ValueError(
            "must be the name of a signal, or a list of names with the most significant first, not "
            f"{format_value(given)}"
        )
    return Signal(key, role, tuple(names), low)


def _missing(kind: BusKind, signals: Mapping[str, Signal]) -> Iterator[str]:
    """Yield what a map lacks."""
    lacking = [role.name for role in kind.roles if role.required and role.name not in signals]
    if lacking:
        more = "" if len(lacking) == 1 else "s"
        yield f"a bus of kind {kind.name} needs the signal{more} {', '.join(lacking)}"
    if "clock" in signals and "cycle" in signals:
        yield "must have a clock or a cycle, not both"
    if kind.name == "strobes" and "data" not in signals and "write_data" not in signals:
        yield "a bus of kind strobes needs the signal data, or write_data"
    if "data" in signals and ("write_data" in signals or "read_data" in signals):
        yield "must have data, or write_data and read_data, not both"


@dataclass(frozen=True)
class Wire:
    """A role in a file: its variables among those that are read, the most significant first.

    Attributes
    ----------
    places, widths : of each variable: its number among those that are read, and its bits
    flip : bits that are inverted
    name : for messages
    """

    places: tuple[int, ...]
    widths: tuple[int, ...]
    flip: int
    name: str

    @property
    def width(self) -> int:
        """Bits of the whole."""
        return sum(self.widths)


@dataclass(frozen=True)
class Wired:
    """A map, looked up in a file.

    Attributes
    ----------
    map : what was looked up
    wires : by the names of the roles
    variables : those that are read
    data_bytes : bytes of the data
    """

    map: SignalMap
    wires: Mapping[str, Wire]
    variables: tuple[Variable, ...]
    data_bytes: int

    def __contains__(self, role: str) -> bool:
        return role in self.wires


def wired(signals: SignalMap, declared: Sequence[Variable], file: str) -> Wired:
    """Look a map up in the variables of a file.

    Raises
    ------
    InputError : with every signal that is absent, or has another width than its role
    """
    mistakes: list[Mistake] = []
    variables: dict[bytes, int] = {}
    chosen: list[Variable] = []
    wires: dict[str, Wire] = {}
    for signal in signals.signals.values():
        places, widths = [], []
        for name in signal.names:
            try:
                found = _find(name, declared, file)
            except ValueError as error:
                mistakes.append(signals.placed(signal.key, str(error)))
                continue
            if found.code not in variables:
                variables[found.code] = len(chosen)
                chosen.append(found)
            places.append(variables[found.code])
            widths.append(found.width)
        wire = Wire(
            tuple(places), tuple(widths), (1 << sum(widths)) - 1 if signal.low else 0,
            f"{signal.key} ({', '.join(signal.names)})",
        )  # fmt: skip
        wires[signal.role.name] = wire
    if not mistakes:
        mistakes += _wrong_widths(signals, wires)
    if mistakes:
        raise InputError(mistakes)
    data = next(wires[role.name] for role in signals.kind.data_roles() if role.name in wires)
    return Wired(signals, wires, tuple(chosen), data.width // 8)


def _find(name: str, declared: Sequence[Variable], file: str) -> Variable:
    for one in declared:
        if one.name == name:
            return one
    found = {one.code: one for one in declared if one.short == name}
    if len(found) == 1:
        return next(iter(found.values()))
    if found:
        names = join_or(one.name for one in found.values())
        raise ValueError(f"{name!r} is not one signal in {file}: name {names}")
    known = list(dict.fromkeys(one.short for one in declared))
    ending = [one for one in known if one.endswith(f".{name}")]
    close = nearest(name, known[:SEARCHED])
    if len(ending) == 1:
        close = f"; did you mean {ending[0]!r}?"
    raise ValueError(f"there is no signal {name!r} in {file}{close}")


def _wrong_widths(signals: SignalMap, wires: Mapping[str, Wire]) -> Iterator[Mistake]:
    """Yield what is wrong with the widths of signals."""
    data = [role.name for role in signals.kind.data_roles() if role.name in wires]
    size = wires[data[0]].width
    for name, wire in wires.items():
        role, key = signals.signals[name].role, signals.signals[name].key
        allowed = WIDTHS[role.holds]
        if role.holds == LANES and size in WIDTHS[DATA]:
            allowed = (size // 8,)
        if role.holds == DATA and name != data[0] and size in WIDTHS[DATA]:
            allowed = (size,)
        if 0 in wire.widths:
            yield signals.placed(key, f"{wire.name} has no bits: it is a number or an event")
        elif wire.width not in allowed:
            bits = "bit" if wire.width == 1 else "bits"
            least, most = min(allowed), max(allowed)
            wanted = join_or(map(str, allowed)) if len(allowed) < 5 else f"{least} to {most}"
            unit = "bit" if wanted == "1" else "bits"
            yield signals.placed(
                key, f"must have {wanted} {unit}; {wire.name} has {wire.width} {bits}"
            )


def widths_of_samples(signals: SignalMap) -> dict[str, int]:
    """Return the width of each column of samples, which a file of numbers does not say."""
    widths = {DATA: signals.data_width, LANES: signals.data_width // 8, ADDRESS: 32, RESPONSE: 2}
    return {
        name: widths.get(signal.role.holds, 1) if len(signal.names) == 1 else 1
        for signal in signals.signals.values()
        for name in signal.names
    }
