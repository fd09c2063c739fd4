"""From bytes to settings or to faults, and never to anything else."""

# ruff: noqa: PT017  # either outcome is fine here; what a refusal says is checked

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.config.parse import LARGEST_FILE_BYTES, decode_settings, parse_settings
from controller.errors import ConfigError
from tests.controller.config.texts import EXAMPLE, SMALL, faults_of, read

EXAMPLE_BYTES = EXAMPLE.encode()


def _accepts_or_refuses(text: str) -> None:
    """Anything but settings or ConfigError fails the test by itself."""
    try:
        parse_settings(text, "f.toml")
    except ConfigError as error:
        assert error.faults
        for fault in error.faults:
            assert fault.problem
            assert fault.remedy
            assert "\n" not in str(fault)


def test_a_byte_order_mark_and_windows_line_ends_are_fine() -> None:
    """G11, first half."""
    odd = b"\xef\xbb\xbf" + EXAMPLE_BYTES.replace(b"\n", b"\r\n")
    assert parse_settings(decode_settings(odd, "f"), "f") == read(EXAMPLE)


@pytest.mark.parametrize(
    ("data", "problem", "line"),
    [
        ("name = 'Gärtle'\n".encode("latin-1"), "not UTF-8", 1),
        (EXAMPLE.encode("utf-16"), "not UTF-8", 1),
        (b"a = 1\nb = '\xff'\n", "not UTF-8", 2),
        (b"#" * (LARGEST_FILE_BYTES + 1), "larger than 256 kB", None),
    ],
)
def test_other_encodings_and_huge_files_are_refused(data: bytes, problem: str, line: int | None) -> None:
    """G11, second half."""
    with pytest.raises(ConfigError, match=problem) as caught:
        decode_settings(data, "f")
    assert caught.value.faults[0].line == line


def test_a_file_of_just_the_largest_size_is_read() -> None:
    filled = EXAMPLE_BYTES + b"\n" * (LARGEST_FILE_BYTES - len(EXAMPLE_BYTES))
    assert parse_settings(decode_settings(filled, "f"), "f") == read(EXAMPLE)


def test_the_example_cut_at_every_byte_never_raises_anything_but_config_error() -> None:
    """G02: truncation at each byte; where the cut leaves whole settings, they are read."""
    read_count = 0
    for end in range(len(EXAMPLE_BYTES)):
        try:
            parse_settings(decode_settings(EXAMPLE_BYTES[:end], "f"), "f")
            read_count += 1
        except ConfigError as error:
            assert error.faults
    assert 0 < read_count < len(EXAMPLE_BYTES) / 2


@settings(max_examples=300)
@given(st.integers(0, len(SMALL)), st.text(max_size=4), st.integers(0, 3))
def test_stray_characters_never_raise_anything_but_config_error(at: int, stray: str, drop: int) -> None:
    """G02: characters put in or lost anywhere."""
    _accepts_or_refuses(SMALL[:at] + stray + SMALL[at + drop :])


@settings(max_examples=200)
@given(st.binary(max_size=200))
def test_any_bytes_never_raise_anything_but_config_error(data: bytes) -> None:
    try:
        parse_settings(decode_settings(data, "f"), "f")
    except ConfigError as error:
        assert error.faults


_ANY = st.recursive(
    st.sampled_from(["1", "-0.5", "true", "nan", "inf", '"x"', "''", "1979-05-27", "9" * 30, "07:30:00"]),
    lambda inner: (
        st.lists(inner, max_size=2).map(lambda items: f"[{', '.join(items)}]")
        | inner.map(lambda item: f"{{ a = {item} }}")
    ),
    max_leaves=4,
)


@settings(max_examples=300)
@given(st.integers(0, SMALL.count("\n") - 1), _ANY)
def test_any_toml_in_the_place_of_any_setting_is_taken_or_refused(row: int, item: str) -> None:
    rows = SMALL.split("\n")
    if " = " in rows[row]:
        rows[row] = f"{rows[row].split(' = ')[0]} = {item}"
    else:
        rows[row] = f"{rows[row]}\n{'abc'[row % 3]} = {item}"
    _accepts_or_refuses("\n".join(rows))


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 900 + "\n",
        "a = " + "[\n" * 5000,
        "a = " + "[\n" * 400 + "]" * 400,
        "a." * 60_000 + "b = 1",
        "\n".join(f"[a{'.a' * n}]" for n in range(40)),
        "a = " + "9" * 1990,
        "x = 0\n" * 3,
        "frame = 3",
        "frame = []",
        "site = []\nframe = {}",
        "[[frame]]",
        "[[site]]\n[frame.a.heat]\nrelay_pin = 1e3",
        "[frame]\nopening = [[1]]",
    ],
    ids=lambda text: text[:12].replace("\n", "|"),
)
def test_texts_made_to_hurt_are_refused_in_words(text: str) -> None:
    assert faults_of(text)


def test_tables_hold_each_frames_own_plain_values() -> None:
    """A stand-in's factory gets what the file says, not our records."""
    table = read(EXAMPLE).tables["south"]  # type: ignore[index]  # a frame's name is a str
    assert table["length_m"] == 2.4
    assert isinstance(table["heat"], dict)
    assert table["heat"]["power_w"] == 250
    assert "keep_above_c" not in table["heat"]
