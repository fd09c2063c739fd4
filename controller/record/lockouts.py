"""Lockouts on disk: two copies each, and whatever cannot be read counts as locked.

One file holds one copy, ``NAME.first.json`` or ``NAME.second.json``::

    {"schema": 1, "frame": "south", "heat_pin": 17,
     "cause": "live_when_off", "detail": "cable live for 20 s, relay off", "raised_utc": "…"}

A lockout belongs to its frame and to its heat pin: a frame that was renamed stays locked, since the
wires are the same.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import remove_durably, write_durably
from controller.errors import StorageError
from controller.vocabulary import FrameName, Lockout, LockoutCause

LOCKOUT_SCHEMA = 1
COPIES = ("first", "second")
_LARGEST_BYTES = 65536
_CAUSES = frozenset(cause.value for cause in LockoutCause)


class LockoutFiles:
    """The lockouts of one keeper, in one folder."""

    def __init__(self, folder: Path, heat_pins: Mapping[FrameName, int]) -> None:
        """``heat_pins`` names the heat relay's pin of every frame of the present settings."""
        self._folder = folder
        self._heat_pins = dict(heat_pins)

    @property
    def frames(self) -> tuple[FrameName, ...]:
        """The frames of the present settings that can be heated."""
        return tuple(self._heat_pins)

    def find(self, frame: FrameName) -> Lockout | None:
        """The lockout of this frame, by its name or by its heat pin; None when there is none.

        A copy that cannot be read, is damaged, of another schema or of another frame locks as
        UNREADABLE, unless the other copy is whole.
        """
        damage: str | None = None
        for name in self._names(frame, without_pin=True):
            for copy in COPIES:
                path = self._path(name, copy)
                found = self._read(path, name)
                if isinstance(found, Lockout):
                    return Lockout(
                        frame=frame, cause=found.cause, detail=found.detail, raised_utc=found.raised_utc
                    )
                damage = damage or found
        if damage is None:
            return None
        return Lockout(frame=frame, cause=LockoutCause.UNREADABLE, detail=damage, raised_utc="")

    def keep(self, lockout: Lockout) -> None:
        """Write both copies; returns only once both are on disk, raises StorageError otherwise."""
        data = json.dumps(
            {
                "schema": LOCKOUT_SCHEMA,
                "frame": lockout.frame,
                "heat_pin": self._heat_pins.get(lockout.frame),
                "cause": lockout.cause.value,
                "detail": lockout.detail,
                "raised_utc": lockout.raised_utc,
            },
            ensure_ascii=False,
        ).encode()
        for copy in COPIES:
            write_durably(self._path(lockout.frame, copy), data + b"\n")

    def clear(self, frame: FrameName) -> bool:
        """Remove the lockout of this frame, or of its heat pin, and no other; True when there was one.

        A damaged one of a frame that the settings do not know tells no pin, so it locks every frame
        and goes only by its own name.
        """
        names = self._names(frame, without_pin=False)
        paths = [self._path(name, copy) for name in names for copy in COPIES]
        present = [path for path in paths if path.is_symlink() or path.exists()]
        for path in present:
            remove_durably(path)
        return bool(present)

    def all_names(self) -> tuple[FrameName, ...]:
        """Every frame that has a copy on disk, whether the settings still know it or not."""
        try:
            files = sorted(path.name for path in self._folder.iterdir())
        except FileNotFoundError:
            return ()
        except OSError as error:
            raise StorageError(f"{self._folder}: cannot be read ({error.strerror})") from error
        names = {
            name.removesuffix(f".{copy}.json")
            for name in files
            for copy in COPIES
            if name.endswith(f".{copy}.json") and not name.startswith(".")
        }
        return tuple(FrameName(name) for name in sorted(names))

    def _path(self, name: FrameName, copy: str) -> Path:
        return self._folder / f"{name}.{copy}.json"

    def _names(self, frame: FrameName, *, without_pin: bool) -> tuple[FrameName, ...]:
        """The frame's own name, then names that the settings do not know but that lock its heat pin.

        Those are frames that were renamed or removed. ``without_pin`` takes in copies that tell no pin.
        """
        heat_pin = self._heat_pins.get(frame)
        if heat_pin is None:
            return (frame,)
        strangers = [name for name in self.all_names() if name not in self._heat_pins]
        return (frame, *(name for name in strangers if self._locks(name, heat_pin, without_pin=without_pin)))

    def _locks(self, name: FrameName, heat_pin: int, *, without_pin: bool) -> bool:
        """Either copy names this pin, or, where that counts, none tells a pin."""
        pins = {_heat_pin(self._path(name, copy)) for copy in COPIES} - {None}
        return heat_pin in pins if pins else without_pin

    def _read(self, path: Path, name: FrameName) -> Lockout | str | None:
        """One copy: the lockout, what is wrong with it, or None where there is no file."""
        try:
            document = _load(path)
        except FileNotFoundError:
            return None
        except UnfitFile as error:
            return f"{path}: {error}"
        except (ValueError, RecursionError) as error:
            return f"{path}: is damaged ({error})"
        return _parse(document, path, name)


def _parse(document: Mapping[str, object], path: Path, name: FrameName) -> Lockout | str:
    """One copy's document: the lockout, or what is wrong with it."""
    if document.get("schema") != LOCKOUT_SCHEMA or document.get("frame") != name:
        return f"{path}: is not a lockout of {name} in schema {LOCKOUT_SCHEMA}"
    cause, detail, raised_utc = (document.get(key) for key in ("cause", "detail", "raised_utc"))
    if not isinstance(cause, str) or cause not in _CAUSES:
        return f"{path}: does not say what locked {name}"
    if not isinstance(detail, str) or not isinstance(raised_utc, str):
        return f"{path}: does not say how or when {name} was locked"
    return Lockout(frame=name, cause=LockoutCause(cause), detail=detail, raised_utc=raised_utc)


def _load(path: Path) -> dict[str, object]:
    """The JSON object in a file; raises FileNotFoundError, UnfitFile or ValueError."""
    document = json.loads(read_bounded(path, _LARGEST_BYTES).data.decode("utf-8"))
    if not isinstance(document, dict):
        raise ValueError("no JSON object")  # noqa: TRY004  # damage like any other
    return document


def _heat_pin(path: Path) -> int | None:
    """The heat pin that one copy names, or None when it tells none."""
    try:
        pin = _load(path).get("heat_pin")
    except (FileNotFoundError, UnfitFile, ValueError, RecursionError):
        return None
    return pin if type(pin) is int else None
