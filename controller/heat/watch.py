"""Pure: what the optional inputs show over time: feedback, supply, cut-out."""

from __future__ import annotations

from typing import NamedTuple

from controller.heat.limits import RESPONSE_TRIES, RESPONSE_WAIT_S, HeatLimits
from controller.vocabulary import HeatEvidence


class Watch(NamedTuple):
    """What the optional inputs have shown of late."""

    live_since_s: float | None
    """Feedback has shown the cable live since then, though the relay is off."""
    open_since_s: float | None
    """The cut-out has stood open since then."""
    answered_at_s: float
    """Feedback last showed the cable live with the relay on."""
    tries: int
    """Runs in a row that the cable did not answer, counted no further than the first tries."""
    tried_at_s: float
    """The last of them was given up then."""
    supply_lost: bool


def fresh_watch(now_s: float) -> Watch:
    """Nothing seen yet."""
    return Watch(
        live_since_s=None,
        open_since_s=None,
        answered_at_s=now_s,
        tries=0,
        tried_at_s=now_s,
        supply_lost=False,
    )


def look_out(
    limits: HeatLimits, watch: Watch, evidence: HeatEvidence, *, relay_on_since_s: float | None
) -> Watch:
    """What this tick's inputs add; ``relay_on_since_s`` is None while the relay is off.

    A cable on for the feedback time without a sign of life is one unanswered try.
    The count ends with the first sign of life, or when a lost supply is back.
    """
    now_s = evidence.now_s
    live = evidence.feedback_live
    live_since_s: float | None = None
    answered_at_s, tries, tried_at_s = watch.answered_at_s, watch.tries, watch.tried_at_s
    if watch.supply_lost and evidence.supply_present:
        tries = 0
    if relay_on_since_s is None:
        live_since_s = _held_since(watch.live_since_s, now_s, holds=live is True)
    elif live:
        answered_at_s, tries = now_s, 0
    elif live is False and now_s - max(relay_on_since_s, answered_at_s) >= limits.feedback_on_s:
        tries, tried_at_s = min(tries + 1, RESPONSE_TRIES), now_s
    return Watch(
        live_since_s=live_since_s,
        open_since_s=_held_since(watch.open_since_s, now_s, holds=evidence.cut_out_closed is False),
        answered_at_s=answered_at_s,
        tries=tries,
        tried_at_s=tried_at_s,
        supply_lost=evidence.supply_present is False,
    )


def must_wait(watch: Watch, now_s: float) -> bool:
    """A try was given up: for this tick, or for an hour once the first tries are used up."""
    wait_s = RESPONSE_WAIT_S if watch.tries >= RESPONSE_TRIES else 0.0
    return watch.tries > 0 and now_s - watch.tried_at_s <= wait_s


def _held_since(since_s: float | None, now_s: float, *, holds: bool) -> float | None:
    """The start of what still holds, or None."""
    if not holds:
        return None
    return now_s if since_s is None else since_s
