"""The settings file on disk, its last good copy, and a watch for changes.

Nothing here ever writes to the settings file itself.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from controller.bounded_read import FileStamp, UnfitFile, read_bounded, stamp_of
from controller.config.parse import LARGEST_FILE_BYTES, decode_settings, parse_settings
from controller.config.records import Settings
from controller.durable import write_durably
from controller.errors import ConfigError, Fault, StorageError
from controller.folders import Folders

Source = Literal["file", "last_good"]

POLL_S = 5.0
"""A file that stayed the same from one poll to the next is whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedSettings:
    """Settings in use and where they came from."""

    settings: Settings
    source: Source
    faults: tuple[Fault, ...]
    """What keeps the file itself from being used, or the copy from being kept; to be told."""
    digest: str
    """SHA-256 of the bytes in use, in hexadecimal."""
    stamp: FileStamp | None
    """The settings file as it lay there when it was looked at; None where there was none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    settings: Settings
    data: bytes
    stamp: FileStamp


def load_settings(path: Path, folders: Folders, *, keep_copy: bool = True) -> LoadedSettings:
    """Settings from the file, else from the last copy that passed, with the file's faults carried along.

    A file that passes is kept as the new last good copy, durably, unless ``keep_copy`` is False.
    Raises ConfigError with the faults of both where neither passes.
    """
    stamp = stamp_of(path)
    try:
        found = _read(path)
    except ConfigError as error:
        return _load_last_good(folders.last_good_settings, error.faults, stamp)
    faults = _keep(found.data, folders.last_good_settings) if keep_copy else ()
    return _loaded(found, "file", faults, found.stamp)


@dataclass(slots=True)
class SettingsWatch:
    """Tells when the settings file has become another one, and only once it stays as it is.

    An editor may save in several steps; half a file would be told as a fault of its owner's.
    """

    path: Path
    stamp: FileStamp | None
    """The version in use, as ``LoadedSettings.stamp`` gives it."""
    poll_s: float = POLL_S
    _seen: FileStamp | None = field(init=False)
    _next_at_s: float | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        """Begin from the version in use."""
        self._seen = self.stamp

    def changed(self, now_s: float) -> bool:
        """True once for each new version, or for a loss, that two polls found alike.

        Cheap between polls; asks the system for the file's stamp every ``poll_s``.
        """
        if self._next_at_s is not None and now_s < self._next_at_s:
            return False
        self._next_at_s = now_s + self.poll_s
        seen, self._seen = self._seen, stamp_of(self.path)
        if self._seen != seen or self._seen == self.stamp:
            return False
        self.stamp = self._seen
        return True


def _read(path: Path) -> _Read:
    """The file's settings, or ConfigError with every fault, a missing or unfit file among them."""
    try:
        found = read_bounded(path, LARGEST_FILE_BYTES)
    except FileNotFoundError as error:
        raise ConfigError((_whole_file_fault(path, "does not exist"),)) from error
    except UnfitFile as error:
        raise ConfigError((_whole_file_fault(path, str(error)),)) from error
    settings = parse_settings(decode_settings(found.data, str(path)), str(path))
    return _Read(settings=settings, data=found.data, stamp=found.stamp)


def _whole_file_fault(path: Path, problem: str) -> Fault:
    return Fault(
        file=str(path),
        line=None,
        key="",
        problem=problem,
        remedy="put a settings file there, or name another with --config",
    )


def _load_last_good(copy: Path, faults: tuple[Fault, ...], stamp: FileStamp | None) -> LoadedSettings:
    try:
        found = _read(copy)
    except ConfigError as error:
        # a copy that never was is no second fault
        more = error.faults if copy.exists() else ()
        raise ConfigError((*faults, *more)) from error
    return _loaded(found, "last_good", faults, stamp)


def _loaded(
    found: _Read, source: Source, faults: tuple[Fault, ...], stamp: FileStamp | None
) -> LoadedSettings:
    return LoadedSettings(
        settings=found.settings,
        source=source,
        faults=faults,
        digest=hashlib.sha256(found.data).hexdigest(),
        stamp=stamp,
    )


def _keep(data: bytes, copy: Path) -> tuple[Fault, ...]:
    """Keep the copy where it differs; a disk that will not take it is told and costs nothing else."""
    try:
        if read_bounded(copy, LARGEST_FILE_BYTES).data == data:
            return ()
    except (FileNotFoundError, UnfitFile):
        pass  # nothing usable there: the copy is written anew
    try:
        write_durably(copy, data)
    except StorageError as error:
        return (
            Fault(
                file=str(copy),
                line=None,
                key="",
                problem=f"no copy of these settings could be kept: {error}",
                remedy="control goes on; mend the disk before the settings file is changed",
            ),
        )
    return ()
