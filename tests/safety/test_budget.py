"""Shared power: never above what there is, the coldest first, everyone in turn."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from controller.heat.budget import TURN_S, Asking, Turns, share_power
from controller.vocabulary import FrameName


def ask(name: str, power_w: float = 100.0, coldest_c: float | None = 0.0) -> Asking:
    """One frame that may heat."""
    return Asking(frame=FrameName(name), power_w=power_w, coldest_c=coldest_c)


def test_a_turn_is_a_quarter_of_an_hour() -> None:
    """Well above the minimum on time, so sharing never chatters."""
    assert TURN_S == 900.0


def test_when_all_fit_all_heat_and_keep_the_start_of_their_turn() -> None:
    """Exactly at the bound still fits; a new round begins."""
    turns, served = share_power(
        Turns(held_since_s={FrameName("a"): 3.0}, served=frozenset({FrameName("c")})),
        10.0,
        [ask("a"), ask("b")],
        200.0,
    )
    assert served == {"a", "b"}
    assert turns == Turns(held_since_s={FrameName("a"): 3.0, FrameName("b"): 10.0})


def test_the_coldest_goes_first_the_unknown_before_it_and_names_break_ties() -> None:
    """F04, and the same answer for the same question."""
    asked = [ask("a", coldest_c=1.0), ask("b", coldest_c=-1.0), ask("c", coldest_c=0.0)]
    assert share_power(Turns(), 0.0, asked, 100.0)[1] == {"b"}
    assert share_power(Turns(), 0.0, asked, 200.0)[1] == {"b", "c"}
    assert share_power(Turns(), 0.0, [*asked, ask("d", coldest_c=None)], 100.0)[1] == {"d"}
    assert share_power(Turns(), 0.0, [ask("b"), ask("a")], 100.0)[1] == {"a"}


def test_a_smaller_load_fills_what_the_larger_leaves() -> None:
    """No watt idle while somebody could use it; none granted that is not there."""
    asked = [ask("a", 150.0, -3.0), ask("b", 100.0, -2.0), ask("c", 50.0, -1.0)]
    assert share_power(Turns(), 0.0, asked, 200.0)[1] == {"a", "c"}
    assert share_power(Turns(), 0.0, asked, 49.9)[1] == frozenset()
    assert share_power(Turns(), 0.0, asked, 0.0)[1] == frozenset()
    assert share_power(Turns(), 0.0, asked, -150.0)[1] == frozenset()


def test_a_turn_is_kept_against_a_colder_frame_until_it_is_over() -> None:
    """Hysteresis in time: no chatter between two frames of nearly one temperature."""
    warm, cold = ask("a", coldest_c=1.0), ask("b", coldest_c=-5.0)
    turns, served = share_power(Turns(), 0.0, [warm], 100.0)
    assert served == {"a"}
    turns, served = share_power(turns, TURN_S - 0.1, [warm, cold], 100.0)
    assert served == {"a"}
    assert turns == Turns(held_since_s={FrameName("a"): 0.0})
    turns, served = share_power(turns, TURN_S, [warm, cold], 100.0)
    assert served == {"b"}
    assert turns == Turns(held_since_s={FrameName("b"): TURN_S}, served=frozenset({FrameName("a")}))


def test_the_longer_held_turn_is_kept_when_the_room_shrinks() -> None:
    """F06: the load of a weld takes the youngest turn away."""
    turns = Turns(held_since_s={FrameName("a"): 50.0, FrameName("b"): 10.0})
    assert share_power(turns, 100.0, [ask("a", coldest_c=-9.0), ask("b")], 100.0)[1] == {"b"}


def test_who_had_a_turn_waits_until_all_have_had_one() -> None:
    """Each gets a turn, coldest first within a round, then a new round begins."""
    asked = [ask("a", coldest_c=-3.0), ask("b", coldest_c=-2.0), ask("c", coldest_c=-1.0)]
    turns, order = Turns(), []
    for turn in range(7):
        turns, served = share_power(turns, turn * TURN_S, asked, 100.0)
        order += sorted(served)
    assert order == ["a", "b", "c", "a", "b", "c", "a"]


def test_who_had_a_turn_may_use_what_the_waiting_cannot() -> None:
    """No watt idle: the one that waits needs more than is left."""
    turns = Turns(served=frozenset({FrameName("a")}))
    asked = [ask("a", coldest_c=0.0), ask("b", coldest_c=-1.0), ask("c", 300.0)]
    assert share_power(turns, 0.0, asked, 200.0)[1] == {"a", "b"}


def test_who_stops_asking_gives_up_the_turn() -> None:
    """Power goes to the next at once, and the one that left comes after who waits."""
    turns, _ = share_power(Turns(), 0.0, [ask("a"), ask("b"), ask("c")], 100.0)
    turns, served = share_power(turns, 10.0, [ask("b"), ask("c")], 100.0)
    assert served == {"b"}
    turns, served = share_power(turns, 20.0, [ask("a", coldest_c=-9.0), ask("b"), ask("c")], 100.0)
    assert served == {"b"}
    turns, served = share_power(turns, 10.0 + TURN_S, [ask("a", coldest_c=-9.0), ask("b"), ask("c")], 100.0)
    assert served == {"c"}


def test_nobody_asking_is_nobody_served() -> None:
    """And nothing held."""
    assert share_power(Turns(), 0.0, [], 100.0) == (Turns(), frozenset())


_FRAMES = st.lists(
    st.tuples(
        st.sampled_from("abcdef"),
        st.floats(1.0, 400.0),
        st.none() | st.floats(-20.0, 10.0),
    ),
    max_size=6,
    unique_by=lambda entry: entry[0],
)


@given(st.lists(st.tuples(_FRAMES, st.floats(1.0, 1200.0)), max_size=12), st.floats(-100.0, 900.0))
def test_the_sum_is_never_above_the_room(
    steps: list[tuple[list[tuple[str, float, float | None]], float]], room_w: float
) -> None:
    """F04: whoever asks, whenever, and however the turns stand."""
    turns, now_s = Turns(), 0.0
    for frames, after_s in steps:
        now_s += after_s
        asked = [ask(*entry) for entry in frames]
        turns, served = share_power(turns, now_s, asked, room_w)
        powers = {entry.frame: entry.power_w for entry in asked}
        assert served <= powers.keys()
        assert sum(powers[name] for name in served) <= max(room_w, 0.0) + 1e-9
        assert set(turns.held_since_s) == served
