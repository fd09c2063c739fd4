"""``STATE/settings.json``: the overlay on disk."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import write_durably
from controller.loop.overlay import Overlay, OverlayUnreadable, decode_overlay, encode_overlay

_LARGEST_BYTES = 64 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedOverlay:
    """The overlay as found, and what is to be told about it."""

    overlay: Overlay
    remarks: tuple[str, ...]


def load_overlay(path: Path, *, set_aside: bool = True) -> LoadedOverlay:
    """Read the overlay; a missing file means no change, an unreadable one is set aside and said.

    Never raises. ``set_aside`` False leaves an unreadable file where it is.
    """
    try:
        overlay, words = decode_overlay(read_bounded(path, _LARGEST_BYTES).data)
    except FileNotFoundError:
        return LoadedOverlay(overlay=Overlay(), remarks=())
    except (UnfitFile, OverlayUnreadable) as error:
        moved = _move_aside(path) if set_aside else ""
        remark = f"{path}: {error}; changes made by commands are lost{moved}, the settings file holds"
        return LoadedOverlay(overlay=Overlay(), remarks=(remark,))
    return LoadedOverlay(overlay=overlay, remarks=tuple(f"{path}: {word}; not used" for word in words))


def save_overlay(path: Path, overlay: Overlay) -> None:
    """Store the overlay; returns once it is safe on disk, raises StorageError when it cannot be."""
    write_durably(path, encode_overlay(overlay))


def _move_aside(path: Path) -> str:
    """Keep what cannot be read for a person to look at; words for the remark."""
    aside = path.with_name(f"{path.name}.set-aside")
    try:
        path.replace(aside)
    except OSError as error:
        return f" (it could not be set aside: {error.strerror})"
    return f" (it now lies at {aside})"
