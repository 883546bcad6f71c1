"""Cycle counts, reset, lanes and terminators of the bus, by the numbers of the standard.

Source of every rule, table and illustration: Wishbone B4 (OpenCores, 2010), at the place named
beside the check. Of table 4-1 the rows of the standard mode are checked; bursts and the pipelined
mode do not exist in this fabric.
"""

from __future__ import annotations

import random
from typing import Any

import pytest
from amaranth.hdl import ClockDomain, Elaboratable, Module, Mux, Signal

from busbox.bus import design, wishbone
from busbox.bus.wishbone.fabric import Fabric
from busbox.bus.wishbone.outlet import Outlet
from busbox.cpu.steps import AccessStep
from busbox.map.slots import Slot
from busbox.system.hardware import FabricOptions
from tests.against_naive import told
from tests.models.holder.model import Holder
from tests.reference.ports import Rig, Trace, bench_of, play, read, run, traced, write

COUNTS = (1, 2, 4, 8, 16, 32)

#: A register of each device that takes and gives words: the slot, and its address.
PLACES = {
    "store": 0x0000_1000,
    "levers": 0x0000_2000,
    "telegraph": 0x0000_3008,
    "lamps": 0x0000_400C,
    "clock": 0x0000_5008,
}
MIXES = [("reads", "store"), ("writes", "levers"), ("reads", "mixed"), ("both", "mixed")]

#: Three slots of 0x100 bytes for the bus that is driven by hand.
WINDOWS = (0x1000, 0x2000, 0x3000)


def cabin(wait: int) -> dict[str, dict[str, Any]]:
    """Return slots with a device of every kind, all with the same wait states."""
    models = ("memory", "gpio", "uart", "pulse_led", "timer")
    return {
        name: {"model": model, "base": address & ~0xFFF, "size": 0x1000, "wait": wait}
        | ({"lamps": 1} if model == "pulse_led" else {})
        for (name, address), model in zip(PLACES.items(), models, strict=True)
    }


def transfers(count: int, kind: str, devices: str) -> list[AccessStep]:
    """Return back-to-back transfers over one device or over all of them in turn."""
    addresses = list(PLACES.values())
    chosen = [addresses[n % 5] if devices == "mixed" else PLACES[devices] for n in range(count)]
    return [
        write(address, n + 1) if kind == "writes" or (kind == "both" and n % 2) else read(address)
        for n, address in enumerate(chosen)
    ]


def numbers(trace: Trace, *signals: str) -> list[int]:
    """Return the cycles of a trace in which all of the signals are up."""
    return [n for n, cycle in enumerate(trace) if all(getattr(cycle, name) for name in signals)]


@pytest.mark.parametrize(("kind", "devices"), MIXES)
@pytest.mark.parametrize("count", COUNTS)
def test_n_transfers_take_n_clocks_without_a_wait_state(
    count: int, kind: str, devices: str
) -> None:
    """With combinational ACK n back-to-back transfers take n clocks, one in each cycle."""
    # Wishbone B4, table 4-1 and illustrations 3-3, 3-4, 3-11: 1 2 4 8 16 32 for 1 2 4 8 16 32.
    recording, traces = traced(bench_of(cabin(0), transfers(count, kind, devices)))
    cycles = list(range(1, count + 1))
    assert recording.accesses.start.tolist() == cycles
    assert recording.accesses.end.tolist() == cycles
    assert numbers(traces["cpu"], "cyc", "stb") == numbers(traces["cpu"], "ack") == cycles
    assert numbers(traces["cpu"], "cyc") == numbers(traces["cpu"], "stb")
    assert recording.accesses.terminators == ["ack"] * count


@pytest.mark.parametrize(("kind", "devices"), MIXES)
@pytest.mark.parametrize("count", COUNTS)
def test_n_transfers_take_2n_clocks_with_one_wait_state(
    count: int, kind: str, devices: str
) -> None:
    """With ACK one cycle late, as a registered ACK, n back-to-back transfers take 2n clocks."""
    # Wishbone B4, table 4-1 and illustrations 3-3, 3-4, 3-11: 2 4 8 16 32 64 for 1 2 4 8 16 32.
    recording, traces = traced(bench_of(cabin(1), transfers(count, kind, devices)))
    assert recording.accesses.start.tolist() == list(range(1, 2 * count, 2))
    assert recording.accesses.end.tolist() == list(range(2, 2 * count + 1, 2))
    assert numbers(traces["cpu"], "cyc", "stb") == list(range(1, 2 * count + 1))
    assert numbers(traces["cpu"], "ack") == list(range(2, 2 * count + 1, 2))


@pytest.mark.parametrize("wait", [0, 1, 2, 5])
def test_a_device_sees_stb_only_in_the_cycles_that_are_left_after_its_wait_states(
    wait: int,
) -> None:
    """With w wait states n transfers take n (w + 1) clocks, and each ends in the cycle of its ACK."""
    # Wishbone B4, section 3.1.3.1: STB stays up until a terminator.
    recording, traces = traced(bench_of(cabin(wait), transfers(10, "both", "mixed")))
    ends = recording.accesses.end.tolist()
    assert ends == [(wait + 1) * n for n in range(1, 11)]
    assert numbers(traces["cpu"], "stb") == list(range(1, 10 * (wait + 1) + 1))
    for number, name in enumerate(PLACES):
        assert numbers(traces[name], "cyc", "stb", "ack") == ends[number::5]
        assert numbers(traces[name], "stb") == ends[number::5]


def test_mixed_wait_states_add_up() -> None:
    """Transfers over devices with different wait states take the sum of theirs."""
    # Wishbone B4, table 4-1: one clock a transfer, and section 3.1.3.1: one more a wait state.
    slots = cabin(0)
    for wait, keys in enumerate(slots.values()):
        keys["wait"] = wait
    recording = run(bench_of(slots, transfers(10, "reads", "mixed")))
    lengths = (recording.accesses.end - recording.accesses.start + 1).tolist()
    assert lengths == [1, 2, 3, 4, 5] * 2
    assert recording.accesses.end[-1] == sum(lengths)


# ------------------------------------------------------------------- the bus driven by hand


def windows(*waits: int) -> list[Slot]:
    """Return slots of 0x100 bytes, one for each number of wait states."""
    return [
        Slot(f"slot_{number}", WINDOWS[number], 0x100, wait=wait)
        for number, wait in enumerate(waits)
    ]


def answered(
    waits: tuple[int, ...], steps: list[AccessStep], noise: random.Random | None
) -> list[tuple[int, int, int, int]]:
    """Play reads and writes on the hand-driven bus; a slot answers in the cycle it is asked.

    Returns (done, failed, read, cut) of every cycle. A read gives 0xC0DE0000 + slot and offset.
    With noise, every port's read data are random wherever that port gives no terminator.
    """
    rig = Rig(windows(*waits))
    seen: list[tuple[int, int, int, int]] = []

    async def process(ctx: Any) -> None:
        waiting = list(steps)
        for _ in range(2 * len(steps) * (max(waits) + 1) + 4):
            rig.ask(ctx, waiting[0] if waiting else None)
            for number, port in enumerate(rig.ports):
                asked = ctx.get(port.cyc) and ctx.get(port.stb)
                word = 0xC0DE_0000 | number << 12 | ctx.get(port.adr) << 2
                ctx.set(port.ack, asked)
                ctx.set(port.read_data, word if asked else noise.getrandbits(32) if noise else 0)
            master = rig.master
            cycle = tuple(
                ctx.get(signal)
                for signal in (master.done, master.failed, master.read, rig.fabric.cut)
            )
            seen.append(cycle)
            rig.tick(ctx)
            if waiting and cycle[0]:
                waiting.pop(0)
        assert not waiting

    play(rig, process)
    return seen


@pytest.mark.parametrize("waits", [(0, 0, 0), (1, 1, 1), (0, 1, 3)])
def test_read_data_mean_something_only_with_a_terminator(waits: tuple[int, ...]) -> None:
    """Scrambling the read data of every cycle and slot without a terminator changes no result."""
    # Wishbone B4, rule 3.65: read data means something only in a row with a terminator.
    steps = [
        write(WINDOWS[n % 3] + 4 * n, n) if n % 4 == 3 else read(WINDOWS[n % 3] + 4 * n)
        for n in range(24)
    ]
    quiet = answered(waits, steps, None)
    for seed in range(5):
        assert answered(waits, steps, random.Random(seed)) == quiet
    words = [word for done, _, word, _ in quiet if done]
    assert words == [
        0 if n % 4 == 3 else 0xC0DE_0000 | n % 3 << 12 | 4 * n for n in range(len(steps))
    ]
    assert all(word == 0 for done, _, word, _ in quiet if not done)


def scrambled(self: Outlet, platform: object) -> Module:
    """Elaborate an outlet whose read data change in every cycle in which it gives no ACK."""
    m = Module()
    noise = Signal(32, init=0x1234_5678)
    m.d.sync += noise.eq(noise.rotate_left(7) ^ 0x9E37_79B9)
    m.d.comb += [
        self.call.eq(self.bus.cyc & self.bus.stb),
        self.bus.ack.eq(self.call & self.ready & ~self.refuse),
        self.bus.err.eq(self.call & self.refuse),
        self.bus.read_data.eq(Mux(self.bus.ack, self.answer, noise)),
    ]
    return m


@pytest.mark.usefixtures("built_afresh")
@pytest.mark.parametrize("wait", [0, 1, 2])
def test_a_run_is_the_same_with_scrambled_read_data(
    wait: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A whole run over devices that hold, refuse and answer does not see data without ACK."""
    # Wishbone B4, rule 3.65: scrambling DAT_I elsewhere changes no result.
    slots = cabin(wait) | {
        "holder": {"model": Holder, "base": 0x6000, "size": 0x20, "hold": 3, "wait": wait}
    }
    steps = [*transfers(20, "both", "mixed"), write(0x6004, 7), read(0x6004), read(0x600C)]
    steps += [read(0x6010), read(0x7000), write(0x7000, 1), read(0x6000), read(0x6004)]
    bench = bench_of(slots, steps)
    quiet = told(run(bench))
    monkeypatch.setattr(design.Outlet, "elaborate", scrambled)
    recording, traces = traced(bench)
    assert told(recording) == quiet
    assert recording.accesses.terminators[20:] == ["ack"] * 2 + ["error"] * 4 + ["ack"] * 2
    assert recording.accesses.data[20:].tolist() == [7, 7, 0, 0, 0, 1, 0, 7]
    noisy = {sample.read_data for trace in traces.values() for sample in trace if not sample.ack}
    assert len(noisy) > 20


@pytest.mark.parametrize("waits", [(0, 0, 0), (1, 1, 1), (0, 2, 1)])
def test_a_master_works_with_ack_tied_high(waits: tuple[int, ...]) -> None:
    """With every slot's ACK tied high an access still ends once, after its slot's wait states."""
    # Wishbone B4, rule 3.55 with permission 3.35; without a request the ACKs reach nobody (rule
    # 3.35, observation 3.25).
    steps = [read(WINDOWS[n % 3] + 4 * n) for n in range(9)]
    rig = Rig(windows(*waits))
    ends: list[int] = []

    async def process(ctx: Any) -> None:
        waiting: list[AccessStep | None] = [None, *steps[:5], None, None, *steps[5:], None]
        for number, port in enumerate(rig.ports):
            ctx.set(port.ack, 1)
            ctx.set(port.read_data, 0xC0DE_0000 + number)
        cycle = 0
        while waiting:
            step = waiting[0]
            rig.ask(ctx, step)
            done = ctx.get(rig.master.done)
            assert ctx.get(rig.fabric.bus.ack) == done
            assert ctx.get(rig.master.read) == (0xC0DE_0000 + len(ends) % 3 if done else 0)
            if done:
                ends.append(cycle)
            if done or step is None:
                waiting.pop(0)
            rig.tick(ctx)
            cycle += 1

    play(rig, process)
    expected, cycle = [], 1
    for n in range(9):
        cycle += 2 if n == 5 else 0
        expected.append(cycle + waits[n % 3])
        cycle = expected[-1] + 1
    assert ends == expected


@pytest.mark.parametrize("wait", [0, 1])
def test_sel_selects_no_slot(wait: int) -> None:
    """Whatever SEL is, an idle bus selects no slot, and an access the slot of its address."""
    # Wishbone B4, chapter 8: SEL names byte lanes, never selects a slave.
    rig = Rig(windows(wait, wait, wait))

    async def process(ctx: Any) -> None:
        def chosen() -> list[tuple[int, int]]:
            return [(ctx.get(port.cyc), ctx.get(port.stb)) for port in rig.ports]

        for number, window in enumerate((*WINDOWS, 0x4000)):
            for lanes in range(16):
                rig.ask(ctx, read(window, lanes))
                ctx.set(rig.master.go, 0)
                assert chosen() == [(0, 0)] * 3
                rig.tick(ctx)
                ctx.set(rig.master.go, 1)
                for _ in range(wait):
                    assert chosen() == [(0, 0)] * 3
                    rig.tick(ctx)
                assert chosen() == [(int(n == number),) * 2 for n in range(3)]
                if number < 3:
                    assert ctx.get(rig.ports[number].sel) == lanes
                    ctx.set(rig.ports[number].ack, 1)
                    assert ctx.get(rig.master.done) == 1
                    rig.tick(ctx)
                    ctx.set(rig.ports[number].ack, 0)
                else:
                    for _ in range(2 - wait):
                        rig.tick(ctx)

    play(rig, process)


def test_toggling_sel_leaves_devices_alone_that_are_not_addressed() -> None:
    """Writes with every value of SEL change the addressed slot's lanes, and no other slot."""
    # Wishbone B4, chapter 8: toggling SEL on a slave that is not addressed has no effect.
    slots = cabin(1)
    others = ("levers", "telegraph", "lamps", "clock")
    steps = [write(PLACES[name], 0x0000_1234) for name in others]
    for lanes in range(16):
        steps += [write(PLACES["store"], 0, 15), write(PLACES["store"], 0xFFFF_FFFF, lanes)]
        steps += [read(PLACES["store"])] + [read(PLACES[name], lanes) for name in others]
    recording = run(bench_of(slots, steps))
    reads = recording.accesses.data[~recording.accesses.write].tolist()
    masks = [sum(0xFF << 8 * k for k in range(4) if lanes >> k & 1) for lanes in range(16)]
    assert reads == [word for mask in masks for word in (mask, *[0x1234] * 4)]
    assert recording.accesses.slot[~recording.accesses.write].tolist() == [0, 1, 2, 3, 4] * 16
    assert set(recording.accesses.terminators) == {"ack"}
    edges = {pin: recording.edges(pin)[0].tolist() for pin in ("telegraph.tx", "lamps.line")}
    assert edges == {"telegraph.tx": [0], "lamps.line": [0]}


def test_an_outlet_without_cyc_calls_nobody() -> None:
    """An outlet calls its model where CYC and STB are both up, and answers only there."""
    # Wishbone B4, rule 3.30: with CYC = 0 a slave reacts to nothing but clock and reset.
    outlet = Outlet(4)
    seen = {}

    async def process(ctx: Any) -> None:
        for cyc, stb, ready, refuse in ((n >> 3, n >> 2 & 1, n >> 1 & 1, n & 1) for n in range(16)):
            ctx.set(outlet.bus.cyc, cyc)
            ctx.set(outlet.bus.stb, stb)
            ctx.set(outlet.ready, ready)
            ctx.set(outlet.refuse, refuse)
            signals = (outlet.call, outlet.bus.ack, outlet.bus.err)
            seen[cyc, stb, ready, refuse] = tuple(ctx.get(signal) for signal in signals)

    play(outlet, process)
    called = {key: value for key, value in seen.items() if any(value)}
    assert called == {
        (1, 1, 0, 0): (1, 0, 0),
        (1, 1, 1, 0): (1, 1, 0),
        (1, 1, 0, 1): (1, 0, 1),
        (1, 1, 1, 1): (1, 0, 1),
    }


class _Bare(Elaboratable):
    """A fabric whose master's port is driven by the test."""

    def __init__(self, slots: list[Slot], options: FabricOptions) -> None:
        self.domain = ClockDomain("sync")
        self.fabric = Fabric(slots, options)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.domains += self.domain
        m.submodules.fabric = self.fabric
        return m


@pytest.mark.parametrize("registered", [False, True])
@pytest.mark.parametrize(("cyc", "stb"), [(0, 0), (0, 1), (1, 0)])
def test_a_fabric_without_cyc_and_stb_is_silent(cyc: int, stb: int, registered: bool) -> None:
    """Without CYC and STB together no slot is asked and no terminator comes, however long."""
    # Wishbone B4, rule 3.30 (CYC = 0) and rule 3.35 with observation 3.25 (terminators come only
    # from CYC and STB); the watchdog and the unmapped address are terminators too.
    options = FabricOptions(watchdog=2, registered_decode=registered)
    bare = _Bare(windows(0, 1, 2), options)
    bus = bare.fabric.bus

    async def process(ctx: Any) -> None:
        ctx.set(bus.cyc, cyc)
        ctx.set(bus.stb, stb)
        for number in range(3):
            ctx.set(bare.fabric.port(number).ack, 1)
        for address in (*WINDOWS, 0x4000):
            ctx.set(bus.adr, address >> 2)
            for _ in range(6):
                ports = [bare.fabric.port(number) for number in range(3)]
                assert [ctx.get(port.cyc) | ctx.get(port.stb) for port in ports] == [0, 0, 0]
                assert (ctx.get(bus.ack), ctx.get(bus.err), ctx.get(bare.fabric.cut)) == (0, 0, 0)
                ctx.set(bare.domain.clk, 1)
                ctx.set(bare.domain.clk, 0)

    play(bare, process)


# ------------------------------------------------------------------------------------- reset


@pytest.mark.parametrize("after_reset", ["restart", "continue"])
@pytest.mark.parametrize("length", [1, 2])
@pytest.mark.parametrize("wait", [0, 2])
def test_stb_and_cyc_are_low_in_reset(wait: int, length: int, after_reset: str) -> None:
    """RST at any cycle keeps STB and CYC low while high and until the edge after it falls."""
    # Wishbone B4, rules 3.05 and 3.10 (one clock, at any moment) and 3.20.
    steps = [write(0x1000, 1), read(0x1000), read(0x2000)]
    slots = {name: cabin(wait)[name] for name in ("store", "levers")}
    cycles = 3 * (wait + 1)
    for at in range(1, cycles + 2):
        bench = bench_of(
            slots, steps, after_reset=after_reset, reset=[{"at": at, "length": length}]
        )
        recording, traces = traced(bench)
        cpu = traces["cpu"]
        assert [sample.rst for sample in cpu] == [
            int(at <= n < at + length) for n in range(len(cpu))
        ]
        for trace in traces.values():
            quiet = trace[at : at + length + 1]
            assert all(
                not (sample.cyc or sample.stb or sample.ack or sample.err) for sample in quiet
            )
        # Before it nothing has changed; the cycle after the edge after it falls is free again.
        before = list(range(1, min(at - 1, cycles) + 1))
        begun = min(-(-at // (wait + 1)), 3)
        left = cycles if after_reset == "restart" else cycles - begun * (wait + 1)
        first = at + length + 1
        assert numbers(cpu, "cyc", "stb") == [*before, *range(first, first + left)]
        assert recording.ended == "done"


def test_an_access_that_a_reset_hits_has_not_happened() -> None:
    """RST of one clock in any cycle of a write drops it, and in any later cycle leaves it done."""
    # Wishbone B4, rules 3.05 and 3.10: one clock, also in mid-cycle; the terminator's cycle is the
    # last that can be hit.
    steps = [write(0x1000, 1), write(0x1000, 2), read(0x1000), read(0x1000)]
    for wait in (0, 2):
        span = wait + 1
        for at in range(1, 4 * span + 2):
            hit = (at - 1) // span  # the number of the step that is up in cycle `at`
            bench = bench_of(
                {"store": {"model": "memory", "base": 0x1000, "size": 0x100, "wait": wait}},
                steps,
                after_reset="continue",
                reset=[{"at": at}],
            )
            recording = run(bench)
            words = [1, 2, 1 if hit == 1 else 2, 1 if hit == 1 else 2]
            if hit == 2:
                words[2] = 0
            if hit == 3:
                words[3] = 0
            assert recording.accesses.data.tolist() == words
            terminators = ["reset" if n == hit else "ack" for n in range(4)]
            assert recording.accesses.terminators == terminators
            if hit < 4:
                assert recording.accesses.end[hit] == at
                assert recording.accesses.start[hit] == hit * span + 1


@pytest.mark.parametrize("registered", [False, True])
@pytest.mark.parametrize("wait", [0, 2])
def test_the_fabric_is_in_its_initial_state_after_reset(wait: int, registered: bool) -> None:
    """From the edge after RST falls an access takes as long as it would after power-up."""
    # Wishbone B4, rules 3.00 and 3.15: initial state from the edge after RST rises.
    extra = int(registered)
    for held in range(1, 5):
        rig = Rig(windows(wait), FabricOptions(watchdog=8, registered_decode=registered))
        cycles: list[int] = []

        async def process(ctx: Any, rig: Rig = rig, held: int = held, cycles: Any = cycles) -> None:
            ctx.set(rig.ports[0].ack, 0)
            rig.ask(ctx, read(WINDOWS[0]))
            for _ in range(held):
                rig.tick(ctx)
            ctx.set(rig.ports[0].ack, 1)
            ctx.set(rig.domain.rst, 1)  # `go` stays up: what masks it is the master itself
            bus = rig.master.bus
            assert [ctx.get(one) for one in (bus.stb, bus.cyc, bus.ack, bus.err)] == [0, 0, 0, 0]
            assert ctx.get(rig.master.done) == ctx.get(rig.ports[0].stb) == 0
            rig.tick(ctx)
            ctx.set(rig.domain.rst, 0)
            for _ in range(wait + extra + 1):
                cycles.append(ctx.get(rig.master.done))
                rig.tick(ctx)

        play(rig, process)
        assert cycles == [0] * (wait + extra) + [1]


# ------------------------------------------------------------------------------ the watchdog


@pytest.mark.parametrize("registered", [False, True])
@pytest.mark.parametrize("watchdog", [1, 2, 3, 8, 40])
def test_a_watchdog_ends_what_nobody_answers(watchdog: int, registered: bool) -> None:
    """An unanswered STB ends in ERR, W cycles later, and the CPU goes on in the cycle after."""
    # Wishbone B4, observation 3.35 and recommendation 3.10; what the master does on ERR is not
    # dictated (permissions 3.20 and 3.25): here it goes on with the next step.
    slots = {"holder": {"model": Holder, "base": 0x1000, "size": 0x20, "wait": 0}}
    fabric = {
        "unanswered": "silence", "watchdog": watchdog, "registered_decode": registered,
    }  # fmt: skip
    steps = [write(0x9000, 1), read(0x1008), write(0x1008, 1), read(0x1000)]
    recording, traces = traced(bench_of(slots, steps, fabric=fabric))
    accesses, span = recording.accesses, watchdog + 1
    last = 3 * span + 1 + int(registered)
    assert accesses.start.tolist() == [1, 1 + span, 1 + 2 * span, 1 + 3 * span]
    assert accesses.end.tolist() == [span, 2 * span, 3 * span, last]
    # With the register and W = 1 the device's answer comes in cycle s + 1: it counts.
    assert accesses.terminators == ["watchdog"] * 3 + ["ack"]
    assert numbers(traces["cpu"], "err") == [span, 2 * span, 3 * span]
    assert numbers(traces["cpu"], "stb") == list(range(1, last + 1))
    assert recording.counts["no-answer"] == {"0x00009000": 1, "holder.NEVER": 2}


@pytest.mark.parametrize("hold", range(7))
def test_a_watchdog_leaves_an_answer_in_its_own_cycle(hold: int) -> None:
    """A device that answers by cycle s + W is heard; a later one is cut off, and nothing changed."""
    # Wishbone B4, recommendation 3.10 (a watchdog for an unanswered STB).
    slots = {"holder": {"model": Holder, "base": 0x1000, "size": 0x20, "wait": 1, "hold": hold}}
    steps = [write(0x1000, 5), write(0x1004, 9), read(0x1000)]
    recording = run(bench_of(slots, steps, fabric={"watchdog": 4}))
    heard = 1 + hold <= 4
    assert recording.accesses.terminators == ["ack", "ack" if heard else "watchdog", "ack"]
    assert recording.accesses.end[1] - recording.accesses.start[1] == min(1 + hold, 4)
    assert recording.registers["holder"]["SLOW"] == (9 if heard else 0)
    assert recording.registers["holder"]["PLAIN"] == 5


def test_without_a_watchdog_stb_waits_for_ever() -> None:
    """An unanswered access keeps STB up, unchanged, in every cycle to the end of the run."""
    # Wishbone B4, section 3.1.3.1: STB stays up until a terminator.
    slots = {"holder": {"model": Holder, "base": 0x1000, "size": 0x20}}
    bench = bench_of(slots, [read(0x1008)], hang_after=50)
    recording, traces = traced(bench)
    assert recording.ended == "hang"
    assert recording.accesses.terminators == ["none"]
    assert numbers(traces["cpu"], "cyc", "stb") == list(range(1, 52))
    assert numbers(traces["cpu"], "ack") == numbers(traces["cpu"], "err") == []
    assert {sample.adr for sample in traces["cpu"][1:]} == {0x1008 >> 2}


@pytest.mark.parametrize("wait", [0, 1, 4])
def test_an_error_ends_an_access_like_an_ack(wait: int) -> None:
    """ERR of a device or of an unmapped address ends one access, and the next step follows."""
    # Wishbone B4, observation 3.35 (a slave may end with ERR), permissions 3.20 and 3.25.
    slots = {"holder": {"model": Holder, "base": 0x1000, "size": 0x20, "wait": wait}}
    steps = [write(0x100C, 1), read(0x8000), read(0x1000)]
    recording, traces = traced(bench_of(slots, steps))
    ends = [1 + wait, 3 + wait, 4 + 2 * wait]
    assert recording.accesses.terminators == ["error", "error", "ack"]
    assert recording.accesses.end.tolist() == ends
    assert numbers(traces["cpu"], "err") == ends[:2]
    assert numbers(traces["cpu"], "stb") == list(range(1, ends[2] + 1))
    assert recording.accesses.data.tolist() == [1, 0, 0]


def test_a_port_has_no_terminator_but_ack_and_err() -> None:
    """The signature of a port holds the signals of the classic standard mode, active high."""
    # Wishbone B4, rule 2.30 (active high: the values 1 in this file mean "up"), rule 3.100.
    members = {name: member.shape for name, member in wishbone.Signature(4).members.items()}
    assert members == {
        "cyc": 1, "stb": 1, "we": 1, "adr": 4, "sel": 4, "write_data": 32, "read_data": 32,
        "ack": 1, "err": 1,
    }  # fmt: skip
