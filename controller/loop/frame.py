"""One frame, one tick: readings in, a wish and the judge's evidence out. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from controller.config.records import FrameSettings, HeatSettings
from controller.heat.thermostat import (
    ThermostatInput,
    ThermostatMemory,
    ThermostatSettings,
    fresh_thermostat,
    step_thermostat,
)
from controller.sense.fallback import Basis, FrostMemory, choose_basis, frost_likely, remember_frost
from controller.vocabulary import (
    AIR_PLACES,
    ROOT_PLACES,
    HeatEvidence,
    Place,
    Reading,
    Readings,
    Rejected,
    Rejection,
    Sample,
)


class FrameInputs(NamedTuple):
    """All that one frame's step may look at besides its readings; ``None`` inputs are not fitted."""

    now_s: float
    late: bool
    commissioned: bool
    keep_above_c: float
    bed_keep_c: float | None
    """Bottom heat's aim while its dates run."""
    relay_on: bool
    """As read back in the tick before."""
    rest_until_s: float | None
    """A person asked for heat to rest until then."""
    feedback_live: bool | None = None
    supply_present: bool | None = None
    cut_out_closed: bool | None = None
    stop_pressed: bool | None = None


class FrameMemory(NamedTuple):
    """What one frame carries from tick to tick."""

    thermostat: ThermostatMemory
    frost: FrostMemory
    settings: ThermostatSettings | None = None
    """As the thermostat last had them; made anew only when a person or the calendar changes one."""


class FrameDecision(NamedTuple):
    """One frame's wish, what it rests on, and the evidence for the judge."""

    basis: Basis
    wish: FrameWish
    frost_likely: bool
    cold: bool
    """The air is below its aim or cannot be seen while frost is likely, and nobody asked heat to rest."""
    evidence: HeatEvidence


class FrameWish(NamedTuple):
    """What the frame asks for, and why: the thermostat's own reason, or one of ours."""

    heat_wanted: bool
    why: str
    aim_c: float


NO_HEAT = "no_heat"
"""The frame has no cable."""
REST_ASKED = "rest_asked"
"""A person asked for heat to rest."""


def fresh_frame(now_s: float) -> FrameMemory:
    """The memory of a frame that has just been put up."""
    return FrameMemory(thermostat=fresh_thermostat(now_s), frost=FrostMemory())


def step_frame(
    frame: FrameSettings,
    memory: FrameMemory,
    readings: Readings,
    inputs: FrameInputs,
) -> tuple[FrameMemory, FrameDecision]:
    """Decide what one frame wants; a frame without heat wants none but is watched all the same.

    ``readings`` holds one reading for every fitted place.
    """
    basis = choose_basis(readings)
    outside = readings.get(Place.OUTSIDE)
    frost_memory = remember_frost(memory.frost, basis, outside, inputs.now_s)
    likely = frost_likely(frost_memory, basis, outside, inputs.keep_above_c, inputs.now_s)
    bed = readings.get(Place.BED)
    bed_c = bed.temp_c if isinstance(bed, Sample) else None
    thermostat_memory, settings = memory.thermostat, memory.settings
    if frame.heat is None:
        wish = FrameWish(heat_wanted=False, why=NO_HEAT, aim_c=inputs.keep_above_c)
    else:
        settings = _thermostat_settings(settings, frame.heat, inputs)
        thermostat_memory, wish = _wish(settings, thermostat_memory, basis, inputs, bed_c=bed_c, frost=likely)
    return FrameMemory(thermostat=thermostat_memory, frost=frost_memory, settings=settings), FrameDecision(
        basis=basis,
        wish=wish,
        frost_likely=likely,
        cold=wish.why not in (REST_ASKED, NO_HEAT)
        and likely
        and (basis.frost_c is None or basis.frost_c < wish.aim_c),
        evidence=_evidence(readings, inputs, wish, basis, frost=likely),
    )


def _thermostat_settings(
    last: ThermostatSettings | None, heat: HeatSettings, inputs: FrameInputs
) -> ThermostatSettings:
    """The last ones, unless an aim has changed: all else is the frame's own and stands for the whole run."""
    if last is not None and last.keep_above_c == inputs.keep_above_c and last.bed_keep_c == inputs.bed_keep_c:
        return last
    return ThermostatSettings(
        keep_above_c=inputs.keep_above_c,
        differential_k=heat.differential_k,
        min_on_s=heat.min_on_s,
        min_off_s=heat.min_off_s,
        lead_s=heat.lead_s,
        leaf_allowance_k=heat.leaf_allowance_k,
        bed_keep_c=inputs.bed_keep_c,
    )


def _wish(
    settings: ThermostatSettings,
    memory: ThermostatMemory,
    basis: Basis,
    inputs: FrameInputs,
    *,
    bed_c: float | None,
    frost: bool,
) -> tuple[ThermostatMemory, FrameWish]:
    """Ask the thermostat; a rest that a person asked for overrules it."""
    memory, wish = step_thermostat(
        settings,
        memory,
        ThermostatInput(
            now_s=inputs.now_s,
            relay_on=inputs.relay_on,
            frost_c=basis.frost_c,
            bed_c=bed_c,
            raise_k=basis.raise_k,
            blind=basis.frost_c is None,
            frost_likely=frost,
        ),
    )
    resting = inputs.rest_until_s is not None and inputs.now_s < inputs.rest_until_s
    return memory, FrameWish(
        heat_wanted=wish.heat_wanted and not resting,
        why=REST_ASKED if resting else wish.reason.value,
        aim_c=wish.aim_c,
    )


def _evidence(
    readings: Readings, inputs: FrameInputs, wish: FrameWish, basis: Basis, *, frost: bool
) -> HeatEvidence:
    """Lay out for the judge what was measured, untrusted readings included."""
    return HeatEvidence(
        now_s=inputs.now_s,
        heat_wanted=wish.heat_wanted,
        air=_fitted(readings, AIR_PLACES),
        root=_fitted(readings, ROOT_PLACES),
        guard=readings.get(Place.GUARD),
        cable=readings.get(Place.CABLE),
        frost_likely=frost,
        commissioned=inputs.commissioned,
        late=inputs.late,
        coldest_c=basis.frost_c,
        feedback_live=inputs.feedback_live,
        supply_present=inputs.supply_present,
        cut_out_closed=inputs.cut_out_closed,
        stop_pressed=inputs.stop_pressed,
    )


def _fitted(readings: Readings, places: tuple[Place, ...]) -> tuple[Reading, ...]:
    return tuple([readings[place] for place in places if place in readings])


def never_seen(places: Mapping[Place, object], now_s: float) -> Readings:
    """What stands for readings before the first one."""
    return {place: Rejected(reason=Rejection.NEVER_SEEN, since_at_s=now_s) for place in places}
