"""A rehearsal with the real keeper as a process: the same run as in one process, and nothing left behind."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from controller.errors import StorageError
from controller.folders import FolderKind, Folders, claim_folders
from controller.loop.clock import set_instant
from controller.loop.supervisor import only_one
from controller.record.read import open_reader
from controller.rehearse import paced, pacedchild
from controller.rehearse.keepers import give_order, put_away, real_keeper
from controller.rehearse.paced import PacedRehearsal, paced_rehearsal
from controller.rehearse.pacedchild import ChildLost
from controller.rehearse.probes import FaultKind, ProbeFault
from controller.rehearse.run import Moment, Plan, Rehearsal
from controller.sense.stepped import HANGS_AFTER_S
from controller.vocabulary import AIR_PLACES, Place, Sample
from controller.weatherseries import EPOCH
from tests.controller.rehearse.lab import SOUTH, example, plan
from tests.processes.keeperlab import KeeperLab

pytestmark = pytest.mark.process
PATIENCE_S = 20.0
RELAY_PIN = 17
AIR = example().frames[SOUTH].probes[Place.AIR]
SECOND = example().frames[SOUTH].probes[Place.AIR_SECOND]


@pytest.fixture
def free_folders(tmp_path: Path) -> Iterator[Folders]:
    """In memory where there is any, as a rehearsal's own are: a disk's syncs would take most of the time."""
    memory = Path("/dev/shm")  # noqa: S108  # a folder of its own is made in it
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else tmp_path) as folder:
        folders = Folders(state=Path(folder) / "state", run=Path(folder) / "run")
        claim_folders(folders, kind=FolderKind.REHEARSAL)
        yield folders


@pytest.fixture
def folders(free_folders: Folders) -> Iterator[Folders]:
    """Held by this process, as a rehearsal holds its own."""
    with only_one(free_folders):
        yield free_folders


def at_full_speed(what: Plan, root: Path) -> list[Moment]:
    """The same plan in one process."""
    folders = Folders(state=root / "fast", run=root / "fast-run")
    claim_folders(folders, kind=FolderKind.REHEARSAL)
    rehearsal = Rehearsal(what, real_keeper(folders), give_order)
    moments = list(rehearsal.moments())
    put_away(rehearsal.keeper)
    return moments


def seen(moment: Moment) -> object:
    """All that a view, a tally or a table takes from a moment."""
    return (
        moment.utc,
        moment.dt_s,
        {
            name: (frame.true_c, frame.heated_s, frame.stood, frame.covering)
            for name, frame in moment.frames.items()
        },
        {
            name: (
                tick.report,
                tick.aim_c,
                tick.wish,
                tick.opening,
                tick.covering,
                {
                    place: reading.temp_c if isinstance(reading, Sample) else reading.reason
                    for place, reading in tick.readings.items()
                },
            )
            for name, tick in moment.result.frames.items()
        },
        moment.result.notices,
        moment.pushed,
    )


def assert_same(found: Sequence[Moment], expected: Sequence[Moment]) -> None:
    """Moment for moment; says where two runs part."""
    assert len(found) == len(expected)
    for one, other in zip(found, expected, strict=True):
        assert seen(one) == seen(other), one.utc


def levels(folders: Folders) -> list[int]:
    """Every level of the relay's pin, in order."""
    lines = folders.rehearsal_pins.read_text().splitlines()
    return [each["level"] for each in map(json.loads, lines) if each["pin"] == RELAY_PIN]


def is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def until(truth: Callable[[], object]) -> None:
    until_s = time.monotonic() + PATIENCE_S
    while not truth():
        assert time.monotonic() < until_s, "never came true"
        time.sleep(0.01)


def relay_on(moment: Moment) -> bool:
    return moment.result.frames[SOUTH].report.relay_on


def test_a_day_with_the_real_process_is_the_day_in_one_process(folders: Folders, tmp_path: Path) -> None:
    """Truth, readings, heat, covers, notices and pushes are the same; relay, record and files agree."""
    what = plan(days=1.0, grower="attentive")
    with paced_rehearsal(what, folders) as rehearsal:
        moments = list(rehearsal.moments())
        pid = rehearsal.children[0].pid
    assert_same(moments, at_full_speed(what, tmp_path))
    assert not is_alive(pid)

    switched = levels(folders)
    assert switched[0] == switched[-1] == 0
    assert switched.count(1) == moments[-1].result.frames[SOUTH].report.switch_on_count > 0
    assert {moment.frames[SOUTH].opening for moment in moments} > {"shut"}, "the grower's reports arrived"
    from_s = (what.from_utc - EPOCH).total_seconds()
    with open_reader(folders.history) as reader:
        samples = list(reader.samples(from_utc_s=from_s, to_utc_s=from_s + 2 * 86400.0, frame=SOUTH))
        told = [str(row.detail["id"]) for row in reader.events(what="notice")]
    assert [sample.row.utc_s for sample in samples] == [
        (moment.utc - EPOCH).total_seconds() for moment in moments
    ]
    assert told == [event.notice_id for moment in moments for event in moment.result.notices]
    for moment in moments:
        at_s = 1000.0 + (moment.utc - what.from_utc).total_seconds()
        for reading in moment.result.frames[SOUTH].readings.values():
            assert isinstance(reading, Sample)
            assert reading.taken_at_s == at_s, "every reading is one of this very step"


def test_faults_of_probes_are_told_as_in_one_process(folders: Folders, tmp_path: Path) -> None:
    """Unplugged, hanging and of a wrong checksum: the same notices at the same instants."""
    faults = [
        ProbeFault(probe=probe, kind=kind, from_s=from_h * 3600.0, until_s=(from_h + 1) * 3600.0)
        for probe, kind, from_h in (
            (AIR, FaultKind.ABSENT, 1),
            (SECOND, FaultKind.HUNG, 2),
            (AIR, FaultKind.HUNG, 2),
            (AIR, FaultKind.CRC, 4),
        )
    ]
    what = plan(days=0.25, faults=faults)
    with paced_rehearsal(what, folders) as rehearsal:
        moments = list(rehearsal.moments())
    assert_same(moments, at_full_speed(what, tmp_path))
    codes = {event.code for moment in moments for event in moment.result.notices}
    assert "probe_lost" in codes or "air_lost" in codes
    reasons = {
        str(getattr(moment.result.frames[SOUTH].readings[place], "reason", ""))
        for moment in moments
        for place in AIR_PLACES
    }
    assert {"absent", "hung"} <= reasons


def test_probes_that_all_begin_to_hang_in_one_step_are_waited_for(
    folders: Folders, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each hung read takes its second of the round, however short the patience is otherwise."""
    monkeypatch.setattr(paced, "ANSWER_S", 0.3)
    probes = dict.fromkeys(example().frames[SOUTH].probes.values())
    faults = [ProbeFault(probe=each, kind=FaultKind.HUNG, from_s=600.0, until_s=1200.0) for each in probes]
    with paced_rehearsal(plan(days=0.01, faults=faults), folders) as rehearsal:
        longest_s, before_s = 0.0, time.monotonic()
        for moment in rehearsal.moments():
            assert set(moment.result.frames[SOUTH].readings) == set(example().frames[SOUTH].probes)
            now_s = time.monotonic()
            longest_s, before_s = max(longest_s, now_s - before_s), now_s
    assert longest_s > len(probes) * HANGS_AFTER_S > 1.0, "they did hang, one after the other"


def test_a_last_step_that_is_shorter_has_its_round_too(folders: Folders, tmp_path: Path) -> None:
    what = plan(days=0.05, step_s=100.0)
    with paced_rehearsal(what, folders) as rehearsal:
        moments = list(rehearsal.moments())
    assert_same(moments, at_full_speed(what, tmp_path))
    assert moments[-1].dt_s == 20.0


def test_a_keeper_that_is_stopped_for_three_seconds_loses_nothing(folders: Folders, tmp_path: Path) -> None:
    """Time waits for it: no reading grows old, no round is late, nothing is told of it."""
    what = plan(days=0.1)
    with paced_rehearsal(what, folders) as rehearsal:
        pid = rehearsal.children[0].pid
        moments = []
        for moment in rehearsal.moments():
            moments.append(moment)
            if len(moments) == 100:
                os.kill(pid, signal.SIGSTOP)
                threading.Timer(3.0, os.kill, (pid, signal.SIGCONT)).start()
                stopped_at_s = time.monotonic()
            if len(moments) == 101:
                assert time.monotonic() - stopped_at_s >= 2.9
    assert_same(moments, at_full_speed(what, tmp_path))


def heated(rehearsal: PacedRehearsal) -> Iterator[Moment]:
    """The moments that follow the first with the relay on."""
    moments = rehearsal.moments()
    for moment in moments:
        if relay_on(moment):
            break
    return moments


def signal_while_heating(folders: Folders, number: signal.Signals) -> None:
    """Send the keeper a signal while its relay is on, note its number, and ask it for a round more."""
    with paced_rehearsal(plan(), folders) as rehearsal:
        moments = heated(rehearsal)
        assert levels(folders)[-1] == 1
        pid = rehearsal.children[0].pid
        (folders.run / "pid").write_text(str(pid))
        os.kill(pid, number)
        next(moments)


def test_a_killed_keeper_is_said_and_the_stop_action_drives_its_relay_off(folders: Folders) -> None:
    words = r"the rehearsed keep was ended by signal 9; its last words:\n(.|\n)*heat rests"
    with pytest.raises(ChildLost, match=words):
        signal_while_heating(folders, signal.SIGKILL)
    assert levels(folders)[-1] == 0


def test_a_keeper_that_never_answers_is_said_and_ended(
    folders: Folders, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(paced, "ANSWER_S", 0.5)
    monkeypatch.setattr(paced, "HANGS_AFTER_S", 0.0)
    monkeypatch.setattr(pacedchild, "STOP_S", 0.5)
    with pytest.raises(ChildLost, match=r"the rehearsed keep has not answered for 0\.5 s"):
        signal_while_heating(folders, signal.SIGSTOP)
    assert not is_alive(int((folders.run / "pid").read_text()))
    assert levels(folders)[-1] == 0


def test_a_keeper_that_leaves_is_said_with_its_exit_code_and_own_words(
    folders: Folders, tmp_path: Path
) -> None:
    config = tmp_path / "broken.toml"
    config.write_text("[site]\nnme = 1\n")
    with (
        pytest.raises(ChildLost, match=r"left with exit code 78; its last words:\n(.|\n)*rehearsal.toml"),
        paced_rehearsal(plan(), folders, config=config) as rehearsal,
    ):
        next(rehearsal.moments())


def test_a_keeper_given_a_descriptor_that_is_no_directors_refuses_it(folders: Folders) -> None:
    """Nobody else can set its clock by chance."""
    refused = subprocess.run(
        [
            *(sys.executable, "-m", "controller.cli", "keep", "--rehearsal", "--step-s", "60"),
            *("--director", "0", "--state", str(folders.state), "--run", str(folders.run)),
        ],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )
    assert refused.returncode == 1
    assert "descriptor 0 gives no time; only a rehearsal may direct a clock" in refused.stderr


def test_a_second_keeper_that_claims_to_be_directed_is_refused(
    tmp_path: Path,
) -> None:
    """Another keeper has the folders; a pipe with an instant in it opens them to nobody."""
    lab = KeeperLab(tmp_path)
    read_fd, write_fd = os.pipe()
    try:
        lab.start()
        lab.ready()
        set_instant(write_fd, mono_s=1000.0, utc_s=1.8e9)
        before = sorted(path.name for path in lab.folders.state.iterdir())
        refused = subprocess.run(
            [
                *(sys.executable, "-m", "controller.cli", "keep", "--rehearsal", "--step-s", "60"),
                *("--config", str(lab.config), "--w1", str(lab.tree.folder), "--director", str(read_fd)),
                *("--state", str(lab.folders.state), "--run", str(lab.folders.run)),
            ],
            pass_fds=(read_fd,),
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=False,
        )
        assert refused.returncode == 1
        assert "which did not start this one; only a rehearsal that holds its folders" in refused.stderr
        assert sorted(path.name for path in lab.folders.state.iterdir()) == before
        starts = json.loads(lab.folders.starts.read_text())["starts"]
        assert len(starts) == 1, "the second never counted as a start"
    finally:
        os.close(read_fd)
        os.close(write_fd)
        lab.close()


def test_a_run_that_ends_before_the_keeper_is_up_leaves_nothing_behind(folders: Folders) -> None:
    """Nothing was claimed yet, so that there is nothing for the stop action."""
    with paced_rehearsal(plan(), folders) as rehearsal:
        pid = rehearsal.children[0].pid
    assert not is_alive(pid)


def test_changed_settings_are_taken_while_time_goes_on(folders: Folders) -> None:
    """The keeper opens anew on them, and still does one round a step."""
    with paced_rehearsal(plan(days=0.1), folders) as rehearsal:
        count = 0
        for moment in rehearsal.moments():
            count += 1
            air = moment.result.frames[SOUTH].readings[Place.AIR]
            assert isinstance(air, Sample)
            assert air.taken_at_s == 1000.0 + count * 60.0
            if count == 5:
                path = folders.run / "rehearsal.toml"
                path.write_text(path.read_text() + "\n# changed\n")
    with open_reader(folders.history) as reader:
        assert "settings" in {row.what for row in reader.events()}
    assert count == 144


def test_a_run_folder_with_a_name_too_long_for_a_socket_is_refused(tmp_path: Path) -> None:
    folders = Folders(state=tmp_path / "state", run=tmp_path / ("r" * 120))
    claim_folders(folders, kind=FolderKind.REHEARSAL)
    with (
        pytest.raises(StorageError, match="choose a shorter --run"),
        only_one(folders),
        paced_rehearsal(plan(), folders),
    ):
        pass


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_a_director_that_is_ended_leaves_no_process_and_no_heat(
    free_folders: Folders, number: signal.Signals
) -> None:
    """Asked to end or killed outright, its keeper goes with it and in order, the relay off."""
    folders = free_folders
    director = subprocess.Popen(
        [sys.executable, "-m", "tests.processes.paced_director", str(folders.state), str(folders.run)],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert director.stdout is not None
        pid = int(director.stdout.readline())
        assert director.stdout.readline() == "heated\n"
        os.kill(director.pid, number)
        code = director.wait(PATIENCE_S)
        assert code == (-9 if number == signal.SIGKILL else 128 + number)
        until(lambda: not is_alive(pid))
    finally:
        with contextlib.suppress(ProcessLookupError):
            director.kill()
        director.communicate()
    assert levels(folders)[-1] == 0
    assert json.loads(folders.starts.read_text())["starts"][-1]["clean"] is True
