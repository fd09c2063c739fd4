"""A secret shows itself only when asked."""

from __future__ import annotations

import copy
import logging
import pickle

import pytest

from controller.config.secrets import Secret, check_secret_text, check_secrets
from controller.errors import ConfigError

WORD = "tomato-hunter-7"


def test_no_ordinary_way_of_printing_shows_it() -> None:
    secret = Secret(WORD)
    shown = [str(secret), repr(secret), f"{secret}", f"{secret:>20}", f"{secret!r}", "%s" % secret]  # noqa: UP031
    shown += [str([secret]), str({"token": secret}), logging.Formatter().format(
        logging.LogRecord("x", 10, "f", 1, "%s", (secret,), None))]  # fmt: skip
    assert not any(WORD in words for words in shown)
    assert secret.reveal() == WORD


def test_it_is_not_pickled_or_copied_away() -> None:
    for away in (pickle.dumps, copy.deepcopy):
        with pytest.raises(TypeError):
            away(Secret(WORD))


def test_sound_secrets_are_found_by_name() -> None:
    found = check_secrets({"push_token": WORD, "mail-1": "x y"}, "f")
    assert found["push_token"].reveal() == WORD
    assert found["mail-1"].reveal() == "x y"


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("token", 12345678),
        ("token", ""),
        ("token", f" {WORD}"),
        ("token", f"{WORD}\n{WORD}"),
        ("token", "x" * 4097),
        ("token", {"deeper": WORD}),
        (f"../{WORD}", WORD),
        (WORD * 9, WORD),
    ],
)
def test_a_bad_entry_is_told_without_showing_any_secret(name: str, text: object) -> None:
    with pytest.raises(ConfigError) as caught:
        check_secrets({name: text, "other": 1}, "f")
    assert len(caught.value.faults) == 2
    assert WORD not in str(caught.value).replace("token", "")
    assert "12345678" not in str(caught.value)


def test_a_credential_loses_its_last_line_end_only() -> None:
    assert check_secret_text(f"{WORD}\n", "f").reveal() == WORD
    with pytest.raises(ConfigError):
        check_secret_text(f"{WORD}\n\n", "f")
