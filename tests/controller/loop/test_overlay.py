"""What commands changed: laid over the settings, never past a bound."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import StorageError
from controller.loop.overlay import (
    FrameOverlay,
    Overlay,
    OverlayUnreadable,
    Reported,
    apply_overlay,
    decode_overlay,
    encode_overlay,
    misfits,
    overlay_from,
    reported,
)
from controller.loop.overlay_file import load_overlay, save_overlay
from controller.vocabulary import FrameName
from tests.controller.config.texts import EXAMPLE, SMALL, read

SOUTH = FrameName("south")
SETTINGS = read(EXAMPLE)
FRAME = SETTINGS.frames[SOUTH]


def _with(**found: object) -> Overlay:
    return Overlay(frames={SOUTH: FrameOverlay(**found)})  # type: ignore[arg-type]


def test_without_changes_the_settings_hold_and_the_covers_are_shut_and_bare() -> None:
    assert reported(Overlay(), FRAME) == Reported(keep_above_c=2.0, opening="shut", coverings=())
    assert apply_overlay(SETTINGS, Overlay()) == SETTINGS


def test_changes_that_fit_hold() -> None:
    overlay = _with(keep_above_c=4.5, opening="hand", coverings=("mat", "fleece"))
    assert reported(overlay, FRAME) == Reported(keep_above_c=4.5, opening="hand", coverings=("mat", "fleece"))
    heat = apply_overlay(SETTINGS, overlay).frames[SOUTH].heat
    assert heat is not None
    assert heat.keep_above_c == 4.5
    assert misfits(overlay, SETTINGS) == ()


@pytest.mark.parametrize("keep_above_c", [0.4999, 12.001, -40.0, 60.0, 1e308, float("nan"), float("inf")])
def test_no_overlay_moves_keep_above_past_the_bounds_of_the_file(keep_above_c: float) -> None:
    """I8 and G03: what the file may not say, a command may not either."""
    overlay = _with(keep_above_c=keep_above_c)
    assert reported(overlay, FRAME).keep_above_c == 2.0
    assert apply_overlay(SETTINGS, overlay) == SETTINGS
    assert len(misfits(overlay, SETTINGS)) == 1


def test_the_bounds_themselves_fit() -> None:
    for keep_above_c in (0.5, 12.0):
        assert reported(_with(keep_above_c=keep_above_c), FRAME).keep_above_c == keep_above_c


def test_a_change_that_later_settings_contradict_is_left_aside_and_said() -> None:
    """G04 holds for the sum of file and overlay too."""
    tight = read(
        EXAMPLE.replace("#air_max_c = 30", "air_max_c = 15").replace(
            "#differential_k = 1.0", "differential_k = 4"
        )
    )
    overlay = _with(keep_above_c=11.0)
    assert reported(overlay, tight.frames[SOUTH]).keep_above_c == 2.0
    (words,) = misfits(overlay, tight)
    assert "air_max_c" in words
    assert "keep_above_c" in words
    assert reported(_with(keep_above_c=10.99), tight.frames[SOUTH]).keep_above_c == 10.99


def test_an_opening_or_covering_that_is_no_more_is_taken_as_shut_and_bare_and_said() -> None:
    overlay = _with(opening="ajar", coverings=("mat", "straw"))
    assert reported(overlay, FRAME) == Reported(keep_above_c=2.0, opening="shut", coverings=())
    assert len(misfits(overlay, SETTINGS)) == 2


def test_a_frame_without_heat_keeps_no_changed_aim() -> None:
    cold = read(SMALL[: SMALL.index("[frame.bed.heat]")])
    bed = FrameName("bed")
    overlay = Overlay(frames={bed: FrameOverlay(keep_above_c=5.0)})
    assert reported(overlay, cold.frames[bed]).keep_above_c == 2.0
    assert "has no heat" in misfits(overlay, cold)[0]
    assert apply_overlay(cold, overlay) == cold


def test_frames_that_the_settings_lack_are_kept_for_their_return() -> None:
    """F07: a frame taken out for a day loses nothing."""
    north = FrameName("north")
    before = Overlay(frames={north: FrameOverlay(opening="half")})
    after = overlay_from(SETTINGS, {SOUTH: reported(Overlay(), FRAME)}, before)
    assert after.frames[north] == before.frames[north]
    assert "no such frame" in misfits(after, SETTINGS)[0]


def test_what_equals_the_file_is_left_to_the_file() -> None:
    """So that a later change of the file is not hidden by an overlay that never meant it."""
    told = {SOUTH: Reported(keep_above_c=2.0, opening="crack", coverings=("mat",))}
    assert overlay_from(SETTINGS, told, Overlay()).frames[SOUTH] == FrameOverlay(
        opening="crack", coverings=("mat",)
    )


def test_what_was_told_holds_again_after_it_was_stored() -> None:
    told = Reported(keep_above_c=4.0, opening="half", coverings=("mat", "fleece"))
    stored = decode_overlay(encode_overlay(overlay_from(SETTINGS, {SOUTH: told}, Overlay())))[0]
    assert reported(stored, FRAME) == told


def test_a_frame_without_heat_stores_no_aim() -> None:
    bed = FrameName("bed")
    cold = read(SMALL[: SMALL.index("[frame.bed.heat]")])
    told = {bed: Reported(keep_above_c=4.0, opening="shut", coverings=())}
    assert overlay_from(cold, told, Overlay()).frames[bed].keep_above_c is None


_FRAMES = st.builds(
    FrameOverlay,
    keep_above_c=st.none() | st.floats(-100, 100),
    opening=st.none() | st.text(max_size=5),
    coverings=st.none() | st.lists(st.text(max_size=5), max_size=3).map(tuple),
)


@given(st.dictionaries(st.text(max_size=5).map(FrameName), _FRAMES, max_size=3))
def test_storing_and_reading_gives_the_same(frames: dict[FrameName, FrameOverlay]) -> None:
    assert decode_overlay(encode_overlay(Overlay(frames=frames))) == (Overlay(frames=frames), ())


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=200)
@given(_JSON, _JSON, _JSON)
def test_no_stored_entry_of_any_kind_gets_past_the_bounds(
    aim: object, opening: object, coverings: object
) -> None:
    """Whatever stands in the file, what holds is within the settings' own bounds and lists."""
    document = {
        "schema": 1,
        "frames": {"south": {"keep_above_c": aim, "opening": opening, "coverings": coverings}},
    }
    overlay, _ = decode_overlay(json.dumps(document).encode())
    held = reported(overlay, FRAME)
    assert 0.5 <= held.keep_above_c <= 12
    assert held.opening in {each.name for each in FRAME.openings}
    assert set(held.coverings) <= {each.name for each in FRAME.coverings}


def test_a_bad_entry_is_said_and_the_sound_ones_beside_it_hold() -> None:
    document = {"schema": 1, "frames": {"south": {"keep_above_c": True, "opening": "half", "color": 1}}}
    overlay, words = decode_overlay(json.dumps(document).encode())
    assert reported(overlay, FRAME).opening == "half"
    assert words == ("south: keep_above_c is not a number", "south: color is not known")
    document["frames"] = {"south": {"opening": 3, "coverings": "mat"}}
    overlay, words = decode_overlay(json.dumps(document).encode())
    assert overlay.frames[SOUTH] == FrameOverlay()
    assert words == ("south: opening is not a name", "south: coverings are not a list of names")


def test_a_missing_file_means_no_change(tmp_path: Path) -> None:
    loaded = load_overlay(tmp_path / "settings.json")
    assert loaded.overlay == Overlay()
    assert loaded.remarks == ()


def test_the_file_cut_at_every_byte_is_read_whole_or_set_aside_and_said(tmp_path: Path) -> None:
    """M06: never a mixture, never a crash."""
    path = tmp_path / "settings.json"
    overlay = _with(keep_above_c=4.0, opening="half", coverings=("mat",))
    data = encode_overlay(overlay)
    for end in range(len(data)):
        path.write_bytes(data[:end])
        loaded = load_overlay(path)
        if data[:end].strip() == data.strip():
            assert loaded.overlay == overlay
        else:
            assert loaded.overlay == Overlay()
            assert "the settings file holds" in loaded.remarks[0]
            assert not path.exists()
            assert path.with_name("settings.json.set-aside").read_bytes() == data[:end]


@pytest.mark.parametrize(
    "data",
    [b'{"schema": 2, "frames": {}}', b"[]", b'{"schema": 1}', b'{"schema": 1, "frames": 3}', b"[" * 9999],
)
def test_other_schemas_and_shapes_are_set_aside(data: bytes, tmp_path: Path) -> None:
    """S08: a newer version's file is never written over."""
    path = tmp_path / "settings.json"
    path.write_bytes(data)
    with pytest.raises(OverlayUnreadable):
        decode_overlay(data)
    assert load_overlay(path, set_aside=False).overlay == Overlay()
    assert path.read_bytes() == data
    load_overlay(path)
    save_overlay(path, _with(opening="half"))
    assert path.with_name("settings.json.set-aside").read_bytes() == data
    assert load_overlay(path).overlay == _with(opening="half")


def test_a_folder_in_its_place_is_set_aside_too(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"
    path.mkdir()
    assert "not a regular file" in load_overlay(path).remarks[0]
    assert not path.exists()


def test_a_disk_that_will_not_take_it_is_an_error_for_the_caller(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("no folder")
    with pytest.raises(StorageError):
        save_overlay(tmp_path / "state" / "settings.json", Overlay())
