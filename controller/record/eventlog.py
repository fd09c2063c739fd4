"""The keeper's log: one event a line, for the journal or a terminal, bounded even in a storm.

A line that repeats is shown when it starts, counted while it goes on, and closed with its count.
"""

from __future__ import annotations

import contextlib
import logging
import os
import re
import sys
import traceback
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from controller.units import duration_text

QUIET_S = 300.0
"""A repeat is over when it has not come for this long."""
COUNT_EVERY_S = 3600.0
"""While it goes on, its count is told this often."""
REMEMBERED_MAX = 64
LINE_MAX = 1000
ALIKE_MAX = 30
"""Different lines of one message that are shown in an hour; the rest are counted together."""

_PRIORITIES = ((logging.CRITICAL, 2), (logging.ERROR, 3), (logging.WARNING, 4), (logging.INFO, 6))
_DEBUG_PRIORITY = 7
_FRAMES_SHOWN = 4
_UNSAFE = re.compile(
    r"[\x00-\x1f\x7f-\x9f\xad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff]"
)


@dataclass(slots=True, kw_only=True)
class _Repeat:
    """One line that has been shown and is being counted."""

    level: int
    text: str
    began_at_s: float
    last_at_s: float
    told_at_s: float
    untold: int = 0
    total: int = 1


@dataclass(slots=True, kw_only=True)
class _Alike:
    """Lines of one message, whatever their details, in the hour that began at ``began_at_s``."""

    level: int
    template: str
    began_at_s: float
    shown: int = 0
    hidden: int = 0


class EventLog(logging.Handler):
    """Writes records as single lines; never raises and keeps a bounded memory."""

    def __init__(
        self,
        stream: TextIO,
        *,
        mono_s: Callable[[], float],
        utc_s: Callable[[], float],
        to_journal: bool,
    ) -> None:
        """Write to ``stream``: with a priority for the journal, else with the time of day in UTC."""
        super().__init__()
        self._stream = stream
        self._mono_s = mono_s
        self._utc_s = utc_s
        self._to_journal = to_journal
        self._repeats: OrderedDict[tuple[int, str], _Repeat] = OrderedDict()
        self._alike: OrderedDict[tuple[str, str], _Alike] = OrderedDict()

    def emit(self, record: logging.LogRecord) -> None:
        """Show a line the first time, count it afterwards."""
        now_s = self._mono_s()
        self._close_quiet(now_s)
        text = _text_of(record)
        key = (record.levelno, text)
        repeat = self._repeats.get(key)
        if repeat is not None:
            self._repeats.move_to_end(key)
            self._count(repeat, now_s)
        elif self._may_show(record, now_s):
            self._write(record.levelno, text)
            self._repeats[key] = _Repeat(
                level=record.levelno, text=text, began_at_s=now_s, last_at_s=now_s, told_at_s=now_s
            )
            if len(self._repeats) > REMEMBERED_MAX:
                self._tell_end(self._repeats.popitem(last=False)[1])

    def settle(self) -> None:
        """Close repeats that have gone quiet; to be called now and then, also when nothing is logged."""
        self.acquire()
        try:
            self._close_quiet(self._mono_s())
        finally:
            self.release()

    def close(self) -> None:
        """Close every repeat with its count."""
        self.acquire()
        try:
            for repeat in self._repeats.values():
                self._tell_end(repeat)
            for alike in self._alike.values():
                self._tell_hidden(alike)
            self._repeats.clear()
            self._alike.clear()
        finally:
            self.release()
        super().close()

    def _count(self, repeat: _Repeat, now_s: float) -> None:
        """Count one more; told once in a while so that a lasting fault stays visible."""
        repeat.untold += 1
        repeat.total += 1
        repeat.last_at_s = now_s
        since_s = now_s - repeat.told_at_s
        if since_s >= COUNT_EVERY_S:
            told = f"{repeat.untold} more in {duration_text(since_s)}"
            self._write(repeat.level, f"{repeat.text} (goes on: {told})")
            repeat.untold = 0
            repeat.told_at_s = now_s

    def _may_show(self, record: logging.LogRecord, now_s: float) -> bool:
        """Whether this message has not yet used up its lines of the hour."""
        key = (record.name, str(record.msg))
        alike = self._alike.get(key)
        if alike is None:
            alike = _Alike(level=record.levelno, template=_escape(key[1]), began_at_s=now_s)
            self._alike[key] = alike
            if len(self._alike) > REMEMBERED_MAX:
                self._tell_hidden(self._alike.popitem(last=False)[1])
        if alike.shown >= ALIKE_MAX:
            alike.hidden += 1
            return False
        alike.shown += 1
        return True

    def _close_quiet(self, now_s: float) -> None:
        """End what has gone quiet, and every hour's account of lines that are alike."""
        for key, repeat in list(self._repeats.items()):
            if now_s - repeat.last_at_s < QUIET_S:
                break
            self._tell_end(repeat)
            del self._repeats[key]
        for alike_key, alike in list(self._alike.items()):
            if now_s - alike.began_at_s < COUNT_EVERY_S:
                break
            self._tell_hidden(alike)
            del self._alike[alike_key]

    def _tell_end(self, repeat: _Repeat) -> None:
        """One closing line, where there was a repeat at all."""
        if repeat.untold:
            lasted = duration_text(repeat.last_at_s - repeat.began_at_s)
            self._write(repeat.level, f"{repeat.text} (ended: {repeat.total} times in {lasted})")

    def _tell_hidden(self, alike: _Alike) -> None:
        """One line for all that were not shown."""
        if alike.hidden:
            self._write(alike.level, f"{alike.hidden} more lines like “{alike.template}” were left out")

    def _write(self, level: int, text: str) -> None:
        """One line; a stream that does not take it costs the line only."""
        if len(text) > LINE_MAX:
            text = f"{text[: LINE_MAX // 2]} … {text[-LINE_MAX // 2 :]}"
        with contextlib.suppress(OSError, ValueError):
            self._stream.write(f"{self._head(level)}{text}\n")
            self._stream.flush()

    def _head(self, level: int) -> str:
        """``<N>`` for the journal, which stamps lines itself; else time and level in words."""
        if self._to_journal:
            return f"<{next((n for least, n in _PRIORITIES if level >= least), _DEBUG_PRIORITY)}>"
        try:
            stamp = datetime.fromtimestamp(self._utc_s(), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        except (ValueError, OverflowError, OSError):
            stamp = "undated"
        return f"{stamp} {logging.getLevelName(level).lower()} "


def set_up_log(
    *,
    mono_s: Callable[[], float],
    utc_s: Callable[[], float],
    environment: Mapping[str, str],
) -> EventLog:
    """Send every record of this process to standard error through one ``EventLog``."""
    log = EventLog(sys.stderr, mono_s=mono_s, utc_s=utc_s, to_journal=is_journal(sys.stderr, environment))
    root = logging.getLogger()
    root.handlers[:] = [log]
    root.setLevel(logging.INFO)
    logging.captureWarnings(capture=True)
    return log


def is_journal(stream: TextIO, environment: Mapping[str, str]) -> bool:
    """Whether ``stream`` is the very one that the service manager connected to the journal.

    The manager names device and inode in ``JOURNAL_STREAM``; an inherited variable alone proves nothing.
    """
    told = environment.get("JOURNAL_STREAM", "")
    try:
        found = os.fstat(stream.fileno())
    except (OSError, ValueError):
        return False
    return told == f"{found.st_dev}:{found.st_ino}"


def _text_of(record: logging.LogRecord) -> str:
    """Name, message and, for an exception, its end and the innermost lines of code; one line."""
    try:
        text = record.getMessage()
    except Exception as error:  # noqa: BLE001  # a log line with wrong arguments must not stop anything
        text = f"{record.msg!r} with arguments that do not fit ({type(error).__name__})"
    if record.exc_info and record.exc_info[1] is not None:
        raised = record.exc_info[1]
        frames = traceback.extract_tb(raised.__traceback__)[-_FRAMES_SHOWN:]
        way = " < ".join(f"{Path(at.filename).name}:{at.lineno} {at.name}" for at in reversed(frames))
        text = f"{text}: {type(raised).__name__}: {raised} [{way}]"
    return _escape(f"{record.name}: {text}")


def _escape(text: str) -> str:
    """Line breaks, control characters and changes of direction become visible escapes."""
    return _UNSAFE.sub(lambda found: ascii(found.group())[1:-1], text)
