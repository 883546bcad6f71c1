"""A declaration of registers by the name of its file: SystemRDL, TOML or Python."""

from __future__ import annotations

from pathlib import Path

from busbox.basics.errors import InputError, format_value
from busbox.basics.loading import load_object
from busbox.device import Declaration, has_one_table
from busbox.map.registers import RegisterTable


def load_registers(text: str, folder: Path) -> RegisterTable:
    """Return the registers that a text names.

    Parameters
    ----------
    text : ``dimmer.rdl``, or ``dimmer.rdl:NAME`` for one of several address maps; ``dimmer.toml``; or
        ``dimmer.py:NAME`` for a :class:`~busbox.map.registers.RegisterTable` or a class with a
        ``table``, such as a :class:`~busbox.device.Declaration`
    folder : where the file is looked up; for a file beside that of a model,
        ``Path(__file__).parent``

    Raises
    ------
    InputError : the file cannot be read, or does not declare registers; each mistake has its line
    """
    named = not text.endswith((".toml", ".rdl"))
    file, sign, name = text.rpartition(":") if named else (text, "", "")
    suffix = Path(file).suffix
    if suffix == ".rdl" and (name or not sign):
        from busbox.registers.rdl_in import registers_of

        return _from(folder / file, registers_of(folder / file, name or None))
    if suffix == ".toml" and not sign:
        from busbox.registers.toml_in import registers_from_toml

        return _from(folder / file, registers_from_toml(folder / file))
    if suffix == ".py" and name:
        return _from_python(text, folder)
    raise InputError.of(
        "must be a file of SystemRDL 'FILE.rdl', of TOML 'FILE.toml', or 'FILE.py:NAME', "
        f"not {format_value(text)}"
    )


def _from(file: Path, table: RegisterTable) -> RegisterTable:
    table.file = str(file)
    return table


def _from_python(text: str, folder: Path) -> RegisterTable:
    found = load_object(text, folder, "table or class")
    table = found if isinstance(found, RegisterTable) else getattr(found, "table", None)
    if not isinstance(table, RegisterTable):
        raise InputError.of(
            f"{text} must be a RegisterTable, or a class with a table, not {format_value(found)}"
        )
    if isinstance(found, type) and issubclass(found, Declaration) and not has_one_table(found):
        raise InputError.of(
            f"{text} makes its registers from settings (table_for); name a RegisterTable instead"
        )
    if not table.registers:
        raise InputError.of(f"{text} must declare at least one register")
    return table
