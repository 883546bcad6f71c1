"""The pictures of findings."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from busbox import load_bench
from busbox.pictures import Look, finding_picture
from busbox.pictures.finding import ACCESSES, MAPPED, PULSES, READS, SHOWN
from tests.pictures.geometry import check_geometry, words

pytestmark = pytest.mark.quick

#: Rule of a finding: bench of the set ``mistakes``, and what its picture says.
DRAWN = {
    "unmapped-access": ("addresses", "no slot answers at 0x41000008"),
    "bus-hang": ("hang", "no slot answers at 0x50000000"),
    "image-access": ("addresses", "in image 256 of lamps"),
    "no-answer": ("silence", "no slot answers at 0x50000000"),
    "pulse-width": ("lamp_clock", "too short by 38.333 ns"),
    "latch-gap": ("lamp_gap", "too short by 33.938 us"),
    "shown-differs": ("lamp_zeros", "1 not shown as sent"),
    "colour-order": ("lamp_order", "1 not shown as sent"),
    "read-differs": ("waiting", "VALUE, bits 7..0: recorded 0x10, read 0."),
    "poll-timeout": ("waiting", "VALUE, bits 7..0: waited for 0x10, last read 0."),
    "reserved-bits": ("registers", "Ones in bits that do not exist: 8."),
    "register-hole": ("registers", "levers has no register at offset 0x24"),
    "lanes-lost": ("registers", " 0010 "),
    "data-off-lanes": ("registers", " 0010 "),
}


@pytest.mark.parametrize("rule", DRAWN)
def test_a_finding_has_the_picture_that_helps(rule: str) -> None:
    """It says what the finding is about; with the system at hand or from the carried bench."""
    bench, said = DRAWN[rule]
    loaded = load_bench(f"mistakes/{bench}")
    run = loaded.run(engine="python")
    finding = next(one for one in run.findings if one.rule == rule)
    for look in (Look(340), Look(560), Look(900, dark=True)):
        picture = finding_picture(run, finding, look)
        assert picture is not None
        check_geometry(picture)
        assert said in words(picture)
        assert rule != "pulse-width" or "Frame 0, lamp 0, bit 0." in words(picture)
        assert picture == finding_picture(run, finding, look, loaded.system())


def test_other_findings_have_none() -> None:
    """A finding that no picture helps with has none; nor has one whose bench was left out."""
    run = load_bench("mistakes/undefined").run(engine="python")
    assert run.findings
    assert all(finding_picture(run, finding, Look()) is None for finding in run.findings)
    hang = load_bench("mistakes/hang").run(engine="python")
    (finding,) = hang.findings
    assert finding_picture(dataclasses.replace(hang, carried=None), finding, Look()) is None


def test_the_rules_with_pictures_exist() -> None:
    """Each is a rule of the package: its file has its name."""
    import busbox.findings

    folder = Path(busbox.findings.__file__).parent
    assert DRAWN.keys() == {*MAPPED, *PULSES, *SHOWN, *READS, *ACCESSES}
    text = "".join(one.read_text(encoding="utf-8") for one in folder.glob("*.py"))
    for rule in (*MAPPED, *PULSES, *SHOWN, *READS, *ACCESSES):
        assert f"``{rule}``" in text, rule
