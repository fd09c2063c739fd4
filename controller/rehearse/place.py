"""Where a rehearsal's keeper lives: never in the folders of a real one."""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import ExitStack
from pathlib import Path

from controller.errors import StorageError
from controller.folders import KIND_FILE, FolderKind, Folders, claim_folders

_IN_MEMORY = Path("/dev/shm")  # noqa: S108  # a folder of our own is made in it
"""A rehearsal's passing files are replaced at every step, which a disk would make slow."""


def rehearsal_folders(stack: ExitStack, *, state: Path | None, run: Path | None, out: Path | None) -> Folders:
    """The keeper's folders for this rehearsal: as asked, under ``--out``, else gone afterwards."""
    memory = _IN_MEMORY if os.access(_IN_MEMORY, os.W_OK | os.X_OK) else None
    passing = Path(
        stack.enter_context(tempfile.TemporaryDirectory(prefix="frameward-rehearsal-", dir=memory))
    )
    if state is None and out is not None:
        state = _emptied(out / "keeper")
    folders = Folders(state=state or passing / "state", run=run or passing / "run")
    claim_folders(folders, kind=FolderKind.REHEARSAL)
    return folders


def _emptied(state: Path) -> Path:
    """A folder of an earlier rehearsal, begun afresh so that the same seed gives the same run."""
    if state.exists():
        if not (state / KIND_FILE).is_file():
            raise StorageError(f"{state}: is not a rehearsal's folder; remove it or choose another --out")
        claim_folders(Folders(state=state, run=state), kind=FolderKind.REHEARSAL)
        try:
            shutil.rmtree(state)
        except OSError as error:
            raise StorageError(f"{state}: cannot be emptied ({error.strerror}); remove it") from error
    return state
