"""The seam for a humidity probe stands without one."""

from __future__ import annotations

from controller.sense.humidity import HumidityReading, HumiditySource, NoHumidity
from controller.vocabulary import FrameName


def read_from(source: HumiditySource, frame: str) -> HumidityReading | None:
    """Use the seam as its reader will."""
    return source.latest(FrameName(frame))


def test_without_a_probe_there_is_no_reading_and_nothing_to_close() -> None:
    """None says that none is fitted, before and after closing."""
    source = NoHumidity()
    assert read_from(source, "south") is None
    source.close()
    assert read_from(source, "south") is None


def test_another_source_fits_the_seam() -> None:
    """A driver needs these two methods and no more."""

    class Fixed:
        def latest(self, frame: FrameName) -> HumidityReading | None:
            return HumidityReading(humidity_pct=93.0, taken_at_s=5.0) if frame == "south" else None

        def close(self) -> None:
            """Nothing held."""

    assert read_from(Fixed(), "south") == HumidityReading(humidity_pct=93.0, taken_at_s=5.0)
    assert read_from(Fixed(), "north") is None
