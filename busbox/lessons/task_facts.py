"""What pages, sheets and notebooks show of a task: its map, and which lessons are about a finding."""

from __future__ import annotations

from collections.abc import Mapping

from busbox.lessons.declaring import Lesson, Picture
from busbox.lessons.finding import lessons
from busbox.lessons.playing import slot_of, slot_table
from busbox.map.slots import AddressMap


def map_of(picture: Picture, numbers: Mapping[str, int]) -> AddressMap:
    """Return the address map that the picture of a task shows."""
    return AddressMap([slot_of(slot_table(table, numbers)) for table in picture.slots])


def lessons_about(rule: str) -> list[Lesson]:
    """Return the lessons that explain the findings of a rule, in order."""
    return [lesson for lesson in lessons() if rule in lesson.teaches]
