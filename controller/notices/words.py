"""A condition in a person's words. Pure."""

from __future__ import annotations

from controller.notices.catalogue import CATALOGUE
from controller.vocabulary import Condition, HeatReason, LockoutCause, Place, Rejection

PLACE_WORDS = {
    Place.AIR: "air",
    Place.AIR_SECOND: "second air",
    Place.BED: "bed",
    Place.GUARD: "guard",
    Place.CABLE: "cable",
    Place.OUTSIDE: "outside",
    Place.WALL: "wall",
}

REJECTION_WORDS = {
    Rejection.NEVER_SEEN: "it has not answered since the start",
    Rejection.ABSENT: "it does not answer",
    Rejection.HUNG: "a reading of it never came back",
    Rejection.BUS_ERROR: "the bus reports an error",
    Rejection.GARBLED: "what it sends is garbled",
    Rejection.EMPTY: "it sends nothing",
    Rejection.CRC: "its check sum is wrong",
    Rejection.NOISY: "too many of its readings are damaged",
    Rejection.POWER_ON: "it shows its power-on value, not a measurement",
    Rejection.STARVED: "it lacks supply",
    Rejection.SHORTED: "its line is shorted",
    Rejection.SILENT: "its line is silent",
    Rejection.OUT_OF_RANGE: "its number cannot be true here",
    Rejection.SLEW: "its number moves faster than nature",
    Rejection.STALE: "its last good reading is too old",
}

REASON_WORDS = {
    HeatReason.NOT_COMMISSIONED: "the safety list has not been answered",
    HeatReason.LOCKED: "heat is locked out",
    HeatReason.STOP_PRESSED: "the stop button is pressed",
    HeatReason.AIR_TOO_WARM: "the air is at its limit",
    HeatReason.ROOT_TOO_WARM: "the root zone is at its limit",
    HeatReason.CABLE_TOO_WARM: "the cable is at its limit",
    HeatReason.NO_ROOT_READING: "no probe near the cable can be trusted",
    HeatReason.NO_GUARD_READING: "the guard probe cannot be trusted",
    HeatReason.NO_CABLE_READING: "the cable's probe cannot be trusted",
    HeatReason.BLIND_DUTY_SPENT: "this hour's share of blind heat is spent",
    HeatReason.BLIND_WITHOUT_FROST: "blind heat waits for frost",
    HeatReason.EARNING: "heat waits for good readings in a row",
    HeatReason.RESTING: "the relay rests",
    HeatReason.SWITCH_LIMIT: "the relay has switched often enough this hour",
    HeatReason.OFF_PROOF: "heat pauses to prove that it can be switched off",
    HeatReason.SUPPLY_LOST: "the cable has no mains",
    HeatReason.CUT_OUT_OPEN: "the cut-out has opened",
    HeatReason.NO_RESPONSE: "the cable stays dead when switched on",
    HeatReason.OVER_BUDGET: "another frame has its turn",
    HeatReason.PIN_FAULT: "the relay line does not obey",
    HeatReason.LATE: "the last round came late",
    HeatReason.BAD_EVIDENCE: "what was measured makes no sense",
    HeatReason.NOTHING_WANTED: "no heat is wanted",
}

LOCKOUT_WORDS = {
    LockoutCause.OVERHEATED_ROOT: "the root zone went far over its limit while heat was live",
    LockoutCause.OVERHEATED_CABLE: "the cable went far over its limit while heat was live",
    LockoutCause.LIVE_WHEN_OFF: "the cable is live though switched off; only the plug stops it",
    LockoutCause.CUT_OUT_OPENED: "the independent cut-out has opened, which means overheating",
    LockoutCause.UNREADABLE: "the lockout's own file cannot be read, which counts as locked",
}


def over_words(condition: Condition) -> str:
    """What a person reads once the condition is gone."""
    return CATALOGUE[condition.code].over.format(frame=condition.frame, **condition.facts)


def notice_words(condition: Condition) -> str:
    """The notice as a person reads it; ``facts`` must hold what the catalogue's words name."""
    return CATALOGUE[condition.code].words.format(frame=condition.frame, **condition.facts)
