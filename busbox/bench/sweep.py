"""``[sweep]``: the values that keys take in a sweep, and what is measured."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from busbox.basics.keys import Key
from busbox.bench.table import Table


class SweepTable(Table):
    """``[sweep]``; ``busbox sweep`` uses what the command line does not say."""

    vary: Annotated[
        dict[str, Any],
        Key(
            "The keys that vary, each with its values or a range.",
            "a table of keys with lists of values, or text as for --vary",
            "{ clock = '8MHz..48MHz/8MHz' }",
            default="none",
        ),
    ] = Field(default_factory=dict)
    measure: Annotated[
        list[str] | None,
        Key(
            "What is measured of each variant.",
            "a list of measures such as ['duration', 'findings']",
            "['duration', 'findings']",
            default="all measures",
            item="the name of a measure",
        ),
    ] = None
