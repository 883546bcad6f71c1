"""One key of a bench file, as its table declares it: what checks it and what describes it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Key:
    """What a key means, and what stands in it.

    Attributes
    ----------
    text : one sentence
    kind : its type in words, to stand behind "must be"
    example : a valid value, as a bench file writes it
    unit : what a plain number counts; "" if none
    default : what counts without the key, in words; "" if the table's field says it, or nothing does
    item : what each item of a list must be, in words; "" if it is no list
    required : whether it must be given; of a pydantic table its field says so
    """

    text: str
    kind: str
    example: str
    unit: str = ""
    default: str = ""
    item: str = ""
    required: bool = False
