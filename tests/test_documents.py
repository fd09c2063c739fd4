"""README names every command, setting, notice and lockout, in the code's own words."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from controller.cli import COMMANDS, main_group
from controller.errors import ConfigError, ControllerError
from controller.notices.catalogue import CATALOGUE
from controller.notices.words import LOCKOUT_WORDS, PLACE_WORDS, REASON_WORDS, REJECTION_WORDS
from controller.vocabulary import HeatReason, Kind, LockoutCause, Place, Rejection
from tests.documents import README, filled

TEXT = README.read_text(encoding="utf-8")
ROOT = README.parent


def test_readmes_tables_are_what_the_code_says() -> None:
    """A key, bound or notice that changes without README turns this red; run tests.documents."""
    assert filled(TEXT) == TEXT


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_readme_and_helps_with_an_example(name: str) -> None:
    assert f"`frameward {name}`" in TEXT
    shown = CliRunner().invoke(main_group, [name, "--help"])
    assert shown.exit_code == 0, shown.output
    assert f"frameward {name}" in shown.output
    assert re.search(r"[Ee]xample", shown.output), f"{name} --help shows no example"


def test_the_list_of_commands_and_the_files_agree() -> None:
    files = {path.stem for path in (ROOT / "controller" / "commands").glob("*.py")}
    for name in COMMANDS:
        assert name.replace("-", "_") in files
        command = main_group.get_command(click.Context(main_group), name)
        assert isinstance(command, click.Command)


def test_every_closed_set_has_words_for_people() -> None:
    assert set(REJECTION_WORDS) == set(Rejection)
    assert set(REASON_WORDS) == set(HeatReason)
    assert set(LOCKOUT_WORDS) == set(LockoutCause)
    assert set(PLACE_WORDS) == set(Place)


def test_every_notice_opens_with_something_to_do() -> None:
    """Verb first, one line, and nothing of the machine's own words in it."""
    for code, entry in CATALOGUE.items():
        for text in (entry.first, entry.words):
            assert text[0].isupper(), code
            assert "_" not in re.sub(r"\{\w+\}", "", text), code
            assert text.endswith((".", "{last}", "{detail}")), code
        assert isinstance(entry.kind, Kind)


def test_readme_opens_with_the_job_and_two_commands() -> None:
    first = TEXT.split("\n\n")[1]
    assert first.startswith("frameward is a Raspberry Pi controller that keeps a garden cold frame frost")
    assert TEXT.count("\n<!-- rehearse -->\n```\n") == 1
    assert TEXT.count("\n<!-- tests -->\n```\n") == 1


def test_the_unit_starts_the_keeper_and_stops_the_relays() -> None:
    unit = (ROOT / "systemd" / "frameward-keep.service").read_text(encoding="utf-8")
    for needed in ("Type=notify", "Restart=always", "StartLimitIntervalSec=0", "WatchdogSec="):
        assert needed in unit
    assert re.search(r"^ExecStart=.*frameward keep$", unit, re.MULTILINE)
    assert re.search(r"^ExecStopPost=.*frameward relays-off$", unit, re.MULTILINE)
    assert "time-sync" not in unit, "heat must not wait for the clock"


def test_links_within_the_project_lead_somewhere() -> None:
    for document in (README, ROOT / "DEVELOPERS.md", *sorted((ROOT / "hardware_notes").glob("*.md"))):
        for target in re.findall(r"\]\((?!https?:|#)([^)#]+)", document.read_text(encoding="utf-8")):
            assert (document.parent / Path(target)).exists(), f"{document.name} links to {target}"


def test_every_invariant_is_quoted_by_a_test() -> None:
    """An invariant that no test names is a wish."""
    stated = re.findall(
        r"^- \*\*(I\d+|INV-\d+)\*\*", (ROOT / "DEVELOPERS.md").read_text("utf-8"), re.MULTILINE
    )
    assert len(stated) >= 13
    texts = [path.read_text("utf-8") for path in (ROOT / "tests").rglob("*.py") if path != Path(__file__)]
    for invariant in stated:
        quoted = re.compile(rf"\b{invariant}\b")
        assert any(quoted.search(text) for text in texts), invariant


def test_readme_and_help_name_the_same_exit_codes() -> None:
    """What a script may count on is written down in both places, and is what the program does."""
    readme = re.search(r"Exit codes: ([^.]*)\.", TEXT)
    assert readme is not None
    codes = re.findall(r"\b\d+\b", str(main_group.epilog))
    assert re.findall(r"\b\d+\b", readme[1]) == codes
    assert {str(ControllerError.exit_code), str(ConfigError.exit_code), "130", "143"} <= set(codes)
