"""What the terminal can take: its letters, its colours, its width."""

from __future__ import annotations

import os
import textwrap
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TextIO

WIDTH = 80
"""Columns where nobody says how many there are, and the most that are used."""
WIDTH_MIN = 40
"""A terminal that is narrower than this breaks the lines by itself."""
DASH = "\N{EN DASH}"
_ASCII = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        DASH: "-",
        "\N{MULTIPLICATION SIGN}": "x",
        "°": "",
        "·": ".",
        "○": "o",
        "●": "*",
        "│": "|",
        "▸": ">",
        "✓": "-",
    }
)
_RESET = "\x1b[0m"


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """What the terminal can take."""

    write: Callable[[str], None]
    """Takes text with its own line ends."""
    plain: bool
    """ASCII only."""
    colour: bool
    live: bool
    """A line may be written over; false where output goes to a file or pipe."""
    width: int = WIDTH
    """Columns, from WIDTH_MIN to WIDTH."""

    def line(self, text: str = "") -> None:
        """One line."""
        self.write(self.fit(text) + "\n")

    def fit(self, text: str) -> str:
        """The text in the letters that the terminal has."""
        return text.translate(_ASCII).encode("ascii", "replace").decode("ascii") if self.plain else text

    def tint(self, text: str, code: str) -> str:
        """The text in a colour, where there is colour."""
        return f"\x1b[{code}m{text}{_RESET}" if self.colour and text.strip() else text

    def paragraph(self, text: str) -> None:
        """Sentences, broken to the width."""
        for line in textwrap.wrap(text, self.width - 4, subsequent_indent="  "):
            self.line("  " + line)


def day_words(local: datetime) -> str:
    """A date as on a wall calendar: ``Mon 1 Feb``."""
    return f"{local:%a} {local.day} {local:%b}"


def open_paper(out: TextIO, environment: Mapping[str, str]) -> Paper:
    """What this terminal takes."""
    live = out.isatty()

    def write(text: str) -> None:
        out.write(text)
        out.flush()

    return Paper(
        write=write,
        plain=not (out.encoding or "").lower().replace("-", "").startswith("utf"),
        colour=live and not environment.get("NO_COLOR") and environment.get("TERM") != "dumb",
        live=live,
        width=_width(out) if live else WIDTH,
    )


def _width(terminal: TextIO) -> int:
    """How wide the terminal is as it begins; one that does not tell counts as usual."""
    try:
        columns = os.get_terminal_size(terminal.fileno()).columns
    except (OSError, ValueError):
        return WIDTH
    return min(WIDTH, max(WIDTH_MIN, columns)) if columns > 0 else WIDTH
