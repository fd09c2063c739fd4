"""Pure: when one heat relay ran: rests, switchings within an hour, heat within an hour."""

from __future__ import annotations

from dataclasses import dataclass

from controller.heat.limits import BLIND_HOUR_S, HOUR_S, SWITCHES_PER_H


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """The relay's recent past, by the monotonic clock."""

    on_since_s: float | None
    """Start of the present run; ``None`` while off."""
    off_since_s: float
    """Start of the present rest, or of the last one while on."""
    switch_ons: tuple[float, ...]
    """The latest switch-ons, at most as many as an hour may hold, oldest first."""
    runs: tuple[tuple[float, float], ...]
    """Finished runs that reach into the last hour, oldest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """What the process before this one did, as far as it is known."""

    switch_ons: tuple[float, ...]
    """Within the last hour, oldest first."""
    heated_at_s: float | None
    """Heat was last on then; None where it is known that there was none."""


def unknown_past(now_s: float) -> Past:
    """Nothing is known: heated until now, half the switch-ons of an hour used."""
    return Past(switch_ons=(now_s,) * (SWITCHES_PER_H // 2), heated_at_s=now_s)


def fresh_running(now_s: float, past: Past) -> Running:
    """A process that starts at ``now_s``: at rest from now, the blind share of an hour taken as spent.

    A restart must be a way round neither the share nor the number of switch-ons.
    """
    return Running(
        on_since_s=None,
        off_since_s=now_s,
        switch_ons=past.switch_ons[-SWITCHES_PER_H:],
        runs=((now_s - BLIND_HOUR_S, now_s),),
    )


def switch_on(running: Running, now_s: float) -> Running:
    """The relay went on at ``now_s``."""
    return Running(
        on_since_s=now_s,
        off_since_s=running.off_since_s,
        switch_ons=(*running.switch_ons, now_s)[-SWITCHES_PER_H:],
        runs=_recent(running.runs, now_s),
    )


def switch_off(running: Running, now_s: float) -> Running:
    """The relay went off at ``now_s``, or its rest must begin anew there."""
    since_s = running.on_since_s
    runs = running.runs if since_s is None else (*running.runs, (since_s, now_s))
    return Running(
        on_since_s=None, off_since_s=now_s, switch_ons=running.switch_ons, runs=_recent(runs, now_s)
    )


def may_switch(running: Running, now_s: float) -> bool:
    """One more switch-on now keeps within the number that any hour may hold."""
    latest = running.switch_ons
    return len(latest) < SWITCHES_PER_H or now_s - latest[0] >= HOUR_S


def heated_s(running: Running, from_s: float, now_s: float) -> float:
    """Seconds of heat between two instants, the present run counted up to ``now_s``."""
    spent_s = 0.0
    for since_s, until_s in running.runs:
        spent_s += max(0.0, until_s - max(since_s, from_s))
    if running.on_since_s is not None:
        spent_s += now_s - max(running.on_since_s, from_s)
    return spent_s


def may_heat_blind(running: Running, now_s: float, ahead_s: float) -> bool:
    """Heat for ``ahead_s`` more keeps the hour that ends there within the blind share."""
    return heated_s(running, now_s + ahead_s - HOUR_S, now_s) + ahead_s <= BLIND_HOUR_S


def _recent(runs: tuple[tuple[float, float], ...], now_s: float) -> tuple[tuple[float, float], ...]:
    """Only the runs that still reach into the last hour."""
    return tuple(run for run in runs if now_s - run[1] < HOUR_S)
