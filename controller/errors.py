"""The error tree. Pure.

ControllerError
├── ConfigError       operator mistake   carries every fault; run on the last good copy, else exit 78
├── CommandRejected   bad request        answer with the reason; the loop does not notice
├── StorageError      disk full, locked  keep controlling, tell, retry with a bound
├── HardwareError     no pin, no bus     frame off, tell, retry for ever
├── WeatherFileError  bad weather file   says file, line, what, what to do
├── StandInError      bad stand-in       says which, what it did, what it must do (in rehearse/seam)
├── MishapError       bad words          says which, where, what would be right (in rehearse/mishaps)
├── ChildLost         a process is gone  ends a paced rehearsal, with its last words (in rehearse/pacedchild)
└── InvariantBroken   our own bug        all off, exit, be restarted
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


class ControllerError(Exception):
    """Root of every error that frameward raises on purpose."""

    exit_code: ClassVar[int] = 1
    """With which a command ends that this error ended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault of a settings file: where, what is wrong, what would be right."""

    file: str
    line: int | None
    key: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        """One line: ``file:line: key: problem; remedy``."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        key = f"{self.key}: " if self.key else ""
        return f"{place}: {key}{self.problem}; {self.remedy}"


class ConfigError(ControllerError):
    """The settings cannot be used; ``faults`` holds every fault found, not only the first."""

    exit_code: ClassVar[int] = 78
    """What the system's list of exit codes calls a fault of the configuration (``EX_CONFIG``)."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        """Keep all faults; there is at least one."""
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


class CommandRejected(ControllerError):  # noqa: N818  # reads as the answer that the sender gets
    """A command was refused; the text is the reason that its sender reads."""


class StorageError(ControllerError):
    """The disk would not take or give something; control goes on."""


class HardwareError(ControllerError):
    """A pin, bus or device does not answer or may not be used."""


class WeatherFileError(ControllerError):
    """A weather file cannot be used; the text says file, line, what and what to do."""


class InvariantBroken(ControllerError):  # noqa: N818  # named for what has happened
    """Our own bug: the process must switch all heat off and leave."""
