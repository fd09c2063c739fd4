"""Whole-file writes that survive a power cut: the old file or the new one, never a mixture."""

from __future__ import annotations

import os
from pathlib import Path

from controller.errors import StorageError


def write_durably(path: Path, data: bytes, *, mode: int = 0o640) -> None:
    """Replace ``path`` by ``data``; returns only after file and folder are synced.

    Raises StorageError with the path and the system's own words; the old file is then untouched.
    """
    partial = path.with_name(f".{path.name}.partial")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, mode)
        try:
            _write_all(descriptor, data)
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        partial.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        raise StorageError(
            f"{path}: cannot be written ({error.strerror}); free space or check the card"
        ) from error


def remove_durably(path: Path) -> None:
    """Remove ``path`` if it is there; returns only after the folder is synced."""
    try:
        path.unlink(missing_ok=True)
        sync_folder(path.parent)
    except OSError as error:
        raise StorageError(f"{path}: cannot be removed ({error.strerror})") from error


def replace_quickly(path: Path, data: bytes, *, mode: int = 0o644) -> None:
    """Replace ``path`` atomically without syncing; for files in RUN that a power cut may take."""
    try:
        _replace(path, data, mode)
    except FileNotFoundError:
        _replace_in_new_folder(path, data, mode)
    except OSError as error:
        raise StorageError(f"{path}: cannot be written ({error.strerror})") from error


def _replace(path: Path, data: bytes, mode: int) -> None:
    partial = path.with_name(f".{path.name}.partial")
    descriptor = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, mode)
    try:
        _write_all(descriptor, data)
    finally:
        os.close(descriptor)
    partial.replace(path)


def _replace_in_new_folder(path: Path, data: bytes, mode: int) -> None:
    """A folder in memory that somebody swept away is made again."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _replace(path, data, mode)
    except OSError as error:
        raise StorageError(f"{path}: cannot be written ({error.strerror})") from error


def sync_folder(folder: Path) -> None:
    """Make a rename or removal in ``folder`` survive a power cut."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _write_all(descriptor: int, data: bytes) -> None:
    """Write every byte; a short write goes on where it stopped."""
    view = memoryview(data)
    while view:
        written = os.write(descriptor, view)
        view = view[written:]
