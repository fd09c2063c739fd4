"""The shipped keeper against the faults that a winter brings, as real processes, files and signals.

Time runs 15 times as fast unless ``FRAMEWARD_LAPSE`` says otherwise; with 1 the very same tests
run at the wall clock's own pace, which takes half an hour side by side (see DEVELOPERS).
Each test names the rows of the fault matrix that it stands for.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.record.read import open_reader
from tests.processes.keeperlab import (
    AIR,
    BED,
    CABLE,
    COLD,
    LAPSE,
    MILD,
    SECOND,
    SETTINGS,
    KeeperLab,
    lab_in,
)

pytestmark = pytest.mark.process


@pytest.fixture
def lab(tmp_path: Path) -> Iterator[KeeperLab]:
    yield from lab_in(tmp_path)


def heating(lab: KeeperLab) -> KeeperLab:
    """A commissioned keeper that has earned its heat on a cold night."""
    lab.commission()
    lab.start()
    lab.ready()
    lab.until(lambda: lab.heat().get("relay_on"))
    return lab


def test_heat_comes_on_after_a_full_rest_when_cold_and_goes_off_when_warm(lab: KeeperLab) -> None:
    """I3: no heat before a full rest and good cycles; then heated, and left alone when warm."""
    lab.commission()
    lab.start()
    lab.ready()
    began_s = lab.snapshot()["mono_s"]
    lab.until(lambda: lab.heat().get("relay_on"))
    assert lab.snapshot()["mono_s"] - began_s >= 170.0
    lab.set_c(MILD)
    lab.until(lambda: lab.heat().get("relay_on") is False)
    assert lab.relay_history() == [0, 1, 0]
    assert lab.stop() == 0
    assert lab.relay_history()[-1] == 0


def test_without_commissioning_there_is_no_heat_and_it_is_told(lab: KeeperLab) -> None:
    """H11: nothing heats before the safety list is answered, however cold it is."""
    lab.start()
    lab.ready()
    lab.until(
        lambda: {("FROST", "now", "unprotected"), ("FAULT", "day", "not_commissioned")} <= lab.notices()
    )
    lab.ticks(25)
    assert "not_commissioned" in lab.heat()["reasons"]
    assert set(lab.relay_history()) == {0}


def test_an_air_probe_lost_is_made_up_for_by_the_other_and_comes_back(lab: KeeperLab) -> None:
    """P02: control goes on with the other air probe, a day's notice, cleared when it is back."""
    heating(lab)
    lab.tree.remove(AIR)
    lab.until(lambda: ("FAULT", "day", "probe_lost") in lab.notices())
    assert lab.frame()["readings"]["air"] == {"rejected": "absent"}
    assert lab.heat()["relay_on"] is True
    assert lab.heat()["level"] == 1
    lab.tree.restore(AIR, 0.5)
    lab.until(lambda: lab.heat()["level"] == 0)
    lab.until(lambda: ("FAULT", "day", "probe_lost") not in lab.notices())
    lab.until(lambda: ("cleared", "probe_lost") in lab.told())
    assert lab.told().count(("raised", "probe_lost")) == 1
    assert lab.told().count(("cleared", "probe_lost")) == 1


def test_with_neither_bed_nor_cable_probe_heat_is_off_and_frost_is_told(lab: KeeperLab) -> None:
    """P01: no model stands in for the interlock; off within stale time, and back after the cause is gone."""
    heating(lab)
    lab.tree.remove(BED)
    lab.tree.remove(CABLE)
    lost_s = lab.snapshot()["mono_s"]
    lab.until(lambda: not lab.heat()["relay_on"])
    assert lab.snapshot()["mono_s"] - lost_s <= 60.0 + 30.0, "off in T_OFF after the readings grew stale"
    assert lab.heat()["level"] == 3
    lab.until(lambda: ("FROST", "now", "unprotected") in lab.notices())
    lab.until(lambda: ("FAULT", "now", "probe_lost") in lab.notices())
    lab.tree.restore(BED, 4.0)
    lab.tree.restore(CABLE, 6.0)
    lab.until(lambda: lab.heat()["relay_on"])
    assert lab.relay_history() == [0, 1, 0, 1]


def test_a_dead_bus_is_told_once_and_not_once_per_probe(lab: KeeperLab) -> None:
    """P04, F05: all probes vanish together: one FAULT now, one FROST now, heat off."""
    heating(lab)
    for probe in COLD:
        lab.tree.remove(probe)
    lab.until(lambda: ("FAULT", "now", "bus_dead") in lab.notices())
    lab.until(lambda: ("FROST", "now", "unprotected") in lab.notices())
    assert not lab.heat()["relay_on"]
    lab.ticks(12)
    told = lab.told()
    assert told.count(("raised", "bus_dead")) == 1
    assert told.count(("raised", "unprotected")) == 1
    assert ("raised", "probe_lost") not in told


def test_a_storm_of_wrong_checksums_is_ridden_out_and_a_lasting_one_is_not(lab: KeeperLab) -> None:
    """P05, P06: single bad frames pass unnoticed; an hour of them makes the probe absent, with a notice."""
    heating(lab)
    lab.tree.break_crc(AIR)
    lab.ticks(1)
    lab.tree.set_c(AIR, 0.5)
    lab.until(lambda: "value" in lab.frame()["readings"]["air"])
    assert ("raised", "probe_lost") not in lab.told()
    noisy_and_heated = {"rejected": "noisy"}, True
    for round_number in range(400):
        (lab.tree.break_crc if round_number % 2 else lambda probe: lab.tree.set_c(probe, 0.5))(AIR)
        lab.ticks(1)
        now = lab.frame()
        seen = now["readings"]["air"], now["heat"]["relay_on"]
        if seen == noisy_and_heated:
            break
    assert seen == noisy_and_heated, "the second air probe carries on"
    lab.until(lambda: ("FAULT", "day", "probe_lost") in lab.notices())


def test_a_read_that_hangs_costs_its_probe_and_nobody_else(lab: KeeperLab) -> None:
    """P24: the period is unharmed, the other probes go on, and the probe comes back by itself."""
    heating(lab)
    lab.tree.hang(SECOND)
    lab.until(lambda: "rejected" in lab.frame()["readings"]["air_second"])
    before = lab.snapshot()["mono_s"]
    began_s = time.monotonic()
    lab.ticks(10)
    assert lab.snapshot()["mono_s"] - before <= 10 * 10.0 * 1.5 + 20.0
    assert time.monotonic() - began_s < 10.0 + 150.0 / LAPSE
    lab.until(lambda: ("FAULT", "day", "probe_lost") in lab.notices())
    for place in ("air", "bed", "cable"):
        assert "value" in lab.frame()["readings"][place], "the bus goes on without the hung probe"
    lab.until(lambda: lab.heat()["relay_on"])
    assert ("raised", "unprotected") not in lab.told()
    lab.tree.set_c(SECOND, 1.0)
    lab.tree.release()
    lab.until(lambda: "value" in lab.frame()["readings"]["air_second"])


def test_killed_while_heating_it_is_off_by_the_stop_action_and_owes_a_rest(lab: KeeperLab) -> None:
    """R13, X04, I3: kill -9; the stop action drives the pins off; the next start rests and says so."""
    heating(lab)
    assert lab.stop(signal.SIGKILL) == -signal.SIGKILL
    assert lab.relay_history()[-1] == 1, "a killed process cannot switch off: the stop action must"
    off = subprocess.run(
        [
            sys.executable,
            "-m",
            "controller.cli",
            "relays-off",
            "--pins",
            "rehearsal",
            "--state",
            str(lab.folders.state),
            "--run",
            str(lab.folders.run),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert off.returncode == 0, off.stderr
    assert "17" in off.stdout
    began = len(lab.relay_history())
    lab.start()
    lab.ready()
    started_s = lab.snapshot()["mono_s"]
    lab.until(lambda: ("FAULT", "page", "restarted") in lab.notices())
    lab.until(lambda: lab.heat().get("relay_on"))
    assert lab.snapshot()["mono_s"] - started_s >= 170.0
    assert lab.relay_history()[began:] == [0, 1]


def test_a_lockout_survives_kill_and_restart_and_is_cleared_only_by_hand(lab: KeeperLab) -> None:
    """S13, W18: a hot cable locks; no restart opens it; the command at the board does, once cool."""
    heating(lab)
    for temp_c in (12.0, 18.0, 24.0, 30.0, 36.0, 42.0, 48.0, 51.0):
        lab.tree.set_c(CABLE, temp_c)
        lab.ticks(3)
    lab.until(lambda: lab.heat()["lockout"])
    assert lab.heat()["lockout"]["cause"] == "overheated_cable"
    assert ("FAULT", "now", "lockout") in lab.notices()
    assert lab.relay_history()[-1] == 0
    assert lab.stop(signal.SIGKILL) == -signal.SIGKILL
    lab.start()
    lab.ready()
    lab.ticks(25)
    assert lab.heat()["lockout"] is not None
    assert not lab.heat()["relay_on"]
    for temp_c in (45.0, 38.0, 31.0, 24.0, 17.0, 10.0, 6.0):
        lab.tree.set_c(CABLE, temp_c)
        lab.ticks(3)
    cleared = subprocess.run(
        [
            sys.executable,
            "-m",
            "controller.cli",
            "clear-lockout",
            "south",
            "--cause-gone",
            "--state",
            str(lab.folders.state),
            "--run",
            str(lab.folders.run),
        ],
        input="y\ny\ny\n",
        capture_output=True,
        text=True,
        check=False,
    )
    assert cleared.returncode == 0, cleared.stdout + cleared.stderr
    lab.until(lambda: lab.heat().get("relay_on"))


@pytest.mark.parametrize("by_s", [86400.0, -86400.0])
def test_a_clock_stepped_by_a_day_changes_nothing_but_the_record(lab: KeeperLab, by_s: float) -> None:
    """C01, C02: heat goes on, ages stay right, the record keeps its order and marks the step."""
    heating(lab)
    lab.folders.rehearsal_clock_step.write_text(str(by_s))
    lab.until(lambda: ("FAULT", "page", "clock_stepped") in lab.notices())
    lab.ticks(12)
    assert lab.heat()["relay_on"] is True
    assert all(0.0 <= each["age_s"] <= 30.0 for each in lab.frame()["readings"].values())
    assert lab.stop() == 0
    with open_reader(lab.folders.history) as reader:
        rows = [stored.row for stored in reader.samples(from_utc_s=0.0, to_utc_s=1e10)]
        steps = [row.detail["by_s"] for row in reader.events(what="clock_stepped")]
    assert len(rows) >= 3
    assert len({row.seq for row in rows}) == len(rows)
    in_order = sorted(rows, key=lambda row: row.seq)
    assert [row.mono_s for row in in_order] == sorted(row.mono_s for row in rows), "order by number holds"
    assert steps == [pytest.approx(by_s, abs=20.0)]


def test_settings_broken_and_mended_while_it_runs(lab: KeeperLab) -> None:
    """G02, G08: a broken file is told and not used; a mended one is taken, after a rest."""
    heating(lab)
    lab.config.write_text(SETTINGS.replace("power_w = 150", "power_w = 150\nkeep_abvoe_c = 3"))
    lab.until(lambda: ("FAULT", "day", "settings_refused") in lab.notices())
    assert lab.heat()["relay_on"] is True
    text = next(each["text"] for each in lab.snapshot()["notices"] if each["code"] == "settings_refused")
    assert "keep_abvoe_c" in text
    assert "keep_above_c" in text
    lab.config.write_text(SETTINGS.replace("power_w = 150", "power_w = 150\nkeep_above_c = 3"))
    lab.until(lambda: lab.frame().get("keep_above_c") == 3.0)
    lab.until(lambda: ("NEWS", "page", "settings_taken") in lab.notices())
    assert ("FAULT", "day", "settings_refused") not in lab.notices()
    taken_s = lab.snapshot()["mono_s"]
    raised_before = [code for what, code in lab.told() if what == "raised"]
    lab.until(lambda: lab.heat().get("relay_on"))
    assert lab.snapshot()["mono_s"] - taken_s >= 150.0, "changed settings owe a full rest"
    assert lab.relay_history() == [0, 1, 0, 0, 1], "off on the way out, off again on the way in"
    assert len(raised_before) == len(set(raised_before)), "what was told before is not told again"


def test_started_on_broken_settings_it_runs_on_the_last_good_copy(lab: KeeperLab) -> None:
    """G01, G02: missing or broken at start: the copy that passed is used and said; without one, 78."""
    lab.config.write_text("[site\n")
    lab.start()
    assert lab.process is not None
    assert lab.process.wait(20) == 78
    assert "frameward.toml:1" in lab.log.read_text()
    lab.config.write_text(SETTINGS)
    heating(lab)
    assert lab.stop() == 0
    lab.config.unlink()
    lab.start()
    lab.ready()
    lab.until(lambda: ("FAULT", "day", "settings_refused") in lab.notices())
    lab.until(lambda: lab.heat().get("relay_on"))


def test_two_keepers_of_the_same_pins_cannot_run(lab: KeeperLab) -> None:
    """X07: the second refuses and names the first, which does not notice."""
    heating(lab)
    first = lab.process
    second = lab.start()
    assert second.wait(20) == 1
    assert first is not None
    assert str(first.pid) in lab.log.read_text()
    lab.process = first
    lab.ticks(3)
    assert lab.heat()["relay_on"] is True


def test_a_rehearsal_refuses_a_live_keepers_folder(lab: KeeperLab) -> None:
    """A rehearsal never writes into a real keeper's history."""
    lab.folders.state.mkdir(parents=True)
    (lab.folders.state / "frameward-folder-kind").write_text("live\n")
    assert lab.start().wait(20) == 1
    assert "belongs to a live keeper" in lab.log.read_text()


def test_without_being_asked_for_a_rehearsal_pretended_pins_are_refused(lab: KeeperLab) -> None:
    """INV-4, X23: no board, or a mock smuggled in by the environment: a refusal before anything is driven."""
    run = subprocess.run(
        [
            sys.executable,
            "-m",
            "controller.cli",
            "keep",
            "--config",
            str(lab.config),
            "--state",
            str(lab.root / "live"),
            "--run",
            str(lab.root / "liverun"),
            "--w1",
            str(lab.tree.folder),
        ],
        env={**os.environ, "GPIOZERO_PIN_FACTORY": "mock"},
        capture_output=True,
        text=True,
        check=False,
        timeout=30,
    )
    assert run.returncode == 1
    assert "mock" in run.stderr
    assert "Traceback" not in run.stderr


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_told_to_stop_it_is_off_and_gone_within_five_seconds(lab: KeeperLab, number: int) -> None:
    """X14: off, saved and gone; the clean stop is not told as a crash at the next start."""
    heating(lab)
    began_s = time.monotonic()
    assert lab.stop(number) == 0
    assert time.monotonic() - began_s < 5.0
    assert lab.relay_history()[-1] == 0
    assert not lab.folders.socket.exists()
    with open_reader(lab.folders.history) as reader:
        assert reader is not None
    lab.start()
    lab.ready()
    lab.ticks(2)
    assert "restarted" not in {code for _, _, code in lab.notices()}


def test_frozen_for_minutes_it_switches_off_first_and_says_so(lab: KeeperLab) -> None:
    """C08: after a stop and continue every input is stale: off at once, then earned anew."""
    heating(lab)
    assert lab.process is not None
    lab.process.send_signal(signal.SIGSTOP)
    time.sleep(150.0 / LAPSE)
    lab.process.send_signal(signal.SIGCONT)
    lab.until(lambda: not lab.heat()["relay_on"])
    lab.until(lambda: ("FAULT", "day", "late") in lab.notices())
    lab.until(lambda: lab.heat()["relay_on"])


def test_an_order_by_socket_is_obeyed_bounded_and_recorded(lab: KeeperLab) -> None:
    """W12, W13, I8: rest of heat in frost is obeyed, warned of and ends; bounds hold."""
    heating(lab)
    assert lab.send("rest_heat", "a", frame="south", for_s=300.0)["ok"] is True
    lab.until(lambda: not lab.heat()["relay_on"])
    lab.until(lambda: ("FROST", "now", "rested_in_frost") in lab.notices())
    lab.until(lambda: lab.heat()["relay_on"])
    assert lab.send("set_keep_above", "b", frame="south", keep_above_c=60.0)["ok"] is False
    assert lab.send("set_keep_above", "c", frame="south", keep_above_c=4.0)["ok"] is True
    assert lab.send("report_opening", "d", frame="south", opening="half")["ok"] is True
    assert lab.send("report_opening", "e", frame="south", opening="wide")["ok"] is False
    assert lab.send("resume_heat", "f", frame="north")["ok"] is False
    assert lab.stop() == 0
    lab.start()
    lab.ready()
    lab.until(lambda: lab.frame().get("keep_above_c") == 4.0)
    assert lab.frame()["opening"] == "half"


def test_the_record_can_be_read_beside_the_writer_after_a_kill_and_after_a_clean_stop(lab: KeeperLab) -> None:
    """Readers work in every state in which a keeper can leave its history."""
    heating(lab)
    lab.ticks(20)
    for way in (None, signal.SIGKILL, signal.SIGTERM):
        if way is not None:
            lab.stop(way)
        with open_reader(lab.folders.history) as reader:
            assert [event.what for event in reader.events(what="started")]
        if way is signal.SIGKILL:
            lab.start()
            lab.ready()


def mount_tiny(folder: Path) -> bool:
    """A real file system of 256 kB; needs root."""
    folder.mkdir(parents=True)
    return (
        subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(folder)],
            capture_output=True,
            check=False,
        ).returncode
        == 0
    )


def test_a_full_disk_stops_the_record_and_nothing_else(tmp_path: Path) -> None:
    """S01: control and notices go on from memory; recording comes back with the space."""
    state = tmp_path / "tiny"
    if not mount_tiny(state):
        pytest.skip("a small file system can only be mounted by root")
    lab = KeeperLab(tmp_path, state=state)
    try:
        heating(lab)
        filler = state / "filler"
        descriptor = os.open(filler, os.O_WRONLY | os.O_CREAT)
        with contextlib.suppress(OSError):
            while os.write(descriptor, b"x" * 512):
                pass
        os.close(descriptor)
        assert shutil.disk_usage(state).free < 4096
        sent = 0
        for number in range(60):
            lab.send("resume_heat", f"fill{number}", frame="south")
            sent += 1
            if not lab.snapshot()["record"]["recording"]:
                break
            lab.ticks(1)
        lab.until(lambda: ("FAULT", "day", "not_recording") in lab.notices())
        assert lab.heat()["relay_on"] is True
        lab.set_c(MILD)
        lab.until(lambda: not lab.heat()["relay_on"])
        filler.unlink()
        lab.until(lambda: lab.snapshot()["record"]["recording"])
        assert lab.stop() == 0
        with open_reader(lab.folders.history) as reader:
            commands = list(reader.events(what="command"))
        assert len(commands) == sent, "an event may wait for space, but none is lost"
    finally:
        lab.close()
        subprocess.run(["umount", str(state)], check=False)


def test_the_log_is_one_line_an_event_and_holds_no_path_of_python(lab: KeeperLab) -> None:
    heating(lab)
    assert lab.stop() == 0
    for line in lab.log.read_text().splitlines():
        assert re.match(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ (info|warning|error) ", line), line


def test_memory_stays_within_the_bar(lab: KeeperLab) -> None:
    """The composed keeper keeps to the design's 55 MiB, measured on an ordinary 64-bit machine."""
    heating(lab)
    assert lab.process is not None
    status = Path(f"/proc/{lab.process.pid}/status").read_text()
    resident_kib = int(re.search(r"VmRSS:\s+(\d+) kB", status)[1])  # type: ignore[index]
    assert resident_kib < 55 * 1024, f"{resident_kib} KiB"
    print(f"keeper resident {resident_kib / 1024:.1f} MiB")  # the number is wanted
