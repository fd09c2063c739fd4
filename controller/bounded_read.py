"""Reads small files that people and other programs touch, without ever hanging or filling memory."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class FileStamp:
    """What tells one version of a file from another without reading it."""

    inode: int
    size_bytes: int
    changed_ns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundFile:
    """A file's whole content, with its stamp, mode and owner from the same open file."""

    data: bytes
    stamp: FileStamp
    mode: int
    owner_uid: int


class UnfitFile(Exception):  # noqa: N818  # said of the file
    """The file cannot be used; the text says why in a few words."""


def read_bounded(path: Path, largest_bytes: int) -> FoundFile:
    """A regular file of at most ``largest_bytes``; a link to one is fine.

    Raises FileNotFoundError where there is none, UnfitFile for pipes, folders, devices, larger
    files and whatever else the system refuses.
    """
    try:
        # non-blocking, because opening a pipe would otherwise wait for a writer for ever
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY)
    except FileNotFoundError:
        raise
    except (OSError, ValueError) as error:
        raise UnfitFile(f"cannot be opened ({getattr(error, 'strerror', None) or error})") from error
    try:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode):
            raise UnfitFile("is not a regular file")
        data = _read_all(descriptor, largest_bytes + 1)
    except OSError as error:
        raise UnfitFile(f"cannot be read ({error.strerror})") from error
    finally:
        os.close(descriptor)
    if len(data) > largest_bytes:
        raise UnfitFile(f"is larger than {largest_bytes // 1024} kB")
    return FoundFile(
        data=data, stamp=_stamp(status), mode=stat.S_IMODE(status.st_mode), owner_uid=status.st_uid
    )


def stamp_of(path: Path) -> FileStamp | None:
    """The stamp of the file as it lies there now; None where there is nothing to stamp."""
    try:
        return _stamp(path.stat())
    except (OSError, ValueError):
        return None


def _read_all(descriptor: int, most_bytes: int) -> bytes:
    """Up to ``most_bytes``, however many reads that takes."""
    parts: list[bytes] = []
    left = most_bytes
    while left and (part := os.read(descriptor, left)):
        parts.append(part)
        left -= len(part)
    return b"".join(parts)


def _stamp(status: os.stat_result) -> FileStamp:
    return FileStamp(inode=status.st_ino, size_bytes=status.st_size, changed_ns=status.st_mtime_ns)
