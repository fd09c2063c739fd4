"""Where secrets are read from: the service manager's credentials, else a file that only we may read."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.config.parse import LARGEST_FILE_BYTES, decode_settings, parse_toml
from controller.config.secrets import SECRET_NAME, Secret, check_secret_text, check_secrets
from controller.errors import ConfigError, Fault

_OTHERS_MAY = 0o077


def find_secret(name: str, secrets_file: Path | None, environment: Mapping[str, str]) -> Secret | None:
    """The secret called ``name``; None where neither place has it.

    ``$CREDENTIALS_DIRECTORY/name`` comes first, then the TOML file. Raises ConfigError, with how to
    mend it, for a file that others may read, since what is in it may
    be known to them already, that is not ours, or that is not well formed.
    """
    if not SECRET_NAME.fullmatch(name):
        raise ValueError(f"{name!r} is no name of a secret")
    folder = environment.get("CREDENTIALS_DIRECTORY")
    if folder:
        credential = _read_credential(Path(folder) / name)
        if credential is not None:
            return credential
    return None if secrets_file is None else read_secrets(secrets_file).get(name)


def read_secrets(path: Path) -> Mapping[str, Secret]:
    """All secrets of a TOML file of ours with mode 0600 or 0400; else ConfigError with how to mend it."""
    try:
        found = read_bounded(path, LARGEST_FILE_BYTES)
    except FileNotFoundError as error:
        raise _refused(path, "does not exist", f"make it, then: chmod 600 {path}") from error
    except UnfitFile as error:
        raise _refused(path, str(error), "make it a plain file of your own") from error
    if found.mode & _OTHERS_MAY:
        raise _refused(path, f"may be read by others (mode {found.mode:04o})", f"run: chmod 600 {path}")
    if found.owner_uid != os.geteuid():
        raise _refused(
            path,
            f"belongs to user {found.owner_uid}, not to the user of frameward ({os.geteuid()})",
            f"run as root: chown {os.geteuid()} {path}",
        )
    name = str(path)
    try:
        tables = parse_toml(decode_settings(found.data, name), name)
    except ConfigError as error:
        # the reader's own words may quote what stands in the file
        line = error.faults[0].line
        where = f" at line {line}" if line is not None else ""
        raise _refused(path, f"is not TOML{where}", 'each line is name = "text"') from None
    return check_secrets(tables, name)


def _read_credential(path: Path) -> Secret | None:
    """One credential; the service manager itself guards who may read it."""
    try:
        found = read_bounded(path, LARGEST_FILE_BYTES)
    except FileNotFoundError:
        return None
    except UnfitFile as error:
        raise _refused(path, str(error), "look at LoadCredential= in the service's unit") from error
    return check_secret_text(decode_settings(found.data, str(path)), str(path))


def _refused(path: Path, problem: str, remedy: str) -> ConfigError:
    return ConfigError((Fault(file=str(path), line=None, key="", problem=problem, remedy=remedy),))
