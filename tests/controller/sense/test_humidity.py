"""The seam for a humidity probe, and what stands in it as long as none is fitted."""

from __future__ import annotations

import inspect

import pytest

from controller.sense.humidity import HumiditySource, NoHumidity
from controller.vocabulary import SITE, FrameName


@pytest.mark.parametrize("frame", ["south", "north", SITE])
def test_without_a_probe_no_frame_has_a_reading_before_or_after_closing(frame: str) -> None:
    """None says that none is fitted; closing twice is closing once."""
    source = NoHumidity()
    assert source.latest(FrameName(frame)) is None
    source.close()
    source.close()
    assert source.latest(FrameName(frame)) is None


def test_it_offers_exactly_what_the_seam_asks_for() -> None:
    """Whoever reads humidity need not know whether a probe is fitted."""

    def offered(kind: type) -> dict[str, inspect.Signature]:
        return {
            name: inspect.signature(member)
            for name, member in vars(kind).items()
            if not name.startswith("_") and callable(member)
        }

    assert offered(NoHumidity) == offered(HumiditySource) != {}
