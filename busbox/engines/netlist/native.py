"""Text for LLVM becomes machine code in memory. Needs the extra ``fast`` (llvmlite)."""

from __future__ import annotations

import io
from functools import partial

import llvmlite
import llvmlite.binding as llvm
from elftools.elf.elffile import ELFFile
from elftools.elf.sections import SymbolTableSection

from busbox.basics.cache import cached
from busbox.basics.errors import EngineError

#: How thoroughly LLVM optimises, of 0 to 3.
LEVEL = 2


class Native:
    """Machine code of one module; it lives as long as this object.

    Raises
    ------
    EngineError : the text is not valid, or the code needs a function that this process has not
    """

    def __init__(self, text: str, level: int = LEVEL) -> None:
        machine = _machine(level)
        self._engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), machine)
        code = cached(_key(text, level, machine), partial(_compiled, text, level, machine))
        check_symbols(code)
        self._engine.add_object_file(llvm.ObjectFileRef.from_data(code))
        self._engine.finalize_object()

    def address(self, name: str) -> int:
        """Return the address of a function that the text defines (not an internal one)."""
        found = int(self._engine.get_function_address(name))
        if not found:
            raise EngineError(f"the module must define the function {name}")
        return found


def compile_ir(text: str, level: int = LEVEL) -> Native:
    """Return the machine code of a module's text, verified and optimised.

    Code that was made of the same text, by the same versions, for the same processor is used again if
    it is kept (:mod:`busbox.basics.cache`).

    Raises
    ------
    EngineError : the text is not valid, or the code needs a function that this process has not
    """
    return Native(text, level)


def _machine(level: int) -> llvm.TargetMachine:
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    target = llvm.Target.from_default_triple()
    machine: llvm.TargetMachine = target.create_target_machine(
        cpu=llvm.get_host_cpu_name(), opt=level, codemodel="jitdefault", jit=True
    )
    return machine


def _key(text: str, level: int, machine: llvm.TargetMachine) -> bytes:
    """Return all that machine code follows from."""
    cpu, features = llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten()
    facts = (llvmlite.__version__, llvm.llvm_version_info, machine.triple, cpu, features, level)
    return f"{facts!r}\n{text}".encode()


def _compiled(text: str, level: int, machine: llvm.TargetMachine) -> bytes:
    """Return an object file."""
    module = _parsed(text)
    options = llvm.create_pipeline_tuning_options(speed_level=level)
    builder = llvm.create_pass_builder(machine, options)
    builder.getModulePassManager().run(module, builder)
    return bytes(machine.emit_object(module))


def _parsed(text: str) -> llvm.ModuleRef:
    try:
        module: llvm.ModuleRef = llvm.parse_assembly(text)
        module.verify()
    except RuntimeError as error:
        raise EngineError(f"the module's text must be valid: {error}") from error
    return module


def check_symbols(code: bytes) -> None:
    """Refuse code that calls what this process has not: running it would end the process.

    Only object files in the ELF format are looked into; elsewhere, loading them is what fails.
    """
    if not code.startswith(b"\x7fELF"):
        return
    for section in ELFFile(io.BytesIO(code)).iter_sections():
        if not isinstance(section, SymbolTableSection):
            continue
        for symbol in section.iter_symbols():
            missing = symbol["st_shndx"] == "SHN_UNDEF" and symbol.name
            if missing and not llvm.address_of_symbol(symbol.name):
                raise EngineError(f"native code needs the function {symbol.name}, which is missing")
