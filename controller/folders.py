"""Where things lie: STATE survives a power cut, RUN does not and need not."""

from __future__ import annotations

import os
import pwd
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path
from uuid import uuid4

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import write_durably
from controller.errors import StorageError

KIND_FILE = "frameward-folder-kind"
"""The file by which a folder is known as a keeper's own."""
SERVICE_STATE = Path("/var/lib/frameward")
SERVICE_RUN = Path("/run/frameward")
"""Where the unit that comes along keeps a board's frames."""
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
    def state_lock(self) -> Path:
        """Held together with ``lock``, so that two RUN folders cannot share one STATE."""
        return self.state / "keeper.lock"

    @property
    def rehearsal_pins(self) -> Path:
        """Every transition of the simulated pins of a rehearsal."""
        return self.run / "rehearsal-pins.jsonl"

    @property
    def rehearsal_clock_step(self) -> Path:
        """Seconds by which a rehearsal's wall clock is wrong; absent means none."""
        return self.run / "rehearsal-clock-step"


def find_folders(state: Path | None, run: Path | None, environment: Mapping[str, str]) -> Folders:
    """Resolve both folders: as asked, else the service manager's, else the service's, else the user's own.

    Where nothing is asked for, the folder that the service has made on this board is meant, so that
    a person and the service speak of the same frames. Nothing is created here.
    """
    managed_state = _first_path(environment.get("STATE_DIRECTORY"))
    managed_run = _first_path(environment.get("RUNTIME_DIRECTORY"))
    if (state, run, managed_state, managed_run) == (None,) * 4 and SERVICE_STATE.is_dir():
        return Folders(state=SERVICE_STATE, run=SERVICE_RUN)
    home = Path(environment.get("HOME", "/"))
    return Folders(
        state=state
        or managed_state
        or Path(environment.get("XDG_STATE_HOME", home / ".local/state")) / "frameward",
        run=run
        or managed_run
        or Path(environment.get("XDG_RUNTIME_DIR", f"/tmp/frameward-{os.getuid()}")) / "frameward",  # noqa: S108
    )


def claim_folders(folders: Folders, *, kind: FolderKind) -> None:
    """Create both folders and mark them as of this kind, durably.

    Raises StorageError when either belongs to the other kind: a rehearsal never
    writes into a real keeper's history, nor the other way round.
    """
    refuse_other_kind(folders, kind=kind)
    for folder in (folders.state, folders.run):
        make_folder(folder)
        mark = folder / KIND_FILE
        if _kind_of(mark) is not None:
            continue
        try:
            write_durably(mark, f"{kind}\n".encode("ascii"))
        except StorageError:
            # INV-3: a disk that takes nothing more is no reason to leave a real frame unheated
            if kind is not FolderKind.LIVE:
                raise


def refuse_other_kind(folders: Folders, *, kind: FolderKind) -> None:
    """Raise StorageError when either folder is marked as another kind's; creates and marks nothing."""
    for folder in (folders.state, folders.run):
        found = _kind_of(folder / KIND_FILE)
        if found is not None and found != kind:
            raise StorageError(
                f"{folder}: belongs to a {found} keeper, not a {kind} one; choose another folder"
            )


def make_folder(folder: Path) -> None:
    """Create the folder where it is missing; raises StorageError with what would help."""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o750)
    except OSError as error:
        raise StorageError(
            f"{folder}: cannot be made ({error.strerror}); choose another folder, or make it with: "
            f"sudo install -d -m 0750 -o {user_name(os.geteuid())} {folder}"
        ) from error


def user_name(uid: int) -> str:
    """What people call the user of that number; the number itself where it has no name."""
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)


@cache
def boot_id() -> str:
    """The kernel's name for this run of the board; its monotonic clock means nothing in another.

    Where the kernel does not tell, a name of this process's own: then no other process can show that
    it means the same run, and whatever was published counts as of another.
    """
    try:
        told = _BOOT_ID_FILE.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        told = ""
    return told or str(uuid4())


def _kind_of(mark: Path) -> FolderKind | None:
    """What the mark says, None where there is none or a power cut left it empty.

    Raises StorageError for anything that is no kind: nobody can say then whose folder it is.
    """
    try:
        data = read_bounded(mark, _KIND_BYTES_MAX).data
    except FileNotFoundError:
        return None
    except UnfitFile as error:
        raise StorageError(f"{mark}: {error}; choose another folder") from error
    words = data.decode("ascii", "replace").strip(" \t\r\n\0")
    try:
        return FolderKind(words) if words else None
    except ValueError as error:
        raise StorageError(
            f"{mark}: does not say whose folder this is; choose another folder, or, where you know "
            f"whose it is, write {' or '.join(FolderKind)} into that file"
        ) from error


def _first_path(colon_separated: str | None) -> Path | None:
    """The service manager may hand over several folders; the first is ours."""
    return Path(colon_separated.split(":")[0]) if colon_separated else None
