"""The built-in simulated frame: its own physics, varied by a seed, and quick.

It shares no code with the controller, whose own errors would otherwise hide in it. Nodes: air with its
vapour, leaves, root balls that freeze and thaw, both faces of the covers, a bed of six layers (the
upper three freeze) with the cable in the third, four layers of wall behind the frame and four above it.
Left out on purpose: snow and rain, wet coverings that dry, plants that grow, and differences within the bed.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable, Mapping
from copy import copy
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Self
from zlib import crc32

from controller.rehearse.contract import OpeningNow, StandIn
from controller.rehearse.irradiance import irradiance_of
from controller.rehearse.standinframe import FrameParts, build_parts
from controller.rehearse.standinlayers import DEEP_M
from controller.rehearse.standinledger import Ledger
from controller.rehearse.standinlight import (
    DARK,
    NO_BEAM,
    Beam,
    Lid,
    SunPowers,
    beam_from,
    lid_of,
    sun_powers,
)
from controller.rehearse.standinnature import NOMINAL, Nature, drawn_nature
from controller.rehearse.standinouter import outer_of, season_air_c, season_ground_c, vapour_kg_m3
from controller.rehearse.standinsolve import substep
from controller.rehearse.standinstate import FrameState
from controller.rehearse.sunpath import Direction, sun_at
from controller.weatherseries import WeatherPoint

BUILT_BY = (
    "length_m",
    "depth_m",
    "front_height_m",
    "back_height_m",
    "cover",
    "skins",
    "wall",
    "faces_deg",
)
"""Settings by which one frame is told from another."""
SUBSTEP_S = 300.0
SUN_KEPT = timedelta(minutes=5)
"""So long the sun counts as standing still."""
SETTLING_S = 1e9
SETTLING_ROUNDS = 8
FIRST_HOURS = 3
SUN_BEFORE_K = 2.0
"""What the sun of the days before left in bed and wall of a shut frame; common practice, no source."""


def make_factory(
    latitude_deg: float, longitude_deg: float, *, seed: int | None = None
) -> Callable[[Mapping[str, Any], datetime], StandIn]:
    """A factory for frames at this place, which a frame's own table does not tell.

    With a seed each frame has a nature of its own (``standinnature``), the same for the same seed and
    table; without one it is a plain, middling frame.
    """

    def factory_here(frame: Mapping[str, Any], start_utc: datetime) -> StandIn:  # noqa: ARG001  # the seam's form
        return SeasonedStandIn(build_parts(frame, nature_of(frame, seed)), latitude_deg, longitude_deg)

    return factory_here


def nature_of(frame: Mapping[str, Any], seed: int | None) -> Nature:
    """What the seed makes of a frame; nominal without one.

    The same frame under another cable, line or set of probes keeps its nature, so that runs can be compared.
    """
    if seed is None:
        return NOMINAL
    built = {key: frame[key] for key in BUILT_BY if key in frame}
    digest = crc32(json.dumps(built, sort_keys=True, default=str).encode())
    return drawn_nature(random.Random(f"stand-in {seed} {digest:08x}").uniform)  # noqa: S311  # no secret


class SeasonedStandIn:
    """One simulated frame; it starts as if it had stood shut and unheated for weeks."""

    __slots__ = (
        "_beam",
        "_deep_c",
        "_latitude_deg",
        "_lid",
        "_longitude_deg",
        "_opening",
        "_parts",
        "_state",
        "_sun",
        "_sun_utc",
        "ledger",
    )

    def __init__(self, parts: FrameParts, latitude_deg: float, longitude_deg: float) -> None:
        """Take the frame's parts and where on Earth it stands."""
        self._parts = parts
        self._latitude_deg = latitude_deg
        self._longitude_deg = longitude_deg
        self._state: FrameState | None = None
        self._opening: OpeningNow | None = None
        self._lid: Lid | None = None
        self._sun_utc: datetime | None = None
        self._sun = Direction(-1.0, 0.0, 0.0)
        self._beam: Beam = NO_BEAM
        self._deep_c = 0.0
        self.ledger: Ledger | None = None
        """Give it one to have every flow of heat booked."""

    def __deepcopy__(self, _memo: dict[int, Any]) -> Self:
        """All that changes is replaced as a whole, so a copy may share it; it has no ledger."""
        other = copy(self)
        other.ledger = None
        return other

    @property
    def parts(self) -> FrameParts:
        """What the frame is made of."""
        return self._parts

    @property
    def state(self) -> FrameState | None:
        """All that changes; None before the first ``advance``."""
        return self._state

    def advance(
        self,
        dt_s: float,
        weather: WeatherPoint,
        heat_on: bool,  # noqa: FBT001  # the seam's arguments are positional
        opening: OpeningNow,
        /,
    ) -> dict[str, float]:
        """True °C by place after ``dt_s`` seconds of constant inputs; with 0 the initial state."""
        parts = self._parts
        lid = self._lid
        if lid is None or opening is not self._opening:
            lid = self._lid = lid_of(parts, opening)
            self._opening = opening
        utc = weather.utc
        if self._sun_utc is None or not self._sun_utc <= utc < self._sun_utc + SUN_KEPT:
            self._look_up(utc)
        state = self._state
        if state is None:
            state = self._state = self._settled(weather, lid)
        if dt_s > 0.0:
            outer = outer_of(parts, weather, self._deep_c)
            sun = self._sun_on(weather, lid)
            heat_w = parts.power_w if heat_on else 0.0
            count = math.ceil(dt_s / SUBSTEP_S)
            for _ in range(count):
                state = substep(
                    parts,
                    state,
                    lid=lid,
                    outer=outer,
                    sun=sun,
                    heat_w=heat_w,
                    dt_s=dt_s / count,
                    ledger=self.ledger,
                )
            self._state = state
        return {
            "air": state.air_c,
            "bed": state.bed0_c,
            "outside": weather.temp_c,
            "wall": state.wall0_c,
            "cable": state.cable_c,
            "pots": state.pot_c,
        }

    def _look_up(self, utc: datetime) -> None:
        """Where the sun stands, and what the season makes of the deep ground."""
        self._sun_utc = utc
        self._sun = sun_at(utc, self._latitude_deg, self._longitude_deg)
        self._beam = beam_from(self._parts, self._sun)
        ground_c = season_ground_c(utc, self._latitude_deg, DEEP_M)
        self._deep_c = ground_c + self._parts.nature.ground_shift_k

    def _sun_on(self, weather: WeatherPoint, lid: Lid) -> SunPowers:
        if self._sun.up_frac <= 0.0 or weather.ghi_w_m2 == 0.0:
            return DARK
        return sun_powers(self._parts, lid, self._beam, irradiance_of(weather, self._sun))

    def _settled(self, weather: WeatherPoint, lid: Lid) -> FrameState:
        """Steady, half way from the season's usual air to this and a little over; then some hours of this.

        Common practice, no source: bed and wall remember the season, air and leaves do not.
        """
        parts = self._parts
        usual_c = season_air_c(weather.utc, self._latitude_deg)
        between = weather._replace(
            temp_c=0.5 * (usual_c + weather.temp_c) + SUN_BEFORE_K, dew_point_c=None, cloud_tenths=8.0
        )
        outer = outer_of(parts, between, self._deep_c)
        no_ice = replace(parts, pot_ice_k=0.0, bed=parts.bed._replace(ice_k=0.0))
        air_c = outer.air_c
        state = FrameState(*[air_c] * len(FrameState._fields))
        state = state._replace(vapour_kg_m3=vapour_kg_m3(air_c - 1.0), dew_kg_m2=0.0)
        state = state._replace(pot_ice_frac=0.0, bed0_ice_frac=0.0, bed1_ice_frac=0.0, bed2_ice_frac=0.0)
        for _ in range(SETTLING_ROUNDS):
            state = substep(no_ice, state, lid=lid, outer=outer, sun=DARK, heat_w=0.0, dt_s=SETTLING_S)
        outer = outer_of(parts, weather, self._deep_c)
        for _ in range(round(FIRST_HOURS * 3600.0 / SUBSTEP_S)):
            state = substep(parts, state, lid=lid, outer=outer, sun=DARK, heat_w=0.0, dt_s=SUBSTEP_S)
        return state


factory = make_factory(52.0, 0.0)
"""The built-in stand-in through the seam, at 52° N on the Greenwich meridian."""
