"""Changed settings are taken at once, but not again and again: each costs a rest of heat."""

from __future__ import annotations

from controller.loop.board import ReloadPatience


def test_two_changes_are_taken_at_once_and_the_third_waits() -> None:
    patience = ReloadPatience()
    assert [patience.allows(at_s) for at_s in (0.0, 150.0, 300.0, 450.0, 3599.0)] == [
        True,
        True,
        False,
        False,
        False,
    ]
    assert patience.allows(3600.0)
    assert not patience.allows(3700.0)


def test_a_file_that_changes_all_night_costs_at_most_two_rests_an_hour() -> None:
    """A sync tool that touches the file every 150 s must not keep the frames cold."""
    patience = ReloadPatience()
    taken = [at_s for at_s in range(0, 8 * 3600, 150) if patience.allows(float(at_s))]
    assert len(taken) <= 2 * 8 + 1
