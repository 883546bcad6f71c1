"""Lessons on address decoding: a task, an answer, and a bench that is run to check it.

A lesson is declared (:mod:`busbox.lessons.declaring`) in one file with text, drawn numbers and plays;
what depends on an answer is an expression (:mod:`busbox.lessons.expressions`), so the same lesson can
be judged by a run here and by a page elsewhere. The author of a lesson imports all names from here.
"""

from __future__ import annotations

from busbox.lessons.board import slot, slots
from busbox.lessons.declaring import Before, Field, Lesson, Must, Picture, Play, Wrong

__all__ = ["Before", "Field", "Lesson", "Must", "Picture", "Play", "Wrong", "slot", "slots"]
