"""Pure: what the judge carries from tick to tick, and how the gate's switching changes it."""

from __future__ import annotations

from typing import NamedTuple

from controller.heat.running import Past, Running, fresh_running, switch_off, switch_on
from controller.heat.watch import Watch, fresh_watch


class JudgeMemory(NamedTuple):
    """What the judge carries from tick to tick."""

    seen_at_s: float
    """The last sound tick."""
    good_cycles: int
    """Ticks in a row without a cause to hold heat off."""
    rest_owed: bool
    """A full rest starts at the next sound tick."""
    heated_at_s: float | None
    """Heat was last commanded or live then."""
    air_hot: bool
    root_hot: bool
    cable_hot: bool
    root_seen_at_s: float
    """A root-zone reading was last trusted then."""
    cable_seen_at_s: float
    running: Running
    watch: Watch


def fresh_memory(now_s: float, past: Past | None = None) -> JudgeMemory:
    """A process that starts at ``now_s`` owes a full rest and its good cycles.

    Without a ``past`` nothing was switched before, but whatever is hot may have been heated.
    """
    known = Past(switch_ons=(), heated_at_s=now_s) if past is None else past
    return JudgeMemory(
        seen_at_s=now_s,
        good_cycles=0,
        rest_owed=False,
        heated_at_s=known.heated_at_s,
        air_hot=False,
        root_hot=False,
        cable_hot=False,
        root_seen_at_s=now_s,
        cable_seen_at_s=now_s,
        running=fresh_running(now_s, known),
        watch=fresh_watch(now_s),
    )


def owe_rest(memory: JudgeMemory) -> JudgeMemory:
    """After a tick that could not be judged: rest and good cycles start anew."""
    return memory._replace(good_cycles=0, rest_owed=True)


def note_on(memory: JudgeMemory) -> JudgeMemory:
    """The gate has driven the relay on in the tick just judged."""
    return _noted(memory, switch_on(memory.running, memory.seen_at_s))


def note_off(memory: JudgeMemory) -> JudgeMemory:
    """The gate has ended a run in the tick just judged."""
    return _noted(memory, switch_off(memory.running, memory.seen_at_s))


def _noted(memory: JudgeMemory, running: Running) -> JudgeMemory:
    """Heat was on up to now, or is from now on; nothing else changes."""
    return memory._replace(heated_at_s=memory.seen_at_s, running=running)
