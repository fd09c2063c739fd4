"""From the checked shape of a settings file to the frozen records of the other rooms. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from controller.config.plain import plain_copy
from controller.config.records import (
    BottomHeatSettings,
    CoveringSettings,
    FrameSettings,
    HeatSettings,
    OpeningSettings,
    PinSettings,
    PriceSettings,
    Settings,
    SiteSettings,
)
from controller.config.rules import leaf_allowance_k
from controller.config.schema import BottomTable, FrameTable, HeatTable, SettingsFile, SiteTable
from controller.vocabulary import FrameName, Place, ProbeId

SHUT = OpeningSettings(name="shut", area_m2=0.0, height_m=0.0)
"""The one opening of a frame that lists none."""


def build_settings(model: SettingsFile, raw: Mapping[str, Any]) -> Settings:
    """Records of a file that passed every check; ``raw`` are its plain tables."""
    site = _site(model.site)
    frames = {FrameName(name): _frame(FrameName(name), table, site) for name, table in model.frame.items()}
    price = model.price
    return Settings(
        site=site,
        price=None if price is None else PriceSettings(per_kwh=price.per_kwh, currency=price.currency),
        frames=MappingProxyType(frames),
        tables=MappingProxyType({name: plain_copy(raw["frame"][name]) for name in frames}),
    )


def _site(table: SiteTable) -> SiteSettings:
    outside = table.probe.outside
    return SiteSettings(
        name=table.name,
        latitude_deg=table.latitude_deg,
        longitude_deg=table.longitude_deg,
        zone=table.zone,
        units=table.units,
        tick_s=table.tick_s,
        outside_probe=None if outside is None else ProbeId(outside.id),
        stop_button_pin=table.stop_button_pin,
        heat_power_max_w=table.heat_power_max_w,
        secrets_file=table.secrets_file,
    )


def _frame(name: FrameName, table: FrameTable, site: SiteSettings) -> FrameSettings:
    return FrameSettings(
        name=name,
        length_m=table.length_m,
        depth_m=table.depth_m,
        front_height_m=table.front_height_m,
        back_height_m=table.back_height_m,
        cover=table.cover,
        skins=table.skins,
        wall=table.wall,
        faces_deg=table.faces_deg,
        heat=None if table.heat is None else _heat(table.heat, table),
        probes=_probes(table, site),
        openings=tuple(
            OpeningSettings(name=opening.name, area_m2=opening.area_m2, height_m=opening.height_m)
            for opening in table.opening
        )
        or (SHUT,),
        coverings=tuple(
            CoveringSettings(name=covering.name, r_m2k_w=covering.r_m2k_w) for covering in table.covering
        ),
    )


def _probes(table: FrameTable, site: SiteSettings) -> Mapping[Place, ProbeId]:
    """The frame's own, and the site's outside probe where it has none."""
    fitted = {place: getattr(table.probe, place.value) for place in Place}
    probes = {place: ProbeId(probe.id) for place, probe in fitted.items() if probe is not None}
    if site.outside_probe is not None:
        probes.setdefault(Place.OUTSIDE, site.outside_probe)
    return MappingProxyType(probes)


def _heat(heat: HeatTable, frame: FrameTable) -> HeatSettings:
    leaf_k = heat.leaf_allowance_k
    return HeatSettings(
        power_w=heat.power_w,
        lay=heat.lay,
        pins=_pins(heat, frame),
        keep_above_c=heat.keep_above_c,
        differential_k=heat.differential_k,
        min_on_s=heat.min_on_s,
        min_off_s=heat.min_off_s,
        lead_s=heat.lead_s,
        leaf_allowance_k=leaf_allowance_k(frame.cover) if leaf_k is None else leaf_k,
        air_max_c=heat.air_max_c,
        root_max_c=heat.root_max_c,
        cable_max_c=heat.cable_max_c,
        on_proof_s=heat.on_proof_s,
        bottom=None if heat.bottom is None else _bottom(heat.bottom),
    )


def _pins(heat: HeatTable, frame: FrameTable) -> PinSettings:
    return PinSettings(
        relay=heat.relay_pin,
        relay_active_high=heat.relay_active_high,
        isolating=heat.isolating_pin,
        isolating_active_high=heat.isolating_active_high,
        feedback=heat.feedback_pin,
        supply=heat.supply_pin,
        cut_out=heat.cut_out_pin,
        cover_switch=frame.cover_switch_pin,
    )


def _bottom(table: BottomTable) -> BottomHeatSettings:
    return BottomHeatSettings(bed_keep_c=table.bed_keep_c, from_month_day=table.from_, to_month_day=table.to)
