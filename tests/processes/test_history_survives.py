"""The history under real deaths of real processes, full disks and other users' eyes.

A kill takes no page cache, so these runs prove what a dying process loses, not what a power cut does;
for that they show that each told event was synced before it was told.
"""

from __future__ import annotations

import os
import random
import re
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.record.read import open_reader
from tests.controller.record.lab import make_history, sample, stored
from tests.processes.history_child import PACED_EVENTS, SAMPLES_PER_EVENT

pytestmark = pytest.mark.process

KILLS = int(os.environ.get("FRAMEWARD_KILLS", "40"))
CHILD = (sys.executable, "-m", "tests.processes.history_child")
ROOT = Path(__file__).parents[2]


def start_child(*args: object, **options: object) -> subprocess.Popen[bytes]:
    return subprocess.Popen(  # type: ignore[call-overload,no-any-return]
        [*CHILD, *map(str, args)], stdout=subprocess.PIPE, cwd=ROOT, **options
    )


def run_child(*args: object, **options: object) -> list[str]:
    done = subprocess.run(  # type: ignore[call-overload]
        [*CHILD, *map(str, args)], stdout=subprocess.PIPE, cwd=ROOT, timeout=100, check=True, **options
    )
    return done.stdout.decode().splitlines()  # type: ignore[no-any-return]


def numbers_told(lines: list[str]) -> set[int]:
    return {int(line.split()[1]) for line in lines if re.fullmatch(r"[se] \d+", line)}


def check_structure(path: Path) -> None:
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    connection.close()


@pytest.mark.timeout(60 + 3 * KILLS)
def test_killed_at_random_points_it_loses_nothing_that_was_told(tmp_path: Path) -> None:
    """X04, I7: nothing told is lost, numbers rise, nothing comes twice, the structure stays whole."""
    seed = random.randrange(2**32)  # noqa: S311  # printed, not secret
    rng = random.Random(seed)  # noqa: S311
    path = tmp_path / "history.sqlite3"
    told: set[int] = set()
    first = 1
    for kill in range(KILLS):
        child = start_child("flood", tmp_path, f"boot-{kill}", 100_000, 0.0002)
        assert child.stdout is not None
        # some die while they open the file, most while they write
        time.sleep(rng.uniform(0.05, 0.25) if rng.random() < 0.3 else rng.uniform(0.2, 0.5))
        child.send_signal(signal.SIGKILL)
        lines = child.stdout.read().decode().splitlines()
        child.wait()
        child.stdout.close()
        if lines:
            assert lines[0].startswith("start ")
            assert int(lines[0].split()[1]) >= first, f"seed {seed}, kill {kill}"
            first = int(lines[0].split()[1])
        events = {int(line[2:]) for line in lines if line.startswith("e ")}
        if events:
            with open_reader(path) as reader:
                in_file = {one.seq for one in reader.events()}
            assert events <= in_file, f"seed {seed}, kill {kill}: a told event is not in the file itself"
        told |= numbers_told(lines)
    history = make_history(tmp_path)
    assert history.flush()
    assert history.health().set_aside is None
    history.close()
    check_structure(path)
    rows = stored(path)
    numbers = [number for number, _ in rows]
    assert numbers == sorted(set(numbers))
    lost = told - set(numbers)
    assert not lost, f"seed {seed}: {sorted(lost)[:10]} of {len(told)}"
    assert len(told) > 20 * KILLS
    for number, text in rows:
        expected = f'e{{"number":{number}}}' if number % SAMPLES_PER_EVENT == 0 else f"s{number % 60_000}"
        assert text == expected, f"seed {seed}"


def test_a_log_torn_at_any_place_leaves_a_whole_prefix(tmp_path: Path) -> None:
    """S10: what is left opens by itself, is whole, and ends at some commit."""
    grown = tmp_path / "grown"
    grown.mkdir()
    child = start_child("flood", grown, "boot-1", 100_000, 0.001)
    assert child.stdout is not None
    time.sleep(0.8)
    child.send_signal(signal.SIGKILL)
    child.communicate()
    log = grown / "history.sqlite3-wal"
    size = log.stat().st_size
    assert size > 20_000
    whole = stored_copy(grown, tmp_path / "whole", size)
    rng = random.Random(5)  # noqa: S311
    cuts = sorted({0, 1, 31, 32, 33, size - 1, size, *(rng.randrange(size) for _ in range(60))})
    longest = 0
    for at, cut in enumerate(cuts):
        rows = stored_copy(grown, tmp_path / f"cut{at}", cut)
        assert rows == whole[: len(rows)], f"cut at {cut}"
        assert len(rows) >= longest
        longest = len(rows)
    assert longest == len(whole)


def stored_copy(grown: Path, folder: Path, cut: int) -> list[tuple[int, str]]:
    """Rows that a fresh start finds when the log ends at ``cut``."""
    folder.mkdir()
    shutil.copyfile(grown / "history.sqlite3", folder / "history.sqlite3")
    log = (grown / "history.sqlite3-wal").read_bytes()
    (folder / "history.sqlite3-wal").write_bytes(log[:cut])
    history = make_history(folder)
    assert history.open()
    assert history.health().set_aside is None
    history.close()
    check_structure(folder / "history.sqlite3")
    rows = stored(folder / "history.sqlite3")
    shutil.rmtree(folder)
    return rows


READ = """
import os, sys
from pathlib import Path
import urllib.parse, zoneinfo
from controller.record.read import open_reader
if sys.argv[2] != "None":
    os.setgroups([])
    os.setgid(int(sys.argv[2]))
    os.setuid(int(sys.argv[2]))
    assert not os.access(Path(sys.argv[1]).parent, os.W_OK)
with open_reader(Path(sys.argv[1])) as reader:
    count = sum(1 for _ in reader.samples(from_utc_s=0, to_utc_s=1e11))
    print(count, sum(1 for _ in reader.events()), reader.damaged)
"""


def read_as(path: Path, user: int | None) -> tuple[int, int, int]:
    """Samples, events and damaged rows as another process, or another user, sees them."""
    done = subprocess.run(
        [sys.executable, "-c", READ, str(path), str(user)],
        capture_output=True,
        cwd=ROOT,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()
    samples, events, damaged = done.stdout.split()
    return int(samples), int(events), int(damaged)


@pytest.fixture(params=["same user", "another user without write permission"])
def reader_user(request: pytest.FixtureRequest) -> int | None:
    if request.param == "same user":
        return None
    if os.getuid() != 0:
        pytest.skip("only root can start a process as another user")
    return 65_534


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that others may look into but not write to."""
    folder = Path("/tmp") / f"history-seen-{os.getpid()}-{time.monotonic_ns()}"  # noqa: S108  # open on purpose
    folder.mkdir(mode=0o755)
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


def test_other_processes_read_beside_a_live_writer_after_its_death_and_after_a_clean_close(
    open_folder: Path, reader_user: int | None
) -> None:
    path = open_folder / "history.sqlite3"
    child = start_child("flood", open_folder, "boot-1", 100_000, 0.0005)
    assert child.stdout is not None
    until_s = time.monotonic() + 20.0
    for line in iter(child.stdout.readline, b""):
        if line.startswith(b"e ") and int(line[2:]) > 100:
            break
        assert time.monotonic() < until_s
    live = read_as(path, reader_user)
    child.send_signal(signal.SIGKILL)
    child.communicate()
    assert (open_folder / "history.sqlite3-wal").exists()
    killed = read_as(path, reader_user)
    lines = run_child("flood", open_folder, "boot-2", 200, 0.0)
    assert lines[-1] == "closed True pending 0 dropped 0"
    assert not (open_folder / "history.sqlite3-wal").exists()
    closed = read_as(path, reader_user)
    assert live[0] >= 80
    assert live[1] >= 14
    assert live[0] <= killed[0] <= closed[0] - 170
    assert (live[2], killed[2], closed[2]) == (0, 0, 0)
    assert sum(closed[:2]) == len(stored(path))


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 512 kB of its own."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = os.getuid() == 0 and run_mount("-t", "tmpfs", "-o", "size=512k", "none", str(disk))
    if not mounted:
        pytest.skip("no right to mount a tiny disk; the bound on file size stands in for it")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def run_mount(*args: str) -> bool:
    return subprocess.run(["mount", *args], check=False, capture_output=True).returncode == 0


def test_a_disk_that_is_really_full_and_then_has_room_again(tiny_disk: Path, tmp_path: Path) -> None:
    """S01: goes on from memory, resumes by itself, whole."""
    history = make_history(tmp_path, samples_max=100_000)
    history.close()
    history = make_history(tmp_path / "disk", samples_max=100_000)
    assert history.flush()
    ballast = tiny_disk / "ballast"
    fill_up(ballast)
    number = 0
    failed = 0
    while failed < 3:
        number += 1
        history.add([sample(number)])
        if number % 50 == 0 and not history.flush():
            failed += 1
            assert "full" in history.health().detail or "errors" in history.health().detail
        assert number < 50_000
    assert history.health().pending >= 100
    ballast.unlink()
    assert history.flush()
    history.close()
    assert [seq for seq, _ in stored(tiny_disk / "history.sqlite3")] == list(range(1, number + 1))
    check_structure(tiny_disk / "history.sqlite3")


def fill_up(ballast: Path) -> None:
    with ballast.open("wb", buffering=0) as stream:
        try:
            while True:
                stream.write(bytes(4096))
        except OSError:
            return


def test_a_disk_that_is_full_from_the_start(tiny_disk: Path) -> None:
    fill_up(tiny_disk / "ballast")
    history = make_history(tiny_disk)
    history.add([sample(1)])
    assert not history.flush()
    assert not history.health().recording
    (tiny_disk / "ballast").unlink()
    assert history.flush()
    history.close()
    assert [seq for seq, _ in stored(tiny_disk / "history.sqlite3")] == [1]


def test_a_disk_that_turns_read_only_and_back(tiny_disk: Path) -> None:
    """S02. Writers have to let go before a disk can turn read-only by hand; a failing card does not ask."""
    history = make_history(tiny_disk)
    history.add([sample(1)])
    assert history.flush()
    history.close()
    assert run_mount("-o", "remount,ro", str(tiny_disk))
    history = make_history(tiny_disk)
    history.add([sample(2)])
    assert not history.flush()
    assert not history.health().recording
    with open_reader(tiny_disk / "history.sqlite3") as reader:
        assert reader.last_seq() == 1
    assert run_mount("-o", "remount,rw", str(tiny_disk))
    assert history.flush()
    history.close()
    assert [seq for seq, _ in stored(tiny_disk / "history.sqlite3")] == [1, 2]


def test_files_that_may_grow_no_further(tmp_path: Path) -> None:
    """S01 without any right to mount: every write past a bound fails for real."""

    def bind() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, 150_000))

    lines = run_child("flood", tmp_path, "boot-1", 3000, 0.0, preexec_fn=bind)
    assert lines[-1].startswith("closed False pending ")
    pending = int(lines[-1].split()[3])
    assert pending > 0
    check_structure(tmp_path / "history.sqlite3")
    history = make_history(tmp_path)
    assert history.flush()
    history.close()
    kept = {number for number, _ in stored(tmp_path / "history.sqlite3")}
    assert {int(line[2:]) for line in lines if line.startswith("e ")} <= kept


def test_without_file_handles_it_fails_softly_and_recovers(tmp_path: Path) -> None:
    """S11: descriptors run out for real."""
    history = make_history(tmp_path)
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    used = max(int(entry.name) for entry in Path("/proc/self/fd").iterdir()) + 1
    resource.setrlimit(resource.RLIMIT_NOFILE, (used, hard))
    hogs = []
    try:
        while True:
            try:
                hogs.append(os.dup(0))
            except OSError:
                break
        history.add([sample(1)])
        assert not history.flush()
        assert not history.health().recording
        assert history.health().set_aside is None
    finally:
        for hog in hogs:
            os.close(hog)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    assert history.flush()
    history.close()
    assert [seq for seq, _ in stored(tmp_path / "history.sqlite3")] == [1]


def test_a_day_writes_little(tmp_path: Path) -> None:
    """At most 20 MB a day, here one frame at a row a minute with 60 events."""
    lines = run_child("day", tmp_path)
    before, after = (int(line.split()[1]) for line in lines)
    print(f"bytes written in a day: {after - before}")  # the measured figure
    assert 1_000_000 < after - before <= 20_000_000
    assert len(stored(tmp_path / "history.sqlite3")) == 1500


def test_each_told_event_was_synced_before_it_was_told(tmp_path: Path) -> None:
    """Power loss takes no event: after the log's last write comes a sync, and only then the word."""
    if shutil.which("strace") is None:
        pytest.skip("strace is not installed, and nothing else sees the order of the calls")
    trace = tmp_path / "trace"
    calls = "trace=write,pwrite64,fsync,fdatasync"
    subprocess.run(
        ["strace", "-f", "-y", "-e", calls, "-o", str(trace), *CHILD, "paced", str(tmp_path)],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        check=True,
        timeout=90,
    )
    written = synced = False
    told = 0
    for line in trace.read_text(errors="replace").splitlines():
        if "pwrite64(" in line and "-wal>" in line:
            written, synced = True, False
        elif re.search(r"f(data)?sync\(.*-wal>\) += 0|<... f(data)?sync resumed>\) += 0", line):
            synced = True
        elif re.search(r'write\(1<.*"e \d+', line):
            told += 1
            assert written, f"event {told} was told before it was written"
            assert synced, f"event {told} was told before it was synced"
            written = synced = False
    assert told == PACED_EVENTS


@pytest.mark.parametrize(
    "fault",
    [
        "fdatasync:error=EIO:when=5",
        "fdatasync:error=EIO:when=3+2",
        "pwrite64:error=EIO:when=20",
        "pwrite64:error=ENOSPC:when=25",
        "pwrite64:error=EIO:when=40+7",
    ],
)
def test_errors_that_the_kernel_itself_returns_lose_and_double_nothing(tmp_path: Path, fault: str) -> None:
    """S01, S03, S05 with the error coming from the system call, once or again and again."""
    if shutil.which("strace") is None:
        pytest.skip("strace is not installed, and nothing else makes a system call fail")
    trace = tmp_path / "trace"
    order = ["strace", "-f", "-e", "trace=fdatasync,pwrite64", "-e", f"inject={fault}", "-o", str(trace)]
    done = subprocess.run(
        [*order, *CHILD, "flood", str(tmp_path), "boot-1", "200", "0.002"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        check=True,
        timeout=90,
    )
    assert "INJECTED" in trace.read_text(errors="replace")
    history = make_history(tmp_path)
    assert history.flush()
    assert history.health().set_aside is None
    history.close()
    check_structure(tmp_path / "history.sqlite3")
    numbers = [number for number, _ in stored(tmp_path / "history.sqlite3")]
    assert numbers == list(range(1, 201))
    assert numbers_told(done.stdout.decode().splitlines()) <= set(numbers)
