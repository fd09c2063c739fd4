"""What the keeper's log says: the start, every switching with its reason, every notice."""

from __future__ import annotations

import logging

from controller.config.records import Settings
from controller.loop.results import TickResult
from controller.notices.words import REASON_WORDS
from controller.vocabulary import FrameName, NoticeEvent, Urgency

LOG = logging.getLogger("frameward")


def log_start(settings: Settings) -> None:
    """What is held, in one line a frame."""
    for name, frame in settings.frames.items():
        if frame.heat is None:
            LOG.info("%s is watched; it has no heat", name)
        else:
            LOG.info(
                "%s is kept above %.1f °C; heat rests for %.0f s first",
                name,
                frame.heat.keep_above_c,
                frame.heat.min_off_s,
            )


def log_tick(result: TickResult, relays: dict[FrameName, bool]) -> None:
    """Notices, and every switching with its reason."""
    for event in result.notices:
        _log_notice(event)
    for name, frame in result.frames.items():
        relay_on = frame.report.relay_on
        if relays.get(name, False) != relay_on:
            why = "" if relay_on else ", ".join(REASON_WORDS[reason] for reason in frame.report.reasons)
            LOG.info("%s: heat %s%s", name, "on" if relay_on else "off", f": {why}" if why else "")
        relays[name] = relay_on


def _log_notice(event: NoticeEvent) -> None:
    """One line per notice; what may wake a person is a warning."""
    level = logging.WARNING if event.urgency is Urgency.NOW else logging.INFO
    LOG.log(level, "notice %s %s %s %s: %s", event.event, event.kind, event.urgency, event.code, event.text)
