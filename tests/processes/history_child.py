"""A process that keeps a history, to be killed: run as ``python -m tests.processes.history_child``.

Prints ``s N`` once sample N has been added, ``e N`` once event N is on the disk.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from controller.record.writer import HistoryWriter
from tests.controller.record.lab import event, sample

SAMPLES_PER_EVENT = 7
PACED_EVENTS = 40


def say(text: str) -> None:
    """One line, at once; a single write reaches the pipe whole or not at all."""
    os.write(sys.stdout.fileno(), f"{text}\n".encode())


def run_flood(folder: Path, boot_id: str, rows_max: int, pause_s: float) -> None:
    """Add rows as fast as ``pause_s`` lets, telling what is safe; numbers go on from the file."""
    writer = HistoryWriter(folder / "history.sqlite3", folder / "pending.jsonl", utc_s=time.time)
    writer.start()
    first = writer.first_seq()
    say(f"start {first}")
    tickets: list[tuple[int, int]] = []
    for number in range(first, first + rows_max):
        if number % SAMPLES_PER_EVENT == 0:
            tickets.append((writer.add_event(event(number)), number))
        else:
            writer.add_sample(sample(number, boot_id=boot_id))
            say(f"s {number}")
        while tickets and writer.is_saved(tickets[0][0]):
            say(f"e {tickets.pop(0)[1]}")
        time.sleep(pause_s)
    closed = writer.close(30.0)
    while tickets and writer.is_saved(tickets[0][0]):
        say(f"e {tickets.pop(0)[1]}")
    health = writer.health()
    say(f"closed {closed} pending {health.pending} dropped {health.dropped}")


def run_day(folder: Path) -> None:
    """One frame's day at a row a minute and 60 events, each committed as on a board."""
    writer = HistoryWriter(folder / "history.sqlite3", None, utc_s=time.time)
    writer.start()
    say(f"before {written_bytes()}")
    for minute in range(1, 1441):
        writer.add_sample(sample(minute))
        history = writer._history  # waits for each batch, as ten minutes would
        wait_until_saved = minute % 10 == 0
        if minute % 24 == 0:
            ticket = writer.add_event(event(minute))
            while not writer.is_saved(ticket):
                time.sleep(0.0005)
        elif wait_until_saved:
            until_s = time.monotonic() + 0.2
            while history.pending_since_s(60.0 * minute) >= 540.0 and time.monotonic() < until_s:
                time.sleep(0.0005)
    writer.close(30.0)
    say(f"after {written_bytes()}")


def run_paced(folder: Path) -> None:
    """One event after the other, each told before the next is added."""
    writer = HistoryWriter(folder / "history.sqlite3", folder / "pending.jsonl", utc_s=time.time)
    writer.start()
    for number in range(1, PACED_EVENTS + 1):
        ticket = writer.add_event(event(number))
        while not writer.is_saved(ticket):
            time.sleep(0.001)
        say(f"e {number}")
    writer.close(30.0)


def written_bytes() -> int:
    """Bytes that this process has handed to write calls so far."""
    fields = dict(line.split(": ") for line in Path("/proc/self/io").read_text(encoding="ascii").splitlines())
    return int(fields["wchar"])


if __name__ == "__main__":
    mode, where, *rest = sys.argv[1:]
    if mode == "flood":
        run_flood(Path(where), rest[0], int(rest[1]), float(rest[2]))
    elif mode == "paced":
        run_paced(Path(where))
    else:
        run_day(Path(where))
