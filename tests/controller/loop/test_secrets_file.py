"""Secrets come from the service manager or from a file that only we may read (G07)."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.errors import ConfigError
from controller.loop.secrets_file import find_secret, read_secrets

WORD = "tomato-hunter-7"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "secrets.toml"
    file.write_text(f'push_token = "{WORD}"\n')
    file.chmod(0o600)
    return file


@pytest.mark.parametrize("mode", [0o600, 0o400])
def test_a_file_of_ours_that_only_we_may_read_is_read(path: Path, mode: int) -> None:
    path.chmod(mode)
    assert read_secrets(path)["push_token"].reveal() == WORD
    found = find_secret("push_token", path, {})
    assert found is not None
    assert found.reveal() == WORD
    assert find_secret("other", path, {}) is None
    assert find_secret("other", None, {}) is None


@pytest.mark.parametrize("mode", [0o644, 0o640, 0o604, 0o620, 0o601])
def test_a_file_that_others_may_touch_is_refused_with_the_way_to_mend_it(path: Path, mode: int) -> None:
    path.chmod(mode)
    with pytest.raises(ConfigError) as caught:
        read_secrets(path)
    assert f"{mode:04o}" in caught.value.faults[0].problem
    assert f"chmod 600 {path}" in caught.value.faults[0].remedy
    assert WORD not in str(caught.value)


def test_a_file_of_another_user_is_refused(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: path.stat().st_uid + 1)
    with pytest.raises(ConfigError, match="belongs to user"):
        read_secrets(path)


def test_what_is_not_toml_is_told_by_its_line_and_never_quoted(path: Path) -> None:
    path.write_text(f"# mine\npush_token = {WORD}\n")
    with pytest.raises(ConfigError, match="line 2") as caught:
        read_secrets(path)
    assert "tomato" not in str(caught.value)
    assert caught.value.__cause__ is None


def test_a_missing_file_and_a_pipe_are_refused(path: Path) -> None:
    path.unlink()
    with pytest.raises(ConfigError, match="does not exist"):
        read_secrets(path)
    os.mkfifo(path, 0o600)
    with pytest.raises(ConfigError, match="not a regular file"):
        read_secrets(path)


def test_the_service_managers_credential_comes_first(path: Path, tmp_path: Path) -> None:
    folder = tmp_path / "credentials"
    folder.mkdir()
    (folder / "push_token").write_text("from-the-manager\n")
    found = find_secret("push_token", path, {"CREDENTIALS_DIRECTORY": str(folder)})
    assert found is not None
    assert found.reveal() == "from-the-manager"
    assert find_secret("absent", None, {"CREDENTIALS_DIRECTORY": str(folder)}) is None


@pytest.mark.parametrize("name", ["../secrets", "", "a/b", ".hidden", "x" * 65])
def test_a_name_cannot_lead_out_of_the_folder(name: str) -> None:
    with pytest.raises(ValueError, match="no name"):
        find_secret(name, None, {})
