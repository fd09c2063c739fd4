"""Where things lie: STATE survives a power cut, RUN does not and need not."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.errors import StorageError

KIND_FILE = "frameward-folder-kind"
"""The file by which a folder is known as a keeper's own."""
_BOOT_ID_FILE = Path("/proc/sys/kernel/random/boot_id")
_KIND_BYTES_MAX = 64


class FolderKind(StrEnum):
    """Whose folders these are."""

    LIVE = "live"
    REHEARSAL = "rehearsal"


@dataclass(frozen=True, slots=True, kw_only=True)
class Folders:
    """The two folders of one keeper and every file name in them."""

    state: Path
    run: Path

    @property
    def last_good_settings(self) -> Path:
        """Copy of the last settings file that passed every check."""
        return self.state / "settings.last-good.toml"

    @property
    def overlay(self) -> Path:
        """The listed few settings that a command may change."""
        return self.state / "settings.json"

    @property
    def calibration(self) -> Path:
        """Ice-point offsets by probe id."""
        return self.state / "calibration.json"

    @property
    def commission(self) -> Path:
        """The safety list's answers and checks, by frame."""
        return self.state / "commission.json"

    @property
    def lockouts(self) -> Path:
        """Folder of lockouts, two copies each."""
        return self.state / "lockouts"

    @property
    def pins(self) -> Path:
        """The last good pins, for a stop action that needs no settings."""
        return self.state / "pins.json"

    @property
    def starts(self) -> Path:
        """The last starts and whether each ended cleanly."""
        return self.state / "starts.json"

    @property
    def history(self) -> Path:
        """The SQLite file of samples and events."""
        return self.state / "history.sqlite3"

    @property
    def pending(self) -> Path:
        """Mirror of the samples that are not in the history yet."""
        return self.run / "pending.jsonl"

    @property
    def snapshot(self) -> Path:
        """What is true now, for every other process."""
        return self.run / "snapshot.json"

    @property
    def socket(self) -> Path:
        """The keeper's command socket."""
        return self.run / "keeper.sock"

    @property
    def lock(self) -> Path:
        """Held by the one keeper (or commissioning) that owns the pins."""
        return self.run / "keeper.lock"

    @property
    def rehearsal_pins(self) -> Path:
        """Every transition of the simulated pins of a rehearsal."""
        return self.run / "rehearsal-pins.jsonl"

    @property
    def rehearsal_clock_step(self) -> Path:
        """Seconds by which a rehearsal's wall clock is wrong; absent means none."""
        return self.run / "rehearsal-clock-step"


def find_folders(state: Path | None, run: Path | None, environment: Mapping[str, str]) -> Folders:
    """Resolve both folders: as asked, else the service manager's, else the user's own.

    Nothing is created here.
    """
    home = Path(environment.get("HOME", "/"))
    return Folders(
        state=state
        or _first_path(environment.get("STATE_DIRECTORY"))
        or Path(environment.get("XDG_STATE_HOME", home / ".local/state")) / "frameward",
        run=run
        or _first_path(environment.get("RUNTIME_DIRECTORY"))
        or Path(environment.get("XDG_RUNTIME_DIR", f"/tmp/frameward-{os.getuid()}")) / "frameward",  # noqa: S108
    )


def claim_folders(folders: Folders, *, kind: FolderKind) -> None:
    """Create both folders and mark them as of this kind.

    Raises StorageError when either belongs to the other kind: a rehearsal never
    writes into a real keeper's history, nor the other way round.
    """
    for folder in (folders.state, folders.run):
        mark = folder / KIND_FILE
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o750)
            found = _kind_of(mark)
            if found is None:
                mark.write_text(f"{kind}\n", encoding="ascii")
        except UnfitFile as error:
            raise StorageError(f"{mark}: {error}; choose another folder") from error
        except OSError as error:
            raise StorageError(
                f"{folder}: cannot be used ({error.strerror}); choose another folder"
            ) from error
        if found is not None and found != kind:
            raise StorageError(
                f"{folder}: belongs to a {found} keeper, not a {kind} one; choose another folder"
            )


def boot_id() -> str:
    """The kernel's name for this run of the board; its monotonic clock means nothing in another."""
    return _BOOT_ID_FILE.read_text(encoding="ascii").strip()


def _kind_of(mark: Path) -> str | None:
    """What the mark says, None where there is none; raises UnfitFile."""
    try:
        return read_bounded(mark, _KIND_BYTES_MAX).data.decode("ascii", "replace").strip()
    except FileNotFoundError:
        return None


def _first_path(colon_separated: str | None) -> Path | None:
    """The service manager may hand over several folders; the first is ours."""
    return Path(colon_separated.split(":")[0]) if colon_separated else None
