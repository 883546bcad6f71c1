"""A device's folder here holds what its tests share: its naive model, and what is drawn of it."""

from __future__ import annotations

import pytest

from busbox.plugins import DEVICES
from tests.models.drawing import Drawn, Stepped
from tests.models.folders import HERE, attributes


@pytest.mark.parametrize("device", DEVICES.built_in)
def test_every_device_has_a_naive_model_and_is_drawn(device: str) -> None:
    """Both are found by the folder's name, and plans draw the device."""
    assert device in attributes("naive", "NAIVE")
    assert isinstance(attributes("drawn", "DRAWN")[device], Drawn)
    assert (HERE / device / f"test_{device}.py").is_file()
    assert (HERE / device / f"test_{device}_hardware.py").is_file()


@pytest.mark.parametrize("device", sorted(set(DEVICES.built_in) - {"memory"}))
def test_every_device_with_output_pins_is_stepped(device: str) -> None:
    """What a memory does not have, pins that move by themselves, every other one has."""
    stepped = attributes("drawn", "STEPPED")[device]
    assert isinstance(stepped, Stepped)
    assert stepped.next_edges


def test_a_folder_without_the_module_is_left_out() -> None:
    """The tests' own holder is drawn, and is not stepped; folders of other files do not count."""
    assert "holder" in attributes("drawn", "DRAWN")
    assert "holder" not in attributes("drawn", "STEPPED")
    assert attributes("no_such_module", "DRAWN") == {}
