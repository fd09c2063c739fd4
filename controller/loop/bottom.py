"""Bottom heat by its dates. Pure."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from controller.config.records import Settings
from controller.vocabulary import FrameName


def bottom_heat_c(settings: Settings, name: FrameName, utc_s: float) -> float | None:
    """The bed's aim on the date that the site's own calendar shows, None outside the dates.

    A span whose end lies before its start runs over the new year.
    """
    heat = settings.frames[name].heat
    if heat is None or heat.bottom is None:
        return None
    today = datetime.fromtimestamp(utc_s, ZoneInfo(settings.site.zone)).strftime("%m-%d")
    first, last = heat.bottom.from_month_day, heat.bottom.to_month_day
    within = first <= today <= last if first <= last else today >= first or today <= last
    return heat.bottom.bed_keep_c if within else None
