"""Lines about probes for a plain terminal, at most 80 columns wide. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from controller.notices.words import PLACE_WORDS
from controller.units import span_text, temperature_text
from controller.vocabulary import (
    FULL_RESOLUTION_BITS,
    PROBE_FAMILIES,
    Place,
    ProbeId,
    Reading,
    Rejection,
    Sample,
)

WARMING_K = 0.5
"""A hand warms a probe by more than this within the window; a draught does not."""
WINDOW_S = 30.0
_PLACE_COLUMNS = 24
_WHY = {
    Rejection.NEVER_SEEN: "does not answer",
    Rejection.ABSENT: "does not answer",
    Rejection.HUNG: "the read does not come back",
    Rejection.BUS_ERROR: "bus error",
    Rejection.GARBLED: "garbled",
    Rejection.EMPTY: "sends nothing",
    Rejection.CRC: "wrong checksum",
    Rejection.NOISY: "too many damaged reads",
    Rejection.POWER_ON: "85.0, its power-on value",
    Rejection.STARVED: "lacks supply",
    Rejection.SHORTED: "data line shorted",
    Rejection.SILENT: "data line silent",
    Rejection.OUT_OF_RANGE: "impossible number",
    Rejection.SLEW: "moves too fast",
    Rejection.STALE: "too old",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeTable:
    """Which probes to show, in which order, and what is known of each beforehand."""

    probes: tuple[ProbeId, ...]
    places: Mapping[ProbeId, list[tuple[str, Place]]]
    corrected: frozenset[ProbeId]
    units: str
    unusable: tuple[ProbeId, ...] = ()
    """Other devices on the bus, of families that are not read here."""

    def place_of(self, probe: ProbeId) -> Place:
        """The place whose limits its readings are held to; those of the air before it has a place."""
        return self.places[probe][0][1] if probe in self.places else Place.AIR

    def list_lines(self, readings: Mapping[ProbeId, Reading]) -> list[str]:
        """One line per probe, below a heading; then one per device that is of no use here."""
        families = ", ".join(PROBE_FAMILIES)
        return [
            self.heading(),
            *(self._list_line(probe, readings[probe]) for probe in self.probes),
            *(f"{other:<16} not usable here: of the families {families} only" for other in self.unusable),
        ]

    def start_of_line(self, probe: ProbeId) -> str:
        """Id and place, in columns."""
        return f"{probe:<16} {self._place_text(probe):<{_PLACE_COLUMNS}}"

    def heading(self) -> str:
        """What stands in the columns that every line has."""
        return f"{'probe':<16} {'place':<{_PLACE_COLUMNS}} reading"

    def _place_text(self, probe: ProbeId) -> str:
        """Every frame and place of a probe, cut to its column."""
        assigned = self.places.get(probe, [])
        text = ", ".join(f"{frame}: {PLACE_WORDS[place]}" for frame, place in assigned) or "no place yet"
        return text if len(text) < _PLACE_COLUMNS else f"{text[: _PLACE_COLUMNS - 4]}..."

    def _list_line(self, probe: ProbeId, reading: Reading) -> str:
        if not isinstance(reading, Sample):
            return f"{self.start_of_line(probe)} none: {_WHY[reading.reason]}"
        coarse = reading.resolution_bits < FULL_RESOLUTION_BITS
        remark = f" (coarse: set it to {FULL_RESOLUTION_BITS})" if coarse else ""
        corrected = ", ice-corrected" if probe in self.corrected else ""
        shown = temperature_text(reading.temp_c, self.units)
        return f"{self.start_of_line(probe)} {shown:>8}  {reading.resolution_bits} bits{remark}{corrected}"


class WarmthWatch:
    """Shows how far each probe has moved since the start, and marks the one that warms most just now."""

    def __init__(self, table: ProbeTable) -> None:
        """Begin with no past."""
        self._table = table
        self._past: dict[ProbeId, list[tuple[float, float]]] = {probe: [] for probe in table.probes}
        self._first_c: dict[ProbeId, float] = {}

    def lines(self, readings: Mapping[ProbeId, Reading], now_s: float) -> list[str]:
        """A heading and one line per probe; at most one is marked, and only after a clear rise."""
        rises_k = {probe: self._rise_k(probe, readings[probe], now_s) for probe in self._table.probes}
        warmest = max(rises_k, key=rises_k.__getitem__)
        return [
            f"{self._table.heading()}   change since start",
            *(
                self._line(
                    probe,
                    readings[probe],
                    marked=probe == warmest and rises_k[probe] >= WARMING_K,
                )
                for probe in self._table.probes
            ),
        ]

    def _rise_k(self, probe: ProbeId, reading: Reading, now_s: float) -> float:
        """How far it has risen above its oldest reading in the window; 0 without a reading."""
        past = [(at_s, temp_c) for at_s, temp_c in self._past[probe] if at_s >= now_s - WINDOW_S]
        if isinstance(reading, Sample):
            past.append((now_s, reading.temp_c))
        self._past[probe] = past
        return past[-1][1] - past[0][1] if past and isinstance(reading, Sample) else 0.0

    def _line(self, probe: ProbeId, reading: Reading, *, marked: bool) -> str:
        start = self._table.start_of_line(probe)
        if not isinstance(reading, Sample):
            return f"{start} none: {_WHY[reading.reason]}"
        change_k = reading.temp_c - self._first_c.setdefault(probe, reading.temp_c)
        change = span_text(change_k, self._table.units)
        if change_k > 0 and not change.startswith("0.0 "):
            change = f"+{change}"
        mark = "  <== warming" if marked else ""
        return f"{start} {temperature_text(reading.temp_c, self._table.units):>8}  {change:>8}{mark}"
