"""Mistakes in how a netlist is built and in what it starts with; each with what must find it."""

from __future__ import annotations

from tests.mutant_runs import Mutant

_STATEMENTS, _STARTING = "verilog/statements.py", "verilog/starting.py"
_KNOWN, _START = "verilog/test_known.py", "verilog/test_starting.py"
_UNDEFINED, _POWERS = "verilog/test_undefined.py", "verilog/test_operators.py"

#: Why some of them change nothing that could be found.
UNCHANGED = {
    "words that a reset sets start with their initial values":
        "every engine runs a cycle of reset before cycle 0, which writes them",
    "words that are not given are 0": "the front end prints every bit of every word",
    "the earlier port wins": "every engine writes the ports of a memory in their order",
}  # fmt: skip
BUILDING = tuple(
    Mutant(mistake, file, old, new, check, quick=quick, unchanged=UNCHANGED.get(mistake, ""))
    for mistake, file, old, new, check, quick in (
        # Registers and memories.
        ("undefined bits are 0 in the second run", _STATEMENTS, 'word.replace("x", str(undefined))',
         'word.replace("x", "0")', _UNDEFINED, False),
        ("the last word comes first", _STATEMENTS, "for n in range(size)]",
         "for n in reversed(range(size))]", _KNOWN, False),
        ("words that are not given are 0", _STATEMENTS, 'rjust(width * size, "x")',
         'rjust(width * size, "0")', _UNDEFINED, False),
        ("a register's bits start in another order", _STATEMENTS,
         "initial.get(bit, undefined) << place",
         "initial.get(bit, undefined) << len(bits) - 1 - place", _START, True),
        ("a register's bits that nothing sets are 0", _STATEMENTS, "initial.get(bit, undefined)",
         "initial.get(bit, 0)", _UNDEFINED, False),
        ("words that a reset sets start with their initial values", _STATEMENTS,
         " | dict(words.get(cell.name, {}))", "", _START, False),
        ("a wire that nothing drives is 0", _STATEMENTS, "yield Const(undefined, 1)",
         "yield Const(0, 1)", _UNDEFINED, False),
        ("constants have their bits in another order", _STATEMENTS,
         '"".join(map(str, reversed(bits[begin:end])))', '"".join(map(str, bits[begin:end]))', _POWERS,
         False),
        ("a piece begins one bit too low", _STATEMENTS, "[place : place + end - begin]",
         "[max(0, place - 1) : max(0, place - 1) + end - begin]", _POWERS, False),
        ("pieces of a source are joined in any order", _STATEMENTS, "place + end - begin)\n",
         "place)\n", _POWERS, False),
        # Memories: reading and writing.
        ("what lies outside of a memory is 0", _STATEMENTS,
         "outside = Const(-self._storage.undefined & (1 << width) - 1, width)",
         "outside = Const(0, width)", _UNDEFINED, False),
        ("every read port reads at the first address", _STATEMENTS,
         "given = address[place * bits : (place + 1) * bits]", "given = address[:bits]", _KNOWN, False),
        ("every word is written, whole", _STATEMENTS,
         "inside, word = _word(given[place], cell, words.depth)\n"
         "                taken = self._keep(enables[place] & self._keep(inside).replicate(width))",
         "inside, word = _word(given[place], cell, words.depth)\n"
         "                taken = self._keep(enables[place].any().replicate(width))", _KNOWN, False),
        ("what is outside is written", _STATEMENTS,
         "enables[place] & self._keep(inside).replicate(width)",
         "enables[place]", _KNOWN, False),
        ("the earlier port wins", _STATEMENTS, "wins >> later * count + place & 1",
         "wins >> place * count + later & 1", _KNOWN, False),
        ("a later port wins with bits that it does not write", _STATEMENTS,
         "taken & ~(enables[later] & meets.replicate(width))", "taken & ~meets.replicate(width)",
          _KNOWN,
         False),
        ("a later port wins everywhere", _STATEMENTS,
         "taken & ~(enables[later] & meets.replicate(width))",
         "taken & ~enables[later]", _KNOWN, False),
        ("each port writes the data of the first", _STATEMENTS,
         "port.data.eq(data[place * width : (place + 1) * width])", "port.data.eq(data[:width])",
          _KNOWN,
         False),
        ("a memory's first word is 0", _STATEMENTS,
         "word = (address - offset).as_unsigned() if offset else address",
         "word = address", _KNOWN, False),
        ("the last word is outside", _STATEMENTS, "address < offset + depth",
         "address < offset + depth - 1",
         _KNOWN, False),
        ("words before the first are inside", _STATEMENTS,
         "(address >= offset) & (address < offset + depth)",
         "address < offset + depth", _START, False),
        # What holds in cycle 0.
        ("an initial value goes before the reset", _STARTING, "known = given | reset",
         "known = reset | given", _START, False),
        ("the reset sets nothing", _STARTING, "reset = dict(_bits_set(whole, called, held))",
         "reset = {}",
         _START, False),
        ("the reset sets no words", _STARTING, "cell.name: dict(_words_set(held.cells[cell.name]))",
         "cell.name: {}", _START, False),
        ("initial values in another order", _STARTING, "reversed(net.initial)", "net.initial", _START,
         False),
        ("what is x in the reset is 0", _STARTING,
         'if level in ("0", "1"):\n                    yield bit, int(level)',
         'if True:\n                    yield bit, int(level == "1")', _START, False),
        ("a write that may not happen sets a word", _STARTING, 'if enable[bit] == "1":',
         'if enable[bit] != "0":',
         _START, False),
        ("a write at an unknown address is passed over", _STARTING, "found.clear()  #", "pass  #",
         _START,
         False),
        ("an address has its bits in another order", _STARTING,
         '"".join(map(str, reversed(address)))', '"".join(map(str, address))', _START, False),
        ("a word has its bits in another order", _STARTING, 'yield word, "".join(reversed(levels))',
         'yield word, "".join(levels)', _START, False),
        ("numbers of words are counted from 0", _STARTING, 'or "0", 2) - first', 'or "0", 2)', _START,
         False),
        ("a word that is set in part is set", _STARTING, 'if "x" not in levels:', "if True:", _START,
         False),
        ("no memory is undefined", _STARTING, 'if any("x" in word for word in after):',
         "if False:", _START, False),
        ("one bit that is set is enough", _STARTING, "if any(bit not in known for bit in bits):",
         "if all(bit not in known for bit in bits):", _START, False),
        ("no register's initial value is overruled", _STARTING, "known[bit] != given[bit]", "False",
         _START,
         False),
        ("no word's initial value is overruled", _STARTING, 'if any(one not in ("x", other)',
         "if any(False", _START, False),
    )
)  # fmt: skip
