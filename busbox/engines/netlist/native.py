"""Text for LLVM becomes machine code in memory. Needs the extra ``fast`` (llvmlite)."""

from __future__ import annotations

import io
import re
from functools import partial

import llvmlite
import llvmlite.binding as llvm

from busbox.basics.cache import cached
from busbox.basics.errors import EngineError
from busbox.engines.netlist.llvm_pieces import APART

#: How thoroughly LLVM optimises, of 0 to 3; :data:`QUICK` only translates.
LEVEL, QUICK = 2, 0
#: Functions that other modules may call.
_DEFINED = re.compile(r"^define (?!internal)[^@\n]*@(\w+)\(", re.MULTILINE)


class Native:
    """Machine code of one text; it lives as long as this object.

    Parameters
    ----------
    code : what :func:`object_of` returned, in this process or in another

    Raises
    ------
    EngineError : the code needs a function that this process has not
    """

    def __init__(self, code: bytes, level: int = LEVEL) -> None:
        needed, _, rest = code.partition(b"\n")
        self._engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _machine(level))
        for name in needed.decode().split():  # the compiler knows this process's symbols
            if not llvm.address_of_symbol(name):
                raise EngineError(f"native code needs the function {name}, which is missing")
        while rest:
            length, rest = int.from_bytes(rest[:8], "little"), rest[8:]
            self._engine.add_object_file(llvm.ObjectFileRef.from_data(rest[:length]))
            rest = rest[length:]
        self._engine.finalize_object()

    def address(self, name: str) -> int:
        """Return the address of a function that the text defines (not an internal one)."""
        found = int(self._engine.get_function_address(name))
        if not found:
            raise EngineError(f"the module must define the function {name}")
        return found


def compile_ir(text: str, level: int = LEVEL) -> Native:
    """Return the machine code of a text, verified and optimised.

    Code that was made of the same text, by the same versions, for the same processor is used again if
    it is kept (:mod:`busbox.basics.cache`).

    Raises
    ------
    EngineError : the text is not valid, or the code needs a function that this process has not
    """
    key = made_by(level) + b"\n" + text.encode()
    return Native(cached(key, partial(object_of, text, level)), level)


def made_by(level: int) -> bytes:
    """Return what machine code follows from beside its text: versions, processor and level."""
    cpu, features = llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten()
    triple = llvm.get_process_triple()
    facts = (llvmlite.__version__, llvm.llvm_version_info, triple, cpu, features, level)
    return repr(facts).encode()


def object_of(text: str, level: int = LEVEL) -> bytes:
    """Compile a text: return the functions that the code needs, in one line, and the code.

    Modules of it (:data:`~busbox.engines.netlist.llvm_pieces.APART`) are compiled one by one, and may
    call each other's functions. LLVM cannot be stopped; between two of them, Python can.

    Raises
    ------
    EngineError : the text is not valid
    """
    codes = [compiled(one, level) for one in text.split(APART)]
    needed = dict.fromkeys(name for code in codes for name in needed_by(code))
    for name in _DEFINED.findall(text) if len(codes) > 1 else ():
        needed.pop(name, None)
    rows = [len(code).to_bytes(8, "little") + code for code in codes]
    return " ".join(needed).encode() + b"\n" + b"".join(rows)


def compiled(text: str, level: int) -> bytes:
    """Return the code of one module, optimised."""
    machine, module = _machine(level), _parsed(text)
    options = llvm.create_pipeline_tuning_options(speed_level=level)
    builder = llvm.create_pass_builder(machine, options)
    builder.getModulePassManager().run(module, builder)
    return bytes(machine.emit_object(module))


def _machine(level: int) -> llvm.TargetMachine:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    target = llvm.Target.from_default_triple()
    machine: llvm.TargetMachine = target.create_target_machine(
        cpu=llvm.get_host_cpu_name(), opt=level, codemodel="jitdefault", jit=True
    )
    return machine


def _parsed(text: str) -> llvm.ModuleRef:
    try:
        module: llvm.ModuleRef = llvm.parse_assembly(text)
        module.verify()
    except RuntimeError as error:
        raise EngineError(f"the module's text must be valid: {error}") from error
    return module


def needed_by(code: bytes) -> list[str]:
    """Return the functions that code needs: calling one that is missing would end the process.

    Only object files in the ELF format are looked into; elsewhere, loading them is what fails.
    """
    if not code.startswith(b"\x7fELF"):
        return []
    from elftools.elf.elffile import ELFFile
    from elftools.elf.sections import SymbolTableSection

    return [
        symbol.name
        for section in ELFFile(io.BytesIO(code)).iter_sections()
        if isinstance(section, SymbolTableSection)
        for symbol in section.iter_symbols()
        if symbol["st_shndx"] == "SHN_UNDEF" and symbol.name
    ]
