"""A component's own port, and how it is recognised."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from amaranth.lib import wiring

from busbox.bus.ports import KINDS, PortKind
from busbox.bus.ports.hardware import PortedHardware


@dataclass(frozen=True)
class OwnPort:
    """The own port of a component.

    Attributes
    ----------
    kind : of the port
    lacks : roles that it does not have
    counts_words : its address counts words
    late : its read data comes a cycle after the access is accepted
    factory : builds the component without a bridge
    """

    kind: PortKind
    lacks: frozenset[str]
    counts_words: bool
    late: bool
    factory: Callable[[], Any]

    @classmethod
    def of_device(cls, model: type[PortedHardware], build: Callable[[], Any]) -> OwnPort:
        """Return the own port of a device that stands behind a bridge in its slot."""

        def factory() -> Any:
            device = build()
            device.bridged = False
            return device

        kind = KINDS[model.port_kind]
        words = kind.words if model.address_words is None else model.address_words
        return cls(kind, model.port_lacks, words, model.late, factory)

    @property
    def roles(self) -> tuple[str, ...]:
        """The names of the roles that it has."""
        return tuple(role.name for role in self.kind.roles if role.name not in self.lacks)

    @property
    def driven(self) -> tuple[str, ...]:
        """Those that the bus drives."""
        return tuple(name for name in self.roles if self.kind.role(name).driven)

    @property
    def shown(self) -> tuple[str, ...]:
        """Those that the device drives."""
        return tuple(name for name in self.roles if not self.kind.role(name).driven)

    @property
    def pipelined(self) -> bool:
        """Whether it is a pipelined Wishbone port."""
        return self.kind.name == "wishbone" and "stall" not in self.lacks

    @property
    def withdraws(self) -> bool:
        """Whether an access can be withdrawn before its answer."""
        return self.kind.name == "wishbone" and not self.pipelined

    @property
    def least_wait(self) -> int:
        """Wait states that a slot of it needs."""
        return 1 if self.pipelined else self.kind.least_wait

    @property
    def lanes(self) -> bool:
        """Whether single lanes can be written."""
        return bool({"sel", "pstrb", "wstrb", "lanes"} & set(self.roles))

    def __str__(self) -> str:
        return f"{self.kind.name}, pipelined" if self.pipelined else self.kind.name


def signals_of(component: Any) -> Mapping[str, Any]:
    """Return the signals of a component's own port, by role."""
    port = component.port
    if isinstance(port, dict):
        return port
    names = component.signature.members["port"].signature.members
    return {name: getattr(port, name) for name in names}


def recognised(component: Any) -> tuple[PortKind, frozenset[str]] | str:
    """Return kind and missing roles of a component's member ``port``, or why there are none."""
    member = component.signature.members["port"]
    if member.is_port or member.dimensions or member.flow != wiring.In:
        return (
            "its member port must be one In(...) of a signature of busbox.bus.ports, "
            "such as In(KINDS['apb'].signature(12))"
        )
    for kind in KINDS.values():
        lacks = kind.lacks(member.signature.flip())
        if lacks is not None:
            return kind, lacks
    has = ", ".join(member.signature.members) or "no member"
    return f"its member port has the signature of no kind ({', '.join(KINDS)}); it has {has}"
