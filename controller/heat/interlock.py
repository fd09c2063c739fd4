"""Pure: the judge, which allows or refuses heat to one frame, tick by tick.

Permission is earned again in every tick and never kept. What is not shown to be safe is refused.
The shortest on time is the thermostat's to keep, so that off is never delayed here.

Decisions of its own:
- Air never locks. A shut frame in morning sun after a heated night passes 35 °C, so air above its
  limit holds heat back and no more. Root zone and cable lock, if heat was commanded or live within
  the hour; a bed that sun alone brings 5 K past its limit within an hour of heat locks as well.
- A sample that is stale, from the future or not finite should never reach the judge. If one does,
  all of that tick's evidence is refused, and a full rest is owed from the next sound tick on.
- Feedback and cut-out must hold for the feedback lag before they lock, so that one spike on a long
  wire does not cost a winter's heat; heat itself goes off at the first sight of an open cut-out.
- No answer from the cable: three tries with a rest between them, then one each hour, or at once
  when the supply comes back. Never a lockout.
- A part that was last seen too hot counts as hot until it is seen cooler. Where its probe died, that
  ends after an hour out of sight and without heat: by then it has cooled as far as an hour can do it,
  and what was never seen hot is heated blind, within its share, on no better knowledge.
- The blind share rules blind runs alone, whatever the shortest on time is: a run begins where the
  share has room for three minutes.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.heat.limits import (
    BLIND_RUN_S,
    COOLER_BY_K,
    GOOD_CYCLES,
    HEAT_MEMORY_S,
    LOCK_ABOVE_K,
    TIGHTER_K,
    HeatLimits,
)
from controller.heat.memory import JudgeMemory, owe_rest
from controller.heat.running import may_heat_blind, may_switch, switch_off
from controller.heat.sight import Sight, look
from controller.heat.watch import Watch, look_out, must_wait
from controller.vocabulary import HeatEvidence, HeatReason, Level, LockoutCause


class Verdict(NamedTuple):
    """What the judge permits in this tick."""

    heat_allowed: bool
    level: Level
    reasons: tuple[HeatReason, ...]
    """Why not; beside a permission only what is told: the cable gave no answer yet."""
    lockout_cause: LockoutCause | None = None
    lockout_detail: str = ""


_BAD_EVIDENCE = Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(HeatReason.BAD_EVIDENCE,))
_BAD_EVIDENCE_LOCKED = Verdict(
    heat_allowed=False, level=Level.LOCKED, reasons=(HeatReason.LOCKED, HeatReason.BAD_EVIDENCE)
)


def refuse(memory: JudgeMemory, *, locked: bool) -> tuple[JudgeMemory, Verdict]:
    """The verdict on a tick whose evidence cannot be judged: off, a full rest, good cycles anew."""
    return owe_rest(memory), _BAD_EVIDENCE_LOCKED if locked else _BAD_EVIDENCE


def judge(
    limits: HeatLimits, memory: JudgeMemory, evidence: HeatEvidence, *, relay_on: bool, locked: bool
) -> tuple[JudgeMemory, Verdict]:
    """Permission for one frame in one tick.

    ``relay_on`` is the relay as read back before this tick; ``locked`` that a lockout stands.
    """
    sight = look(limits, evidence)
    now_s = evidence.now_s
    if sight is None or now_s < memory.seen_at_s:
        return refuse(memory, locked=locked)
    running = memory.running
    if memory.rest_owed or relay_on != (running.on_since_s is not None):
        # The relay is not where the judge's last word left it: whatever it does, it rests from now.
        running = switch_off(running, now_s)
    heated_at_s = now_s if relay_on or evidence.feedback_live else memory.heated_at_s
    watch = look_out(limits, memory.watch, evidence, relay_on_since_s=running.on_since_s)
    tighter_k = 0.0 if sight.whole else TIGHTER_K
    air_hot = sight.air_c is not None and _is_hot(
        sight.air_c, limits.air_max_c - tighter_k, was_hot=memory.air_hot
    )
    root_seen_at_s = memory.root_seen_at_s if sight.root_c is None else now_s
    cable_seen_at_s = memory.cable_seen_at_s if sight.cable_c is None else now_s
    root_hot = _is_hot(
        sight.root_c,
        limits.root_max_c - tighter_k,
        was_hot=memory.root_hot and not _has_cooled(root_seen_at_s, heated_at_s, now_s),
    )
    cable_hot = limits.cable_max_c is not None and _is_hot(
        sight.cable_c,
        limits.cable_max_c - tighter_k,
        was_hot=memory.cable_hot and not _has_cooled(cable_seen_at_s, heated_at_s, now_s),
    )
    late = evidence.late or now_s - memory.seen_at_s > limits.late_s
    causes = _causes(limits, evidence, sight, watch, late=late)
    if air_hot:
        causes.append(HeatReason.AIR_TOO_WARM)
    if root_hot:
        causes.append(HeatReason.ROOT_TOO_WARM)
    if cable_hot:
        causes.append(HeatReason.CABLE_TOO_WARM)
    after = JudgeMemory(
        seen_at_s=now_s,
        good_cycles=0 if causes else min(memory.good_cycles + 1, GOOD_CYCLES),
        rest_owed=False,
        heated_at_s=heated_at_s,
        air_hot=air_hot,
        root_hot=root_hot,
        cable_hot=cable_hot,
        root_seen_at_s=root_seen_at_s,
        cable_seen_at_s=cable_seen_at_s,
        running=running,
        watch=watch,
    )
    return after, _verdict(limits, after, evidence, sight, causes, locked=locked)


def _is_hot(warmest_c: float | None, limit_c: float, *, was_hot: bool) -> bool:
    """At its limit, or reached it and not yet shown to be cooler by the return margin."""
    if warmest_c is None:
        return was_hot
    return warmest_c >= (limit_c - COOLER_BY_K if was_hot else limit_c)


def _has_cooled(seen_at_s: float, heated_at_s: float | None, now_s: float) -> bool:
    """An hour out of sight and without heat."""
    since_s = seen_at_s if heated_at_s is None else max(seen_at_s, heated_at_s)
    return now_s - since_s >= HEAT_MEMORY_S


def _causes(
    limits: HeatLimits, evidence: HeatEvidence, sight: Sight, watch: Watch, *, late: bool
) -> list[HeatReason]:
    """Why heat is off until the cause is gone and good cycles are earned; temperatures apart."""
    now_s = evidence.now_s
    held = (
        (not evidence.commissioned, HeatReason.NOT_COMMISSIONED),
        (evidence.stop_pressed is True, HeatReason.STOP_PRESSED),
        (watch.supply_lost, HeatReason.SUPPLY_LOST),
        (watch.open_since_s is not None, HeatReason.CUT_OUT_OPEN),
        (late, HeatReason.LATE),
        (must_wait(watch, now_s), HeatReason.NO_RESPONSE),
        (limits.guard_required and not sight.guard_seen, HeatReason.NO_GUARD_READING),
    )
    causes = [reason for holds, reason in held if holds]
    if not sight.heated_part_seen:
        if not limits.blind_duty_allowed:
            causes.append(HeatReason.NO_ROOT_READING)
            if limits.cable_max_c is not None:
                causes.append(HeatReason.NO_CABLE_READING)
        elif not evidence.frost_likely:
            causes.append(HeatReason.BLIND_WITHOUT_FROST)
    return causes


def _verdict(
    limits: HeatLimits,
    memory: JudgeMemory,
    evidence: HeatEvidence,
    sight: Sight,
    causes: list[HeatReason],
    *,
    locked: bool,
) -> Verdict:
    """Heat is allowed when, and only when, not one reason against it is left."""
    now_s = evidence.now_s
    cause, detail = _lockout(limits, memory, sight, now_s)
    earning = memory.good_cycles < GOOD_CYCLES
    reasons = [HeatReason.LOCKED] if locked or cause is not None else []
    reasons += causes
    if earning and not causes:
        reasons.append(HeatReason.EARNING)
    reasons += _waits(limits, memory, sight, now_s)
    if not evidence.heat_wanted:
        reasons.append(HeatReason.NOTHING_WANTED)
    heat_allowed = not reasons
    unanswered = memory.watch.tries > 0
    if unanswered and HeatReason.NO_RESPONSE not in causes:
        reasons.append(HeatReason.NO_RESPONSE)
    if locked or cause is not None:
        level = Level.LOCKED
    elif earning:
        level = Level.HEAT_OFF
    elif not sight.heated_part_seen:
        level = Level.BLIND
    elif unanswered or not sight.whole:
        level = Level.REDUCED
    else:
        level = Level.NORMAL
    return Verdict(
        heat_allowed=heat_allowed,
        level=level,
        reasons=tuple(reasons),
        lockout_cause=cause,
        lockout_detail=detail,
    )


def _waits(limits: HeatLimits, memory: JudgeMemory, sight: Sight, now_s: float) -> list[HeatReason]:
    """What passes with time alone: rests, switchings, the off proof, the blind share of an hour."""
    waits: list[HeatReason] = []
    running = memory.running
    if running.on_since_s is None:
        ahead_s = max(BLIND_RUN_S, limits.tick_s)
        if now_s - running.off_since_s < limits.min_off_s:
            waits.append(HeatReason.RESTING)
        if not may_switch(running, now_s):
            waits.append(HeatReason.SWITCH_LIMIT)
        if memory.watch.live_since_s is not None:
            waits.append(HeatReason.OFF_PROOF)
    else:
        ahead_s = limits.tick_s
        if now_s + ahead_s - running.on_since_s > limits.on_proof_s:
            waits.append(HeatReason.OFF_PROOF)
    blind = limits.blind_duty_allowed and not sight.heated_part_seen
    if blind and not may_heat_blind(running, now_s, ahead_s):
        waits.append(HeatReason.BLIND_DUTY_SPENT)
    return waits


def _lockout(
    limits: HeatLimits, memory: JudgeMemory, sight: Sight, now_s: float
) -> tuple[LockoutCause | None, str]:
    """What locks heat off now, the gravest first, with the words for its record."""
    watch = memory.watch
    if watch.live_since_s is not None and now_s - watch.live_since_s >= limits.feedback_lag_s:
        return LockoutCause.LIVE_WHEN_OFF, f"cable live for {now_s - watch.live_since_s:.0f} s, relay off"
    if memory.heated_at_s is not None and now_s - memory.heated_at_s <= HEAT_MEMORY_S:
        hotter = _over(sight.cable_c, limits.cable_max_c)
        if hotter:
            return LockoutCause.OVERHEATED_CABLE, f"cable {hotter}"
        hotter = _over(sight.root_c, limits.root_max_c)
        if hotter:
            return LockoutCause.OVERHEATED_ROOT, f"root zone {hotter}"
    if watch.open_since_s is not None and now_s - watch.open_since_s >= limits.feedback_lag_s:
        return LockoutCause.CUT_OUT_OPENED, f"cut-out open for {now_s - watch.open_since_s:.0f} s"
    return None, ""


def _over(warmest_c: float | None, limit_c: float | None) -> str:
    """Words for a reading so far past its limit that it locks; empty when it is not."""
    if warmest_c is None or limit_c is None or warmest_c < limit_c + LOCK_ABOVE_K:
        return ""
    return f"at {warmest_c:.1f} °C, limit {limit_c:.1f} °C"
