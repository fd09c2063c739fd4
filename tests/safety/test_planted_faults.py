"""Tests of the tests: each small sabotage of judge or gate must turn the drill red.

One of them that passes unnoticed means that the drill, not the sabotage, is at fault.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.heat import contacts, interlock, line, memory, relays, sight
from controller.heat.contacts import Contacts
from controller.heat.interlock import Verdict
from controller.vocabulary import HeatReason, Level, Sample
from tests.safety.checker import Broken
from tests.safety.drill import drill

Plant = Callable[[pytest.MonkeyPatch], None]

R = HeatReason


def _without_cause(reason: HeatReason) -> Plant:
    def plant(patch: pytest.MonkeyPatch) -> None:
        real = interlock._causes
        patch.setattr(
            interlock,
            "_causes",
            lambda *args, **named: [found for found in real(*args, **named) if found != reason],
        )

    return plant


def _without_wait(reason: HeatReason) -> Plant:
    def plant(patch: pytest.MonkeyPatch) -> None:
        real = interlock._waits
        patch.setattr(interlock, "_waits", lambda *args: [found for found in real(*args) if found != reason])

    return plant


def _put(module: Any, name: str, replacement: Any) -> Plant:
    return lambda patch: patch.setattr(module, name, replacement)


def _proof_a_tick_late(patch: pytest.MonkeyPatch) -> None:
    """The weakening that uniform random ticks once missed: a run may last one tick too long."""
    real = interlock._waits

    def weak(limits: Any, *args: Any) -> list[HeatReason]:
        longer = replace(limits)
        object.__setattr__(longer, "on_proof_s", limits.on_proof_s + limits.tick_s)
        return real(longer, *args)

    patch.setattr(interlock, "_waits", weak)


def _stays_on(patch: pytest.MonkeyPatch) -> None:
    """Permission that is kept once it was earned."""
    real = interlock.judge
    kept: dict[int, bool] = {}

    def lenient(limits: Any, memory: Any, held: Any, *, relay_on: bool, locked: bool) -> Any:
        after, verdict = real(limits, memory, held, relay_on=relay_on, locked=locked)
        if relay_on and kept.get(id(limits)):
            verdict = Verdict(heat_allowed=True, level=Level.NORMAL, reasons=())
        kept[id(limits)] = verdict.heat_allowed
        return after, verdict

    patch.setattr(line, "judge", lenient)


def _any_number_is_sound(patch: pytest.MonkeyPatch) -> None:
    def credulous(readings: Any, _oldest_s: float, _newest_s: float) -> Any:
        found = [reading.temp_c for reading in readings if isinstance(reading, Sample)]
        return max(found, default=None), len(found) == len(readings)

    patch.setattr(sight, "_warmest", credulous)


def _old_samples_count(patch: pytest.MonkeyPatch) -> None:
    real = sight._warmest
    patch.setattr(sight, "_warmest", lambda readings, _oldest_s, newest_s: real(readings, 0.0, newest_s))


def _future_samples_count(patch: pytest.MonkeyPatch) -> None:
    real = sight._warmest
    patch.setattr(sight, "_warmest", lambda readings, oldest_s, _newest_s: real(readings, oldest_s, 1e12))


def _heat_before_isolating(patch: pytest.MonkeyPatch) -> None:
    def swapped(self: Contacts) -> bool:
        self._heat.drive(True)  # noqa: FBT003
        if self._isolating is not None:
            self._isolating.drive(True)  # noqa: FBT003
        return True

    patch.setattr(contacts.Contacts, "on", swapped)


def _off_is_skipped(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Contacts, "off", lambda _self: None)


def _isolating_is_skipped(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Contacts, "part", Contacts.off)


def _end_is_not_final(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Contacts, "ended", property(lambda _self: False, lambda _self, _ended: None), raising=False)


def _clock_may_run_back(patch: pytest.MonkeyPatch) -> None:
    real = interlock.judge

    def tolerant(limits: Any, memory: Any, held: Any, *, relay_on: bool, locked: bool) -> Any:
        memory = memory._replace(seen_at_s=min(memory.seen_at_s, held.now_s))
        return real(limits, memory, held, relay_on=relay_on, locked=locked)

    patch.setattr(line, "judge", tolerant)


def _forgets_lockouts(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(line.Line, "_follow", lambda self, _lockout: setattr(self, "_lockout", None))


def _forgotten_frames_stay(patch: pytest.MonkeyPatch) -> None:
    real = line.Line.hear
    patch.setattr(
        line.Line,
        "hear",
        lambda self, held, utc_text: None if held is None else real(self, held, utc_text),
    )


PLANTS: dict[str, Plant] = {
    "not commissioned is ignored": _without_cause(R.NOT_COMMISSIONED),
    "the stop button is ignored": _without_cause(R.STOP_PRESSED),
    "a lost supply is ignored": _without_cause(R.SUPPLY_LOST),
    "an open cut-out is ignored": _without_cause(R.CUT_OUT_OPEN),
    "late is ignored": _without_cause(R.LATE),
    "no answer is ignored": _without_cause(R.NO_RESPONSE),
    "a lost guard is ignored": _without_cause(R.NO_GUARD_READING),
    "a lost root zone is ignored": _without_cause(R.NO_ROOT_READING),
    "blind without frost": _without_cause(R.BLIND_WITHOUT_FROST),
    "no rest": _without_wait(R.RESTING),
    "no switching limit": _without_wait(R.SWITCH_LIMIT),
    "no off proof": _without_wait(R.OFF_PROOF),
    "no blind share": _without_wait(R.BLIND_DUTY_SPENT),
    "the off proof comes a tick late": _proof_a_tick_late,
    "no good cycles": _put(interlock, "GOOD_CYCLES", 0),
    "two good cycles": _put(interlock, "GOOD_CYCLES", 2),
    "a start owes nothing": _put(
        line, "fresh_memory", lambda now_s, past: memory.fresh_memory(now_s - 1000.0, past)
    ),
    "a restart forgets switch-ons": _put(
        line,
        "fresh_memory",
        lambda now_s, past: memory.fresh_memory(
            now_s, None if past is None else replace(past, switch_ons=())
        ),
    ),
    "a restart forgets heat": _put(
        line,
        "fresh_memory",
        lambda now_s, past: memory.fresh_memory(
            now_s, None if past is None else replace(past, heated_at_s=None)
        ),
    ),
    "hot and out of sight is for ever": _put(interlock, "_has_cooled", lambda *_args: False),
    "blind heat waits for half an hour's room": _put(interlock, "BLIND_RUN_S", 1800.0),
    "nothing is ever hot": _put(interlock, "_is_hot", lambda *_args, **_named: False),
    "nothing ever locks for heat": _put(interlock, "_over", lambda *_args: ""),
    "nothing ever locks": _put(interlock, "_lockout", lambda *_args: (None, "")),
    "locks a kelvin late": _put(interlock, "LOCK_ABOVE_K", 6.5),
    "lockouts are forgotten": _forgets_lockouts,
    "lockouts are not written": _put(line.Line, "_keep", lambda _self, _lockout: None),
    "permission is kept": _stays_on,
    "any number is sound": _any_number_is_sound,
    "old samples count": _old_samples_count,
    "samples from the future count": _future_samples_count,
    "the clock may run back": _clock_may_run_back,
    "switch-ons are not noted": _put(line, "note_on", lambda kept: kept),
    "no rest is ever owed": _put(
        line, "refuse", lambda kept, *, locked: (kept, interlock.refuse(kept, locked=locked)[1])
    ),
    "forgotten frames stay as they are": _forgotten_frames_stay,
    "everyone gets power": _put(
        relays,
        "share_power",
        lambda turns, _now_s, asking, _room_w: (turns, frozenset(frame.frame for frame in asking)),
    ),
    "a weld uses no power": _put(line.Line, "held_power_w", lambda _self: 0.0),
    "the heat relay closes first": _heat_before_isolating,
    "off is skipped": _off_is_skipped,
    "isolating is skipped": _isolating_is_skipped,
    "the end is not final": _end_is_not_final,
}


def test_the_drill_is_green_on_the_real_judge_and_gate() -> None:
    """Otherwise red would mean nothing."""
    drill()


@pytest.mark.parametrize("name", PLANTS)
def test_a_planted_fault_turns_the_drill_red(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """I1 to I4, I10, R01, R02, R12, F04, F06: none is only believed to be tested."""
    PLANTS[name](monkeypatch)
    with pytest.raises(Broken):
        drill()
