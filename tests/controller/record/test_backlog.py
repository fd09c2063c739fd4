from __future__ import annotations

from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.record.backlog import Backlog
from controller.record.mirror import Mirror
from controller.record.rows import EventRow, Row, SampleRow
from tests.controller.record.lab import event, sample


def heat_ms(rows: list[Row]) -> int:
    return sum(round(row.heat_on_s * 1000) for row in rows if isinstance(row, SampleRow))


def test_a_number_that_is_not_free_is_raised() -> None:
    backlog = Backlog(None)
    for number in (5, 5, 3, 9):
        backlog.put(sample(number))
    assert [row.seq for row in backlog.take()] == [5, 6, 7, 9]
    assert backlog.next_seq() == 10


def test_an_event_is_saved_only_once_its_batch_is_settled() -> None:
    backlog = Backlog(None)
    first = backlog.put(event(1))
    backlog.take()
    second = backlog.put(event(2))
    assert not backlog.is_saved(first)
    backlog.settle(saved=True)
    assert backlog.is_saved(first)
    assert not backlog.is_saved(second)
    backlog.take()
    backlog.settle(saved=False)
    assert not backlog.is_saved(second)


def test_too_many_samples_are_folded_and_their_heat_and_time_stay_whole() -> None:
    backlog = Backlog(None, samples_max=40)
    rows: list[Row] = [sample(number) for number in range(1, 80)]
    for row in rows:
        backlog.put(row)
    backlog.squeeze()
    left = backlog.take()
    assert len(left) < len(rows)
    assert backlog.dropped == len(rows) - len(left)
    assert heat_ms(left) == heat_ms(rows)
    assert sum(row.span_s for row in left if isinstance(row, SampleRow)) == 60 * len(rows)
    assert left[-20:] == rows[-20:], "the newest keep all their detail"


def test_samples_of_another_covering_are_dropped_not_mixed() -> None:
    backlog = Backlog(None, samples_max=2)
    for number in range(1, 4):
        backlog.put(sample(number, covering="mat" if number % 2 else ""))
    backlog.squeeze()
    assert [row.span_s for row in backlog.take() if isinstance(row, SampleRow)] == [60.0, 60.0]


def test_memory_is_bounded_without_anyone_saving_and_events_stay() -> None:
    backlog = Backlog(None, samples_max=50)
    for number in range(1, 5001):
        backlog.put(event(number) if number % 100 == 0 else sample(number))
    rows = backlog.take()
    assert sum(isinstance(row, SampleRow) for row in rows) <= 100
    assert [row.seq for row in rows if isinstance(row, EventRow)] == list(range(100, 5001, 100))


def test_past_their_own_bound_new_events_are_refused_and_counted() -> None:
    backlog = Backlog(None, events_max=10)
    for number in range(1, 16):
        backlog.put(event(number))
    assert len(backlog) == 10
    assert backlog.dropped == 5


def test_rows_that_are_being_saved_are_never_folded() -> None:
    """Folding one of them into a later row would count its heat twice."""
    backlog = Backlog(None, samples_max=4)
    for number in range(1, 7):
        backlog.put(sample(number))
    saving = backlog.take()
    for number in range(7, 30):
        backlog.put(sample(number))
    backlog.settle(saved=True)
    left = backlog.take()
    assert heat_ms(saving) + heat_ms(left) == heat_ms([sample(number) for number in range(1, 30)])


def test_the_mirror_holds_exactly_what_is_pending(tmp_path: Path) -> None:
    path = tmp_path / "pending.jsonl"
    backlog = Backlog(Mirror(path), samples_max=10)
    for number in range(1, 16):
        backlog.put(sample(number))
    backlog.squeeze()
    assert Mirror(path).load() == backlog.take()
    backlog.discard({14, 15})
    assert Mirror(path).load() == backlog.take()
    backlog.settle(saved=True)
    assert path.read_bytes() == b""


def test_rows_whose_numbers_belong_to_others_move_behind_them(tmp_path: Path) -> None:
    backlog = Backlog(Mirror(tmp_path / "pending.jsonl"))
    for number in (1, 2, 3):
        backlog.put(sample(number))
    backlog.follow(100, lambda row: row.seq == 1)
    assert [row.seq for row in backlog.take()] == [1, 101, 102]
    assert backlog.next_seq() == 103
    assert [row.seq for row in Mirror(tmp_path / "pending.jsonl").load()] == [1, 101, 102]


def test_a_discarded_event_takes_no_other_event_s_ticket() -> None:
    backlog = Backlog(None)
    first, second = backlog.put(event(1)), backlog.put(event(2))
    backlog.discard({2})
    assert not backlog.is_saved(first)
    backlog.take()
    backlog.settle(saved=True)
    assert backlog.is_saved(first)
    assert backlog.is_saved(second)


@given(steps=st.lists(st.sampled_from("ssssetfqx"), max_size=120))
@settings(max_examples=80)
def test_whatever_the_order_of_calls_numbers_rise_events_stay_and_heat_is_whole(steps: list[str]) -> None:
    backlog = Backlog(None, samples_max=8)
    saved: list[Row] = []
    taken: list[Row] | None = None
    put: list[Row] = []
    for number, step in enumerate(steps, start=1):
        if step in "se":
            put.append(sample(number) if step == "s" else event(number))
            backlog.put(put[-1])
        elif step == "t" and taken is None:
            taken = backlog.take()
        elif step in "fx" and taken is not None:
            backlog.settle(saved=step == "x")
            saved += taken if step == "x" else []
            taken = None
        elif step == "q":
            backlog.squeeze()
    if taken is not None:
        backlog.settle(saved=False)
    everything = saved + backlog.take()
    numbers = [row.seq for row in everything]
    assert numbers == sorted(set(numbers))
    assert heat_ms(everything) == heat_ms(put)
    assert [row for row in everything if isinstance(row, EventRow)] == [
        r for r in put if isinstance(r, EventRow)
    ]
    assert sum(isinstance(row, SampleRow) for row in everything) + backlog.dropped == sum(
        isinstance(row, SampleRow) for row in put
    )
