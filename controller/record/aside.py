"""Damaged histories are moved out of the way under a dated name, never overwritten."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from controller.durable import sync_folder

SIDE_FILES = ("-wal", "-shm", "-journal")
KEPT_MAX = 5


def put_aside(path: Path, *, utc_s: float, label: str = "damaged") -> str:
    """Rename the file and what belongs to it; returns its new name. Raises OSError.

    At most five stay; the smallest goes first, since it holds least.
    """
    target = _free_name(path, utc_s=utc_s, label=label)
    for suffix in ("", *SIDE_FILES):
        piece = path.with_name(path.name + suffix)
        if piece.is_symlink() or piece.exists():
            piece.rename(target.with_name(target.name + suffix))
    _limit(path, label=label, newest=target)
    sync_folder(path.parent)
    return target.name


def _free_name(path: Path, *, utc_s: float, label: str) -> Path:
    """A dated name that nothing bears yet."""
    try:
        stamp = datetime.fromtimestamp(utc_s, UTC).strftime("%Y%m%dT%H%M%SZ")
    except (ValueError, OverflowError, OSError):
        stamp = "undated"
    taken = _groups(path)
    stem = f"{path.name}.{label}-{stamp}"
    name, number = stem, 1
    while name in taken:
        number += 1
        name = f"{stem}-{number:02d}"
    return path.with_name(name)


def _limit(path: Path, *, label: str, newest: Path) -> None:
    """Remove the smallest groups of plain files until no more than five are left.

    A folder that stood in the history's place is never removed.
    """
    prefix = f"{path.name}.{label}-"
    sizes = {
        name: sum(piece.lstat().st_size for piece in pieces)
        for name, pieces in _groups(path).items()
        if name.startswith(prefix) and all(piece.is_file() for piece in pieces)
    }
    spare = sorted((name for name in sizes if name != newest.name), key=sizes.__getitem__)
    for name in spare[: max(len(sizes) - KEPT_MAX, 0)]:
        for piece in _groups(path)[name]:
            piece.unlink(missing_ok=True)


def _groups(path: Path) -> dict[str, list[Path]]:
    """Everything beside ``path`` by name, a database together with its side files."""
    groups: dict[str, list[Path]] = {}
    for piece in path.parent.iterdir():
        name = piece.name
        for suffix in SIDE_FILES:
            name = name.removesuffix(suffix)
        groups.setdefault(name, []).append(piece)
    return groups
