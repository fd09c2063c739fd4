"""A mishap planted into the rehearsal of whoever asks for nothing, so that there is one to watch."""

from __future__ import annotations

from dataclasses import dataclass

from controller.config.records import Settings
from controller.rehearse.probes import FaultKind, ProbeFault
from controller.vocabulary import Place

OUT_FROM_S = 6 * 86400.0 + 2 * 3600.0
"""Two in the morning of the hardest night of the invented fortnight, counted from its first midnight."""
OUT_FOR_S = 2 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something to tell whoever watches, at an instant counted from the start of the run."""

    at_s: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """One fault, and the words that own up to it."""

    fault: ProbeFault
    beforehand: str
    """A sentence for the opening words."""
    remarks: tuple[Remark, ...]


def plant(settings: Settings) -> Planted | None:
    """The air probe of the first frame that has two, out of its plug for two hours; None where none has."""
    for frame in settings.frames.values():
        if Place.AIR in frame.probes and Place.AIR_SECOND in frame.probes:
            return Planted(
                fault=ProbeFault(
                    probe=frame.probes[Place.AIR],
                    kind=FaultKind.ABSENT,
                    from_s=OUT_FROM_S,
                    until_s=OUT_FROM_S + OUT_FOR_S,
                ),
                beforehand="One mishap is planted, so that there is something to see: in the hardest night a"
                " probe comes out of its plug for two hours.",
                remarks=(
                    Remark(
                        at_s=OUT_FROM_S,
                        words=f"Planted: the air probe of {frame.name} comes out of its plug.",
                    ),
                    Remark(at_s=OUT_FROM_S + OUT_FOR_S, words="Planted: it is plugged in again."),
                ),
            )
    return None
