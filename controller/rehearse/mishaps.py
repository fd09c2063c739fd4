"""Mishaps of probes in words: a fault with its time, and how far a probe is from the truth.

A fault reads ``[FRAME.]PLACE:KIND[=AMOUNT]@START[+LENGTH]``, such as ``air:stuck@2001-12-24T02:00+6h``;
a nature ``[FRAME.]PLACE:NAME=NUMBER[,NAME=NUMBER…]``, such as ``bed:offset_k=-0.5,lag_s=60``. The frame may
be left out where one probe only can be meant. ``START`` is local to the site, without seconds; of an hour
that comes twice in autumn the first is meant. Without a length a fault lasts until the end of the run.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import ClassVar
from zoneinfo import ZoneInfo

from controller.config.records import Settings
from controller.errors import ControllerError
from controller.rehearse.probes import FaultKind, ProbeFault, ProbeNature
from controller.vocabulary import Place, ProbeId

FAULT_EXAMPLE = "air:stuck@2001-12-24T02:00+6h"
NATURE_EXAMPLE = "air:offset_k=-0.5,step_k=0.25"
BITS_BY_STEP = {0.5: 9, 0.25: 10, 0.125: 11, 0.0625: 12}
"""Resolutions that a chip has, by their step in kelvin (DS18B20 data sheet)."""
JUMP_K_MAX = 50.0
DRIFT_K_PER_DAY_MAX = 50.0
NATURE_RANGES = {
    "offset_k": (-20.0, 20.0),
    "noise_k": (0.0, 5.0),
    "lag_s": (0.0, 7200.0),
    "step_k": (0.0625, 0.5),
    "drift_k_per_day": (-10.0, 10.0),
}
"""Beyond these a number is a slip of the hand."""
_AMOUNT_MAX = {FaultKind.JUMP: JUMP_K_MAX, FaultKind.DRIFT: DRIFT_K_PER_DAY_MAX}
_AMOUNT_UNIT = {FaultKind.JUMP: "K", FaultKind.DRIFT: "K a day"}
_FAULT = re.compile(r"([^:]*):([^=@]*)(?:=([^@]*))?@([^+]*)(?:\+(.*))?", re.DOTALL)
_NUMBER = re.compile(r"[+-]?[0-9]{1,9}(?:\.[0-9]{1,9})?")
_START = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}")
_LENGTH = re.compile(r"(?:([0-9]{1,4})d)?(?:([0-9]{1,5})h)?(?:([0-9]{1,6})min)?")
_SHOWN_MAX = 80


class MishapError(ControllerError):
    """Words for a mishap cannot be used; the text says which, where, what, and what would be right."""

    exit_code: ClassVar[int] = 2
    """As for any wrong usage of a command."""


def parse_faults(
    words: Iterable[str], settings: Settings, from_utc: datetime, until_utc: datetime
) -> tuple[ProbeFault, ...]:
    """All faults in the order of their start; two that overlap on one probe are refused.

    Raises MishapError.
    """
    read = [(parse_fault(each, settings, from_utc, until_utc), each) for each in words]
    read.sort(key=lambda one: (one[0].probe, one[0].from_s))
    for (before, before_words), (after, after_words) in pairwise(read):
        if before.probe == after.probe and after.from_s < before.until_s:
            raise MishapError(
                f"faults {_quoted(before_words)} and {_quoted(after_words)}: overlap on one probe;"
                " give the first a length that ends before the second begins"
            )
    return tuple(sorted((fault for fault, _ in read), key=lambda fault: (fault.from_s, fault.probe)))


def parse_natures(words: Iterable[str], settings: Settings) -> dict[ProbeId, ProbeNature]:
    """Natures by probe; a probe that is named twice is refused. Raises MishapError."""
    natures: dict[ProbeId, ProbeNature] = {}
    for each in words:
        probe, nature = parse_nature(each, settings)
        if probe in natures:
            raise MishapError(
                f"probe {_quoted(each)}: was described already; write all its numbers in one,"
                f" such as {NATURE_EXAMPLE}"
            )
        natures[probe] = nature
    return natures


def parse_fault(words: str, settings: Settings, from_utc: datetime, until_utc: datetime) -> ProbeFault:
    """One fault; it must begin inside the run and may outlast it. Raises MishapError."""
    parts = _FAULT.fullmatch(words)
    if parts is None:
        raise MishapError(
            f"fault {_quoted(words)}: is not of the form [FRAME.]PLACE:KIND[=AMOUNT]@START[+LENGTH];"
            f" write it like {FAULT_EXAMPLE}; kinds are {_listed(FaultKind)}"
        )
    where, kind_word, amount_word, start_word, length_word = parts.groups()
    told = f"fault {_quoted(words)}"
    probe = _probe_named(told, where, settings)
    if kind_word not in set(FaultKind):
        raise MishapError(f"{told}: {_quoted(kind_word)} is no kind of fault; kinds are {_listed(FaultKind)}")
    kind = FaultKind(kind_word)
    amount = _amount(told, kind, amount_word)
    start_utc = _start_utc(told, start_word, settings)
    if not from_utc <= start_utc < until_utc:
        zone = ZoneInfo(settings.site.zone)
        raise MishapError(
            f"{told}: {start_word} is outside the rehearsal, which runs from"
            f" {_local_text(from_utc, zone)} to before {_local_text(until_utc, zone)};"
            " choose a start inside it"
        )
    from_s = (start_utc - from_utc).total_seconds()
    return ProbeFault(
        probe=probe,
        kind=kind,
        from_s=from_s,
        until_s=math.inf if length_word is None else from_s + _length_s(told, length_word),
        jump_k=amount if kind is FaultKind.JUMP else 0.0,
        drift_k_per_day=amount if kind is FaultKind.DRIFT else 0.0,
    )


def parse_nature(words: str, settings: Settings) -> tuple[ProbeId, ProbeNature]:
    """One probe and how far it is from the truth; what is not named stays as usual. Raises MishapError."""
    told = f"probe {_quoted(words)}"
    where, colon, rest = words.partition(":")
    if not colon:
        raise MishapError(
            f"{told}: is not of the form [FRAME.]PLACE:NAME=NUMBER[,NAME=NUMBER]; write it like"
            f" {NATURE_EXAMPLE}; names are {_listed(NATURE_RANGES)}"
        )
    probe = _probe_named(told, where, settings)
    numbers: dict[str, float] = {}
    for item in rest.split(","):
        name, equals, number_word = item.partition("=")
        if not equals or name not in NATURE_RANGES:
            raise MishapError(
                f"{told}: {_quoted(item)} is no NAME=NUMBER; names are {_listed(NATURE_RANGES)}"
            )
        if name in numbers:
            raise MishapError(f"{told}: {name} stands there twice; leave one out")
        numbers[name] = _number_in(told, name, number_word)
    usual = ProbeNature()
    return probe, ProbeNature(
        offset_k=numbers.get("offset_k", usual.offset_k),
        noise_k=numbers.get("noise_k", usual.noise_k),
        lag_s=numbers.get("lag_s", usual.lag_s),
        resolution_bits=BITS_BY_STEP[numbers["step_k"]] if "step_k" in numbers else usual.resolution_bits,
        drift_k_per_day=numbers.get("drift_k_per_day", usual.drift_k_per_day),
    )


def _probe_named(told: str, where: str, settings: Settings) -> ProbeId:
    """The one probe that ``PLACE`` or ``FRAME.PLACE`` means."""
    frame_word, dot, place_word = where.rpartition(".")
    names = _listed(settings.frames)
    if dot and frame_word not in settings.frames:
        raise MishapError(f"{told}: there is no frame {_quoted(frame_word)}; frames are {names}")
    frames = [frame for name, frame in settings.frames.items() if not dot or name == frame_word]
    fitted = sorted({place.value for frame in frames for place in frame.probes})
    if place_word not in fitted:
        whose = f"frame {frame_word} has" if dot else "there are"
        raise MishapError(f"{told}: no probe hangs at {_quoted(place_word)}; {whose} {_listed(fitted)}")
    place = Place(place_word)
    found = {frame.probes[place] for frame in frames if place in frame.probes}
    shared = settings.site.outside_probe
    if not dot and place is Place.OUTSIDE and shared in found:
        return shared
    if len(found) > 1:
        raise MishapError(
            f"{told}: several frames have a probe at {place_word}; say whose, such as"
            f" {frames[0].name}.{place_word}; frames are {names}"
        )
    return found.pop()


def _amount(told: str, kind: FaultKind, word: str | None) -> float:
    """The amount of a jump or drift; 0 for kinds that have none."""
    most = _AMOUNT_MAX.get(kind)
    if most is None:
        if word is not None:
            raise MishapError(f"{told}: {kind.value} has no amount; leave out {_quoted('=' + word)}")
        return 0.0
    form = None if word is None else _NUMBER.fullmatch(word)
    amount = 0.0 if form is None else float(form[0])
    if amount == 0.0 or abs(amount) > most:
        raise MishapError(
            f"{told}: {kind.value} needs an amount in {_AMOUNT_UNIT[kind]}, up to {most:g} either way and not"
            f" zero; write it like {kind.value}=-2.5"
        )
    return amount


def _start_utc(told: str, word: str, settings: Settings) -> datetime:
    """A local instant of the site in UTC; one that the clocks leave out in spring is refused."""
    zone = ZoneInfo(settings.site.zone)
    try:
        local = datetime.fromisoformat(word).replace(tzinfo=zone) if _START.fullmatch(word) else None
        start_utc = None if local is None else local.astimezone(UTC)
    except (ValueError, OverflowError):
        local = start_utc = None
    if local is None or start_utc is None:
        raise MishapError(
            f"{told}: {_quoted(word)} is no start; write day and time as the site's clocks show them,"
            " such as 2001-12-24T02:00"
        )
    if start_utc.astimezone(zone).replace(tzinfo=None) != local.replace(tzinfo=None):
        raise MishapError(
            f"{told}: {word} does not exist in {settings.site.zone}, where the clocks go forward over it;"
            " choose another hour"
        )
    return start_utc


def _length_s(told: str, word: str) -> float:
    form = _LENGTH.fullmatch(word)
    days, hours, minutes = (int(each or 0) for each in form.groups()) if form else (0, 0, 0)
    length_s = timedelta(days=days, hours=hours, minutes=minutes).total_seconds()
    if length_s <= 0.0:
        raise MishapError(
            f"{told}: {_quoted(word)} is no length; write days, hours and minutes in this order,"
            " such as +6h, +90min or +1d12h, or leave it out for a fault that stays"
        )
    return length_s


def _number_in(told: str, name: str, word: str) -> float:
    """A number inside its range; a step must be one that a chip has."""
    low, high = NATURE_RANGES[name]
    form = _NUMBER.fullmatch(word)
    number = math.nan if form is None else float(form[0])
    if name == "step_k" and number not in BITS_BY_STEP:
        raise MishapError(
            f"{told}: {_quoted(word)} is no step of such a chip; step_k is one of"
            f" {_listed(f'{step:g}' for step in BITS_BY_STEP)}"
        )
    if not low <= number <= high:
        raise MishapError(
            f"{told}: {_quoted(word)} does not fit {name}; write a number from {low:g} to {high:g}"
        )
    return number


def _local_text(utc: datetime, zone: ZoneInfo) -> str:
    return f"{utc.astimezone(zone):%Y-%m-%dT%H:%M}"


def _listed(names: Iterable[str]) -> str:
    return ", ".join(str(name) for name in names)


def _quoted(words: str) -> str:
    """Words as given, unprintable letters escaped and a long text cut."""
    return repr(words if len(words) <= _SHOWN_MAX else words[:_SHOWN_MAX] + "…")
