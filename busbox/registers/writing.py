"""The artefacts by the suffix of their file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from busbox.basics.errors import InputError, join_or, nearest
from busbox.registers.header import header
from busbox.registers.html_page import html_page
from busbox.registers.json_map import json_map
from busbox.registers.layout import Layout
from busbox.registers.markdown import markdown
from busbox.registers.python_class import python_class
from busbox.registers.rdl_out import rdl

#: Suffix to what writes that artefact.
WRITERS: Mapping[str, Callable[[Layout], str]] = {
    ".h": header,
    ".py": python_class,
    ".md": markdown,
    ".html": html_page,
    ".rdl": rdl,
    ".json": json_map,
}


def writer_for(file: str) -> Callable[[Layout], str]:
    """Return what writes a file of that name.

    Raises
    ------
    InputError : no artefact has its suffix
    """
    suffix = Path(file).suffix
    if suffix not in WRITERS:
        text = f"must end in {join_or(WRITERS)}, not {file!r}{nearest(suffix, list(WRITERS))}"
        raise InputError.of(text)
    return WRITERS[suffix]
