"""Contradictions that no single frame can see: zone, power budget, pins and probes used twice. Pure."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator

from controller.config.keys import key_text, nearest
from controller.config.lines import KeyPath
from controller.config.plain import Conflict, Table, number_in, table_in
from controller.config.schema import INPUT_PINS, RELAY_PINS


def site_conflicts(root: Table) -> Iterator[Conflict]:
    """What no single frame can see: zone, shared pins and probes, the power budget."""
    site = table_in(root, "site")
    zone = site.get("zone")
    if isinstance(zone, str):
        yield from _zone_conflicts(zone)
    yield from _pin_conflicts(root)
    yield from _probe_conflicts(root)
    for name, frame in _frames(root):
        power_w, budget_w = number_in(table_in(frame, "heat"), "power_w"), number_in(site, "heat_power_max_w")
        if power_w is not None and budget_w is not None and power_w > budget_w:
            yield Conflict(
                path=("frame", name, "heat", "power_w"),
                problem=f"{power_w:g} W is more than site.heat_power_max_w allows ({budget_w:g} W)",
                remedy="this frame could never be heated; raise heat_power_max_w or fit a smaller cable",
            )


def _zone_conflicts(zone: str) -> Iterator[Conflict]:
    try:
        zoneinfo.ZoneInfo(zone)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        by_small = {known.lower(): known for known in sorted(zoneinfo.available_timezones())}
        meant = nearest(zone, tuple(by_small))
        remedy = (
            f'did you mean "{by_small[meant]}"?' if meant else 'write an IANA name such as "Europe/Dublin"'
        )
        yield Conflict(
            path=("site", "zone"), problem="is not a time zone that this machine knows", remedy=remedy
        )


def _pin_conflicts(root: Table) -> Iterator[Conflict]:
    """No line serves two things, and none serves what it cannot."""
    seen: dict[int, KeyPath] = {}
    for path, pin in _pins(root):
        relay = path[-1] in ("relay_pin", "isolating_pin")
        if pin not in (RELAY_PINS if relay else INPUT_PINS):
            yield Conflict(
                path=path,
                problem=f"GPIO {pin} is part of the serial port, which drives its line while the board boots",
                remedy="use another pin, such as 17, 22, 23, 24, 25 or 27",
            )
        first = seen.setdefault(pin, path)
        if first != path:
            yield Conflict(
                path=path, problem=f"GPIO {pin} is also {key_text(first)}", remedy="give each its own pin"
            )


def _pins(root: Table) -> Iterator[tuple[KeyPath, int]]:
    tables: list[tuple[KeyPath, Table]] = [(("site",), table_in(root, "site"))]
    for name, frame in _frames(root):
        tables += [(("frame", name), frame), (("frame", name, "heat"), table_in(frame, "heat"))]
    for path, table in tables:
        for key, pin in table.items():
            if key.endswith("_pin") and isinstance(pin, int):
                yield (*path, key), pin


def _probe_conflicts(root: Table) -> Iterator[Conflict]:
    seen: dict[str, KeyPath] = {}
    tables: list[tuple[KeyPath, Table]] = [(("site", "probe"), table_in(table_in(root, "site"), "probe"))]
    tables += [(("frame", name, "probe"), table_in(frame, "probe")) for name, frame in _frames(root)]
    for path, table in tables:
        for place in table:
            probe_id = table_in(table, place).get("id")
            if not isinstance(probe_id, str):
                continue
            here = (*path, place, "id")
            first = seen.setdefault(probe_id, here)
            if first != here:
                yield Conflict(
                    path=here,
                    problem=f"{probe_id} is also {key_text(first)}",
                    remedy="each place has its own probe; frames share only site.probe.outside",
                )


def _frames(root: Table) -> list[tuple[str, Table]]:
    frames = table_in(root, "frame")
    return [(name, table_in(frames, name)) for name in frames]
