"""The rule ``data-off-lanes``: data in lanes that a write does not select, and what is no such case."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox.device import Register, RegisterModel, RegisterTable
from busbox.map.addresses import address
from tests.findings.test_rules_of_findings import run, told

pytestmark = pytest.mark.quick


@pytest.mark.parametrize(
    ("data", "lanes", "lost", "written", "hint"),
    [
        (0x40_1000, 0b0001, 0x40_1000, "0x0 is",
         "Select lanes 0110 (bytes 1 and 2), where the data is."),
        (0x1905, 0b0010, 0x5, "0x1900 is",
         "Select lanes 0001 (byte 0) as well, or clear the bits outside of 15..8."),
        (0x1234_0056, 0b0011, 0x1234_0000, "0x56 is",
         "Select lanes 1100 (bytes 2 and 3) as well, or clear the bits outside of 15..0."),
        (0x1, 0b0000, 0x1, "nothing is", "Select lanes 0001 (byte 0), where the data is."),
    ],
)  # fmt: skip
def test_data_in_lanes_that_are_not_selected_is_told(
    tmp_path: Path, data: int, lanes: int, lost: int, written: str, hint: str
) -> None:
    """A write that drops data of its own is found, with what is lost and what is written."""
    recording = run(tmp_path, f"write lamps.COLOUR.0 {data} lanes {lanes:04b}\n")
    rules = [finding for finding in recording.findings if finding.rule == "data-off-lanes"]
    (finding,) = rules
    assert finding.register == "COLOUR.0"
    assert f"with lanes {lanes:04b}" in finding.message
    assert finding.message.endswith(
        f": {lost:#x} is in lanes that are not selected; it is ignored and {written} written."
    )
    assert finding.hint == hint


@pytest.mark.parametrize(
    ("data", "lanes"),
    [
        (0x0000_0012, 0b0001), (0x1212_1212, 0b0001), (0x0012_0000, 0b0100), (0x0012_1200, 0b0100),
        (0x0000_1234, 0b0011), (0x1234_1234, 0b0011), (0x1234_1234, 0b1100), (0x0034_1234, 0b0011),
        (0x0012_3400, 0b0110), (0x0, 0b0000),
    ],
)  # fmt: skip
def test_what_cores_drive_is_not_told(tmp_path: Path, data: int, lanes: int) -> None:
    """Zeros, or the stored byte or halfword repeated, are what stores of bytes and halfwords drive."""
    recording = run(tmp_path, f"write lamps.COLOUR.0 {data} lanes {lanes:04b}\n")
    assert "data-off-lanes" not in recording.counts


def test_a_write_that_does_nothing_at_all_is_told_once(tmp_path: Path) -> None:
    """Where a register acts with other lanes only, or is read-only, that alone is the finding."""
    steps = "write telegraph.DATA 0x41 lanes 0010\nwrite levers.IN 0x1 lanes 0010\n"
    found = told(run(tmp_path, steps))
    assert [one[0] for one in found] == ["lanes-lost", "read-only-write"]


@pytest.mark.parametrize(
    ("text", "end"),
    [
        ("0x41", "lanes 0010, its data in bits 15..8"),
        ("0x42", "lanes 0100, its data in bits 23..16; a halfword has lanes 1100 and bits 31..16"),
        ("0x43", "lanes 1000, its data in bits 31..24"),
    ],
)  # fmt: skip
def test_an_address_inside_of_a_word_names_the_lanes(text: str, end: str) -> None:
    """A byte has its lane; at the third byte a halfword may be meant, which has two lanes.

    Source: RISC-V unprivileged ISA, loads and stores; Wishbone B4, rule 3.100: sh at 2 drives 1100.
    """
    with pytest.raises(ValueError, match=f"{end}$"):
        address(text)


class Dimmer(RegisterModel):
    """A lamp on duty: 16 bits, written byte by byte."""

    table = RegisterTable(Register("DUTY", 0, "rw", "How long it is lit.", width=16, count=2))


@pytest.mark.parametrize(
    ("step", "rule", "end"),
    [
        ("write dimmer.DUTY.0 0x1900 lanes 0010", "", ""),
        ("write dimmer.DUTY.0 0x0 lanes 0010", "", ""),
        ("write dimmer.DUTY.0 0x19 lanes 0010", "data-off-lanes",
         "0x19 is in lanes that are not selected; it is ignored and 0x0 is written."),
        ("write dimmer.DUTY.0 0x190000 lanes 0100", "reserved-bits",
         "bits 0x190000 do not exist in this register; they are ignored and nothing is written."),
        ("write dimmer.DUTY.0 0x19 lanes 0100", "data-off-lanes",
         "0x19 is in lanes that are not selected; it is ignored and nothing is written."),
        ("write dimmer.DUTY.0 0x0 lanes 0100", "lanes-lost",
         "this register has bits only in lanes 0011 (bytes 0 and 1); the write does nothing."),
        ("write dimmer.DUTY.0 0x0 lanes 0110", "", ""),
        ("write levers.SET 0x0 lanes 0100", "", ""),
    ],
)  # fmt: skip
def test_a_byte_store_is_found_only_where_it_loses_something(
    tmp_path: Path, step: str, rule: str, end: str
) -> None:
    """A byte that the register has is stored, and its other byte stays; what is lost is one finding."""
    slots = {
        "dimmer": {"model": Dimmer, "base": 0x1000, "size": 8},
        "levers": {"model": "gpio", "base": 0x2000, "size": 0x1000, "width": 8},
    }
    recording = run(tmp_path, f"write dimmer.DUTY.0 0x0102\n{step}\n", slot=slots)
    assert [finding.rule for finding in recording.findings] == ([rule] if rule else [])
    assert all(finding.message.endswith(end) for finding in recording.findings)
    stored = {"0x1900": 0x1902, "0x0": 0x0002 if "0010" in step or "0110" in step else 0x0102}
    known = recording.registers["dimmer"]["DUTY.0"]
    assert known == stored.get(step.split()[2], 0x0002 if "0010" in step else 0x0102)
