"""The last good pins, kept for a stop action that must work without any settings.

::

    {"schema": 1, "pins": [{"pin": 17, "active_high": true}]}
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import write_durably
from controller.errors import StorageError

PINS_SCHEMA = 1
_PIN_MAX = 27
_LARGEST_BYTES = 65536


class StoredPin(NamedTuple):
    """One relay's pin by BCM number, and whether high means on."""

    pin: int
    active_high: bool


def write_pins(path: Path, pins: Iterable[StoredPin | tuple[int, bool]]) -> str:
    """Replace the file, durably; a file that already says the same is left as it is.

    A disk that does not take it ends nothing as long as an older file serves: returns the empty text
    where that one covers every pin asked for, else in words what a stop action would miss. Raises
    StorageError only where there is no file that a stop action could go by.
    """
    wanted = [StoredPin(pin, active_high) for pin, active_high in pins]
    listed = [{"pin": pin, "active_high": active_high} for pin, active_high in wanted]
    data = json.dumps({"schema": PINS_SCHEMA, "pins": listed}).encode() + b"\n"
    try:
        if read_bounded(path, _LARGEST_BYTES).data == data:
            return ""
    except (FileNotFoundError, UnfitFile):
        pass  # missing or unreadable: write it anew
    try:
        write_durably(path, data)
    except StorageError as error:
        return _missed(path, wanted, error)
    return ""


def _missed(path: Path, wanted: Iterable[StoredPin], refusal: StorageError) -> str:
    """What the older file leaves out, in words; raises the refusal where there is no older file."""
    try:
        older = read_pins(path)
    except StorageError:
        raise refusal from None
    missed = ", ".join(f"GPIO{pin.pin}" for pin in wanted if pin not in older)
    return missed and f"{refusal}; until then frameward relays-off does not know {missed}"


def read_pins(path: Path) -> tuple[StoredPin, ...]:
    """The pins as last written; raises StorageError, with the reason, for anything else."""
    try:
        document = json.loads(read_bounded(path, _LARGEST_BYTES).data)
    except FileNotFoundError as error:
        raise StorageError(f"{path}: cannot be read ({error.strerror})") from error
    except UnfitFile as error:
        raise StorageError(f"{path}: {error}") from error
    except (ValueError, RecursionError) as error:
        raise StorageError(f"{path}: is damaged ({error})") from error
    if not isinstance(document, dict) or document.get("schema") != PINS_SCHEMA:
        raise StorageError(f"{path}: is not a list of pins of schema {PINS_SCHEMA}")
    listed = document.get("pins")
    if not isinstance(listed, list):
        raise StorageError(f"{path}: holds no list of pins")
    return tuple(_stored_pin(path, entry) for entry in listed)


def _stored_pin(path: Path, entry: object) -> StoredPin:
    """One entry; a number that is no pin of the header is damage."""
    if isinstance(entry, dict):
        pin, active_high = entry.get("pin"), entry.get("active_high")
        if type(pin) is int and 0 <= pin <= _PIN_MAX and type(active_high) is bool:
            return StoredPin(pin, active_high)
    raise StorageError(f"{path}: {entry!r} is not a pin")
