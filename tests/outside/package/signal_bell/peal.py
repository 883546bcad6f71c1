"""A source of traffic: so many strokes."""

from busbox.cpu import ListedSource
from busbox.cpu.source_kind import SourceKind
from busbox.cpu.steps import AccessStep, Named
from busbox.device import Setting


class Peal(SourceKind, ListedSource):
    """Strikes a bell so many times."""

    settings = (
        Setting("bell", kind="text", text="the slot that is struck"),
        Setting("count", 3, low=1, high=99, text="strokes"),
        Setting("every", 40, low=1, high=1000, text="cycles between two strokes"),
    )

    def __init__(self, bell: str, count: int, every: int) -> None:
        strike = AccessStep(True, Named(bell, "STRIKE"), 30, wait=every)
        super().__init__(lambda: [strike] * count)
