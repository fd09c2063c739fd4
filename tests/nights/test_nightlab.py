"""The lab can tell a broken rule when it sees one."""

from __future__ import annotations

import pytest

from controller.vocabulary import HeatReport, Level, Place, Reading, Rejected, Rejection, Sample
from tests.nights.nightlab import Night, broken_rules

GOOD_BED: Reading = Sample(temp_c=5.0, taken_at_s=0.0)
LOST: Reading = Rejected(reason=Rejection.ABSENT, since_at_s=0.0)


def night(relay: str, bed: Reading = GOOD_BED, *, allowed: bool = True, level: Level = Level.NORMAL) -> Night:
    """One step of a minute per letter, ``1`` for on."""
    made = Night(step_s=60.0)
    for minute, letter in enumerate(relay, start=1):
        on = letter == "1"
        made.hours.append(minute / 60)
        made.relay_on.append(on)
        made.reports.append(
            HeatReport(heat_wanted=on, heat_allowed=on and allowed, relay_on=on, level=level, reasons=())
        )
        made.readings.append({Place.BED: bed, Place.CABLE: LOST if bed is LOST else bed})
    return made


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (night("1"), "first step"),
        (night("0" + "1" * 363), "without a rest"),
        (night("0001110111"), "off for 60 s only"),
        (night("000" + "111000" * 7), "switchings"),
        (night("0001", allowed=False), "without permission"),
        (night("0001", Sample(temp_c=25.0, taken_at_s=0.0)), "at its limit"),
        (night("0001", LOST), "no trusted reading near the cable"),
    ],
)
def test_a_broken_rule_is_found(made: Night, said: str) -> None:
    """Each rule has a night that breaks it."""
    assert any(said in what for what in broken_rules(made))


def test_a_night_in_order_has_none() -> None:
    """Rests kept, permission given, six hours at most."""
    assert broken_rules(night("000" + "1" * 360 + "000" + "1" * 30)) == []
    assert broken_rules(night("0001", LOST, level=Level.BLIND)) == []
