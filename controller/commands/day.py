"""A day as it is written on the command line."""

from __future__ import annotations

import re
from datetime import date

import click

YEAR_MIN, YEAR_MAX = 1900, 2199
"""Beyond these, a date is a slip of the hand."""
_FORM = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})")


def read_day(text: str) -> date:
    """The day that ``YYYY-MM-DD`` means; raises click's BadParameter with the form that is wanted."""
    form = _FORM.fullmatch(text)
    try:
        day = None if form is None else date(*map(int, form.groups()))
    except ValueError:
        day = None
    if day is None or not YEAR_MIN <= day.year <= YEAR_MAX:
        raise click.BadParameter(
            f"{text!r} is not a day of the calendar from {YEAR_MIN} to {YEAR_MAX};"
            " write year-month-day, such as 2027-02-14"
        )
    return day
