"""An export: every edge of every bell, a line each."""

from busbox.exports.contract import Result, Target


def write(result: Result, target: Target) -> None:
    """Every edge of every hammer, a line each."""
    bells = [device.slot.name for device in result.system.devices if device.kind == "bell"]
    for bell in bells:
        cycles, levels = result.recording.edges(f"{bell}.hammer")
        for cycle, level in zip(cycles.tolist(), levels.tolist(), strict=True):
            target.text.write(f"{bell} {cycle} {level}\n")
