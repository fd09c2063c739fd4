"""The shape of the settings file: every key, its type, default and bounds. Pure.

Settings can only tighten a limit: each default here is also its ceiling or floor
where a limit keeps heat safe. Contradictions between keys stand in ``rules``.
A key's ``description`` is what would be right there, in words for the person who mends it.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, get_args

from pydantic import BaseModel, ConfigDict, Field

from controller.config.records import CoverKind, Units, WallKind
from controller.vocabulary import PROBE_FAMILIES, Lay

AIR_CEILING_C = 30.0
ROOT_CEILING_C = 25.0
CABLE_CEILING_C = 80.0
BOTTOM_CEILING_C = 22.0
MIN_SWITCH_FLOOR_S = 180.0
ON_PROOF_CEILING_S = 21600.0
KEEP_ABOVE_LOWEST_C = 0.5
KEEP_ABOVE_HIGHEST_C = 12.0
KEEP_ABOVE_DEFAULT_C = 2.0

# GPIO 9 to 27 are pulled down while the board resets and boots, so that an active-high relay
# stays off; 0 to 8 are pulled up, and 14 and 15 are the serial port, which drives its line at boot
# (BCM2835 ARM Peripherals, table of alternative functions).
RELAY_PINS = tuple(pin for pin in range(9, 28) if pin not in (14, 15))
# 2 and 3 have the board's own pull-ups, 4 carries the 1-Wire bus.
INPUT_PINS = tuple(pin for pin in range(5, 28) if pin not in (14, 15))

PROBE_ID_PATTERN = rf"^({'|'.join(PROBE_FAMILIES)})-[0-9a-f]{{12}}$"
FRAME_NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9_-]{0,31}$"
_LABEL_PATTERN = r"^\w(?:[\w -]{0,30}\w)?$"
_LINE_PATTERN = r"^[^\p{C}]+$"
_MONTH_DAY_PATTERN = r"^(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$"

_NEEDED: Any = ...


def _number(
    low: float, high: float, of: str, default: float | None = _NEEDED, *, alias: str | None = None
) -> Any:
    """Bounded number; ``of`` says of what, with its unit."""
    return Field(
        default, alias=alias, ge=low, le=high, description=f"a number from {low:g} to {high:g} ({of})"
    )


def _pin(allowed: tuple[int, ...], reason: str, default: int | None = _NEEDED) -> Any:
    """GPIO line by BCM number; the forbidden ones between the bounds are refused in ``rules``."""
    low, high = allowed[0], allowed[-1]
    return Field(
        default, ge=low, le=high, description=f"a BCM number from {low} to {high}, not 14 or 15 ({reason})"
    )


def _text(longest: int, pattern: str, words: str, default: str | None = _NEEDED) -> Any:
    """Non-empty text on one line."""
    return Field(default, min_length=1, max_length=longest, pattern=pattern, description=words)


def _relay_pin(default: int | None = _NEEDED) -> Any:
    return _pin(RELAY_PINS, "pulled down at reset, so the relay stays off", default)


def _input_pin() -> Any:
    return _pin(INPUT_PINS, "free of the board's own uses", None)


def _choice(words: str, default: object = _NEEDED) -> Any:
    """One of a closed set; text in the file, so the enum itself must be lax."""
    return Field(default, strict=False, description=words)


class _Table(BaseModel):
    """One TOML table: nothing unknown, nothing guessed, nothing that is no number."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class ProbeTable(_Table):
    """``[…probe.PLACE]``."""

    id: str = _text(
        15,
        PROBE_ID_PATTERN,
        'family and serial as the kernel writes them, such as "28-0000075565aa"; frameward probes lists them',
    )


class SiteProbes(_Table):
    """``[site.probe.…]``: only the outside probe may be shared."""

    outside: ProbeTable | None = Field(default=None, description="a table with an id")


class FrameProbes(_Table):
    """``[frame.NAME.probe.…]``, by place."""

    air: ProbeTable | None = Field(default=None, description="a table with an id")
    air_second: ProbeTable | None = Field(default=None, description="a table with an id")
    bed: ProbeTable | None = Field(default=None, description="a table with an id")
    guard: ProbeTable | None = Field(default=None, description="a table with an id")
    cable: ProbeTable | None = Field(default=None, description="a table with an id")
    outside: ProbeTable | None = Field(default=None, description="a table with an id")
    wall: ProbeTable | None = Field(default=None, description="a table with an id")


class SiteTable(_Table):
    """``[site]``."""

    name: str = _text(60, _LINE_PATTERN, "a short name on one line")
    latitude_deg: float = _number(
        -66,
        66,
        "degrees, north positive; nearer the poles some days have no dusk to warn before",
        alias="latitude",
    )
    longitude_deg: float = _number(-180, 180, "degrees, east positive", alias="longitude")
    zone: str = _text(64, _LINE_PATTERN, 'a time zone by its IANA name, such as "Europe/Dublin"')
    units: Units = _choice('"celsius" or "fahrenheit"', Units.CELSIUS)
    tick_s: float = _number(2, 10, "seconds between two decisions", 10.0)
    stop_button_pin: int | None = _input_pin()
    heat_power_max_w: float | None = _number(5, 10000, "watts of all cables on at once", None)
    secrets_file: str | None = _text(255, r"^/[^\p{C}]+$", "a path that starts with /", None)
    probe: SiteProbes = Field(default_factory=SiteProbes, description="a table with outside")


class BottomTable(_Table):
    """``[frame.NAME.heat.bottom]``."""

    bed_keep_c: float = _number(5, BOTTOM_CEILING_C, "°C in the bed, below root_max_c")
    from_: str = Field(
        alias="from", pattern=_MONTH_DAY_PATTERN, description='a month and day such as "02-15"'
    )
    to: str = Field(pattern=_MONTH_DAY_PATTERN, description='a month and day such as "04-10"')


class HeatTable(_Table):
    """``[frame.NAME.heat]``."""

    power_w: float = _number(5, 3000, "watts on the cable's label")
    lay: Lay = _choice('"sand" or "surface"', Lay.SAND)
    relay_pin: int = _relay_pin()
    relay_active_high: bool = Field(default=True, description="true or false, without quotes")
    isolating_pin: int | None = _relay_pin(None)
    isolating_active_high: bool = Field(default=True, description="true or false, without quotes")
    feedback_pin: int | None = _input_pin()
    supply_pin: int | None = _input_pin()
    cut_out_pin: int | None = _input_pin()
    keep_above_c: float = _number(
        KEEP_ABOVE_LOWEST_C, KEEP_ABOVE_HIGHEST_C, "°C that the air must not fall below", KEEP_ABOVE_DEFAULT_C
    )
    differential_k: float = _number(0.3, 4, "kelvin between on and off", 1.0)
    min_on_s: float = _number(MIN_SWITCH_FLOOR_S, 1800, "seconds", MIN_SWITCH_FLOOR_S)
    min_off_s: float = _number(MIN_SWITCH_FLOOR_S, 1800, "seconds", MIN_SWITCH_FLOOR_S)
    lead_s: float = _number(0, 7200, "seconds to look ahead for a slow bed", 1800.0)
    leaf_allowance_k: float | None = _number(0, 4, "kelvin that leaves run colder than air", None)
    air_max_c: float = _number(15, AIR_CEILING_C, "°C of air above which heat is off", AIR_CEILING_C)
    root_max_c: float = _number(10, ROOT_CEILING_C, "°C at the roots above which heat is off", ROOT_CEILING_C)
    cable_max_c: float | None = _number(25, CABLE_CEILING_C, "°C on the sheath, from the cable's maker", None)
    on_proof_s: float = _number(
        1800, ON_PROOF_CEILING_S, "seconds of heat before it is proved that it can go off", ON_PROOF_CEILING_S
    )
    bottom: BottomTable | None = Field(default=None, description="a table with bed_keep_c, from and to")


class OpeningTable(_Table):
    """``[[frame.NAME.opening]]``."""

    name: str = _text(32, _LABEL_PATTERN, "a short name of letters, digits, spaces, - and _")
    area_m2: float = _number(0, 100, "square metres that stand open")
    height_m: float = _number(0, 3, "metres between the lowest and the highest edge of the gap")


class CoveringTable(_Table):
    """``[[frame.NAME.covering]]``."""

    name: str = _text(32, _LABEL_PATTERN, "a short name of letters, digits, spaces, - and _")
    r_m2k_w: float = _number(0.005, 3, "thermal resistance in m²K/W")


class FrameTable(_Table):
    """``[frame.NAME]``."""

    length_m: float = _number(0.3, 20, "metres along the front")
    depth_m: float = _number(0.3, 4, "metres from front to back")
    front_height_m: float = _number(0.05, 2, "metres at the low, sunny side")
    back_height_m: float = _number(0.05, 3, "metres at the back")
    cover: CoverKind = _choice('"glass", "rigid_sheet", "twin_wall" or "film"')
    skins: int = Field(default=1, ge=1, le=2, description="1 or 2 sheets with air between")
    wall: WallKind = _choice('"brick", "timber" or "none"')
    faces_deg: float = _number(0, 360, "compass degrees the front looks to; 180 is south")
    cover_switch_pin: int | None = _input_pin()
    heat: HeatTable | None = Field(default=None, description="a table")
    probe: FrameProbes = Field(default_factory=FrameProbes, description="tables by place, each with an id")
    opening: list[OpeningTable] = Field(
        default=[], max_length=12, description="at most 12 tables headed [[frame.NAME.opening]]"
    )
    covering: list[CoveringTable] = Field(
        default=[], max_length=8, description="at most 8 tables headed [[frame.NAME.covering]]"
    )


class PriceTable(_Table):
    """``[price]``."""

    per_kwh: float = _number(0, 10000, "money for one kWh")
    currency: str = _text(8, _LINE_PATTERN, 'at most 8 letters or signs, such as "EUR"')


FrameKey = Annotated[str, Field(pattern=FRAME_NAME_PATTERN)]


class SettingsFile(_Table):
    """The whole file."""

    site: SiteTable = Field(description="a table with name, latitude, longitude and zone")
    price: PriceTable | None = Field(default=None, description="a table with per_kwh and currency")
    frame: dict[FrameKey, FrameTable] = Field(
        min_length=1,
        max_length=8,
        description="one to eight tables headed [frame.NAME]; "
        "a name has letters, digits, - and _, at most 32, and starts with a letter or digit",
    )


Pattern = tuple[str, ...]
"""A path without item numbers and with ``NAME`` for a frame's own name."""

FRAME_STANDS_AS = "NAME"


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownKey:
    """One key or table of the schema, as words and plain values."""

    wanted: str
    """What would be right there, in words."""
    default: object
    """None where there is no default."""
    is_table: bool


@functools.cache
def known_keys() -> Mapping[Pattern, KnownKey]:
    """Every key and table that the file may hold, in the schema's order."""
    return dict(_walk(SettingsFile, ()))


def _walk(model: type[BaseModel], above: Pattern) -> Iterator[tuple[Pattern, KnownKey]]:
    for name, field in model.model_fields.items():
        here = (*above, field.alias or name)
        inner = _model_in(field.annotation)
        yield (
            here,
            KnownKey(
                wanted=field.description or "",
                default=None if field.is_required() or inner is not None else field.default,
                is_table=inner is not None,
            ),
        )
        if inner is not None:
            yield from _walk(inner, (*here, FRAME_STANDS_AS) if here == ("frame",) else here)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The table type inside an optional, a list or a mapping; None for a plain key."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        model = _model_in(inner)
        if model is not None:
            return model
    return None
