"""``frameward clear-lockout``: at the board, by a person, once the cause is gone."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from controller.commands import clear_lockout
from controller.errors import CommandRejected, StorageError
from controller.folders import boot_id
from controller.record.lockouts import LockoutFiles
from controller.vocabulary import FrameName, HeatReason, Lockout, LockoutCause

SOUTH = FrameName("south")
BOOT = boot_id()


class Board:
    """One board's folders with one locked frame."""

    def __init__(self, folder: Path, cause: LockoutCause = LockoutCause.OVERHEATED_ROOT) -> None:
        self.folder = folder
        self.files = LockoutFiles(folder / "state/lockouts", {})
        self.files.keep(Lockout(frame=SOUTH, cause=cause, detail="what was seen", raised_utc="2031-01-17"))

    def show(
        self,
        *reasons: str,
        age_s: float = 1.0,
        contacts: dict[str, bool | None] | None = None,
        others: dict[str, Any] | None = None,
        **readings: Any,
    ) -> None:
        """A running keeper's snapshot, here of the frame and there of ``others``."""
        shown: dict[str, Any] = {"readings": readings, "heat": {"reasons": list(reasons)}}
        if contacts is not None:
            shown["contacts"] = contacts
        document = {
            "schema": 1,
            "boot_id": BOOT,
            "mono_s": time.monotonic() - age_s,
            "frames": {"south": shown, **(others or {})},
        }
        (self.folder / "run").mkdir(exist_ok=True)
        (self.folder / "run/snapshot.json").write_text(json.dumps(document))

    def clear(self, *words: str, frame: str = "south", answer: str = "y") -> Result:
        """The command, as a person types it."""
        return CliRunner().invoke(
            clear_lockout.command,
            [
                frame,
                "--config",
                str(self.folder / "none.toml"),
                "--state",
                str(self.folder / "state"),
                "--run",
                str(self.folder / "run"),
                *words,
            ],
            input=f"{answer}\n",
        )

    @property
    def locked(self) -> bool:
        """Still locked."""
        return self.files.find(SOUTH) is not None


COOL = {"bed": {"value": 8.0, "age_s": 1.0}, "cable": {"value": 20.0, "age_s": 1.0}}
SEEN = [
    LockoutCause.OVERHEATED_ROOT,
    LockoutCause.OVERHEATED_CABLE,
    LockoutCause.CUT_OUT_OPENED,
]


@pytest.mark.parametrize("cause", SEEN)
def test_seen_gone_and_confirmed_it_is_cleared(tmp_path: Path, cause: LockoutCause) -> None:
    """The words say what had locked it, and that heat does not come at once."""
    board = Board(tmp_path, cause)
    board.show("locked", contacts={"cut_out_closed": True}, **COOL)
    done = board.clear()
    assert done.exit_code == 0, done.output
    assert "what was seen  (raised 2031-01-17)" in done.output
    assert "south is no longer locked. It rests a few minutes before heat is allowed again." in done.output
    assert not board.locked


def test_without_a_yes_it_stays_locked(tmp_path: Path) -> None:
    """Any other answer is no."""
    board = Board(tmp_path)
    board.show("locked", **COOL)
    done = board.clear(answer="n")
    assert isinstance(done.exception, CommandRejected)
    assert str(done.exception) == "south stays locked"
    assert board.locked


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (HeatReason.ROOT_TOO_WARM, "root zone is still too warm"),
        (HeatReason.CABLE_TOO_WARM, "cable is still too warm"),
        (HeatReason.CUT_OUT_OPEN, "cut-out is still open"),
        (HeatReason.OFF_PROOF, "still live with its relay off"),
    ],
)
def test_while_the_cause_is_seen_it_is_refused_whatever_is_claimed(
    tmp_path: Path, reason: HeatReason, words: str
) -> None:
    """W18: refused, reason shown, also with ``--cause-gone``."""
    board = Board(tmp_path)
    board.show("locked", reason.value, **COOL)
    for claim in ((), ("--cause-gone",)):
        done = board.clear(*claim)
        assert isinstance(done.exception, CommandRejected)
        assert words in str(done.exception)
        assert board.locked


def _no_keeper(board: Board) -> None:
    assert not (board.folder / "run").exists()


def _old(board: Board) -> None:
    board.show("locked", age_s=1000.0, **COOL)


def _bad_evidence(board: Board) -> None:
    board.show("locked", "bad_evidence", **COOL)


def _no_probe(board: Board) -> None:
    board.show("locked", bed={"rejected": "absent"})


def _odd(board: Board) -> None:
    board.show("locked", **COOL)
    path = board.folder / "run/snapshot.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), "frames": ["south"]}))


@pytest.mark.parametrize("blinding", [_no_keeper, _old, _bad_evidence, _no_probe, _odd])
def test_what_cannot_be_seen_a_person_must_have_looked_at(tmp_path: Path, blinding: Any) -> None:
    """No keeper, an old word, bad evidence, no probe, an odd file: ``--cause-gone`` is needed."""
    board = Board(tmp_path)
    blinding(board)
    done = board.clear()
    assert isinstance(done.exception, CommandRejected)
    assert "frameward clear-lockout south --cause-gone" in str(done.exception)
    assert board.locked
    assert board.clear("--cause-gone").exit_code == 0
    assert not board.locked


@pytest.mark.parametrize(
    ("cause", "contacts", "words"),
    [
        (LockoutCause.LIVE_WHEN_OFF, {"feedback_live": False}, "A weld cannot be seen"),
        (LockoutCause.LIVE_WHEN_OFF, None, "A weld cannot be seen"),
        (
            LockoutCause.CUT_OUT_OPENED,
            {"cut_out_closed": None},
            "No contact shows that the cut-out is closed",
        ),
        (LockoutCause.CUT_OUT_OPENED, {"cut_out_closed": False}, "No contact shows"),
        (LockoutCause.CUT_OUT_OPENED, {}, "No contact shows"),
        (LockoutCause.CUT_OUT_OPENED, None, "No contact shows"),
    ],
)
def test_what_no_contact_can_show_a_person_must_have_looked_at(
    tmp_path: Path, cause: LockoutCause, contacts: dict[str, bool | None] | None, words: str
) -> None:
    """R01, R06: an unplugged cable reads dead; a contact that is not there proves nothing."""
    board = Board(tmp_path, cause)
    board.show("locked", contacts=contacts, **COOL)
    assert words in str(board.clear().exception)
    assert board.locked
    assert board.clear("--cause-gone").exit_code == 0
    assert not board.locked


def test_an_unreadable_lockout_needs_a_look_even_with_a_keeper(tmp_path: Path) -> None:
    """S13: what had locked it is not known."""
    board = Board(tmp_path)
    for path in (tmp_path / "state/lockouts").iterdir():
        path.write_text("{")
    board.show("locked", **COOL)
    assert "What had locked it cannot be read" in str(board.clear().exception)
    assert board.clear("--cause-gone").exit_code == 0
    assert not board.locked


def test_only_the_named_frame_is_cleared(tmp_path: Path) -> None:
    """F10."""
    board = Board(tmp_path)
    north = FrameName("north")
    board.files.keep(Lockout(frame=north, cause=LockoutCause.CUT_OUT_OPENED, detail="", raised_utc=""))
    assert board.clear("--cause-gone").exit_code == 0
    assert board.files.find(north) is not None


@pytest.mark.parametrize("name", ["shed", "../../etc", "", "."])
def test_a_name_that_is_no_frame_is_refused_with_those_there_are(tmp_path: Path, name: str) -> None:
    """And no path is built from it."""
    done = Board(tmp_path).clear(frame=name)
    assert isinstance(done.exception, CommandRejected)
    assert "there are: south" in str(done.exception)


def test_nothing_to_clear_is_said(tmp_path: Path) -> None:
    """Exit 1: whoever typed it expected something else."""
    board = Board(tmp_path)
    board.clear("--cause-gone")
    done = board.clear("--cause-gone")
    assert isinstance(done.exception, CommandRejected)
    assert "there are: none" in str(done.exception)


def test_a_frame_of_the_settings_that_is_not_locked_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is changed."""
    monkeypatch.setattr(clear_lockout, "_heat_pins", lambda *_args: {FrameName("north"): 22, SOUTH: 17})
    done = Board(tmp_path).clear(frame="north")
    assert str(done.exception) == "north is not locked; nothing was changed"


def test_a_renamed_frame_is_cleared_under_its_new_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """F07: its lockout is the one of its heat pin."""
    board = Board(tmp_path)
    LockoutFiles(tmp_path / "state/lockouts", {SOUTH: 17}).keep(
        Lockout(frame=SOUTH, cause=LockoutCause.LIVE_WHEN_OFF, detail="weld", raised_utc="")
    )
    monkeypatch.setattr(clear_lockout, "_heat_pins", lambda *_args: {FrameName("sunny"): 17})
    assert board.clear("--cause-gone", frame="sunny").exit_code == 0
    assert not board.locked


def test_no_settings_at_all_are_said_and_go_by_the_names_on_disk(tmp_path: Path) -> None:
    """A person with a torn settings file can still clear a lockout."""
    done = Board(tmp_path).clear("--cause-gone")
    assert "going by the names on the lockouts alone" in done.output


def test_a_frame_that_another_names_torn_file_still_locks_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The person learns which name to clear too."""
    board = Board(tmp_path)
    (tmp_path / "state/lockouts/old.first.json").write_text("{")
    monkeypatch.setattr(clear_lockout, "_heat_pins", lambda *_args: {SOUTH: 17})
    done = board.clear("--cause-gone")
    assert "south is still locked by what stands under another name" in str(done.exception)
    assert "clear that too: frameward clear-lockout old" in str(done.exception)
    assert "old.first.json" in str(done.exception)
    assert board.clear("--cause-gone", frame="old").exit_code == 0
    assert LockoutFiles(tmp_path / "state/lockouts", {SOUTH: 17}).find(SOUTH) is None


def test_after_two_frames_swapped_relays_the_command_says_which_name_to_clear(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """F07, F10: no dead end, and the frame that now has the wire is looked at as well."""
    board = Board(tmp_path)
    LockoutFiles(tmp_path / "state/lockouts", {SOUTH: 17}).clear(SOUTH)
    LockoutFiles(tmp_path / "state/lockouts", {SOUTH: 17}).keep(
        Lockout(frame=SOUTH, cause=LockoutCause.OVERHEATED_ROOT, detail="hot", raised_utc="")
    )
    pins = {FrameName("north"): 17, SOUTH: 22}
    monkeypatch.setattr(clear_lockout, "_heat_pins", lambda *_args: pins)
    told = str(board.clear("--cause-gone", frame="north").exception)
    assert "to clear it: frameward clear-lockout south" in told
    board.show("locked", others={"north": {"heat": {"reasons": ["root_too_warm"]}}}, **COOL)
    assert "north stays locked" in str(board.clear("--cause-gone").exception)
    board.show("locked", others={"north": {"readings": COOL, "heat": {"reasons": []}}}, **COOL)
    assert board.clear().exit_code == 0
    assert LockoutFiles(tmp_path / "state/lockouts", pins).find(FrameName("north")) is None


def test_a_lockout_that_the_disk_has_not_taken_is_not_cleared_behind_the_keepers_back(tmp_path: Path) -> None:
    """S01: the keeper holds it in memory and would go on doing so, whatever was said here."""
    board = Board(tmp_path)
    board.files.clear(SOUTH)
    (tmp_path / "disk").write_text("takes nothing")
    broken = LockoutFiles(tmp_path / "disk/lockouts", {}, run=tmp_path / "run")
    with pytest.raises(StorageError):
        broken.keep(Lockout(frame=SOUTH, cause=LockoutCause.CUT_OUT_OPENED, detail="open", raised_utc=""))
    told = str(board.clear("--cause-gone").exception)
    assert "the disk has not taken this lockout yet" in told
    assert LockoutFiles(tmp_path / "state/lockouts", {}, run=tmp_path / "run").find(SOUTH) is not None
