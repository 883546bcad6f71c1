"""``busbox where`` of a C header: what each address reaches, and each kind of mistake."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busbox.basics.errors import InputError, no_file
from busbox.basics.files import read_file
from busbox.basics.limits import HEADER
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.firmware.c_header import HeaderConstants, read_header
from busbox.firmware.c_names import Judged, NameJudge
from busbox.firmware.c_uses import ADDRESS_NAME, Constant
from busbox.map.addresses import without_prefix
from busbox.map.slots import AddressMap, Decoded


@dataclass(frozen=True)
class CheckedHeader:
    """A header, its addresses judged.

    Attributes
    ----------
    decimals : (constant, the address of the same digits, whether its name says that it is one)
    """

    path: Path
    constants: HeaderConstants
    addresses: tuple[Judged, ...]
    decimals: tuple[tuple[Constant, int, bool], ...]
    judge: NameJudge

    @property
    def has_mistakes(self) -> bool:
        """Whether there is a mistake: a hole, another register's name, no slot, a missing 0x."""
        return any(one.kind not in ("reached", "base") for one in self.addresses) or any(
            sure for _, _, sure in self.decimals
        )

    def of(self, *kinds: str) -> list[Judged]:
        """Return the addresses of some kinds."""
        return [one for one in self.addresses if one.kind in kinds]


def check_header(path: Path, address_map: AddressMap, kinds: Mapping[str, str]) -> CheckedHeader:
    """Return the constants of a header, judged by the map and by the models of its slots.

    Raises
    ------
    InputError : it cannot be read
    """
    problem = no_file(path)
    if problem:
        raise InputError.of(problem, key="where")
    text = read_file(path, HEADER).decode("utf-8-sig", errors="replace")
    try:
        constants = read_header(text, address_map)
    except InputError as error:
        raise InputError.of(str(error), str(path)) from None
    judge = NameJudge(address_map, kinds)
    return CheckedHeader(
        path,
        constants,
        tuple(judge.judge(one) for one in constants.addresses),
        tuple(_decimals(constants, judge)),
        judge,
    )


def _decimals(constants: HeaderConstants, judge: NameJudge) -> Iterator[tuple[Constant, int, bool]]:
    for one in constants.decimals:
        meant = without_prefix(one.value)
        if meant is not None:
            sure = bool(ADDRESS_NAME.search(one.name)) or judge.names_a_slot(one.name)
            yield one, meant, sure


# As a page.


def show_header(page: Paper, address_map: AddressMap, header: CheckedHeader) -> None:
    """Write what the addresses reach, then the mistakes, then what is not an address."""
    hits = header.of("reached", "base")
    page.line((f"{_addresses(hits)} {_verb(hits)} a slot", "bold"))
    page.table(_rows(header, hits, _hit))
    holes, others = header.of("hole"), header.of("another")
    if holes:
        page.title(f"{_addresses(holes)} {_verb(holes)} no register")
        page.table(_rows(header, holes, _hit))
    if others:
        page.title(
            f"{_addresses(others)} {_verb(others)} something other than "
            f"{'its name suggests' if len(others) == 1 else 'their names suggest'}"
        )
        page.table(_rows(header, others, lambda one: f"{_hit(one)}, but {one.meant}"))
    misses = header.of("nowhere")
    page.title(f"{_addresses(misses)} {_verb(misses)} no slot")
    page.table(_rows(header, misses, lambda one: _miss(address_map, header, one)))
    if header.decimals:
        page.title(f"{counted(len(header.decimals), 'number')} without 0x")
        page.table(
            (_place(header, one), one.name, one.value,
             f"did you mean {meant:#010x} ({address_map.decode(meant).register})?")
            for one, meant, _ in header.decimals
        )  # fmt: skip
    _show_rest(page, header)


def _show_rest(page: Paper, header: CheckedHeader) -> None:
    constants = header.constants
    if constants.others:
        page.title(f"{counted(len(constants.others), 'constant')} not used as an address")
        page.table((_place(header, one), one.name, f"{one.value:#x}") for one in constants.others)
    if constants.unresolved:
        page.title(f"{len(constants.unresolved)} could not be resolved")
        page.table(
            (f"{header.path.name}:{one.line}", one.name, one.text, one.why)
            for one in constants.unresolved
        )


def _addresses(rows: Sequence[object]) -> str:
    return counted(len(rows), "address", "addresses")


def _verb(rows: Sequence[object]) -> str:
    return "reaches" if len(rows) == 1 else "reach"


def _place(header: CheckedHeader, constant: Constant) -> str:
    return f"{header.path.name}:{constant.line}"


def _rows(
    header: CheckedHeader, judged: Iterable[Judged], shown: Any
) -> Iterator[tuple[object, ...]]:
    for one in judged:
        constant = one.constant
        step = f", then every {counted(constant.step, 'byte')}" if constant.step else ""
        text = f"{shown(one)}{step}"
        yield _place(header, constant), constant.name, f"{constant.value:#010x}", text


def _hit(judged: Judged) -> str:
    found: Decoded | None = judged.decoded
    if found is None:
        return ""
    lane = f", byte lane {found.lane}" if found.lane else ""
    image = f" (image {found.image})" if found.image else ""
    hole = " (a hole)" if found.place is None else ""
    return f"{found.register}{hole}{lane}{image}"


def _miss(address_map: AddressMap, header: CheckedHeader, judged: Judged) -> str:
    constant = judged.constant
    without = address_map.without_prefix(constant.value) if judged.decoded else None
    if without is not None:
        register = address_map.decode(without).register
        return f"no slot; did you mean {without:#010x} ({register})?"
    if judged.meant:
        return f"no slot; {judged.meant}"
    suggestion = address_map.suggest(constant.value, header.judge.nearest(constant))
    return f"no slot; {suggestion}" if suggestion else "no slot"


# As one object.


def header_object(
    address_map: AddressMap, file: str, header: CheckedHeader, decoded: Any
) -> dict[str, Any]:
    """Return a header as an object of JSON.

    Parameters
    ----------
    decoded : returns the object of an address, from the map and the address
    """
    return {
        "file": file,
        "has_mistakes": header.has_mistakes,
        "addresses": [
            {
                "name": one.constant.name,
                "line": one.constant.line,
                "step": one.constant.step or None,
                "verdict": one.kind,
                "means": one.meant or None,
            }
            | decoded(address_map, one.constant.value)
            for one in header.addresses
        ],
        "decimals": [
            {"name": one.name, "line": one.line, "value": one.value, "did_you_mean": meant}
            for one, meant, _ in header.decimals
        ],
        "others": [
            {"name": one.name, "line": one.line, "value": one.value}
            for one in header.constants.others
        ],
        "unresolved": [
            {"name": one.name, "line": one.line, "text": one.text, "why": one.why}
            for one in header.constants.unresolved
        ],
    }
