"""The built-in simulated frame: plain but physically sane, and quick.

Pure. It shares no code with the controller, whose own errors would otherwise hide in it.
Nodes: air (with leaves and the skins of pots), an upper bed layer that holds the pot bases, a lower
one that holds the cable, the cable, the wall behind. The cover stores nothing: its two faces are
solved from sun, films, sky and what lies on it. Left out on purpose: water (evaporation, dew, ice in
the bed), plants, snow, and films that pass thermal radiation.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

from controller.rehearse.contract import OpeningNow, StandIn
from controller.rehearse.standinframe import AIR_J_M3K, FrameParts, build_parts
from controller.rehearse.sunpath import clear_sky_w_m2, sun_at
from controller.weatherseries import WeatherPoint

SUBSTEP_S = 60.0
KELVIN = 273.15
STEFAN_BOLTZMANN = 5.67e-8
COVER_INSIDE_W_M2K = 3.0
BED_TO_COVER_W_M2K = 3.6
LONGWAVE_EMISSIVITY = 0.9
NEAR_GROUND_FRAC = 0.5
"""Share of the wind at 10 m that reaches a low frame."""
SUN_TO_AIR, SUN_TO_BED, SUN_TO_WALL = 0.55, 0.08, 0.08
"""Shares of the light that came through; the rest leaves again or dries soil and leaves."""
SUN_IN_COVER = 0.06
ALBEDO = 0.2
DEEP_TAU_S = 25 * 86400.0
CLOUD_UNKNOWN_TENTHS = 5.0
WIND_UNKNOWN_M_S = 2.0
OPAQUE_FROM_M2K_W = 0.1
"""A covering this thick is a mat and shuts out light; a thinner one is fleece."""


@dataclass(slots=True, kw_only=True)
class _State:
    """All that changes, °C."""

    air_c: float
    upper_c: float
    lower_c: float
    cable_c: float
    wall_c: float
    deep_c: float


class _Surroundings(NamedTuple):
    """What stays the same over one step."""

    outside_c: float
    deep_c: float
    face_c: float
    """What the cover's inner face would come to with nothing inside."""
    face_w_k: float
    """From the inner face to that."""
    sky_c: float
    bare_w_k: float
    """From the bed to the sky where no cover lies."""
    bare_frac: float
    light_w: float
    leak_w_k: float
    wind_m_s: float
    open_m2: float
    open_height_m: float


def make_factory(
    latitude_deg: float, longitude_deg: float
) -> Callable[[Mapping[str, Any], datetime], StandIn]:
    """A factory for frames at this place, which a frame's own table does not tell."""

    def factory_here(frame: Mapping[str, Any], start_utc: datetime) -> StandIn:  # noqa: ARG001  # the seam's form
        return PlainStandIn(build_parts(frame), latitude_deg, longitude_deg)

    return factory_here


factory = make_factory(52.0, 0.0)
"""The built-in stand-in through the seam, at 52° N on the Greenwich meridian."""


class PlainStandIn:
    """One simulated frame; it starts settled to the first weather that it is shown."""

    def __init__(self, parts: FrameParts, latitude_deg: float, longitude_deg: float) -> None:
        """Take the frame's parts and where on Earth it stands."""
        self._parts = parts
        self._latitude_deg = latitude_deg
        self._longitude_deg = longitude_deg
        self._state: _State | None = None

    def advance(
        self,
        dt_s: float,
        weather: WeatherPoint,
        heat_on: bool,  # noqa: FBT001  # the seam's arguments are positional
        opening: OpeningNow,
        /,
    ) -> dict[str, float]:
        """True °C by place after ``dt_s`` seconds of constant inputs; with 0 the initial state."""
        state = self._state
        if state is None:
            state = self._state = _settled(weather.temp_c)
        if dt_s > 0.0:
            around = self._surroundings(weather, opening, state.deep_c)
            heat_w = self._parts.power_w if heat_on else 0.0
            count = math.ceil(dt_s / SUBSTEP_S)
            for _ in range(count):
                _substep(self._parts, state, dt_s / count, around, heat_w)
            state.deep_c += (weather.temp_c + 2.0 - state.deep_c) * -math.expm1(-dt_s / DEEP_TAU_S)
        return {
            "air": state.air_c,
            "bed": state.upper_c,
            "outside": weather.temp_c,
            "wall": state.wall_c,
            "cable": state.cable_c,
        }

    def _surroundings(self, weather: WeatherPoint, opening: OpeningNow, deep_c: float) -> _Surroundings:
        """Light, films, sky and the cover's own balance for one step."""
        parts = self._parts
        outside_c = weather.temp_c
        wind_m_s = NEAR_GROUND_FRAC * (WIND_UNKNOWN_M_S if weather.wind_m_s is None else weather.wind_m_s)
        bare_frac = min(1.0, opening.area_m2 / parts.cover_m2)
        covering_m2k_w = opening.covering_r_m2k_w
        shade_frac = 1.0 if covering_m2k_w <= 0.0 else 0.8 if covering_m2k_w < OPAQUE_FROM_M2K_W else 0.05
        passed_frac = parts.light_passed_frac * shade_frac
        sun_w_m2 = self._sun_on_cover(weather)
        sky_c = _sky_c(weather)
        mean_k = (outside_c + sky_c) / 2 + KELVIN
        view = 0.5 * (1.0 + parts.normal.up_frac) * 0.85  # the wall behind hides a part of the sky
        sky_w_m2k = 4.0 * STEFAN_BOLTZMANN * mean_k**3 * LONGWAVE_EMISSIVITY * view
        film_w_m2k = 2.8 + 3.0 * wind_m_s  # Watmuff et al. (1977), from memory
        through_w_m2k = 1.0 / (parts.skin_m2k_w + covering_m2k_w)
        outer_w_m2k = film_w_m2k + sky_w_m2k
        soaked_w_m2 = SUN_IN_COVER * sun_w_m2
        return _Surroundings(
            outside_c=outside_c,
            deep_c=deep_c,
            face_c=(film_w_m2k * outside_c + sky_w_m2k * sky_c + soaked_w_m2) / outer_w_m2k,
            face_w_k=parts.cover_m2
            * (1.0 - bare_frac)
            * through_w_m2k
            * outer_w_m2k
            / (through_w_m2k + outer_w_m2k),
            sky_c=sky_c,
            bare_w_k=sky_w_m2k * parts.bed_m2 * bare_frac,
            bare_frac=bare_frac,
            light_w=sun_w_m2 * parts.cover_m2 * (bare_frac + (1.0 - bare_frac) * passed_frac),
            leak_w_k=AIR_J_M3K * parts.volume_m3 * (0.8 + 0.5 * wind_m_s) / 3600.0,
            wind_m_s=wind_m_s,
            open_m2=opening.area_m2,
            open_height_m=opening.height_m,
        )

    def _sun_on_cover(self, weather: WeatherPoint) -> float:
        """W/m² on the cover's slope: beam, isotropic sky, ground; estimated where the file has none."""
        ghi_w_m2, dhi_w_m2 = weather.ghi_w_m2, weather.dhi_w_m2
        if ghi_w_m2 is not None and ghi_w_m2 <= 0.0:
            return 0.0
        sun = sun_at(weather.utc, self._latitude_deg, self._longitude_deg)
        if ghi_w_m2 is None or dhi_w_m2 is None:
            cloud_frac = (CLOUD_UNKNOWN_TENTHS if weather.cloud_tenths is None else weather.cloud_tenths) / 10
            if ghi_w_m2 is None:  # Kasten and Czeplak (1980), from memory
                ghi_w_m2 = clear_sky_w_m2(sun.up_frac) * (1.0 - 0.75 * cloud_frac**3.4)
            dhi_w_m2 = ghi_w_m2 * (0.25 + 0.75 * cloud_frac)
        beam_w_m2 = weather.dni_w_m2
        if beam_w_m2 is None:
            beam_w_m2 = max(0.0, ghi_w_m2 - dhi_w_m2) / max(sun.up_frac, 0.1)
        parts = self._parts
        normal = parts.normal
        incidence = (
            sun.up_frac * normal.up_frac
            + sun.south_frac * normal.south_frac
            + sun.west_frac * normal.west_frac
        )
        if sun.up_frac <= 0.0 or incidence < 0.0:
            incidence = 0.0
        sky_share, ground_share = (1.0 + normal.up_frac) / 2, (1.0 - normal.up_frac) / 2
        return beam_w_m2 * incidence + dhi_w_m2 * sky_share + ALBEDO * ghi_w_m2 * ground_share


def _settled(outside_c: float) -> _State:
    """A frame that has stood shut and unheated for a while."""
    deep_c = min(max(0.5 * outside_c + 4.0, 2.0), 14.0)
    upper_c = 0.5 * outside_c + 0.5 * deep_c + 0.5
    return _State(
        air_c=0.7 * outside_c + 0.3 * upper_c,
        upper_c=upper_c,
        lower_c=upper_c + 0.5,
        cable_c=upper_c + 0.5,
        wall_c=0.6 * outside_c + 0.4 * upper_c,
        deep_c=deep_c,
    )


def _sky_c(weather: WeatherPoint) -> float:
    """Sky temperature: emissivity of Clark and Allen (1978) with its cloud factor, from memory."""
    dew_c = weather.temp_c - 3.0 if weather.dew_point_c is None else weather.dew_point_c
    tenths = CLOUD_UNKNOWN_TENTHS if weather.cloud_tenths is None else weather.cloud_tenths
    clear = 0.787 + 0.764 * math.log((dew_c + KELVIN) / 273.0)
    clouded = clear * (1.0 + tenths * (0.0224 + tenths * (-0.0035 + tenths * 0.00028)))
    return float((weather.temp_c + KELVIN) * min(1.0, clouded) ** 0.25 - KELVIN)


def _substep(parts: FrameParts, state: _State, dt_s: float, around: _Surroundings, heat_w: float) -> None:
    """Each node goes exponentially to its balance with its neighbours as they were: stable at any step."""
    air_c, upper_c, lower_c, wall_c, cable_c = (
        state.air_c,
        state.upper_c,
        state.lower_c,
        state.wall_c,
        state.cable_c,
    )
    outside_c, shut_frac = around.outside_c, 1.0 - around.bare_frac
    from_air_w_k = COVER_INSIDE_W_M2K * parts.cover_m2 * shut_frac
    from_bed_w_k = BED_TO_COVER_W_M2K * parts.bed_m2 * shut_frac
    face_w_k = around.face_w_k + 1e-9  # so that a bare frame has a face temperature that nothing feels
    inner_c = (from_air_w_k * air_c + from_bed_w_k * upper_c + face_w_k * around.face_c) / (
        from_air_w_k + from_bed_w_k + face_w_k
    )
    to_outside_w_k = parts.sides_w_k + around.leak_w_k
    if around.open_m2 > 0.0:  # de Gids and Phaff (1982), one-sided
        drive = 0.001 * around.wind_m_s**2 + 0.0035 * around.open_height_m * abs(air_c - outside_c) + 0.01
        to_outside_w_k += AIR_J_M3K * 0.5 * around.open_m2 * math.sqrt(drive)
    film, wall_film, layers, edge = (
        parts.bed_film_w_k,
        parts.wall_film_w_k,
        parts.layers_w_k,
        parts.edge_w_k / 2,
    )
    bare_w_k = around.bare_w_k
    cable, through = parts.cable_w_k, parts.wall_through_w_k

    total = from_air_w_k + film + wall_film + to_outside_w_k
    flow = from_air_w_k * inner_c + film * upper_c + wall_film * wall_c + to_outside_w_k * outside_c
    aim_c = (flow + SUN_TO_AIR * around.light_w) / total
    state.air_c = aim_c + (air_c - aim_c) * math.exp(-dt_s * total / parts.air_j_k)

    total = film + from_bed_w_k + layers + bare_w_k + edge
    flow = (
        film * air_c + from_bed_w_k * inner_c + layers * lower_c + bare_w_k * around.sky_c + edge * outside_c
    )
    aim_c = (flow + SUN_TO_BED * around.light_w) / total
    state.upper_c = aim_c + (upper_c - aim_c) * math.exp(-dt_s * total / parts.upper_j_k)

    total = layers + cable + parts.below_w_k + edge
    aim_c = (layers * upper_c + cable * cable_c + parts.below_w_k * around.deep_c + edge * outside_c) / total
    state.lower_c = aim_c + (lower_c - aim_c) * math.exp(-dt_s * total / parts.lower_j_k)

    aim_c = lower_c + heat_w / cable
    state.cable_c = aim_c + (cable_c - aim_c) * math.exp(-dt_s * cable / parts.cable_j_k)

    total = wall_film + through
    aim_c = (wall_film * air_c + through * outside_c + SUN_TO_WALL * around.light_w) / total
    state.wall_c = aim_c + (wall_c - aim_c) * math.exp(-dt_s * total / parts.wall_j_k)
