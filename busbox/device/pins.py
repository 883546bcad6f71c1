"""The pins of a device."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from busbox.basics.declaring import check_choice, check_name, check_number, with_known_keywords

#: The level of an output pin that its device does not drive.
RELEASED: Final = 2


@with_known_keywords
@dataclass(frozen=True)
class Pin:
    """A named line of a device.

    Attributes
    ----------
    name : inside the device: ``line``, ``out.3``
    direction : ``output`` (the device drives it) or ``input``
    level : an output's level in cycle 0 and after a reset; an input's level while nothing drives it
    text : one sentence
    released : the device can stop driving it (an output only)
    carries : what of its device's ``sends`` goes out by this pin, ``frames`` or ``text``; "" for none
    """

    name: str
    direction: str = "output"
    level: int = 0
    text: str = ""
    released: bool = False
    carries: str = ""

    def __post_init__(self) -> None:
        check_name("the name of a pin", self.name, "lamp")
        check_choice(f"direction of pin {self.name}", self.direction, ("output", "input"))
        check_number(f"level of pin {self.name}", self.level, 0, RELEASED)
        if self.carries:
            check_choice(f"what pin {self.name} carries", self.carries, ("frames", "text"))


def pin_groups(pins: tuple[Pin, ...]) -> dict[str, list[Pin]]:
    """Return the pins of each member: ``out`` for ``out.0`` to ``out.31``, ``tx`` for ``tx``.

    Raises
    ------
    ValueError : the pins of a member are not numbered from 0, or differ in direction; or they are
        called as the enable of another member
    """
    groups: dict[str, list[Pin]] = {}
    for pin in pins:
        groups.setdefault(pin.name.partition(".")[0], []).append(pin)
    for stem, group in groups.items():
        names = [pin.name for pin in group]
        if names not in ([stem], [f"{stem}.{number}" for number in range(len(group))]):
            raise ValueError(f"pins of {stem} must be numbered from 0, not {', '.join(names)}")
        if len({(pin.direction, pin.released) for pin in group}) > 1:
            raise ValueError(f"pins of {stem} must have one direction")
        if group[0].released and f"{stem}_enable" in groups:
            raise ValueError(
                f"pin {stem}_enable must have another name: it is the enable of {stem}"
            )
    return groups
