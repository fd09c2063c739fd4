"""What a rehearsal leaves behind: ``trace.csv``, ``nights.csv``, ``notices.csv``, ``summary.json``.

Each is written beside its name and takes it only when whole; the same seed gives the same bytes apart
from ``wall_s``. Every row and the summary carry the schema number. Memory stays bounded.
"""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import Self, TextIO

from controller.config.records import FrameSettings, Settings
from controller.durable import write_durably
from controller.errors import StorageError
from controller.loop.results import FrameTick
from controller.rehearse.field import FrameMoment
from controller.rehearse.nights import NightRow
from controller.rehearse.run import Moment
from controller.rehearse.tally import FrameTally
from controller.vocabulary import Place, Sample

OUTPUT_SCHEMA = 1
OUTPUT_BEGINS = {
    "trace.csv": b"utc,frame,",
    "nights.csv": b"night,frame,told_utc,",
    "notices.csv": b"utc,frame,notice_id,",
    "summary.json": b'{\n "schema": ',
}
"""How each file begins, by which a rehearsal knows its own before it writes over it."""
AIR_LIMIT_C = 30.0
"""Counted as too warm above this in a frame without heat, whose settings hold no limit."""
_BUFFERED_LINES = 4000
_OF_NIGHT = "{0}_min_c,{0}_lo80_c,{0}_hi80_c,{0}_actual_c"
_NIGHT_COLUMNS = ",".join(
    (
        "night,frame,told_utc,stage",
        *(_OF_NIGHT.format(subject) for subject in ("outside", "frame", "frame_unheated")),
        "heat_h,scored,schema",
    )
)
_NOTICE_COLUMNS = (
    "utc,frame,notice_id,event,kind,urgency,code,deadline_utc,text,schema"  # deadlines come with the forecast
)


class Tallies:
    """One tally per frame, fed with every moment."""

    def __init__(self, settings: Settings) -> None:
        """Begin at zero."""
        self.frames = {name: _fresh_tally(frame) for name, frame in settings.frames.items()}
        self.raised: Counter[str] = Counter()
        self.pushes = 0

    def add(self, moment: Moment) -> None:
        """Count one step of every frame and the notices it brought."""
        for name, tally in self.frames.items():
            frame = moment.frames[name]
            tally.add(
                moment.dt_s,
                frame.true_c["air"],
                frame.true_c["outside"],
                frame.heated_s,
                is_open=frame.stood.area_m2 > 0.0,
            )
            tally.switch_on_count = moment.result.frames[name].report.switch_on_count
        self.pushes += len(moment.pushed)
        for event in moment.result.notices:
            if event.event == "raised":
                self.raised[event.kind.value] += 1


class OutputFolder:
    """The tables of one rehearsal; a context that finishes them, also when the run ended early."""

    def __init__(self, folder: Path, settings: Settings, places: Sequence[str]) -> None:
        """``places`` are those that the stand-ins model; nothing is written before ``__enter__``."""
        self._folder = folder
        self._places = tuple(places)
        fitted = {place for frame in settings.frames.values() for place in frame.probes}
        self._fitted = tuple(place for place in Place if place in fitted)
        self._trace = _LineFile(folder / "trace.csv")
        self._nights = _LineFile(folder / "nights.csv")
        self._notices = _LineFile(folder / "notices.csv")

    def __enter__(self) -> Self:
        """Create the folder and begin every table."""
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            for name in OUTPUT_BEGINS:  # of an earlier run, which would pass for this one's
                (self._folder / name).unlink(missing_ok=True)
        except OSError as error:
            raise StorageError(
                f"{self._folder}: cannot be used ({error.strerror}); choose another"
            ) from error
        true = "".join(f"{place}_true_c," for place in self._places)
        read = "".join(f"{place.value}_read_c," for place in self._fitted)
        self._trace.begin(
            f"utc,frame,{true}{read}heat_wanted,heat_allowed,relay_on,opening,covering,"
            "outside_min_forecast_c,frame_min_forecast_c,schema\n"
        )
        self._nights.begin(_NIGHT_COLUMNS + "\n")
        self._notices.begin(_NOTICE_COLUMNS + "\n")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give every table its name, whatever ended the run."""
        with ExitStack() as stack:
            for table in (self._notices, self._nights, self._trace):
                stack.callback(table.finish)

    def add(self, moment: Moment) -> None:
        """Write one step of every frame and the notices it brought."""
        utc = moment.utc.isoformat()[:19] + "Z"
        for name, frame in moment.frames.items():
            true_c = frame.true_c
            cells = [utc, name]
            cells += [f"{true_c[place]:.4f}" if place in true_c else "" for place in self._places]
            cells += self._tick_cells(moment.result.frames[name], frame)
            self._trace.add(",".join(cells))
        for event in (*moment.result.notices, *moment.pushed):
            row = (
                utc,
                event.frame,
                event.notice_id,
                event.event,
                event.kind.value,
                event.urgency.value,
                event.code,
                "",
                event.text,
                OUTPUT_SCHEMA,
            )
            self._notices.add(_csv_line(row))

    def add_night(self, row: NightRow) -> None:
        """Write one frame's night; nothing forecasts it yet, so that those cells are blank."""
        actual_c = (row.outside_actual_c, row.frame_actual_c, row.frame_unheated_actual_c)
        told = "".join(f",,,,{each_c:.4f}" for each_c in actual_c)
        self._nights.add(
            f"{row.night.isoformat()},{_csv_cell(row.frame)},,{told},{row.heat_h:.4f},0,{OUTPUT_SCHEMA}\n"
        )

    def _tick_cells(self, tick: FrameTick, frame: FrameMoment) -> list[str]:
        """What the keeper read and did, and how the covers truly stood; rejected readings are blank."""
        readings, report = tick.readings, tick.report
        cells = [
            _read_cell(reading.temp_c) if isinstance(reading := readings.get(place), Sample) else ""
            for place in self._fitted
        ]
        heat = (report.heat_wanted, report.heat_allowed, report.relay_on)
        cells.append(_state_cells(heat, frame.opening, frame.covering))
        return cells

    def write_summary(self, tallies: Tallies, facts: Mapping[str, object], wall_s: float) -> None:
        """``summary.json``; ``facts`` say what was rehearsed (seed, span, stand-in, whether whole)."""
        document = {
            "schema": OUTPUT_SCHEMA,
            **facts,
            "wall_s": round(wall_s, 3),
            "pushes": tallies.pushes,
            "notices_by_kind": dict(sorted(tallies.raised.items())),
            "scores": {},
            "frames": {name: tally.document() for name, tally in tallies.frames.items()},
        }
        write_durably(self._folder / "summary.json", (json.dumps(document, indent=1) + "\n").encode())


class _LineFile:
    """Lines gathered in memory up to a bound, in a file that gets its name when it is whole."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._partial = path.with_name(f".{path.name}.partial")
        self._lines: list[str] = []
        self._file: TextIO | None = None

    def begin(self, header: str) -> None:
        try:
            self._file = self._partial.open("w", encoding="utf-8", newline="")
        except OSError as error:
            raise self._trouble(error) from error
        self._lines = [header]

    def add(self, line: str) -> None:
        self._lines.append(line)
        if len(self._lines) >= _BUFFERED_LINES:
            self._flush()

    def finish(self) -> None:
        if self._file is None:
            return
        file, self._file = self._file, None
        try:
            with file:
                file.write("".join(self._lines))
            self._partial.replace(self._path)
        except OSError as error:
            raise self._trouble(error) from error

    def _flush(self) -> None:
        if self._file is None:
            return
        try:
            self._file.write("".join(self._lines))
        except OSError as error:
            raise self._trouble(error) from error
        self._lines.clear()

    def _trouble(self, error: OSError) -> StorageError:
        return StorageError(
            f"{self._path}: cannot be written ({error.strerror}); free space or choose another"
        )


def _fresh_tally(frame: FrameSettings) -> FrameTally:
    heat = frame.heat
    return FrameTally(
        power_w=0.0 if heat is None else heat.power_w,
        keep_above_c=None if heat is None else heat.keep_above_c,
        air_max_c=AIR_LIMIT_C if heat is None else heat.air_max_c,
    )


def _csv_line(row: Sequence[object]) -> str:
    """One line with quotes where CSV needs them."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(row)
    return text.getvalue()


@lru_cache(maxsize=4096)
def _read_cell(temp_c: float) -> str:
    """A reading, of which there are few: probes measure in steps."""
    return f"{temp_c:.4f}"


@lru_cache(maxsize=1024)
def _state_cells(heat: tuple[bool, bool, bool], opening: str, covering: str) -> str:
    """The end of a line, from heat wanted, allowed and on; states are few and last."""
    wanted, allowed, on = heat
    return f"{wanted:d},{allowed:d},{on:d},{_csv_cell(opening)},{_csv_cell(covering)},,,{OUTPUT_SCHEMA}\n"


@lru_cache(maxsize=256)
def _csv_cell(name: str) -> str:
    """One of the owner's own words as a cell."""
    return _csv_line((name, "")).removesuffix(",\n")
