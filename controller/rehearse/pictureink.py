"""Shapes, letters and colours of a picture as SVG text. Pure.

Lengths are in pixels of the unscaled picture. Every colour stands twice: as an attribute, for viewers that
know no style sheet, and as a style with a dark twin for whoever prefers that.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import NamedTuple


class Ink(NamedTuple):
    """One colour on light and on dark ground."""

    light: str
    dark: str


INKS: Mapping[str, Ink] = {
    "ground": Ink("#faf8f2", "#151b18"),
    "ink": Ink("#26312b", "#e8ebe4"),
    "quiet": Ink("#59635c", "#a9b3ac"),
    "grid": Ink("#dedbcf", "#323c36"),
    "frostzone": Ink("#e1ebf3", "#1d2b38"),
    "outside": Ink("#a3bccb", "#51707f"),
    "air": Ink("#2b6a4d", "#84d3a9"),
    "frost": Ink("#762a86", "#dca3ea"),
    "warm": Ink("#b2371d", "#ff9273"),
    "heat": Ink("#b97a12", "#e2ab4e"),
    "open": Ink("#6f9636", "#aed06c"),
    "laid": Ink("#85694a", "#c8a981"),
}
FONT = "system-ui,-apple-system,'Segoe UI',Roboto,'DejaVu Sans',sans-serif"
SCHEMA = 1
SHEET_BEGINS = f'<?xml version="1.0" encoding="UTF-8"?>\n<!-- frameward picture, schema {SCHEMA} -->\n'
"""How every picture begins, by which one can be known before it is written over."""
LETTER_EM, BOLD_EM = 0.57, 0.60
"""Mean width of a letter over its size in broad faces; by eye."""
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class Box(NamedTuple):
    """A rectangle that stands on ``bottom_px``."""

    left_px: float
    bottom_px: float
    width_px: float
    height_px: float


def escape(text: str) -> str:
    """Text that may stand in an element or attribute; what XML cannot hold becomes a replacement mark."""
    safe = _NOT_XML.sub("\N{REPLACEMENT CHARACTER}", text)
    return safe.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")


def figure(at: float) -> str:
    """A length to a tenth, without needless zeros."""
    return f"{at:.1f}".removesuffix(".0")


def filled(ink: str, boxes: Iterable[Box]) -> str:
    """All boxes of one colour as one path; those without height leave nothing."""
    path = "".join(
        f"M{figure(box.left_px)} {figure(box.bottom_px)}h{figure(box.width_px)}v{figure(-box.height_px)}"
        f"h{figure(-box.width_px)}z"
        for box in boxes
        if box.height_px > 0.0
    )
    return shape(ink, path)


def shape(ink: str, path: str) -> str:
    """One filled path; nothing for an empty one."""
    return f'<path class="{ink}" fill="{INKS[ink].light}" d="{path}"/>\n' if path else ""


def triangle(middle_px: float, tip_px: float, half_px: float, deep_px: float) -> str:
    """A path with its tip on top; its base lies ``deep_px`` below, or above where that is negative."""
    return (
        f"M{figure(middle_px)} {figure(tip_px)}l{figure(half_px)} {figure(deep_px)}h{figure(-2.0 * half_px)}z"
    )


def line(ink: str, path: str, *, width_px: float = 1.0, dashes: str = "") -> str:
    """One stroked path."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path class="{ink}-line" stroke="{INKS[ink].light}" stroke-width="{figure(width_px)}"'
        f' fill="none"{dashed} d="{path}"/>\n'
    )


def letters(
    text: str,
    left_px: float,
    base_px: float,
    *,
    size_px: float,
    ink: str = "ink",
    anchor: str = "start",
    bold: bool = False,
) -> str:
    """One line of text; ``anchor`` says what ``left_px`` is: its ``start``, ``middle`` or ``end``."""
    weight = ' font-weight="600"' if bold else ""
    where = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return (
        f'<text class="{ink}" fill="{INKS[ink].light}" x="{figure(left_px)}" y="{figure(base_px)}"'
        f' font-size="{figure(size_px)}"{where}{weight}>{escape(text)}</text>\n'
    )


def width_px_of(text: str, size_px: float, *, bold: bool = False) -> float:
    """About how wide a text comes out at most."""
    return len(text) * size_px * (BOLD_EM if bold else LETTER_EM)


def broken(text: str, width_px: float, size_px: float, *, bold: bool = False) -> list[str]:
    """Text in as few lines as should fit the width; no-break spaces hold, and a wider word stands alone."""
    lines: list[str] = []
    for word in text.split(" "):
        if lines and width_px_of(f"{lines[-1]} {word}", size_px, bold=bold) <= width_px:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def evened(text: str, width_px: float, size_px: float, *, bold: bool = False) -> list[str]:
    """The same number of lines, all of about one length."""
    fewest = broken(text, width_px, size_px, bold=bold)
    even_px = width_px_of(text, size_px, bold=bold) / len(fewest)
    while even_px < width_px:
        lines = broken(text, even_px, size_px, bold=bold)
        if len(lines) == len(fewest):
            return lines
        even_px += size_px
    return fewest


def sheet(width_px: float, height_px: float, *, title: str, description: str, body: str) -> str:
    """The whole file."""
    width, height = figure(width_px), figure(height_px)
    return (
        f'{SHEET_BEGINS}<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"'
        f' viewBox="0 0 {width} {height}" role="img" aria-labelledby="title description"'
        f' font-family="{FONT}" style="max-width:100%;height:auto">\n'
        f'<title id="title">{escape(title)}</title>\n'
        f'<desc id="description">{escape(description)}</desc>\n'
        f"<style>\n{_style()}</style>\n"
        f'<rect class="ground" fill="{INKS["ground"].light}" width="100%" height="100%"/>\n{body}</svg>\n'
    )


def _style() -> str:
    light = "".join(_rule(name, ink.light) for name, ink in INKS.items())
    dark = "".join(_rule(name, ink.dark) for name, ink in INKS.items())
    return f"svg{{color-scheme:light dark}}\n{light}@media (prefers-color-scheme:dark){{\n{dark}}}\n"


def _rule(name: str, colour: str) -> str:
    return f".{name}{{fill:{colour}}}.{name}-line{{stroke:{colour}}}\n"
