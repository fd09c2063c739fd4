"""The history's tables, how they came to be, and how a file is recognised as ours.

A change of the tables is a new function at the end of ``MIGRATIONS``; those before it never change.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence

APPLICATION_ID = 0x46725764
"""Marks the SQLite file as this program's history (the letters ``FrWd``)."""

_NAMED_MAX = 5

Migration = Callable[[sqlite3.Connection], None]


def create_history(connection: sqlite3.Connection) -> None:
    """Tables of the first release.

    Every instant and duration is in milliseconds, every temperature in sixteenths of a degree; no
    column holds a floating-point number, so sums are exact.
    ``boot``, ``frame``, ``opening``, ``covering`` and ``what`` are ids of ``words``.
    ``crc`` is the CRC-32 of the row's other values.
    """
    connection.execute("CREATE TABLE words (id INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE) STRICT")
    connection.execute(
        """
        CREATE TABLE samples (
            seq INTEGER PRIMARY KEY,
            boot INTEGER NOT NULL, mono_ms INTEGER NOT NULL,
            utc_ms INTEGER NOT NULL, utc_confirmed INTEGER NOT NULL,
            frame INTEGER NOT NULL,
            span_ms INTEGER NOT NULL, heat_on_ms INTEGER NOT NULL,
            heat_wanted INTEGER NOT NULL, heat_allowed INTEGER NOT NULL, level INTEGER NOT NULL,
            opening INTEGER NOT NULL, covering INTEGER NOT NULL,
            tier INTEGER NOT NULL,
            air INTEGER, air_second INTEGER, bed INTEGER, guard INTEGER,
            cable INTEGER, outside INTEGER, wall INTEGER,
            air_low INTEGER, air_high INTEGER, outside_low INTEGER,
            crc INTEGER NOT NULL
        ) STRICT
        """
    )
    connection.execute("CREATE INDEX samples_by_utc ON samples (utc_ms)")
    connection.execute(
        """
        CREATE TABLE events (
            seq INTEGER PRIMARY KEY,
            boot INTEGER NOT NULL, mono_ms INTEGER NOT NULL,
            utc_ms INTEGER NOT NULL, utc_confirmed INTEGER NOT NULL,
            frame INTEGER NOT NULL, what INTEGER NOT NULL,
            detail TEXT NOT NULL,
            crc INTEGER NOT NULL
        ) STRICT
        """
    )
    connection.execute("CREATE INDEX events_by_what ON events (what, utc_ms)")
    connection.execute("CREATE TABLE marks (name TEXT PRIMARY KEY, seq INTEGER NOT NULL) STRICT")


MIGRATIONS: Sequence[Migration] = (create_history,)


def migrate(
    connection: sqlite3.Connection, *, utc_s: float, migrations: Sequence[Migration] = MIGRATIONS
) -> None:
    """Bring the tables up to date, each step in one transaction with the record that it ran."""
    for number in range(read_version(connection) + 1, len(migrations) + 1):
        step = migrations[number - 1]
        connection.execute("BEGIN IMMEDIATE")
        try:
            connection.execute(
                "CREATE TABLE IF NOT EXISTS migrations"
                " (number INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_utc_ms INTEGER NOT NULL) STRICT"
            )
            step(connection)
            connection.execute(
                "INSERT INTO migrations VALUES (?, ?, ?)", (number, step.__name__, round(utc_s * 1000))
            )
            connection.execute(f"PRAGMA user_version = {number:d}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def read_version(connection: sqlite3.Connection) -> int:
    """Number of the last migration that ran; 0 in a new file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def is_ours(connection: sqlite3.Connection) -> bool:
    """Whether this program made the file."""
    return int(connection.execute("PRAGMA application_id").fetchone()[0]) == APPLICATION_ID


def find_damage(connection: sqlite3.Connection) -> str:
    """What is wrong with the file, or an empty text.

    Asks SQLite for the structure and, at the present version, compares the tables with fresh ones.
    A flipped bit inside a row is found by the row's own check sum when it is read.
    """
    verdict = str(connection.execute("PRAGMA quick_check(1)").fetchone()[0])
    if verdict != "ok":
        return verdict
    if read_version(connection) != len(MIGRATIONS):
        return ""
    fresh = sqlite3.connect(":memory:", isolation_level=None)
    try:
        migrate(fresh, utc_s=0.0)
        missing = _describe_tables(fresh) - _describe_tables(connection)
    finally:
        fresh.close()
    return f"lacks {', '.join(sorted(missing)[:_NAMED_MAX])}" if missing else ""


def _describe_tables(connection: sqlite3.Connection) -> set[str]:
    """Every column of every table, and every index, whatever the wording of their definitions."""
    columns = connection.execute(
        "SELECT m.name || '.' || c.name || ' ' || c.type || ' ' || c.\"notnull\" || ' ' || c.pk"
        " FROM sqlite_master AS m JOIN pragma_table_info(m.name) AS c WHERE m.type = 'table'"
    ).fetchall()
    indexes = connection.execute("SELECT name FROM sqlite_master WHERE type = 'index'").fetchall()
    return {str(name) for (name,) in columns + indexes}
