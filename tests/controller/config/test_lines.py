"""A line is right or absent."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.config.lines import line_of, locate_keys
from tests.controller.config.texts import EXAMPLE, SMALL, uncommented

TRICKY = '''\
# [not.a.table]
top = 1 # = not = a key
"quoted key" . 'other' = "a = [b] # c"

[ site ]  # remark
long = """
[frame.fake]
name = "inside \\"text\\""
"""
raw = \'\'\'
key = 'x'
\'\'\'
list = [ # remark ]
  1, "]", [2, 3],
  { inner = 4, "two words" = [5] },
]
inline = { a.b = 1, c = { d = "}" } }
when = 1979-05-27 07:32:00
[[row]]
x = 1
[[row]]
x = 2
[row.sub]
y = 3
[[row.deep]]
z = 4
[[row.deep]]
z = 5
'''


def test_every_key_of_a_tricky_text_is_on_its_line() -> None:
    """Tables, arrays of tables, inline tables, dotted and quoted keys, strings that look like keys."""
    lines = locate_keys(TRICKY, tomllib.loads(TRICKY))
    expected = {
        ("top",): 2,
        ("quoted key", "other"): 3,
        ("site",): 5,
        ("site", "long"): 6,
        ("site", "raw"): 10,
        ("site", "list"): 13,
        ("site", "list", 2): 14,
        ("site", "list", 2, 1): 14,
        ("site", "list", 3): 15,
        ("site", "list", 3, "two words"): 15,
        ("site", "inline", "a", "b"): 17,
        ("site", "inline", "c", "d"): 17,
        ("site", "when"): 18,
        ("row", 0, "x"): 20,
        ("row", 1): 21,
        ("row", 1, "x"): 22,
        ("row", 1, "sub", "y"): 24,
        ("row", 1, "deep", 0, "z"): 26,
        ("row", 1, "deep", 1, "z"): 28,
    }
    assert {path: lines.get(path) for path in expected} == expected


@pytest.mark.parametrize("text", [EXAMPLE, uncommented(EXAMPLE), SMALL], ids=["example", "full", "small"])
def test_each_line_found_bears_its_key(text: str) -> None:
    """Whatever line is given, the key's own last name stands on it."""
    lines = locate_keys(text, tomllib.loads(text))
    rows = text.split("\n")
    assert len(lines) > 20
    for path, line in lines.items():
        name = next(step for step in reversed(path) if isinstance(step, str))
        assert name in rows[line - 1], (path, line)


def test_windows_line_ends_change_nothing() -> None:
    assert locate_keys(TRICKY.replace("\n", "\r\n"), tomllib.loads(TRICKY)) == locate_keys(
        TRICKY, tomllib.loads(TRICKY)
    )


def test_no_line_at_all_where_walk_and_reader_differ() -> None:
    """An escape in a key is not followed, so nothing is claimed about such a text."""
    text = '"caf\\u00e9" = 1\nother = 2\n'
    assert locate_keys(text, tomllib.loads(text)) == {}


def test_a_missing_key_takes_the_line_of_its_table() -> None:
    lines = locate_keys(SMALL, tomllib.loads(SMALL))
    assert line_of(lines, ("frame", "bed", "skins")) == lines["frame", "bed"]
    assert line_of(lines, ("price",)) is None


_NAME = st.sampled_from(["a", "b", "c-d", "e_1"])
_SCALAR = st.sampled_from(["1", "-2.5", "true", '"x = 1"', "'#'", '"""\nq\n"""', "1979-05-27"])
_ITEM = st.one_of(
    _SCALAR,
    st.lists(_SCALAR, max_size=3).map(lambda items: "[\n" + ",\n".join(items) + "]"),
    st.lists(st.tuples(_NAME, _SCALAR), max_size=2, unique_by=lambda pair: pair[0]).map(
        lambda pairs: "{" + ", ".join(f"{name} = {found}" for name, found in pairs) + "}"
    ),
)


@settings(max_examples=150)
@given(st.lists(st.tuples(st.sampled_from(["key", "table", "rows"]), _NAME, _NAME, _ITEM), max_size=12))
def test_every_readable_text_is_followed_and_each_key_stands_where_it_was_written(
    parts: list[tuple[str, str, str, str]],
) -> None:
    """Texts put together at random: where the reader agrees, the lines are those of the writing."""
    rows: list[str] = []
    for kind, first, second, item in parts:
        row = {"key": f"{first}.{second} = {item}", "table": f"[{first}.{second}]", "rows": f"[[{first}]]"}
        rows.append(row[kind])
    text = "\n".join(rows)
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    lines = locate_keys(text, parsed)
    assert bool(lines) == bool(parsed)
    split = text.split("\n")
    for path, line in lines.items():
        if isinstance(path[-1], str):
            assert path[-1] in split[line - 1]
