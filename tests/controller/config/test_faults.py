"""Each slip gets file, line, key, what is wrong and what would be right."""

# ruff: noqa: E501  # a table reads best with one slip to a line

from __future__ import annotations

import pytest

from tests.controller.config.texts import EXAMPLE, SMALL, fault_lines, faults_of, read


def _changed(old: str, new: str) -> str:
    assert SMALL.count(old) == 1, old
    return SMALL.replace(old, new)


def test_the_small_text_is_sound() -> None:
    read(SMALL)


def test_every_fault_is_told_at_once_in_the_files_order() -> None:
    """Shape, unknown keys, contradictions and missing keys come in one run."""
    text = (
        SMALL.replace("latitude = 50", "latitude = 89")
        .replace("power_w = 100", 'power_w = "100 W"\nkep_above_c = 3\nisolating_pin = 17')
        .replace("wall = ", "walls = ")
        .replace("000002", "000001")
    )
    told = fault_lines(text)
    assert [line.split(": ")[1] for line in told] == [
        "site.latitude",
        "frame.bed.wall",
        "frame.bed.walls",
        "frame.bed.heat.power_w",
        "frame.bed.heat.kep_above_c",
        "frame.bed.heat.relay_pin",
        "frame.bed.probe.bed.id",
    ]
    rows = text.split("\n")
    for fault in faults_of(text):
        assert fault.line is not None
        name = fault.key.rsplit(".", 1)[1]
        assert name in rows[fault.line - 1] or rows[fault.line - 1] == "[frame.bed]"


@pytest.mark.parametrize(
    ("old", "new", "problem", "remedy"),
    [
        ("latitude = 50", "latitude = true", "cannot be true", "a number from -66 to 66"),
        ("latitude = 50", "latitude = [50]", "cannot be a list", "a number from -66 to 66"),
        ("latitude = 50", "latitude = nan", "cannot be nan", "a number"),
        ("latitude = 50", "latitude = 1e400", "cannot be inf", "a number"),
        ("latitude = 50", "latitude = 1" + "0" * 400, "more than 40 digits", "a number"),
        ("latitude = 50", 'latitude = "50,5"', 'cannot be "50,5"', "write 50.5 with a point and without quotes"),
        ("latitude = 50", 'latitude = "north"', 'cannot be "north"', "without quotes"),
        ("latitude = 50", "latitude = 70", "cannot be 70", "no dusk"),
        ("power_w = 100", 'power_w = "100 W"', 'cannot be "100 W"', "the number alone, without unit"),
        ("relay_pin = 17", "relay_pin = 17.0", "cannot be 17.0", "a BCM number"),
        ("relay_pin = 17", "relay_pin = true", "cannot be true", "a BCM number"),
        ("relay_pin = 17", "relay_pin = 15", "serial port", "use another pin"),
        ("relay_pin = 17", "relay_pin = 17\nrelay_active_high = 1", "cannot be 1", "true or false"),
        ("relay_pin = 17", "relay_pin = 17\nkeep_above_c = '41F'", "'41F'".replace("'", '"'), "write 5.0 (°C"),
        ("relay_pin = 17", "relay_pin = 17\nlead_s = -1", "cannot be -1", "from 0 to 7200"),
        ("relay_pin = 17", "relay_pin = 17\nlay = 'soil'", 'cannot be "soil"', '"sand" or "surface"'),
        ('zone = "Europe/Berlin"', 'zone = "Europe/Berln"', "not a time zone", 'did you mean "Europe/Berlin"?'),
        ('zone = "Europe/Berlin"', 'zone = "Europe"', "not a time zone", '"'),
        ('zone = "Europe/Berlin"', 'zone = "../../etc/passwd"', "not a time zone", '"'),
        ('zone = "Europe/Berlin"', 'zone = ""', 'cannot be ""', "IANA name"),
        ('name = "Test plot"', 'name = "a\\nb"', 'cannot be "a?b"', "one line"),
        ('name = "Test plot"', "name = ''", 'cannot be ""', "short name"),
        ('cover = "film"', 'cover = "plastic"', 'cannot be "plastic"', '"film"'),
        ('"28-000000000001"', '"28-00000000001"', "cannot be", "28-0000075565aa"),
        ('"28-000000000001"', '"28-00000000000A"', "cannot be", "frameward probes"),
        ('"28-000000000001"', '"00-000000000001"', "cannot be", "frameward probes"),
        ("faces_deg = 180", "faces_deg = 180\nkeep_above_c = 3", "does not belong", "move it to [frame.bed.heat]"),
        ("faces_deg = 180", "faces_deg = 180\nzzz = 3", "is not a known key", "remove it; known here: back_height_m"),
        ("faces_deg = 180", "", "is missing", "add a number from 0 to 360"),
        ("faces_deg = 180", "faces_deg = 180\nopening = 3", "cannot be 3", "[[frame.NAME.opening]]"),
        ("faces_deg = 180", "faces_deg = 180\nopening = [3]", "cannot be 3", "a table"),
        ("[frame.bed.probe.bed]", "[frame.bed.probe.bedd]", "is not a known key", "did you mean bed?"),
        ("[site]", "[minder]\n[site]", "is not a known key", "known here: frame, price, site"),
        ("[frame.bed]\n", '[frame."bed 1"]\n[frame.bed]\n', 'cannot be "bed 1"', "letters, digits, - and _"),
        ("[frame.bed]\n", "[frame.-bed]\n[frame.bed]\n", 'cannot be "-bed"', "starts with a letter"),
        ("[frame.bed]\n", f"[frame.{'b' * 33}]\n[frame.bed]\n", "cannot be", "at most 32"),
    ],
)  # fmt: skip
def test_a_slip_is_told_with_its_remedy(old: str, new: str, problem: str, remedy: str) -> None:
    """G03, G05, G06: wrong type, unit, comma, bound, spelling, place, omission."""
    told = [line for line in fault_lines(_changed(old, new)) if problem in line]
    assert told
    assert any(remedy in line for line in told), told


@pytest.mark.parametrize(
    ("old", "new", "line", "remedy"),
    [
        ("latitude = 50", "latitude = 50,5", 3, "decimals with a point"),
        ("latitude = 50", "latitude = 50N", 3, "without a unit"),
        ("latitude = 50", "latitude = True", 3, "true or false, in small letters"),
        ("latitude = 50", "latitude = fifty", 3, "text in quotes"),
        ("latitude = 50", "latitude 50", 3, "key = value"),
        ("[frame.bed.heat]", "[frame.bed]", 16, "only once"),
        ("latitude = 50", "latitude = 50\nlatitude = 51", 4, "only once"),
        ("[frame.bed.heat]", "[frame.bed.heat", 16, "[table] header"),
    ],
)
def test_what_is_not_toml_gives_one_fault_with_its_line(old: str, new: str, line: int, remedy: str) -> None:
    """G02: nothing after the first stop can be known."""
    faults = faults_of(_changed(old, new))
    assert len(faults) == 1
    assert faults[0].line == line
    assert "is not TOML" in faults[0].problem
    assert remedy in faults[0].remedy


def test_an_empty_file_is_told_what_it_needs() -> None:
    assert [fault.key for fault in faults_of("")] == ["frame", "site"]


def test_an_unclosed_text_is_placed_at_the_end() -> None:
    text = _changed('cover = "film"', 'cover = """film')
    (fault,) = faults_of(text)
    assert fault.line == len(text.split("\n"))


def test_items_of_a_list_are_counted_from_one() -> None:
    told = fault_lines(EXAMPLE.replace("area_m2 = 0.20", "area_m2 = -1"))
    assert len(told) == 1
    assert "frame.south.opening no. 3.area_m2: cannot be -1" in told[0]


def test_too_many_openings_are_refused_in_words() -> None:
    more = "".join(
        f'\n[[frame.south.opening]]\nname = "o{n}"\narea_m2 = 2.24\nheight_m = 1\n' for n in range(8)
    )
    assert "at most 12 tables" in fault_lines(EXAMPLE + more)[0]
