"""Lockouts on disk: two copies each, and whatever cannot be read counts as locked.

One file holds one copy, ``NAME.first.json`` or ``NAME.second.json``::

    {"schema": 1, "frame": "south", "heat_pin": 17,
     "cause": "live_when_off", "detail": "cable live for 20 s, relay off", "raised_utc": "…"}

A lockout belongs to its frame and to its heat pin: a frame that was renamed, or that was given another
frame's relay, stays locked, since the wires are the same.

A full disk must not undo a lockout. ``NAME.first.reserve`` and ``NAME.second.reserve`` hold its room:
blocks that are on disk already, overwritten and renamed when a plain write fails. They are never read.
While no copy is on disk all the same, one stands in RUN, which outlives the process but not the board's
power. Clearing turns the copies back into reserves, so that a folder where neither stands is known for
what it is: not cleared, but gone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path

from controller.durable import remove_durably, replace_quickly, sync_folder, write_durably
from controller.errors import StorageError
from controller.record.lockout_copy import (
    RESERVE_BYTES,
    copy_of,
    file_names,
    has_room,
    heat_pin_in,
    is_there,
    overwrite,
    read_copy,
)
from controller.vocabulary import FrameName, Lockout, LockoutCause

COPIES = ("first", "second")
IN_RUN = "run"


class LockoutFiles:
    """The lockouts of one keeper, in one folder."""

    def __init__(self, folder: Path, heat_pins: Mapping[FrameName, int], *, run: Path | None = None) -> None:
        """``heat_pins`` names the heat relay's pin of every frame of the present settings.

        ``run`` is the folder RUN, for what the disk does not take; None does without.
        """
        self._folder = folder
        self._heat_pins = dict(heat_pins)
        self._run = run
        self._made: set[FrameName] = set()
        """Frames of which this object has seen a copy or a reserve on disk."""

    @property
    def frames(self) -> tuple[FrameName, ...]:
        """The frames of the present settings that can be heated."""
        return tuple(self._heat_pins)

    def prepare(self, frame: FrameName) -> None:
        """Make the folder and this frame's reserves, where they are missing; raises StorageError."""
        for copy in COPIES:
            if not (is_there(self._path(frame, copy)) or has_room(self._reserve(frame, copy))):
                write_durably(self._reserve(frame, copy), bytes(RESERVE_BYTES))
        self._made.add(frame)

    def find(self, frame: FrameName) -> Lockout | None:
        """The lockout of this frame, by its name or by its heat pin; None when there is none.

        A copy that cannot be read, is damaged, of another schema or of another frame locks as
        UNREADABLE, unless another copy is whole. Raises StorageError where neither a lockout nor its
        reserve is left of what once was there: that is no clearing.
        """
        damage: str | None = None
        for name in self._names(frame, without_pin=True):
            for path in self._paths(name):
                found = read_copy(path, name)
                if isinstance(found, Lockout):
                    return Lockout(
                        frame=frame, cause=found.cause, detail=found.detail, raised_utc=found.raised_utc
                    )
                damage = damage or found
        if damage is not None:
            return Lockout(frame=frame, cause=LockoutCause.UNREADABLE, detail=damage, raised_utc="")
        if frame in self._made and not any(is_there(self._reserve(frame, copy)) for copy in COPIES):
            raise StorageError(f"{self._folder}: what was kept there for {frame} is gone; is STATE in place?")
        return None

    def stored_as(self, frame: FrameName) -> tuple[FrameName, ...]:
        """Every name under which a lockout stands that locks this frame: those that a person clears."""
        return tuple(
            name
            for name in self._names(frame, without_pin=True)
            if any(read_copy(path, name) is not None for path in self._paths(name))
        )

    def locked_by(self, name: FrameName) -> tuple[FrameName, ...]:
        """The frames of the settings that the lockout under this name locks."""
        return tuple(frame for frame in self._heat_pins if name in self.stored_as(frame))

    def only_in_run(self, name: FrameName) -> bool:
        """A lockout of this name that the disk has not taken yet."""
        return self._run is not None and [*self._present(name)] == [self._path(name, IN_RUN)]

    def keep(self, lockout: Lockout) -> bool:
        """Write both copies; returns once at least one is on disk, True when both are.

        Raises StorageError when neither could be written; the copy in RUN stands then.
        """
        name = lockout.frame
        data = copy_of(lockout, self._heat_pins.get(name))
        faults = [fault for copy in COPIES if (fault := self._keep_copy(name, copy, lockout, data))]
        if len(faults) == len(COPIES):
            if self._run is not None:
                path = self._path(name, IN_RUN)
                with suppress(OSError):
                    path.parent.mkdir(parents=True, exist_ok=True)
                replace_quickly(path, data)
            raise StorageError("; ".join(faults))
        self._made.add(name)
        if self._run is not None:
            with suppress(OSError):
                self._path(name, IN_RUN).unlink(missing_ok=True)
        return not faults

    def clear(self, frame: FrameName) -> bool:
        """End the lockout of this frame's name, or of its heat pin under a name that the settings lack.

        True when there was one. One under another frame's name stays: it is that frame's as well. So
        does a damaged one of a name that the settings lack, which tells no pin and locks every frame.
        """
        present = [
            (path, name) for name in self._names(frame, without_pin=False) for path in self._present(name)
        ]
        for path, name in present:
            self._clear_copy(path, name)
        return bool(present)

    def all_names(self) -> tuple[FrameName, ...]:
        """Every frame that has a copy, whether the settings still know it or not."""
        names = {
            file.removesuffix(f".{copy}.json")
            for copy in (*COPIES, IN_RUN)
            if (folder := self._home(copy)) is not None
            for file in file_names(folder)
            if file.endswith(f".{copy}.json") and not file.startswith(".")
        }
        return tuple(FrameName(name) for name in sorted(names))

    def _home(self, copy: str) -> Path | None:
        """The folder of that copy; None where there is no RUN."""
        if copy != IN_RUN:
            return self._folder
        return None if self._run is None else self._run / "lockouts"

    def _path(self, name: FrameName, copy: str) -> Path:
        return (self._home(copy) or self._folder) / f"{name}.{copy}.json"

    def _reserve(self, name: FrameName, copy: str) -> Path:
        return self._folder / f"{name}.{copy}.reserve"

    def _paths(self, name: FrameName) -> Iterator[Path]:
        """Where a copy of this name may stand."""
        for copy in COPIES if self._run is None else (*COPIES, IN_RUN):
            yield self._path(name, copy)

    def _present(self, name: FrameName) -> Iterator[Path]:
        """Where a copy of this name stands."""
        return (path for path in self._paths(name) if is_there(path))

    def _keep_copy(self, name: FrameName, copy: str, lockout: Lockout, data: bytes) -> str:
        """One copy on disk, by a plain write or else in its reserve; returns what failed, in words."""
        path, reserve = self._path(name, copy), self._reserve(name, copy)
        if read_copy(path, name) == lockout and heat_pin_in(path) == self._heat_pins.get(name):
            return ""
        try:
            write_durably(path, data)
        except StorageError as error:
            try:
                overwrite(reserve, data)
                reserve.replace(path)
                sync_folder(self._folder)
            except OSError:
                return str(error)
        return ""

    def _clear_copy(self, path: Path, name: FrameName) -> None:
        """One copy back to a reserve in one step; the one in RUN, a folder or a pipe is removed."""
        copy = path.name.removeprefix(f"{name}.").removesuffix(".json")
        try:
            if copy == IN_RUN:
                path.unlink(missing_ok=True)
            elif path.is_file() and not path.is_symlink():
                path.replace(self._reserve(name, copy))
                sync_folder(self._folder)
            else:
                remove_durably(path)
        except OSError as error:
            raise StorageError(f"{path}: cannot be cleared ({error.strerror})") from error

    def _names(self, frame: FrameName, *, without_pin: bool) -> tuple[FrameName, ...]:
        """The frame's own name, then every other that locks its heat pin.

        Those are frames that were renamed or removed, or whose relay this frame has now.
        ``without_pin`` takes in names that the frame itself does not clear: other frames' of the
        settings, and strangers whose copies tell no pin.
        """
        heat_pin = self._heat_pins.get(frame)
        if heat_pin is None:
            return (frame,)
        others = [name for name in self.all_names() if name != frame]
        return (frame, *(name for name in others if self._locks(name, heat_pin, without_pin=without_pin)))

    def _locks(self, name: FrameName, heat_pin: int, *, without_pin: bool) -> bool:
        """Any copy names this pin, or, where that counts, a stranger's tells none."""
        known = name in self._heat_pins
        pins = {heat_pin_in(path) for path in self._paths(name)} - {None}
        if pins:
            return heat_pin in pins and (without_pin or not known)
        return without_pin and not known
