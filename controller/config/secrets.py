"""Passwords and tokens: what a secrets file may hold, and a wrapper that does not show it. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NoReturn

from controller.errors import ConfigError, Fault

SECRET_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")
LONGEST_SECRET = 4096
_HIDDEN = "(secret)"


class Secret:
    """Text that shows itself only through ``reveal``; not in logs, errors, f-strings or pickles."""

    __slots__ = ("_hidden",)

    def __init__(self, text: str) -> None:
        """Wrap ``text``."""
        self._hidden = text

    def reveal(self) -> str:
        """The text itself, for the one place that must send it."""
        return self._hidden

    def __repr__(self) -> str:
        return _HIDDEN

    def __str__(self) -> str:
        return _HIDDEN

    def __format__(self, spec: str) -> str:
        return format(_HIDDEN, spec)

    def __reduce__(self) -> NoReturn:
        raise TypeError("a secret is not pickled")


def check_secrets(tables: Mapping[str, object], file_name: str) -> Mapping[str, Secret]:
    """Secrets by name from a file's plain tables; ConfigError with every fault and no secret in it."""
    faults = []
    found: dict[str, Secret] = {}
    for name, text in tables.items():
        problem = _problem(name, text)
        if problem is None:
            found[name] = Secret(str(text))
        else:
            faults.append(
                Fault(
                    file=file_name,
                    line=None,
                    key=name if SECRET_NAME.fullmatch(name) else "",
                    problem=problem,
                    remedy='each line is name = "text"; a name has letters, digits, - and _',
                )
            )
    if faults:
        raise ConfigError(tuple(faults))
    return found


def check_secret_text(text: str, file_name: str) -> Secret:
    """One secret from a file of its own, its last line end taken away."""
    bare = text.removesuffix("\n").removesuffix("\r")
    problem = _problem("secret", bare)
    if problem is not None:
        fault = Fault(
            file=file_name, line=None, key="", problem=problem, remedy="store one line of text there"
        )
        raise ConfigError((fault,))
    return Secret(bare)


def _problem(name: str, text: object) -> str | None:
    """What is wrong with one entry; the words never hold the secret."""
    if not SECRET_NAME.fullmatch(name):
        return "a name is not made of letters, digits, - and _"
    if not isinstance(text, str):
        return "is not a text in quotes"
    if not text or text != text.strip():
        return "is empty or begins or ends with a blank"
    if len(text) > LONGEST_SECRET:
        return f"is longer than {LONGEST_SECRET} letters"
    if not text.isprintable():
        return "holds a line end or another control character"
    return None
