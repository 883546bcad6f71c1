"""The text format: one step per line. ``busbox guide steps`` has its grammar.

A handler is active from the start, wherever it appears (semantics page, rule 12c). ``#`` begins a
comment, except in the text of a mark.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from functools import partial

from busbox.basics.errors import (
    READ_MISTAKES,
    InputError,
    Mistake,
    format_value,
    join_or,
    limited,
    nearest,
)
from busbox.basics.units import parse_span
from busbox.cpu.steps import (
    ALL_LANES,
    NO_LIMIT,
    POLL_LIMIT,
    AccessStep,
    Await,
    Handler,
    Mark,
    Pause,
    Poll,
    ResetStep,
    Step,
    Target,
    Until,
)
from busbox.formats.contract import Format
from busbox.formats.kept import check_kept, read_since, shown_since
from busbox.formats.small_steps import read_small, write_small
from busbox.formats.step_words import take_options, take_recorded, take_target
from busbox.map.addresses import PIN, number
from busbox.map.registers import WORD, show_lanes

_COMMENT = re.compile(r"(?:^|\s)#.*")


def read_text(lines: Iterable[str], where: str) -> Iterator[Step]:
    """Yield the steps of a text.

    Raises
    ------
    InputError : lists every line that is not a step
    """
    mistakes: list[Mistake] = []
    handler: Handler | None = None
    inside: list[Step] = []
    step: Step | Handler | None
    for count, line in enumerate(lines, start=1):
        try:
            step = _step(line.rstrip("\r\n"), count)
            if handler is None and step is _END:
                raise ValueError("'end' without a matching 'handler'")
            if handler is not None and isinstance(step, Handler) and step is not _END:
                raise ValueError(f"a handler inside a handler: {handler.name} has no 'end'")
        except ValueError as error:
            mistakes.append(Mistake(str(error), where, count))
            if len(mistakes) == READ_MISTAKES:
                raise InputError(limited(mistakes, where)) from None
            verb = line.split(maxsplit=1)[0]
            if verb in ("handler", "end"):  # its nesting is clear all the same
                handler = Handler("", "", ()) if verb == "handler" else None
            continue
        if step is _END:
            if handler is not None and not mistakes:
                yield replace(handler, steps=tuple(inside))
            handler = None
        elif isinstance(step, Handler):
            handler, inside = step, []
        elif handler is not None and step is not None:
            inside.append(step)
        elif step is not None and not mistakes:
            yield step
    if handler is not None:
        mistakes.append(Mistake(f"handler {handler.name} has no 'end'", where, handler.line))
    if mistakes:
        raise InputError(limited(mistakes, where))


def write_text(steps: Iterable[Step]) -> Iterator[str]:
    """Yield the lines of steps.

    Raises
    ------
    InputError : the text of a mark does not fit on one line
    """
    for count, step in enumerate(steps, start=1):
        check_kept(step, count)
        match step:
            case AccessStep():
                yield _access_line(step)
            case Poll():
                yield _poll_line(step)
            case Pause():
                yield f"pause  {step.span}"
            case Mark():
                text = step.text
                if text != text.strip() or not text or not text.isprintable():
                    raise InputError.of(
                        f"step {count}: the text format cannot hold the mark {text!r}"
                    )
                yield f"mark   {text}"
            case Await():
                limit = "" if step.limit == NO_LIMIT else f" limit {step.limit}"
                yield f"await  {step.pin} {step.level}{limit}"
            case ResetStep():
                yield "reset" + (f"  +{step.wait}" if step.wait else "")
            case Handler():
                enter = f" enter {step.enter}" if step.enter else ""
                leave = f" leave {step.leave}" if step.leave else ""
                yield f"handler {step.name} on {step.pin}{enter}{leave}"
                yield from (f"  {line}" for line in write_text(step.steps))
                yield "end"


def _step(line: str, count: int) -> Step | Handler | None:
    verb, *rest = line.split(maxsplit=1) or [""]
    if verb == "mark":
        if not rest:
            raise ValueError("mark must be followed by text")
        return Mark(rest[0].strip(), count)
    words = re.sub(r"(==|>=|=|&)", r" \1 ", _COMMENT.sub("", line).replace("\t", " ")).split()
    if not words:
        return None
    reader = _READERS.get(words[0])
    if reader is None:
        raise ValueError(
            f"a line must begin with {join_or(FIRST_WORDS)}, not {format_value(words[0])}"
            f"{nearest(words[0], FIRST_WORDS)}"
        )
    return reader(words[1:], count)


#: The options of a poll and an until.
_OF_POLL = ("every", "limit", "lanes", "pc", "keep", "wait")


def _read_write(words: list[str], count: int) -> Step:
    target = take_target(words, "write")
    if not words:
        raise ValueError("write needs data after its target: write TARGET DATA")
    data = number(words.pop(0), "data")
    return AccessStep(
        True, target, data, line=count, **take_options(words, ("lanes", "pc", "wait"))
    )


def _read_read(words: list[str], count: int) -> Step:
    target = take_target(words, "read")
    given = take_recorded(words)
    data = None if given is None else number(given, "data")
    options = take_options(words, ("lanes", "pc", "keep", "wait"))
    return AccessStep(False, target, data, line=count, **options)


def _mask(words: list[str]) -> int:
    """Take the mask that may stand there; without one, the whole word counts."""
    if words[:1] != ["&"]:
        return WORD
    if len(words) < 2:
        raise ValueError("& must be followed by a mask")
    mask = number(words[1], "a mask")
    del words[:2]
    return mask


def _read_poll(words: list[str], count: int) -> Step:
    target = take_target(words, "poll")
    mask = _mask(words)
    if words[:1] != ["=="] or len(words) < 2:
        raise ValueError("poll needs a value to wait for: poll TARGET [& MASK] == VALUE")
    value = number(words[1], "a value")
    del words[:2]
    if value & ~mask:
        raise ValueError(f"poll can never end: {value:#x} has bits outside the mask {mask:#x}")
    options = take_options(words, _OF_POLL)
    if options.get("limit") == 0:
        raise ValueError("limit must be at least 1, not 0")
    return Poll(target, value, mask, line=count, **options)


def _read_until(words: list[str], count: int) -> Step:
    target = take_target(words, "until")
    since: int | str = 0
    if words[:1] == ["-"]:
        if len(words) < 2:
            raise ValueError("- must be followed by the name of a kept word, or by a word")
        since = read_since(words[1])
        del words[:2]
    mask = _mask(words)
    if words[:1] != [">="] or len(words) < 2:
        raise ValueError("until needs a value to wait for: until TARGET [- NAME] [& MASK] >= VALUE")
    value = number(words[1], "a value")
    del words[:2]
    if value > mask:
        raise ValueError(f"until can never end: {value:#x} is above the mask {mask:#x}")
    options = take_options(words, _OF_POLL)
    if options.get("limit") == 0:
        raise ValueError("limit must be at least 1, not 0")
    return Until(target, value, mask, since=since, line=count, **options)


def _read_pause(words: list[str], count: int) -> Step:
    if not words:
        raise ValueError("pause must be followed by a time such as 2 ms, or a number of cycles")
    return Pause(parse_span(" ".join(words)), count)


def _pin(words: list[str], verb: str) -> str:
    if not words:
        raise ValueError(f"{verb} must name a pin such as levers.in.4")
    word = words.pop(0)
    if not PIN.fullmatch(word):
        raise ValueError(f"a pin must be slot.pin, such as levers.in.4, not {format_value(word)}")
    return word


def _read_await(words: list[str], count: int) -> Step:
    pin = _pin(words, "await")
    level = words.pop(0) if words else ""
    if level not in ("0", "1"):
        raise ValueError(
            f"await must be followed by a pin and its level, 0 or 1, not {format_value(level)}"
        )
    limit = NO_LIMIT
    if words:
        if words[0] != "limit":
            raise ValueError(f"unexpected {words[0]!r}; expected limit")
        limit = parse_span(" ".join(words[1:]))
    if limit.cycles == 0 or limit.seconds == 0:
        raise ValueError("limit must be at least one cycle, not 0")
    return Await(pin, int(level), limit, count)


def _read_reset(words: list[str], count: int) -> Step:
    return ResetStep(line=count, **take_options(words, ("wait",)))


def _read_handler(words: list[str], count: int) -> Step:
    if not words or not words[0].isidentifier():
        raise ValueError("handler needs a name: handler NAME on PIN enter N leave N")
    name = words.pop(0)
    if words[:1] != ["on"]:
        raise ValueError("a handler's name must be followed by on PIN")
    pin = _pin(words[1:], "on")
    options = take_options(words[2:], ("enter", "leave"))
    return Handler(name, pin, (), line=count, **options)


def _read_end(words: list[str], count: int) -> Step:
    if words:
        raise ValueError(f"unexpected {format_value(words[0])} after 'end'")
    return _END


#: What the line ``end`` is read as; it never leaves this module.
_END = Handler("", "", ())


_READERS: dict[str, Callable[[list[str], int], Step]] = {
    "write": _read_write,
    "read": _read_read,
    "write8": partial(write_small, 1),
    "write16": partial(write_small, 2),
    "read8": partial(read_small, 1),
    "read16": partial(read_small, 2),
    "poll": _read_poll,
    "until": _read_until,
    "pause": _read_pause,
    "await": _read_await,
    "handler": _read_handler,
    "end": _read_end,
    "reset": _read_reset,
}
#: What a line may begin with.
FIRST_WORDS = (*_READERS, "mark")


def _show(target: Target) -> str:
    return f"{target:#010x}" if isinstance(target, int) else str(target)


def _tail(step: AccessStep | Poll) -> str:
    tail = f" keep {step.keep}" if step.keep else ""
    tail += "" if step.lanes == ALL_LANES else f" lanes {show_lanes(step.lanes)}"
    if step.pc is not None:
        tail += f" pc {step.pc:#x}"
    return tail + (f" +{step.wait}" if step.wait else "")


def _access_line(step: AccessStep) -> str:
    if step.write:
        assert step.data is not None
        return f"write  {_show(step.target)} {step.data:#x}{_tail(step)}"
    compared = "" if step.data is None else f" = {step.data:#x}"
    return f"read   {_show(step.target)}{compared}{_tail(step)}"


def _poll_line(step: Poll) -> str:
    mask = "" if step.mask == WORD else f" & {step.mask:#x}"
    every = f" every {step.every}" if step.every else ""
    limit = "" if step.limit == POLL_LIMIT else f" limit {step.limit}"
    tail = f"{every}{limit}{_tail(step)}"
    if isinstance(step, Until):
        since = f" - {shown_since(step)}" if step.since else ""
        return f"until  {_show(step.target)}{since}{mask} >= {step.value}{tail}"
    return f"poll   {_show(step.target)}{mask} == {step.value:#x}{tail}"


STEPS = Format.of_lines("One step per line, by name or by number.", read_text, write_text)
