"""One copy of a lockout: its document, and its file as it is found, reserved and overwritten."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.errors import StorageError
from controller.vocabulary import FrameName, Lockout, LockoutCause

LOCKOUT_SCHEMA = 1
RESERVE_BYTES = 4096
"""One block."""
DETAIL_LETTERS_MAX = 400
"""A longer detail is cut, so that every lockout fits into its reserve."""
_LARGEST_BYTES = 65536
_CAUSES = frozenset(cause.value for cause in LockoutCause)


def copy_of(lockout: Lockout, heat_pin: int | None) -> bytes:
    """What one copy holds, padded to the size of its reserve."""
    document = {
        "schema": LOCKOUT_SCHEMA,
        "frame": lockout.frame,
        "heat_pin": heat_pin,
        "cause": lockout.cause.value,
        "detail": lockout.detail[:DETAIL_LETTERS_MAX],
        "raised_utc": lockout.raised_utc,
    }
    return json.dumps(document, ensure_ascii=False).encode().ljust(RESERVE_BYTES - 1) + b"\n"


def read_copy(path: Path, name: FrameName) -> Lockout | str | None:
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


def heat_pin_in(path: Path) -> int | None:
    """The heat pin that one copy names, or None when it tells none."""
    try:
        pin = _load(path).get("heat_pin")
    except (FileNotFoundError, UnfitFile, ValueError, RecursionError):
        return None
    return pin if type(pin) is int else None


def is_there(path: Path) -> bool:
    """Something stands there; raises StorageError where that cannot be seen."""
    try:
        path.lstat()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise StorageError(f"{path}: cannot be looked at ({error.strerror})") from error
    return True


def file_names(folder: Path) -> list[str]:
    """The names in a folder, none where there is no folder; raises StorageError."""
    try:
        return [path.name for path in folder.iterdir()]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise StorageError(f"{folder}: cannot be read ({error.strerror})") from error


def has_room(path: Path) -> bool:
    """A reserve stands there, of full size; raises StorageError where that cannot be seen."""
    return is_there(path) and path.lstat().st_size >= RESERVE_BYTES


def overwrite(path: Path, data: bytes) -> None:
    """Write over a file's own blocks, which takes no room; synced on return, raises OSError."""
    descriptor = os.open(path, os.O_WRONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        done = 0
        while done < len(data):
            done += os.pwrite(descriptor, data[done:], done)
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
