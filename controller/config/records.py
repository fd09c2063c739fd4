"""Frozen settings, as every other room sees them. Pure.

Pydantic stays at the edge (``schema``); nothing past this file knows it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from controller.vocabulary import FrameName, Lay, Place, ProbeId


class Units(StrEnum):
    """Units in which people are spoken to; inside, all is SI with °C."""

    CELSIUS = "celsius"
    FAHRENHEIT = "fahrenheit"


class CoverKind(StrEnum):
    """What the covers are made of."""

    GLASS = "glass"
    RIGID_SHEET = "rigid_sheet"
    TWIN_WALL = "twin_wall"
    FILM = "film"


class WallKind(StrEnum):
    """What stands behind the frame."""

    BRICK = "brick"
    TIMBER = "timber"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteSettings:
    """The place and the board."""

    name: str
    latitude_deg: float
    longitude_deg: float
    zone: str
    units: Units
    tick_s: float
    """Control period, 2 to 10 s."""
    outside_probe: ProbeId | None
    """One outside probe shared by all frames that have none of their own."""
    stop_button_pin: int | None
    heat_power_max_w: float | None
    """Sum of all heat that may be on at once; ``None`` means no such bound."""
    secrets_file: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceSettings:
    """What electricity costs."""

    per_kwh: float
    currency: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningSettings:
    """One way the covers can stand, from shut to off."""

    name: str
    area_m2: float
    height_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CoveringSettings:
    """One thing that can lie over the covers at night."""

    name: str
    r_m2k_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BottomHeatSettings:
    """Bed kept warm for cuttings or seed between two dates, both inclusive, as ``MM-DD``."""

    bed_keep_c: float
    from_month_day: str
    to_month_day: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PinSettings:
    """GPIO lines of one frame, by BCM number; ``None`` means not fitted."""

    relay: int
    relay_active_high: bool
    isolating: int | None
    isolating_active_high: bool
    feedback: int | None
    supply: int | None
    cut_out: int | None
    cover_switch: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSettings:
    """The cable, its relay and its limits."""

    power_w: float
    lay: Lay
    pins: PinSettings
    keep_above_c: float
    differential_k: float
    min_on_s: float
    min_off_s: float
    lead_s: float
    leaf_allowance_k: float
    air_max_c: float
    root_max_c: float
    cable_max_c: float | None
    on_proof_s: float
    bottom: BottomHeatSettings | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSettings:
    """One cold frame."""

    name: FrameName
    length_m: float
    depth_m: float
    front_height_m: float
    back_height_m: float
    cover: CoverKind
    skins: int
    wall: WallKind
    faces_deg: float
    """Compass bearing the front looks to; 180 is due south."""
    heat: HeatSettings | None
    probes: Mapping[Place, ProbeId]
    """Includes the site's shared outside probe where the frame has none of its own."""
    openings: tuple[OpeningSettings, ...]
    """From shut to off; the first is shut."""
    coverings: tuple[CoveringSettings, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """One settings file that passed every check."""

    site: SiteSettings
    price: PriceSettings | None
    frames: Mapping[FrameName, FrameSettings]
    tables: Mapping[FrameName, Mapping[str, object]]
    """Each frame's own TOML table as plain values, for a stand-in's factory."""

    @property
    def heat_pins(self) -> Mapping[FrameName, int]:
        """The heat relay's pin of every frame that can be heated."""
        return {name: frame.heat.pins.relay for name, frame in self.frames.items() if frame.heat is not None}
