"""Words that every room shares: ids, places, readings, heat and notice records.

Pure: frozen records and closed sets only; what is made at every tick is a named tuple, which is quicker.
Units stand last in a name: ``air_c`` is degrees Celsius, ``lead_s`` seconds.
``*_at_s`` is an instant on the monotonic clock, ``*_utc`` an aware datetime for people.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from typing import NamedTuple, NewType

FrameName = NewType("FrameName", str)
SITE = FrameName("")
"""Stands where a fact belongs to the whole site, not to one frame."""
ProbeId = NewType("ProbeId", str)
"""Family and serial as the kernel writes them, for example ``28-0000075565aa``."""
PROBE_FAMILIES = ("28", "22", "42")
"""1-Wire families that are read here: DS18B20, DS1822, DS28EA00, alike in scratchpad and conversion."""
FULL_RESOLUTION_BITS = 12
"""What every probe should measure with: steps of 1/16 K."""


class Place(StrEnum):
    """Where a probe hangs; the settings table ``[frame.NAME.probe.PLACE]`` uses these words."""

    AIR = "air"
    """Leaf height, shaded, in the coldest front corner."""
    AIR_SECOND = "air_second"
    """Leaf height, shaded, in the middle."""
    BED = "bed"
    """Root zone: at the pot bases, midway between two runs of the cable."""
    GUARD = "guard"
    """Under the densest pots; required where the cable lies on the surface."""
    CABLE = "cable"
    """On the cable's own sheath."""
    OUTSIDE = "outside"
    """In the open, shaded, out of the frame's lee."""
    WALL = "wall"
    """In or on the wall behind the frame."""


AIR_PLACES = (Place.AIR, Place.AIR_SECOND)
ROOT_PLACES = (Place.BED, Place.GUARD)


class Rejection(StrEnum):
    """Why a reading is not used."""

    NEVER_SEEN = "never_seen"
    ABSENT = "absent"
    HUNG = "hung"
    BUS_ERROR = "bus_error"
    GARBLED = "garbled"
    EMPTY = "empty"
    CRC = "crc"
    NOISY = "noisy"
    POWER_ON = "power_on"
    STARVED = "starved"
    SHORTED = "shorted"
    SILENT = "silent"
    OUT_OF_RANGE = "out_of_range"
    SLEW = "slew"
    STALE = "stale"


class Sample(NamedTuple):
    """One trusted reading: calibrated temperature and the instant its conversion began."""

    temp_c: float
    taken_at_s: float
    resolution_bits: int = FULL_RESOLUTION_BITS


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """A reading that must not enter any decision, with the reason and since when."""

    reason: Rejection
    since_at_s: float
    detail: str = ""


Reading = Sample | Rejected
Readings = Mapping[Place, Reading]


class Lay(StrEnum):
    """How the soil-warming cable lies."""

    SAND = "sand"
    """In damp sand about 50 mm deep."""
    SURFACE = "surface"
    """On the surface under pots; only where the cable's maker allows it."""


class Level(IntEnum):
    """How far protection is reduced; the worse of several wins."""

    NORMAL = 0
    REDUCED = 1
    """Controlling on what is left, with tighter limits."""
    BLIND = 2
    """Bounded blind duty while frost is likely."""
    HEAT_OFF = 3
    """Off; returns by itself after the cause is gone."""
    LOCKED = 4
    """Off until a person clears the lockout at the board."""


class HeatReason(StrEnum):
    """Why the judge held heat back; every refusal carries at least one."""

    NOT_COMMISSIONED = "not_commissioned"
    LOCKED = "locked"
    STOP_PRESSED = "stop_pressed"
    AIR_TOO_WARM = "air_too_warm"
    ROOT_TOO_WARM = "root_too_warm"
    CABLE_TOO_WARM = "cable_too_warm"
    NO_ROOT_READING = "no_root_reading"
    NO_GUARD_READING = "no_guard_reading"
    NO_CABLE_READING = "no_cable_reading"
    BLIND_DUTY_SPENT = "blind_duty_spent"
    BLIND_WITHOUT_FROST = "blind_without_frost"
    EARNING = "earning"
    """Fewer good cycles in a row than permission costs."""
    RESTING = "resting"
    """The minimum off time, which every start owes in full."""
    SWITCH_LIMIT = "switch_limit"
    OFF_PROOF = "off_proof"
    SUPPLY_LOST = "supply_lost"
    CUT_OUT_OPEN = "cut_out_open"
    NO_RESPONSE = "no_response"
    """Commanded on, but the feedback says the cable never came alive."""
    OVER_BUDGET = "over_budget"
    PIN_FAULT = "pin_fault"
    LATE = "late"
    BAD_EVIDENCE = "bad_evidence"
    NOTHING_WANTED = "nothing_wanted"


LOST_PROTECTION = frozenset(
    {
        HeatReason.NOT_COMMISSIONED,
        HeatReason.LOCKED,
        HeatReason.STOP_PRESSED,
        HeatReason.NO_ROOT_READING,
        HeatReason.NO_GUARD_READING,
        HeatReason.NO_CABLE_READING,
        HeatReason.SUPPLY_LOST,
        HeatReason.CUT_OUT_OPEN,
        HeatReason.NO_RESPONSE,
        HeatReason.PIN_FAULT,
        HeatReason.BAD_EVIDENCE,
    }
)
"""Refusals that do not end by themselves within minutes."""


class LockoutCause(StrEnum):
    """What locks heat off until a person clears it at the board."""

    OVERHEATED_ROOT = "overheated_root"
    OVERHEATED_CABLE = "overheated_cable"
    LIVE_WHEN_OFF = "live_when_off"
    """Feedback shows the cable live though it was commanded off."""
    CUT_OUT_OPENED = "cut_out_opened"
    UNREADABLE = "unreadable"
    """The lockout's own file cannot be read, which counts as locked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lockout:
    """Heat off until a person clears it at the board."""

    frame: FrameName
    cause: LockoutCause
    detail: str
    raised_utc: str
    """ISO 8601, for people only; the clock may have been wrong."""


class HeatEvidence(NamedTuple):
    """All that the judge may look at for one frame in one tick.

    ``None`` for an optional input means that it is not fitted, never that it is unknown.
    """

    now_s: float
    heat_wanted: bool
    air: tuple[Reading, ...]
    root: tuple[Reading, ...]
    """Bed and guard readings; a fitted probe without a reading is present as ``Rejected``."""
    guard: Reading | None
    cable: Reading | None
    frost_likely: bool
    commissioned: bool
    late: bool
    """The tick before this one overran its bound, or the process had stopped."""
    coldest_c: float | None = None
    """Orders frames when they share a power budget."""
    feedback_live: bool | None = None
    supply_present: bool | None = None
    cut_out_closed: bool | None = None
    stop_pressed: bool | None = None


class HeatReport(NamedTuple):
    """What the gate did for one frame in one tick."""

    heat_wanted: bool
    heat_allowed: bool
    relay_on: bool
    """Read back from the pin, not assumed."""
    level: Level
    reasons: tuple[HeatReason, ...]
    lockout: Lockout | None = None
    switch_on_count: int = 0
    """Since the process started."""
    isolated: bool = False
    """The second relay, where fitted, stands open."""
    pin_fault: str = ""


class Kind(StrEnum):
    """What a notice is about."""

    FROST = "FROST"
    OPEN = "OPEN"
    CLOSE = "CLOSE"
    FAULT = "FAULT"
    NEWS = "NEWS"


class Urgency(StrEnum):
    """When a notice may disturb a person."""

    NOW = "now"
    DAY = "day"
    PAGE = "page"


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """Something true in this tick that a person may have to hear of.

    ``frame`` is empty for a fault of the whole site.
    ``facts`` fill the notice's words: plain numbers and names.
    """

    code: str
    frame: FrameName = FrameName("")
    facts: Mapping[str, str | float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """How a notice wants the frame to be left; None for what may stay as it is."""

    opening: str | None = None
    """The opening's own name."""
    laid: tuple[str, ...] | None = None
    """Names of the coverings that shall lie over the covers, all others off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeEvent:
    """One step in the life of one notice."""

    notice_id: str
    event: str
    """``raised``, ``worse``, ``reminded``, ``claimed``, ``acked``, ``cleared`` or ``pushed``."""
    code: str
    kind: Kind
    urgency: Urgency
    frame: FrameName
    text: str
    ask: Ask | None = None
    """What it asks somebody to do at the frame, where that can be said in one way."""
