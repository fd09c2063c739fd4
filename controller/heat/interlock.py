"""Pure: the judge. Signatures first; the rules follow."""

from __future__ import annotations

from dataclasses import dataclass

from controller.heat.limits import HeatLimits
from controller.vocabulary import HeatEvidence, HeatReason, Level, LockoutCause


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgeMemory:
    """What the judge carries from tick to tick."""

    started_at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the judge permits in this tick."""

    heat_allowed: bool
    level: Level
    reasons: tuple[HeatReason, ...]
    lockout_cause: LockoutCause | None = None
    lockout_detail: str = ""


def fresh_memory(now_s: float) -> JudgeMemory:
    """A process that has just started: it owes a full rest and three good cycles."""
    raise NotImplementedError


def judge(
    limits: HeatLimits, memory: JudgeMemory, evidence: HeatEvidence, *, relay_on: bool, locked: bool
) -> tuple[JudgeMemory, Verdict]:
    """Permission for one frame in one tick."""
    raise NotImplementedError
