"""Random traffic at a device's own port, under the rules of its kind.

Two copies get the same transfers in the same cycles. What the port carries where it means nothing is
noise for the first copy and 0 for the second: so a difference in what they show is the noise's doing.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from busbox.bus.ports import apb_rules, axi4_lite_rules
from busbox.bus.rule import Breach, Rule
from busbox.bus.wishbone import rules as wishbone_rules
from busbox.check.own.axi4_lite import Axi4LiteDriver
from busbox.check.own.drivers import (
    ApbDriver,
    Driver,
    Levels,
    StrobesDriver,
    Transfer,
    WishboneDriver,
)
from busbox.check.own.port import OwnPort
from busbox.check.own.rig import OwnRig
from busbox.check.port.exercise import PATIENCE
from busbox.check.port.outcome import Excerpt, Outcome, Signals
from busbox.check.port.rig import Traffic
from busbox.check.port.subject import Subject

PART = "random traffic at its native port"
NETLIST = "netlist"

OWED = "answered"
OWED_TEXT = (
    f"while a transfer waits for the device, {PATIENCE} cycles do not pass without a step of it "
    "(a limit of this check)"
)
NOISE = "noise"
_MEANINGLESS = {
    "apb": "what the port carries while PSEL is low, and PWDATA in a read, changes no answer "
    "(IHI 0024C, section 2.1, PSELx; number from memory)",
    "axi4-lite": "what a channel carries while its VALID is low changes no answer "
    "(IHI 0022E, section A3.2; number from memory)",
    "wishbone": "what the port carries while STB is low, and write data in a read, changes no answer "
    "(Wishbone B4, rules 3.30 and 3.35)",
    "strobes": "what the port carries while nothing is selected changes no answer "
    "(common practice, no source)",
}

_DRIVERS: dict[str, type[Driver]] = {
    "apb": ApbDriver,
    "axi4-lite": Axi4LiteDriver,
    "wishbone": WishboneDriver,
    "strobes": StrobesDriver,
}
#: Cycles at the start without noise: they show that two copies behave alike.
_CONTROLS = 40

_REQUESTER = "applies to the bus, which is this check"
_GROUPS = "applies to groups of accesses; the bus has single ones"
_UNITS = {
    "3.4": ("cycles with PSEL or PSLVERR", "it has no PSLVERR"),
    "A3.1.1": ("outputs", "it has no output"),
    "A3.1.2": ("cycles in or after a reset", "no reset occurred"),
    "A3.2.1": ("cycles in which an answer waited", "no answer had to wait"),
    "A3.3": ("answers before READY", "no answer came before READY"),
    "A3.3.1": ("answers", "nothing was answered"),
    "B1.1.1": ("answers", "nothing was answered"),
    "3.00": ("cycles in or after a reset", "no reset occurred"),
    "3.35": ("cycles without a request", "there was no such cycle"),
    "3.45": ("answers", "nothing was answered"),
    "3.50": ("falling edges of STB", "STB was never high"),
    "3.57": ("stalled requests", "no request was stalled"),
}
_NEVER = {
    **dict.fromkeys(("3.1", "3.2", "4.1"), _REQUESTER),
    **dict.fromkeys(("3.20", "3.25", "3.60", "3.1.3.1", "3.1.3.2"), _REQUESTER),
    **dict.fromkeys(("3.80", "3.85"), _GROUPS),
}


def driver_of(own: OwnPort, rig: OwnRig, dice: random.Random) -> Driver:
    """Return the driver of a port."""
    bits = rig.widths[own.kind.address[0]]
    return _DRIVERS[own.kind.name](own, bits, dice)


class _Trace:
    """The rules of a kind, and its checker; ``strobes`` has none."""

    def __init__(self, own: OwnPort) -> None:
        self.rules: tuple[Rule, ...] = ()
        self._checker: Any = None
        self._sample: Any = None
        if own.kind.name == "apb":
            self.rules, self._sample = apb_rules.RULES, apb_rules.Sample
            self._checker = apb_rules.ApbChecker("port", first_cycle=0)
        elif own.kind.name == "axi4-lite":
            self.rules, self._sample = axi4_lite_rules.RULES, axi4_lite_rules.Sample
            self._checker = axi4_lite_rules.Axi4LiteChecker("port", first_cycle=0)
        elif own.kind.name == "wishbone":
            mode: Any = "pipelined" if own.pipelined else "standard"
            self.rules, self._sample = wishbone_rules.RULES, _wishbone
            self._checker = wishbone_rules.RuleChecker("port", mode, first_cycle=-1)
            self._checker.take(_wishbone(rst=1))

    @property
    def counts(self) -> Mapping[str, int]:
        """Rule id to the number of its breaches."""
        return self._checker.counts if self._checker is not None else {}

    def take(self, levels: Levels) -> tuple[Breach, ...]:
        """Check a cycle."""
        if self._checker is None:
            return ()
        found: tuple[Breach, ...] = self._checker.take(self._sample(**levels))
        return found


def _wishbone(**levels: int) -> wishbone_rules.Sample:
    names = ("rst", "cyc", "stb", "we", "adr", "sel", "write_data", "read_data", "ack", "err")
    stands = [levels.get(name, 0) for name in (*names, "rty", "stall")]
    return wishbone_rules.Sample(*stands)


class OwnExercise:
    """Runs random traffic.

    Parameters
    ----------
    subject : with a port of its own
    seed : of the random numbers
    cycles : number of cycles to play at least; the last transfers are completed

    Attributes
    ----------
    counts : ``accesses``, ``answered``, ``reset`` (cut off by one), ``unanswered``, ``resets``, and the
        rule ids that can be exercised
    """

    def __init__(self, subject: Subject, seed: int, cycles: int) -> None:
        assert subject.own is not None
        self._subject, self._own = subject, subject.own
        self.counts: Counter[str] = Counter()
        self._rig = OwnRig(subject, copies=2)
        self._dice = random.Random(f"own port {seed}")
        self._traffic = Traffic(self._dice, subject, self._rig.words)
        self._driver = driver_of(self._own, self._rig, random.Random(f"pace {seed}"))
        self._trace = _Trace(self._own)
        self._earlier = self._before = {"rst": 1}
        self._evidence: dict[str, Excerpt] = {}
        self._compared = self._alike = True
        self._cycle()
        while self._rig.cycle < cycles:
            for _ in range(self._dice.choice((0, 0, 1, 4))):
                self._cycle()
            self._group()

    @property
    def cycles(self) -> int:
        """Cycles that were played."""
        return self._rig.cycle

    def transfer(self) -> Transfer:
        """Return a random transfer that the port can make."""
        access = self._traffic.access()
        lanes = access.sel if self._own.lanes else 0b1111
        return Transfer(access.we, access.adr, lanes, access.write_data)

    def outcomes(self) -> list[Outcome]:
        """Return the outcome of every rule of the kind, then those of this check."""
        rules = list(self._trace.rules)
        if self._own.kind.name == "axi4-lite":
            self._prove()
            rules = sorted([*rules, *axi4_lite_rules.UNSEEN], key=lambda rule: rule.id)
        found = [self._outcome(rule) for rule in rules]
        ended = self.counts["answered"] + self.counts["unanswered"]
        found.append(
            Outcome.of(
                OWED, OWED_TEXT, ended, "accesses", "no access was completed",
                self._evidence.get(OWED), self.counts["unanswered"],
            )
        )  # fmt: skip
        without = "there was no noise" if self._alike else "two copies of it behave differently"
        noisy = self.counts[NOISE] if self._alike else 0
        found.append(
            Outcome.of(
                NOISE, _MEANINGLESS[self._own.kind.name], noisy, "cycles with noise", without,
                self._evidence.get(NOISE), int(NOISE in self._evidence),
            )
        )  # fmt: skip
        return found

    def _outcome(self, rule: Rule) -> Outcome:
        unit, without = _UNITS.get(rule.id, ("", ""))
        without = _NEVER.get(rule.id, without)
        if rule.id in ("3.50", "3.1.3.1") and self._own.pipelined:
            without = "applies to standard mode; the port is pipelined"
        if rule.id in ("3.57", "3.1.3.2") and not self._own.pipelined:
            without = "applies to pipelined mode; the port uses standard mode"
        times, evidence = self.counts[rule.id], self._evidence.get(rule.id)
        breaches = self._trace.counts.get(rule.id, self.counts[f"broken {rule.id}"])
        if rule.id == axi4_lite_rules.WAITS and self.counts["unanswered"]:
            times, evidence = 0, None
            without = "an access was not answered even with READY"
        return Outcome.of(
            rule.id, rule.text, times, unit, without, evidence, breaches, binding=rule.binding
        )

    def _prove(self) -> None:
        """Look for combinational paths through the port (A3.1.1 of AXI)."""
        program, rule = self._subject.own_program, axi4_lite_rules.PATHS
        inputs = {f"port_{name}": name for name in self._own.driven}
        moved = {one.name for one in program.outputs}
        for name in self._own.shown:
            self.counts[rule] += 1
            if f"port_{name}" not in moved:
                continue  # nothing drives it
            from_where = sorted(
                inputs[one] for one in program.depends(f"port_{name}") if one in inputs
            )
            if from_where:
                self.counts[f"broken {rule}"] += 1
                through = ", ".join(one.upper() for one in from_where)
                seen = f"{through} reach{'es' if len(from_where) == 1 else ''} {name.upper()}"
                self._evidence.setdefault(rule, Excerpt(NETLIST, None, seen))

    def _group(self) -> None:
        """Play some transfers close together, until all are answered, or a reset cuts them off."""
        transfers = [self.transfer() for _ in range(self._dice.choice((1, 1, 2, 4)))]
        self.counts["accesses"] += len(transfers)
        self._driver.queue.extend(transfers)
        left = len(transfers)
        while not self._driver.idle:
            if not self._dice.randrange(100):
                self.counts["reset"] += left
                self._reset()
                return
            left -= self._cycle()
            if self._driver.owed >= PATIENCE and not self._driver.probe():
                self.counts["unanswered"] += 1
                self._keep(OWED, f"{self._driver.waits_for} for {PATIENCE} cycles")
                self.counts["reset"] += left - 1
                self._reset()
                return

    def _reset(self) -> None:
        self.counts["resets"] += 1
        self._rig.reset(1)
        self._driver.reset()
        for _ in range(self._dice.randint(1, 3)):
            self._cycle()
        self._rig.reset(0)
        self._cycle()  # a bus begins after the first edge with RST low

    def _cycle(self) -> int:
        """Play a cycle; return how many transfers ended in it."""
        if not self._dice.randrange(4):
            self._rig.scatter(self._dice)
        meant = self._driver.drive(self._rig.cycle)
        noisy = self._rig.cycle >= _CONTROLS
        self._rig.drive({name: meant.get(name, 0) for name in self._own.driven}, 1)
        self._rig.drive(dict(self._filled(meant, noisy)))
        seen, quiet = self._rig.seen(), self._rig.seen(1)
        self._count(seen, noisy and len(meant) < len(self._own.driven))
        for breach in self._trace.take(seen):
            self._keep(breach.rule, breach.seen, seen)
        self._compare(seen, quiet, noisy)
        self._waited(seen)
        ended = 0 if seen["rst"] else len(self._driver.take(seen))
        self.counts["answered"] += ended
        self._earlier, self._before = self._before, seen
        self._rig.tick()
        return ended

    def _filled(self, meant: Levels, noisy: bool) -> Iterator[tuple[str, int]]:
        """Yield the level of every role that the bus drives, with noise where it means nothing."""
        for name in self._own.driven:
            open_level = self._dice.getrandbits(self._rig.widths[name]) if noisy else 0
            yield name, meant.get(name, open_level)

    def _compare(self, seen: Levels, quiet: Levels, noisy: bool) -> None:
        """Compare what the two copies show, as far as it means something."""
        if not self._compared or seen["rst"] or self._before["rst"]:
            return
        ours, others = self._driver.meaning(seen), self._driver.meaning(quiet)
        for name in ours:
            if ours[name] != others.get(name):
                self._compared = False
                if not noisy:
                    self._alike = False
                    return
                text = f"{name.upper()} is {ours[name]:#x}, but {quiet[name]:#x} without the noise"
                self._keep(NOISE, text, seen)
                return

    def _waited(self, seen: Levels) -> None:
        """Notice an answer that comes only now that its READY is high (A3.3 of AXI)."""
        driver = self._driver
        if not isinstance(driver, Axi4LiteDriver) or seen["rst"]:
            return
        for channel in ("b", "r"):
            if seen[f"{channel}valid"] and driver.unhurried(channel):
                self.counts[axi4_lite_rules.WAITS] += not self._before.get(f"{channel}valid", 0)
        channel = driver.probing
        if channel and seen[f"{channel}valid"]:
            rule, name = axi4_lite_rules.WAITS, channel.upper()
            self.counts[f"broken {rule}"] += 1
            text = f"{name}VALID was low for {PATIENCE} cycles, until {name}READY was high"
            self._keep(rule, text, seen)

    def _keep(self, rule: str, seen: str, levels: Levels | None = None) -> None:
        """Keep the first breach of a rule, in the present cycle or, without levels, the one before."""
        number = self._rig.cycle if levels is not None else self._rig.cycle - 1
        pair = (self._earlier, self._before) if levels is None else (self._before, levels)
        shown = [Signals.of(self._own.kind.name, one, seen) for one in pair]
        self._evidence.setdefault(rule, Excerpt(PART, number, seen, *shown))

    def _count(self, seen: Levels, noisy: bool) -> None:
        """Count which rules the cycle exercises."""
        counts, before = self.counts, self._before
        counts[NOISE] += noisy
        kind = self._own.kind.name
        if before["rst"]:
            counts["3.00" if kind == "wishbone" else "A3.1.2"] += 1
        elif kind == "apb":
            counts["3.4"] += bool("pslverr" in seen and (seen["psel"] or seen["pslverr"]))
        elif kind == "wishbone":
            ended = bool(seen["ack"] or seen.get("err", 0))
            counts["3.35"] += not seen["stb"]
            counts["3.45"] += ended
            counts["3.50"] += not self._own.pipelined and before["stb"] and not seen["stb"]
            counts["3.57"] += bool(seen["stb"] and seen.get("stall", 0))
        elif kind == "axi4-lite":
            for channel in ("b", "r"):
                valid, ready = seen[f"{channel}valid"], seen[f"{channel}ready"]
                counts["A3.2.1"] += valid & ~ready
                for rule in ("A3.3.1", "B1.1.1"):
                    counts[rule] += valid & ready
