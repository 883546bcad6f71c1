"""The functions of an ELF file, kept by its contents: to read debug information takes far longer."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from busbox.basics.cache import cached, read_key
from busbox.basics.ranges import Ranges
from busbox.firmware.debug_functions import Function

#: The files that a table follows from, beside the ELF file and the library that reads it.
_READERS = ("program.py", "debug_functions.py", "debug_lines.py", "function_table.py")


def kept_functions(contents: bytes, read: Callable[[bytes], Ranges[Function]]) -> Ranges[Function]:
    """Return the functions of an ELF file: as they were kept, or read now and kept.

    Parameters
    ----------
    contents : the file
    read : reads the functions; what it raises is raised, and nothing is kept
    """
    return _unpacked(cached(_key(contents), lambda: _packed(read(contents))))


def _key(contents: bytes) -> bytes:
    import elftools  # only its version

    readers = [Path(__file__).with_name(name) for name in _READERS]
    return read_key("functions", contents, (elftools.__version__,), *readers)


def _packed(functions: Ranges[Function]) -> bytes:
    """Return a table as JSON: each function and each table of lines once, by their numbers."""
    spans = list(functions)
    each = {id(one): one for _, _, one in spans}
    tables = {id(one.lines): one.lines for one in each.values()}
    function_at = {key: place for place, key in enumerate(each)}
    table_at = {key: place for place, key in enumerate(tables)}
    rows = [(one.names, one.ranges, one.inlined, table_at[id(one.lines)]) for one in each.values()]
    where = [(low, high, function_at[id(one)]) for low, high, one in spans]
    return json.dumps([[list(table) for table in tables.values()], rows, where]).encode()


def _unpacked(text: bytes) -> Ranges[Function]:
    tables, rows, where = json.loads(text)
    lines = [
        Ranges((low, high, (path, line)) for low, high, (path, line) in table) for table in tables
    ]
    functions = [
        Function(
            tuple(names),
            [(low, high) for low, high in ranges],
            [(low, high, (depth, name)) for low, high, (depth, name) in inlined],
            lines[table],
        )
        for names, ranges, inlined, table in rows
    ]
    return Ranges((low, high, functions[place]) for low, high, place in where)
