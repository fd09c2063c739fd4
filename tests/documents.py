"""The tables of README, made from the code; ``python -m tests.documents`` writes them in place."""

from __future__ import annotations

import re
from pathlib import Path

from controller.config.keys import leaf_keys
from controller.config.schema import known_keys
from controller.notices.catalogue import CATALOGUE

README = Path(__file__).resolve().parent.parent / "README.md"


def settings_rows() -> list[str]:
    """One line per key of the settings file."""
    known = known_keys()
    rows = ["| key | what belongs there | default |", "|---|---|---|"]
    for pattern in leaf_keys():
        default = known[pattern].default
        text = str(default).lower() if isinstance(default, bool) else str(default)
        shown = "" if default is None else f"`{text}`"
        wanted = known[pattern].wanted.replace("|", "\\|")
        rows.append(f"| `{'.'.join(pattern)}` | {wanted} | {shown} |")
    return rows


def notice_rows() -> list[str]:
    """One line per notice."""
    rows = ["| notice | kind, urgency | what to do first |", "|---|---|---|"]
    for code, entry in CATALOGUE.items():
        rows.append(f"| `{code}` | {entry.kind.value} {entry.urgency.value} | {entry.first} |")
    return rows


TABLES = {"settings": settings_rows, "notices": notice_rows}


def filled(text: str) -> str:
    """README's text with every table made anew."""
    for name, rows in TABLES.items():
        block = f"<!-- {name} -->\n" + "\n".join(rows()) + f"\n<!-- end {name} -->"
        text, count = re.subn(
            rf"<!-- {name} -->.*?<!-- end {name} -->", lambda _, block=block: block, text, flags=re.DOTALL
        )
        if count != 1:
            raise ValueError(f"README has {count} tables of {name}")
    return text


if __name__ == "__main__":
    README.write_text(filled(README.read_text(encoding="utf-8")), encoding="utf-8")
