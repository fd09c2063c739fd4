"""Every notice: its kind, how urgent, how long it must last, what to do first, its words. Pure.

``words`` is a format text filled from a condition's facts; verb first, one action, one number.
Hold-in is how long a condition lasts before anybody hears of it, hold-out how long it must be
gone before it counts as over: both are our choice, common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from controller.vocabulary import Kind, Urgency

_MINUTE_S = 60.0
_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeEntry:
    """One notice of the catalogue."""

    kind: Kind
    urgency: Urgency
    first: str
    """What to do first; README repeats it to the letter."""
    words: str
    over: str
    """Said once when it is over."""
    hold_in_s: float = 0.0
    hold_out_s: float = 3 * _MINUTE_S


CATALOGUE: Mapping[str, NoticeEntry] = {
    "below_keep": NoticeEntry(
        kind=Kind.FROST,
        urgency=Urgency.NOW,
        first="Lay mats or fleece over the covers and carry the tenderest pots indoors.",
        words="Lay mats on and carry the tenderest pots in: {frame} is at {coldest}, {against}.",
        over="{frame} is back above its line.",
        hold_in_s=10 * _MINUTE_S,
        hold_out_s=30 * _MINUTE_S,
    ),
    "unprotected": NoticeEntry(
        kind=Kind.FROST,
        urgency=Urgency.NOW,
        first="Lay mats on, carry the tenderest pots indoors, then look for the cause that is named.",
        words="Lay mats on and carry the tenderest pots in: frost is possible and {frame} is not "
        "protected, since {why}. {last}",
        over="{frame} is protected again.",
        hold_in_s=0.5 * _MINUTE_S,
        hold_out_s=10 * _MINUTE_S,
    ),
    "bus_dead": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.NOW,
        first="Check the probe lead where it leaves the box: one short silences every probe.",
        words="Check the probe lead at the box: no probe of {frame} has answered for {minutes} min.",
        over="Probes of {frame} answer again.",
        hold_in_s=1 * _MINUTE_S,
    ),
    "bus_dead_everywhere": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.NOW,
        first="Check the probe lead at the box and the board's supply; every probe of the site is silent.",
        words="Check the probe lead at the box: no probe of {names} has answered for {minutes} min.",
        over="Probes answer again.",
        hold_in_s=1 * _MINUTE_S,
    ),
    "probe_lost": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Look at that probe's plug and lead; frameward goes on with the probes it still trusts.",
        words="Look at the {place} probe of {frame}: {why}. Control goes on with {left}.",
        over="The {place} probe of {frame} is trusted again.",
        hold_in_s=1 * _MINUTE_S,
        hold_out_s=5 * _MINUTE_S,
    ),
    "probe_coarse": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.PAGE,
        first="Restart the board when convenient; a probe has fallen back to coarse steps.",
        words="Restart the board when convenient: the {place} probe of {frame} reads in {bits} bits, not 12.",
        over="The {place} probe of {frame} reads finely again.",
        hold_in_s=10 * _MINUTE_S,
    ),
    "lockout": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.NOW,
        first="Unplug the cable, find the cause, then run `frameward clear-lockout` at the board.",
        words="Unplug the cable of {frame} at the wall: heat is locked out ({why}; {detail}).",
        over="The lockout of {frame} has been cleared at the board.",
        hold_out_s=0.0,
    ),
    "no_response": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.NOW,
        first="Check the cable's fuse, plug and RCD; if it trips again, leave it off and have it tested.",
        words="Check fuse, plug and RCD of {frame}'s cable: it was switched on and stayed dead.",
        over="{frame}'s cable answers again, or is not being tried.",
        hold_in_s=0.0,
    ),
    "supply_lost": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.NOW,
        first="Check the RCD and fuse once; if it trips again, leave it off and have it tested.",
        words="Check RCD and fuse once: the cable of {frame} has no mains.",
        over="The cable of {frame} has mains again.",
        hold_in_s=0.5 * _MINUTE_S,
    ),
    "pin_fault": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.NOW,
        first="Unplug the cable, then restart the board; a relay line does not obey.",
        words="Unplug the cable of {frame}: its relay line does not obey ({detail}).",
        over="The relay line of {frame} obeys again.",
    ),
    "stop_pressed": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Release the stop button once the frame is safe to heat again.",
        words="Release the stop button when safe: heat of {frame} is off while it is pressed.",
        over="The stop button is released; heat of {frame} is earned anew.",
    ),
    "contact_unreadable": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Check that input's wire at the board; until then it counts as broken, the careful side.",
        words="Check a wire at the board: {detail}.",
        over="That input can be read again: {detail}.",
        hold_in_s=0.5 * _MINUTE_S,
    ),
    "not_commissioned": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Run `frameward commission` at the board; heat stays off until the safety list is answered.",
        words="Run frameward commission at the board: heat of {frame} stays off until then ({why}).",
        over="{frame} is commissioned.",
    ),
    "settings_refused": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Run `frameward check` and mend what it lists; the last good settings are in use meanwhile.",
        words="Mend the settings file ({count}), first {detail}. The last good copy is in use.",
        over="The settings file passes again.",
        hold_out_s=0.0,
    ),
    "settings_copy_lost": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Free space on the card; the settings in use could not be copied for the next start.",
        words="Free space on the card: the settings in use could not be copied ({detail}).",
        over="The copy of the settings is kept again.",
        hold_out_s=0.0,
    ),
    "settings_waiting": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Let the settings file rest; each change of it costs the frames a rest of heat.",
        words="Let the settings file rest: it keeps changing. The next change is taken within the hour.",
        over="The settings file has been taken.",
        hold_out_s=0.0,
    ),
    "settings_taken": NoticeEntry(
        kind=Kind.NEWS,
        urgency=Urgency.PAGE,
        first="Nothing; a changed settings file has passed every check and is in use.",
        words="Nothing to do: the changed settings file has been taken.",
        over="The changed settings have settled in.",
        hold_out_s=_HOUR_S,
    ),
    "not_recording": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Free space on the card or replace it; control goes on without a record.",
        words="Free space on the card or replace it: nothing is being recorded ({detail}). Control goes on.",
        over="Recording goes on.",
        hold_in_s=1 * _MINUTE_S,
    ),
    "not_publishing": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Restart the board when convenient; other programs cannot see what frameward sees.",
        words="Restart the board when convenient: the state cannot be published ({detail}).",
        over="The state is published again.",
        hold_in_s=1 * _MINUTE_S,
    ),
    "not_listening": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.PAGE,
        first="Restart the board when convenient; until then nothing can be reported or asked of frameward.",
        words="Restart the board when convenient: commands cannot reach frameward ({detail}).",
        over="Commands reach frameward again.",
    ),
    "record_set_aside": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Keep the named file if you want its data mended; a fresh record was started.",
        words="Keep {detail}: the record was damaged, set aside, and a fresh one started.",
        over="The fresh record is in use.",
        hold_out_s=_HOUR_S,
    ),
    "stored_state_lost": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Look at the named file; what was stored there could not be used.",
        words="Look at what was stored: {detail}.",
        over="Stored state is in order again.",
        hold_out_s=_HOUR_S,
    ),
    "clock_stepped": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.PAGE,
        first="Nothing; the clock was set, and the record marks the place.",
        words="Nothing to do: the clock was set {way} by {minutes} min. Heat does not depend on it.",
        over="The clock has been steady since.",
        hold_out_s=_HOUR_S,
    ),
    "clock_unconfirmed": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Bring the board within reach of its network; until then times are shown as not confirmed.",
        words="Bring the board within reach of its network: its clock has not been confirmed for {hours} h.",
        over="The clock is confirmed.",
        hold_in_s=6 * _HOUR_S,
    ),
    "unguarded": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="Start frameward through its unit, so that a hang is noticed and ended from outside.",
        words="Start frameward through its unit: nothing watches this process for a hang.",
        over="The process is guarded again.",
    ),
    "late": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.DAY,
        first="See what else runs on the board; heat is off whenever frameward comes late.",
        words="See what else runs on the board: a round came {lateness_s} s late and heat was off for it.",
        over="Rounds come in time again.",
        hold_out_s=30 * _MINUTE_S,
    ),
    "restarted": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.PAGE,
        first="Nothing, if it was once; look at supply and log if it repeats.",
        words="Look at supply and log if it repeats: frameward ended without a clean stop, {count}.",
        over="It has run without a break since.",
        hold_out_s=_HOUR_S,
    ),
    "crash_loop": NoticeEntry(
        kind=Kind.FAULT,
        urgency=Urgency.NOW,
        first="Lay mats on and look at the board's supply; it keeps restarting and rests each time.",
        words="Lay mats on and look at the board's supply: {count} restarts within an hour.",
        over="It has run without a break since.",
        hold_out_s=_HOUR_S,
    ),
    "heat_rested": NoticeEntry(
        kind=Kind.NEWS,
        urgency=Urgency.PAGE,
        first="Nothing; somebody asked for heat to rest, and it comes back by itself.",
        words="Nothing to do: heat of {frame} rests by request for {minutes} min more.",
        over="Heat of {frame} no longer rests by request.",
        hold_out_s=0.0,
    ),
    "rested_in_frost": NoticeEntry(
        kind=Kind.FROST,
        urgency=Urgency.NOW,
        first="End the rest of heat, or lay mats on now: frost is possible while heat rests.",
        words="End heat's rest or lay mats on: {frame} is at {coldest} and heat rests {minutes} min more.",
        over="Heat of {frame} no longer rests by request.",
        hold_out_s=0.0,
    ),
}
"""Every notice that this version can raise, by code."""
