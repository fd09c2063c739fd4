"""The settings as understood, in lines for a person. Pure."""

from __future__ import annotations

from collections.abc import Iterator

from controller.config.records import FrameSettings, HeatSettings, Settings
from controller.units import money_text, span_text, temperature_text
from controller.vocabulary import Lay


def site_lines(settings: Settings) -> Iterator[str]:
    """The place, the pace and the price."""
    site = settings.site
    yield f"{site.name}: latitude {site.latitude_deg:g}, longitude {site.longitude_deg:g}, {site.zone}"
    yield f"  temperatures are shown in degrees {site.units.capitalize()}"
    yield f"  decides every {site.tick_s:g} s"
    yield f"  stop button: {_pin(site.stop_button_pin)}"
    if site.heat_power_max_w is not None:
        yield f"  all heat together: at most {site.heat_power_max_w:g} W"
    if settings.price is not None:
        yield f"  electricity: {money_text(settings.price.per_kwh, settings.price.currency)} per kWh"


def frame_lines(frame: FrameSettings, units: str) -> Iterator[str]:
    """One frame: its build, its covers, its heat."""
    skins = "one skin" if frame.skins == 1 else "two skins"
    wall = "no wall" if frame.wall == "none" else f"a {frame.wall} wall"
    yield (
        f"Frame {frame.name}: {frame.length_m:g} by {frame.depth_m:g} m, "
        f"{frame.front_height_m:g} m high in front, {frame.back_height_m:g} m at the back"
    )
    yield f"  {frame.cover.replace('_', ' ')} covers, {skins}, {wall}, facing {frame.faces_deg:g}°"
    openings = [f"{each.name} ({each.area_m2:g} m²)" for each in frame.openings]
    yield f"  openings: {', '.join(openings)}"
    coverings = [f"{each.name} ({each.r_m2k_w:g} m²K/W)" for each in frame.coverings]
    yield f"  coverings: {', '.join(coverings) or 'none'}"
    if frame.heat is None:
        yield "  no heat"
    else:
        yield from heat_lines(frame.heat, units)


def heat_lines(heat: HeatSettings, units: str) -> Iterator[str]:
    """The cable, its aim, its limits and its pins."""
    lay = "in sand" if heat.lay is Lay.SAND else "on the surface"
    yield f"  cable: {heat.power_w:g} W, {lay}"
    leaves = (
        "" if heat.leaf_allowance_k == 0 else f" + {span_text(heat.leaf_allowance_k, units)} for the leaves"
    )
    yield f"  keeps the air above {temperature_text(heat.keep_above_c, units)}{leaves}"
    yield (
        f"  differential {span_text(heat.differential_k, units)}, looks {heat.lead_s / 60:g} minutes ahead"
    )
    if heat.bottom is not None:
        yield (
            f"  keeps the bed at {temperature_text(heat.bottom.bed_keep_c, units)} "
            f"from {heat.bottom.from_month_day} to {heat.bottom.to_month_day}"
        )
    cable = (
        "no cable probe" if heat.cable_max_c is None else f"cable {temperature_text(heat.cable_max_c, units)}"
    )
    yield (
        f"  heat is off above: air {temperature_text(heat.air_max_c, units)}, "
        f"roots {temperature_text(heat.root_max_c, units)}, {cable}"
    )
    yield (
        f"  at least {heat.min_on_s:g} s on and {heat.min_off_s:g} s off; "
        f"proves every {heat.on_proof_s / 3600:g} h that it can go off"
    )
    pins = heat.pins
    yield f"  relay: {_relay(pins.relay, active_high=pins.relay_active_high)}"
    yield f"  isolating relay: {_relay(pins.isolating, active_high=pins.isolating_active_high)}"
    yield (
        f"  contacts: feedback {_pin(pins.feedback)}, supply {_pin(pins.supply)}, "
        f"cut-out {_pin(pins.cut_out)}, covers {_pin(pins.cover_switch)}"
    )


def _relay(pin: int | None, *, active_high: bool) -> str:
    if pin is None:
        return "not fitted"
    if active_high:
        return f"{_pin(pin)}, on when high"
    return (
        f"{_pin(pin)}, on when low; needs its own pull-up, since the board starts with this line pulled low"
    )


def _pin(pin: int | None) -> str:
    return "not fitted" if pin is None else f"GPIO {pin}"
