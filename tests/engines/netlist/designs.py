"""Random designs: all of Amaranth that reaches the netlist, in one module or a hierarchy of them.

What is left out, since Amaranth's simulator differs from its netlist there: ``bit_select`` and
``word_select`` beyond the end of a value that is no signal (one test states that).
"""

from __future__ import annotations

import random
from typing import Any

from amaranth.hdl import (
    Array,
    Cat,
    ClockDomain,
    Const,
    Elaboratable,
    Module,
    Mux,
    Signal,
    Value,
    signed,
    unsigned,
)
from amaranth.lib.memory import Memory

#: Mostly narrow: Amaranth looks for loops between all bits of an operator's operands.
WIDTHS = (1, 1, 1, 1, 2, 2, 3, 3, 4, 4, 5, 7, 8, 8, 8, 12, 16, 31, 32)
WIDE_WIDTHS = (33, 63, 64, 65, 100, 127, 128, 129, 200)


class RandomDesign(Elaboratable):
    """A design that a seed gives.

    Attributes
    ----------
    ports : what the netlist is built with, clock and reset among them
    inputs, outputs : signals that a run drives and compares
    memories : memory by hierarchical name
    """

    def __init__(self, seed: int, statements: int = 3, memories: bool = True) -> None:
        self._draw = draw = random.Random(seed)
        self._statements = statements
        wide = draw.random() < 0.15
        self._widths, self._widest = (WIDE_WIDTHS + WIDTHS, 200) if wide else (WIDTHS, 40)
        self._with_memories = memories
        self.domain = ClockDomain("sync", reset_less=draw.random() < 0.2)
        self.inputs = [self.rst] if self.domain.rst is not None else []
        self.inputs += [Signal(self._shape(), name=f"in{place}") for place in range(4)]
        self.outputs: list[Signal] = []
        self.memories: dict[str, Memory] = {}
        self._pool: list[Value] = list(self.inputs)
        self._module = self._make()
        self.ports = {"clk": self.domain.clk, **{one.name: one for one in self.inputs}}
        self.ports |= {f"out{place}": one for place, one in enumerate(self.outputs)}

    @property
    def rst(self) -> Signal:
        return self.domain.rst

    def elaborate(self, platform: object) -> Module:
        return self._module

    def _make(self) -> Module:
        module = Module()
        module.domains += self.domain
        self._fill(module, "top", depth=self._draw.choice((0, 0, 1, 1, 2)))
        return module

    # Drawing.

    def _shape(self) -> Any:
        width = self._draw.choice(self._widths)
        return self._draw.choice((unsigned, unsigned, signed))(width)

    def _signal(self, name: str) -> Signal:
        shape = self._shape()
        low, high = (-(1 << shape.width - 1), (1 << shape.width - 1) - 1) if shape.signed else (
            0, (1 << shape.width) - 1)  # fmt: skip
        init = self._draw.choice((0, 0, low, high, self._draw.randint(low, high)))
        reset_less = self._draw.random() < 0.2
        return Signal(shape, name=name, init=init, reset_less=reset_less)

    def _narrow(self, width: int) -> Value:
        """Return an expression of at most ``width`` bits, unsigned."""
        return self._value(1)[: self._draw.randint(1, width)]

    def _leaf(self) -> Value:
        if self._draw.random() < 0.15:
            shape = self._shape()
            return Const(self._draw.getrandbits(shape.width), shape)
        return self._draw.choice(self._pool)

    def _value(self, depth: int) -> Value:
        """Return an expression of at most as many bits as the design allows."""
        if depth == 0 or self._draw.random() < 0.1:
            return self._leaf()
        value = self._draw.choice(OPERATIONS)(self, depth - 1)
        if len(value) > self._widest:
            value = value[: self._draw.randint(1, self._widest)]
        return value

    def _unary(self, depth: int) -> Value:
        a = self._value(depth)
        return self._draw.choice((
            lambda: ~a, lambda: -a, lambda: a.bool(), lambda: a.any(), lambda: a.all(),
            lambda: a.xor(), lambda: abs(a), lambda: a.as_signed() if len(a) else a,
            lambda: a.as_unsigned(),
        ))()  # fmt: skip

    def _binary(self, depth: int) -> Value:
        a, b = self._value(depth), self._value(depth)
        if self._draw.random() < 0.1:
            b = a
        return self._draw.choice((
            lambda: a + b, lambda: a - b, lambda: a * b, lambda: a & b, lambda: a | b,
            lambda: a ^ b, lambda: a // b, lambda: a % b,
        ))()  # fmt: skip

    def _comparison(self, depth: int) -> Value:
        a, b = self._value(depth), self._value(depth)
        return self._draw.choice((
            lambda: a == b, lambda: a != b, lambda: a < b, lambda: a <= b, lambda: a > b,
            lambda: a >= b, lambda: a == self._draw.getrandbits(max(1, len(a))),
        ))()  # fmt: skip

    def _shift(self, depth: int) -> Value:
        a = self._value(depth)
        if self._draw.random() < 0.3:
            places = self._draw.randint(0, len(a) + 3)
            return self._draw.choice((
                lambda: a.shift_left(places), lambda: a.shift_right(places),
                lambda: a.rotate_left(places), lambda: a.rotate_right(places),
            ))()  # fmt: skip
        if self._draw.random() < 0.5:
            return a >> self._value(depth).as_unsigned()
        return a << self._narrow(6)

    def _slices(self, depth: int) -> Value:
        a = self._value(depth)
        if self._draw.random() < 0.5 or not len(a):
            parts = [self._value(depth) for _ in range(self._draw.randint(1, 3))]
            return Cat(*parts, a, a[:1])
        low = self._draw.randrange(len(a))
        return a[low : self._draw.randint(low, len(a))]

    def _part(self, depth: int) -> Value:
        a = self._draw.choice(self._pool)
        width = self._draw.randint(1, max(1, min(len(a), 40)))
        if self._draw.random() < 0.5:
            return a.bit_select(self._narrow(9), width)
        return a.word_select(self._narrow(5), width)

    def _choice(self, depth: int) -> Value:
        if self._draw.random() < 0.6:
            return Mux(self._value(depth), self._value(depth), self._value(depth))
        items = Array(self._value(depth) for _ in range(self._draw.randint(1, 5)))
        return items[self._narrow(3)]

    # Statements.

    def _fill(self, m: Module, path: str, depth: int) -> None:
        registers = [self._signal(f"reg_{len(self._pool)}_{place}") for place in range(2)]
        self._pool += registers
        for number in range(self._draw.randint(2, self._statements)):
            if depth and self._draw.random() < 0.3:
                inner = Module()
                name = f"inner{number}"
                self._fill(inner, f"{path}.{name}", depth - 1)
                m.submodules[name] = inner
            elif self._with_memories and self._draw.random() < 0.15:
                self._memory(m, path, f"store{number}")
            else:
                target = self._signal(f"wire_{len(self._pool)}")
                self._block(m, m.d.comb, target, self._draw.choice((0, 0, 1, 1, 2)))
                self._pool.append(target)
        for register in registers:
            self._block(m, m.d.sync, register, self._draw.choice((0, 1, 1, 2)))
        shown = self._draw.sample(self._pool, min(len(self._pool), 4))
        for one in shown:
            output = Signal(len(one), name=f"show_{len(self._pool)}_{len(self.outputs)}")
            m.d.comb += output.eq(one)
            self.outputs.append(output)

    def _assign(self, m: Module, domain: Any, target: Signal) -> None:
        value = self._value(2)
        kind = self._draw.randrange(5)
        if kind == 0:
            low = self._draw.randrange(len(target))
            domain += target[low : self._draw.randint(low, len(target))].eq(value)
        elif kind == 1:
            width = self._draw.randint(1, min(len(target), 20))
            domain += target.bit_select(self._narrow(4), width).eq(value)
        elif kind == 2 and len(target) > 1:
            low = self._draw.randrange(1, len(target))
            domain += Cat(target[low:], target[:low]).eq(value)
        else:
            domain += target.eq(value)

    def _block(self, m: Module, domain: Any, target: Signal, depth: int) -> None:
        for _ in range(self._draw.randint(1, 2)):
            if depth == 0 or self._draw.random() < 0.3:
                self._assign(m, domain, target)
            elif self._draw.random() < 0.5:
                with m.If(self._value(2).bool()):
                    self._block(m, domain, target, depth - 1)
                if self._draw.random() < 0.5:
                    with m.Elif(self._value(1).bool()):
                        self._block(m, domain, target, depth - 1)
                if self._draw.random() < 0.5:
                    with m.Else():
                        self._block(m, domain, target, depth - 1)
            else:
                self._switch(m, domain, target, depth)

    def _switch(self, m: Module, domain: Any, target: Signal, depth: int) -> None:
        test = self._narrow(4)
        with m.Switch(test):
            for _ in range(self._draw.randint(1, 4)):
                patterns = [
                    "".join(self._draw.choice("01-") for _ in range(len(test)))
                    for _ in range(self._draw.randint(1, 2))
                ]
                with m.Case(*patterns):
                    self._block(m, domain, target, depth - 1)
            if self._draw.random() < 0.5:
                with m.Default():
                    self._block(m, domain, target, depth - 1)

    def _memory(self, m: Module, path: str, name: str) -> None:
        draw = self._draw
        depth = draw.choice((0, 1, 2, 3, 4, 5, 7, 8, 13))
        width = draw.choice((1, 4, 8, 12, 32, 64, 72, 130))
        shape = draw.choice((unsigned, unsigned, signed))(width)
        init = [draw.getrandbits(width - shape.signed) for _ in range(draw.randint(0, depth))]
        memory = Memory(shape=shape, depth=depth, init=init)
        m.submodules[name] = memory
        self.memories[f"{path}.{name}"] = memory
        writes = []
        for _ in range(draw.choice((0, 1, 1, 2, 3))):
            lanes = [one for one in (1, 2, 4, 8, width) if width % one == 0]
            port = memory.write_port(granularity=None if shape.signed else draw.choice(lanes))
            m.d.comb += [
                port.addr.eq(self._value(1)), port.data.eq(self._value(1)),
                port.en.eq(self._value(2)),
            ]  # fmt: skip
            writes.append(port)
        for _ in range(draw.choice((1, 1, 2))):
            if draw.random() < 0.4:
                read = memory.read_port(domain="comb")
            else:
                through = [one for one in writes if draw.random() < 0.5]
                read = memory.read_port(transparent_for=through)
                m.d.comb += read.en.eq(draw.choice((Const(1), self._value(1))))
            m.d.comb += read.addr.eq(self._value(1))
            self._pool.append(read.data)


OPERATIONS = (
    RandomDesign._unary,
    RandomDesign._binary,
    RandomDesign._binary,
    RandomDesign._comparison,
    RandomDesign._shift,
    RandomDesign._slices,
    RandomDesign._part,
    RandomDesign._choice,
)
