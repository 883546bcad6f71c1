"""A bench from Python holds what a file cannot: each such thing is told in one sentence."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from busbox import Bench, InputError

pytestmark = pytest.mark.quick

TEXT = "keys must be printable text, not "
ARRAY = "must be a value as a bench file has it, such as a list, not a ndarray"
LEVERS = {"model": "gpio", "base": 0, "size": 0x1000}


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("slot", 1), LEVERS, f"slot: {TEXT}1"),
        (("slot", None), LEVERS, f"slot: {TEXT}None"),
        (("slot", "levers", 1.5), 2, f"slot.levers: {TEXT}1.5"),
        (("attach", b"a"), {}, f"attach: {TEXT}b'a'"),
        (("fabric", (1,)), 1, f"fabric: {TEXT}[1]"),
        ((b"clock",), "1 MHz", f"{TEXT}b'clock'"),
        (("\ud800",), 1, f"{TEXT}'\\ud800'"),
        (("slot", "levers", "base"), np.array([0, 4096]), f"slot.levers.base: {ARRAY}"),
        (("slot", "levers", "base"), np.array([]), f"slot.levers.base: {ARRAY}"),
        (("input",), [{"bytes": np.array([1])}], f"input.0.bytes: {ARRAY}"),
        (("traffic",), np.array(5), f"traffic: {ARRAY}"),
        (("expect",), [{"findings": {"rule": ["no-answer"], "at_most": 1}}],
         "expect.0.findings.rule: must be a rule, not ['no-answer']"),
    ],
)  # fmt: skip
def test_what_no_file_can_hold_is_told(path: tuple[Any, ...], value: object, told: str) -> None:
    """Keys that are no text, arrays, and lists where there must be a name: one mistake each."""
    keys: dict[Any, Any] = {"clock": "1 MHz", "slot": {"levers": dict(LEVERS)}, "traffic": []}
    inner = keys
    for key in path[:-1]:
        inner = inner.setdefault(key, {})
    inner[path[-1]] = value
    with pytest.raises(InputError, match=re.escape(told)) as raised:
        Bench(keys).run("python")
    assert len(raised.value.mistakes) == 1


def test_a_number_of_numpy_is_told_as_one() -> None:
    """A base that NumPy computed is refused by the key's own sentence, not as an array."""
    levers = {**LEVERS, "base": np.int64(0x2000)}
    bench = Bench({"clock": "1 MHz", "slot": {"levers": levers}, "traffic": []})
    with pytest.raises(InputError, match=r"must be a whole number from 0 to .*, not np.int64"):
        bench.devices()
