"""Reads every probe once for each look: for a rehearsal whose time stands still between two ticks.

The reading is the board's own. Only the pace differs: no reader runs by itself, and a look waits until
every file has been read, or has shown that it hangs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from controller.sense.probes import BusReaders, BusWorker, ProbeSlot
from controller.sense.scratchpad import RawReading
from controller.vocabulary import ProbeId

HANGS_AFTER_S = 1.0
"""Real seconds; a rehearsal's files answer within a millisecond."""
_SLICES = 20
"""Patience is counted in slices, so that a process that was stopped meanwhile loses one at most."""
_GRACE_S = 0.005
"""For a hung read to return once its probe is well again, before the others are read."""


class _Turn(BusWorker):
    """One round over the probes of one bus."""

    def run(self) -> None:
        """Once over the probes."""
        for slot in self.slots:
            if not self.read_one(slot):
                return

    def ends_within(self, span_s: float) -> bool:
        """Whether it has ended; waits no longer than ``span_s`` real seconds for that."""
        self.thread.join(span_s)
        return not self.thread.is_alive()


class SteppedReaders(BusReaders):
    """As ``BusReaders``, but ``latest`` itself reads, at one instant of ``mono``."""

    def __init__(self, ids: Sequence[ProbeId], folder: Path, *, mono: Callable[[], float]) -> None:
        """Nothing is read before the first look."""
        self._given_up: list[_Turn] = []
        super().__init__(ids, folder, interval_s=0.0, deadline_s=HANGS_AFTER_S, mono=mono)

    def latest(self) -> Mapping[ProbeId, RawReading]:
        """Read every probe that does not hang, then tell the newest read of each.

        To be called by one thread. Takes up to ``HANGS_AFTER_S`` for each read that begins to hang.
        """
        self._given_up = [turn for turn in self._given_up if not turn.ends_within(_GRACE_S)]
        for bus, slots in self.buses.items():
            left: Sequence[ProbeSlot] = slots
            while left:
                left = self._read(bus, left)
        return {probe: slot.latest for probe, slot in self.slots.items() if slot.latest is not None}

    def _read(self, bus: str, slots: Sequence[ProbeSlot]) -> Sequence[ProbeSlot]:
        """One turn over these probes; returns those that are left because one before them hangs."""
        turn = _Turn(self, bus, slots)
        self.workers[bus] = turn
        try:
            turn.start()
        except RuntimeError:
            return ()  # no thread to be had now: the probes grow stale, which is told by itself
        while not any(turn.ends_within(HANGS_AFTER_S / _SLICES) for _ in range(_SLICES)):
            for at, slot in enumerate(slots):
                begun_at_s = slot.begun_at_s
                if begun_at_s is not None and not slot.stuck:
                    self.abandon(bus, slot, begun_at_s)
                if turn.abandoned:
                    self._given_up.append(turn)
                    return slots[at + 1 :]
        return ()

    def heal(self) -> None:
        """Nothing reads between two looks."""
